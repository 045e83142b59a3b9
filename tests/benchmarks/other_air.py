"""What a new map takes after one room's air has changed, against casting everybody anew; ratios of one run.

    python tests/benchmarks/other_air.py

Twenty cold stores in a row, four infrared units each. A state warms one of them: only units whose reach holds a cell of
that room are cast again, and the building stands. Beside it the share of a new cast that rays take, which is all that
keeping them could save.
"""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from typing import Any

import raycover
from raycover.building.build import build
from raycover.editing.live import LiveCoverage, Look
from raycover.rays.ray_scene import RayScene

N_ROOMS, SIDE = 20, 16.0


def stores() -> raycover.Scene:
    rooms = [
        {"name": f"Store {k}", "outline": [[a, 0], [a + SIDE, 0], [a + SIDE, SIDE], [a, SIDE]], "height": 4,
         "walls": "steel-panel", "ambient_c": 4 - k % 3}
        for k, a in enumerate(SIDE * n for n in range(N_ROOMS))
    ]  # fmt: skip
    units = [
        {"name": f"D{k}.{i}", "model": "ceiling-infrared-general", "at": [SIDE * k + x, y], "mounting": 3}
        for k in range(N_ROOMS)
        for i, (x, y) in enumerate(((4, 4), (12, 4), (4, 12), (12, 12)))
    ]
    states = [{"name": "Defrosted", "set": {"Store 7": {"ambient_c": 18}}}]
    planes = [{"name": "floor", "height": 0}]
    return raycover.load_text(
        json.dumps({"raycover": 1, "title": "stores", "grid": 0.1, "rooms": rooms, "detectors": units,
                    "states": states, "planes": planes})
    )  # fmt: skip


def best(work: Callable[[], Any], n: int = 5) -> float:
    found = []
    for _ in range(n):
        began = time.perf_counter()
        work()
        found.append(time.perf_counter() - began)
    return min(found)


def main() -> None:
    scene, look = stores(), Look(0)
    live = LiveCoverage(scene, threads=1)
    live.coverage(look)
    state = ["Defrosted", scene.state]

    def switched() -> None:
        live.set_state(state[0])
        state.reverse()
        live.coverage(look)

    before = live.n_cast
    switched()
    n_cast = live.n_cast - before
    partly = best(switched)

    def anew() -> None:
        for one in live._built.values():
            one.looks[look].patches = [{} for _ in one.looks[look].surfaces]
        switched()

    spent = [0.0]
    asked = RayScene.infrared_blocked

    def timed(self: RayScene, *given: Any) -> Any:
        began = time.perf_counter()
        found = asked(self, *given)
        spent[0] += time.perf_counter() - began
        return found

    everybody = best(anew)
    built = best(lambda: RayScene(build(scene)), 3)
    RayScene.infrared_blocked = timed  # type: ignore[method-assign]
    began = time.perf_counter()
    anew()
    rays = spent[0] / (time.perf_counter() - began)
    RayScene.infrared_blocked = asked  # type: ignore[method-assign]
    print(f"cast again: {n_cast} of {len(scene.detectors)} units")
    print(f"everybody cast anew / those in reach: {everybody / partly:.1f}")
    print(f"with a building for the state, as before / those in reach: {(everybody + built) / partly:.1f}")
    print(f"rays' share of casting everybody anew: {rays:.2f}: keeping them would save no more")


if __name__ == "__main__":
    main()
