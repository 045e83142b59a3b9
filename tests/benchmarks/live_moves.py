"""What a step of a drag costs in the window, as a share of solving the whole scene: ratios taken in one run.

    .venv/bin/python tests/benchmarks/live_moves.py [SCENE]

A step is all that the model and the map's picture do: the detector made and cast again, the maps combined, the map
drawn as coarse as while it is dragged. Drawing the frame itself is the graphics driver's.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np

import raycover
from raycover.coverage import solve
from raycover.draw.view3d.floor_map import make_map
from raycover.draw.view3d.trays import trays_of
from raycover.draw.view3d.window.scenery import _DRAFT_PX
from raycover.live import LiveCoverage, Look

STEPS = 25


def main() -> None:
    path = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parents[2] / "examples" / "depot" / "scene.yaml"
    scene = raycover.load(path)
    live = LiveCoverage(scene, threads=1)
    look = Look(0)
    live.coverage(look)
    planes = {"planes": [scene.planes[0]]}
    whole = []
    for _ in range(3):
        began = time.perf_counter()
        solve(scene.model_copy(update=planes), threads=1)
        whole.append(time.perf_counter() - began)
    solved = min(whole)
    model, drawn = [], []
    for index in range(len(live.units)):
        x, y = live.design.detectors[index].at
        for step in range(1, STEPS + 1):
            began = time.perf_counter()
            live.move(index, trial=True, at=(x + 0.01 * step, y))
            coverage = live.coverage(look)
            model.append(time.perf_counter() - began)
        began = time.perf_counter()
        for tray in trays_of(live.building, coverage, tuple(coverage)):
            x0, x1, y0, y1 = tray.plane.surface.edges
            span = max(x1 - x0, y1 - y0)
            make_map(tray.plane, tray.building, px_per_m=_DRAFT_PX / span, hatch_m=span / 110)
        drawn.append(time.perf_counter() - began)
        live.back()
    print(f"{path}: {len(live.units)} detectors; the first plane solved with building it, one thread: 1")
    print(f"a step, moved and cast again: {np.median(model) / solved:.3f} (slowest {np.max(model) / solved:.3f})")
    print(f"its map drawn coarse: {np.median(drawn) / solved:.3f}")
    print(f"both together: {1000 * (np.median(model) + np.median(drawn)):.0f} ms on this machine, now")


if __name__ == "__main__":
    main()
