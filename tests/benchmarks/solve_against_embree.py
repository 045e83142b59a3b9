"""How much `solve` costs over bare Embree for the very same rays, both on one thread.

    python tests/benchmarks/solve_against_embree.py [copies of the depot]

Prints ratios taken in one run: the machine's own speed falls out. "Bare" builds the same Embree scenes and
runs the very segments that solve asked for, recorded on the way; nothing else. Infrared asks for a line of sight only,
microwave for all that a way crosses.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import time

import numpy as np

import raycover
from raycover.building.build import build
from raycover.rays import tracers
from raycover.rays.ray_scene import RayScene

sys.path.insert(0, __file__.rsplit("/", 1)[0])
from building_growth import tower
from enlarged import enlarged_depot


def in_turn(n: int, *works, clock=time.process_time) -> list[list[float]]:  # type: ignore[no-untyped-def]
    """Processor seconds of each work, n times, taken in turn: what slows the machine slows them alike."""
    times: list[list[float]] = [[] for _ in works]
    for _ in range(n):
        for record, work in zip(times, works, strict=True):
            began = clock()
            work()
            record.append(clock() - began)
    return times


def ratio(some: list[float], other: list[float]) -> str:
    """Median of the pairwise ratios, with the smallest and largest."""
    pairs = np.array(some) / np.array(other)
    return f"{np.median(pairs):.2f} ({pairs.min():.2f} to {pairs.max():.2f})"


def compared(title: str, text: str, n: int) -> None:
    """Print what solving a scene costs against bare Embree, n times in turn."""
    imported = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    scene = raycover.load_text(text)
    loaded = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    coverage = raycover.solve(scene, threads=1)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024

    asked: list[tuple[int, str, tuple[np.ndarray, ...]]] = []
    sets: list[tuple] = []  # type: ignore[type-arg]

    class Recording(tracers.EmbreeTracer):
        def __init__(self, *made_of) -> None:  # type: ignore[no-untyped-def]
            super().__init__(*made_of)
            self.index = len(sets)
            sets.append(made_of)

        def _run(self, origins, directions, lengths, query, output=False):  # type: ignore[no-untyped-def]
            # Embree writes the distances to hits over the lengths.
            asked.append((self.index, query, (origins, directions, lengths.copy())))
            return super()._run(origins, directions, lengths, query, output)

    kept, tracers.EmbreeTracer = tracers.EmbreeTracer, Recording
    raycover.solve(scene, threads=1)
    tracers.EmbreeTracer = kept
    n_rays = sum(len(arrays[0]) for _, _, arrays in asked)

    def bare() -> None:
        made = [kept(*made_of) for made_of in sets]
        for index, query, (origins, directions, lengths) in asked:
            made[index]._run(origins, directions, lengths.copy(), query, query == "INTERSECT")

    def everything() -> None:
        raycover.solve(scene, threads=1)

    building = build(scene)

    def with_building() -> None:
        raycover.solve(scene, building=building, rays=RayScene(building), threads=1)

    t_bare, t_all, t_built = in_turn(n, bare, everything, with_building)
    print(f"{title}: {len(coverage.units)} detectors, {len(coverage)} maps, {len(building.mesh.triangles):,} triangles")
    print(f"  {n_rays:,} segments traced; {sum(p.surface.inside.sum() for p in coverage.values()):,} cells")
    print(f"  bare Embree, its scenes' building included: {np.median(t_bare):.3f} s")
    print(f"  solve / bare Embree, building made beforehand: {ratio(t_built, t_bare)}")
    print(f"  solve / bare Embree, building included:        {ratio(t_all, t_bare)}")
    print(
        f"  memory: before {imported:.0f} MB, loading +{loaded - imported:.0f} MB, first solve +{peak - loaded:.0f} MB"
    )


def main() -> None:
    copies = int(sys.argv[1]) if len(sys.argv) > 1 else 8
    compared("line of sight, depots", enlarged_depot(copies), 9)
    offices = tower(100).replace("ceiling-infrared-general", "microwave-omni-5.8")
    compared("crossings, six storeys of offices", offices, 9)
    start = [sys.executable, "-c", "import numpy"]
    help_ = [sys.executable, "-m", "raycover.cli.main", "--help"]
    t_numpy, t_help = in_turn(
        15,
        *(lambda c=command: subprocess.run(c, check=True, capture_output=True) for command in (start, help_)),
        clock=time.perf_counter,
    )
    print(f"raycover --help / python -c 'import numpy': {ratio(t_help, t_numpy)}")


if __name__ == "__main__":
    main()
