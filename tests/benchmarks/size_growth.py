"""Time and memory of a distribution centre of 10, 30 and 100 thousand m², from the file to the results on disk.

    .venv/bin/python tests/benchmarks/size_growth.py [thousands of m² …]

Each size runs in a process of its own, on one thread, so that its peak of memory is its own. Prints processor seconds
(wall in brackets) of each step and the powers of the area that they grow with: 1 is in step with it. "Write" is
summary.json, with the causes and gaps that it asks for, and a .vti a plane.
"""

from __future__ import annotations

import json
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np

import raycover
from raycover.building.build import build
from raycover.exchange.image_data import write_image_data
from raycover.exchange.summary import summary
from raycover.rays.ray_scene import RayScene

sys.path.insert(0, str(Path(__file__).parent))
from distribution_centre import AREA, distribution_centre

STEPS = ("load", "build", "ray scene", "solve", "write")


def one_size(n_modules: int) -> dict[str, Any]:
    """Figures of one size: seconds a step, peak in MB, and what was worked on."""
    spent: dict[str, tuple[float, float]] = {}

    @contextmanager
    def timed(step: str) -> Iterator[None]:
        began = time.process_time(), time.perf_counter()
        yield
        spent[step] = time.process_time() - began[0], time.perf_counter() - began[1]

    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "scene.yaml"
        file.write_text(distribution_centre(n_modules))
        before = _peak_mb()
        with timed("load"):
            scene = raycover.load(file)
        with timed("build"):
            building = build(scene)
        with timed("ray scene"):
            rays = RayScene(building)
            rays.infrared_blocked(rays.segments(building.bounds.mean(axis=0), building.bounds))
        with timed("solve"):
            coverage = raycover.solve(scene, building=building, rays=rays, threads=1)
        solved = coverage.n_rays
        with timed("write"):
            (Path(folder) / "summary.json").write_text(json.dumps(summary(coverage)))
            for name, plane in coverage.items():
                write_image_data(plane, Path(folder) / f"{name}.vti")
    return {
        "spent": spent,
        "imports_mb": before,
        "peak_mb": _peak_mb(),
        "area": n_modules * AREA,
        "detectors": len(coverage.units),
        "parts": sum(kind in ("upright", "beam", "pallet", "goods") for kind in building.boxes.kinds),
        "triangles": len(building.mesh.triangles),
        "cells": sum(int(plane.surface.inside.sum()) for plane in coverage.values()),
        "rays": solved,
        "gaps": sum(len(plane.gaps) for plane in coverage.values()),
    }


def _peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def main() -> None:
    sizes = [int(a) for a in sys.argv[1:]] or [10, 30, 100]
    found = []
    for size in sizes:
        command = [sys.executable, __file__, "--one", str(size // 10)]
        found.append(json.loads(subprocess.run(command, check=True, capture_output=True, text=True).stdout))
        told(found[-1])
    if len(found) < 2:
        return
    area = [one["area"] for one in found]

    def power(values: Callable[[dict[str, Any]], float]) -> str:
        return f"{np.polyfit(np.log(area), np.log([values(one) for one in found]), 1)[0]:.2f}"

    steps = ", ".join(f"{step} {power(lambda one, at=step: one['spent'][at][0])}" for step in STEPS)
    whole = power(lambda one: sum(spent[0] for spent in one["spent"].values()))
    memory = power(lambda one: one["peak_mb"] - one["imports_mb"])
    print(f"power of the area: {steps}; all {whole}; memory over imports {memory}")


def told(one: dict[str, Any]) -> None:
    """Print one size."""
    print(
        f"{one['area']:,.0f} m²: {one['detectors']:,} detectors, {one['parts']:,} racking parts, {one['triangles']:,} "
        f"triangles, {one['cells']:,} cells on two planes, {one['rays']:,} rays, {one['gaps']} gaps"
    )
    steps = ", ".join(f"{step} {one['spent'][step][0]:.2f} ({one['spent'][step][1]:.2f})" for step in STEPS)
    whole = [sum(spent[k] for spent in one["spent"].values()) for k in (0, 1)]
    print(f"    {steps}; all {whole[0]:.2f} ({whole[1]:.2f}) s; peak {one['peak_mb']:.0f} MB", flush=True)


if __name__ == "__main__":
    if sys.argv[1:2] == ["--one"]:
        print(json.dumps(one_size(int(sys.argv[2]))))
    else:
        main()
