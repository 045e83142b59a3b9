"""Speed of a grid walk: cells × directions a second, and the share of the time spent in Embree.

    python tests/benchmarks/grid_walk.py [scene.yaml] [threads]

Walks the depot's floor (or another scene's) and prints one run's figures: processor time, since other programs slow
the clock on the wall; the numpy path against the compiled one on part of the walks; memory.
"""

from __future__ import annotations

import resource
import sys
import time
from pathlib import Path

import numpy as np

import raycover
from raycover.building.build import build
from raycover.cli.grid_walking import floors_of
from raycover.physics.signal import HAS_NUMBA, walk_outcome
from raycover.physics.walks import body_for, walks_of
from raycover.rays.ray_scene import RayScene
from raycover.solving.casting import Weather
from raycover.solving.coverage import make_units
from raycover.walking.grid_walk import LANES_M, N_RUNS, PHASES_RAD, grid_walk
from raycover.walking.sensing import sensors_of

DEPOT = Path(__file__).parents[2] / "examples" / "depot" / "scene.yaml"


def main() -> None:
    path = Path(sys.argv[1]) if len(sys.argv) > 1 else DEPOT
    threads = int(sys.argv[2]) if len(sys.argv) > 2 else None
    scene = raycover.load(path)
    building = build(scene)
    units, rays = make_units(scene, building), RayScene(building)
    began = time.process_time()
    sensors = sensors_of(scene, units)
    calibrated = time.process_time() - began
    weather = Weather.of(scene)
    for surface in floors_of(scene, building):
        # The first pass compiles or loads the compiled code.
        for _ in range(2):
            before, wall = rays.n_rays, time.perf_counter()
            found = grid_walk(surface, units, sensors, rays, weather, threads=threads)
            wall = time.perf_counter() - wall
        asked = found.n_cells * 8 * len(units)
        print(f"{surface.name}: {found.n_cells:,} cells × 8 directions × {len(units)} detectors = {asked:,}")
        print(f"  simulated after leaving out what no lens reaches: {found.n_walks:,} walks")
        print(f"  {found.seconds:.1f} s of processor time, {wall:.1f} s on the wall")
        print(f"  {asked / found.seconds:,.0f} cells·directions·detectors a second of processor time")
        print(f"  {found.ray_seconds / found.seconds:.1%} of it in Embree for {rays.n_rays - before:,} segments")
    print(f"calibrating {len(sensors)} detectors, lenses included: {calibrated:.2f} s of processor time")

    sensor = next(iter(sensors.values()))
    walks = walks_of(
        body_for("adult", sensor.unit.mounting), [0.0], PHASES_RAD,
        ambient_c=scene.conditions.ambient_c, step_s=sensor.step_s,
        length_m=1.0, rotation=sensor.unit.rotation, lanes_m=LANES_M,
    )  # fmt: skip
    rng = np.random.default_rng(0)
    m = 6000
    base = np.column_stack([rng.uniform(-5, 5, (m, 2)), np.full(m, -sensor.unit.mounting)])
    pose = rng.integers(0, N_RUNS, m)
    threshold = np.full(m, sensor.calibration.threshold)
    taken = {}
    for use in (True, False) if HAS_NUMBA else (False,):
        began = time.process_time()
        walk_outcome(walks, sensor.image, base, pose, threshold, use_numba=use)
        taken[use] = time.process_time() - began
        n = m * walks.n_steps * walks.place.shape[2]
        print(f"{'numba' if use else 'numpy'}: {n / taken[use] / 1e6:.0f} million patches a second on one thread")
    if HAS_NUMBA:
        print(f"numpy / numba: {taken[False] / taken[True]:.1f}")
    print(f"memory at most {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")
    small_office()


def small_office() -> None:
    """A 3.3 × 2.4 m office: how much of it one unit and three notice. Reported beside a published figure, no check:
    Ouadjaout et al. 2016 [V abstract] have one unit cover about 63 % of the desk and three all of it; their lattice
    is not in what we read, and this one is our own catalogue's."""
    places = {1: [(1.65, 1.2)], 3: [(0.7, 1.2), (1.65, 1.2), (2.6, 1.2)]}
    for n, spots in places.items():
        units_text = ", ".join(
            f"{{name: D{k}, model: ceiling-infrared-general, at: [{x}, {y}], mounting: 2.5}}"
            for k, (x, y) in enumerate(spots)
        )
        scene = raycover.load_text(
            "raycover: 1\ntitle: office\ngrid: 0.1\n"
            "rooms: [{name: R, outline: [[0, 0], [3.3, 0], [3.3, 2.4], [0, 2.4]], height: 2.6, walls: brick-100}]\n"
            f"detectors: [{units_text}]\n"
        )
        building = build(scene)
        units, rays = make_units(scene, building), RayScene(building)
        (surface,) = floors_of(scene, building)
        weather = Weather.of(scene)
        found = grid_walk(surface, units, sensors_of(scene, units), rays, weather)
        seated = np.nanmean(found.seated[surface.inside] >= 0.5)
        print(f"3.3 × 2.4 m office, {n} unit(s): {seated:.0%} of it notices someone seated by half or more")
    print(
        "  (reported elsewhere, not asserted: one unit covers about 63 % of the desk, three all; Ouadjaout et al. 2016)"
    )


if __name__ == "__main__":
    main()
