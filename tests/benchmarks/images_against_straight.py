"""What first-order images cost: the washroom and the stairwell solved straight and with reflections, on one thread.

    python tests/benchmarks/images_against_straight.py [grid in m, 0.1 if not given]

Prints the ratio of processor times taken in turn in one run, and the number of images; at most 10 is aimed at.
"""

from __future__ import annotations

import sys
from pathlib import Path

import raycover
from raycover.building.build import build
from raycover.rays.ray_scene import RayScene
from raycover.scene.schema import Scene

sys.path.insert(0, __file__.rsplit("/", 1)[0])
from solve_against_embree import in_turn, ratio

EXAMPLES = Path(__file__).parents[2] / "examples"
N_RUNS = 5


def main() -> None:
    grid = float(sys.argv[1]) if len(sys.argv) > 1 else 0.1
    for name in ("washroom", "stairwell"):
        scene = raycover.load(EXAMPLES / name / "scene.yaml")
        building = build(scene)

        def solved(reflections: int, scene: Scene = scene, building=building):  # type: ignore[no-untyped-def]
            conditions = scene.conditions.model_copy(update={"reflections": reflections})
            asked = scene.model_copy(update={"grid": grid, "conditions": conditions})
            return raycover.solve(asked, building=building, rays=RayScene(building), threads=1)

        straight, mirrored = solved(0), solved(1)  # tables of losses are made once
        times = in_turn(N_RUNS, lambda: solved(1), lambda: solved(0))
        found = mirrored.reflections
        print(f"{name} at {grid:g} m: reflections: 1 takes {ratio(*times)} times as long as straight ways alone")
        print(f"  {found.line()}")
        print(f"  images: {', '.join(f'{unit} {n}' for unit, n in found.n_images.items())}")
        print(f"  {mirrored.n_rays:,} rays against {straight.n_rays:,}")


if __name__ == "__main__":
    main()
