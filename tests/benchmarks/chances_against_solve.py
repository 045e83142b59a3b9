"""What varied cases cost: probability maps of the examples against solving them, in one run, and the memory taken.

.venv/bin/python tests/benchmarks/chances_against_solve.py [example …]
"""

from __future__ import annotations

import resource
import sys
import time
from pathlib import Path

import raycover
from raycover.building.build import build
from raycover.rays.ray_scene import RayScene
from raycover.solving.chance_maps import vary
from raycover.solving.coverage import solve

EXAMPLES = Path(__file__).parents[2] / "examples"


def main(names: list[str]) -> None:
    for name in names:
        scene = raycover.load(EXAMPLES / name / "scene.yaml")
        for reflections in (0, 1):
            conditions = scene.conditions.model_copy(update={"reflections": reflections})
            stated = scene.model_copy(update={"conditions": conditions})
            building = build(stated)
            rays = RayScene(building)
            began = time.perf_counter()
            coverage = solve(stated, building=building, rays=rays)
            solved, cast = time.perf_counter() - began, rays.n_rays
            began = time.perf_counter()
            maps = vary(stated, coverage)
            varied = time.perf_counter() - began
            n_points = sum(int(p.surface.inside.sum()) * len(p.surface.heights) for p in coverage.values())
            peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
            print(
                f"{name}, reflections {reflections}: {n_points:,} points, {len(coverage.units)} units, "
                f"{maps.draws.n} cases: {varied / max(solved, 1e-9):.1f} × the time to solve, "
                f"{(rays.n_rays - cast) / max(cast, 1):.1f} × its rays; peak {peak:.0f} MB so far"
            )


if __name__ == "__main__":
    main(sys.argv[1:] or ["washroom", "stairwell", "corridor", "office", "depot"])
