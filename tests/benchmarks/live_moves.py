"""What a step of a drag costs in the window, as a share of solving the whole scene: ratios taken in one run.

    .venv/bin/python tests/benchmarks/live_moves.py [SCENE | hall]

A step is all that the model and the map's picture do: the detector made and cast again, the maps combined, the map
drawn as coarse as while it is dragged. Drawing the frame itself is the graphics driver's. `hall` is a distribution
centre of 30,000 m² with 312 detectors. Processor seconds.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np

import raycover
from raycover.draw.view3d.floor_map import make_map
from raycover.draw.view3d.trays import trays_of
from raycover.draw.view3d.window.scenery import _DRAFT_PX
from raycover.editing.live import LiveCoverage, Look
from raycover.solving.coverage import solve

sys.path.insert(0, str(Path(__file__).parent))
from distribution_centre import distribution_centre

STEPS = 25
#: So many detectors are moved, at most, evenly spread over the scene's list.
MOST_MOVED = 24


def main() -> None:
    path = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parents[2] / "examples" / "depot" / "scene.yaml"
    scene = raycover.load_text(distribution_centre(3)) if path.name == "hall" else raycover.load(path)
    live = LiveCoverage(scene, threads=1)
    look = Look(0)
    live.coverage(look)
    planes = {"planes": [scene.planes[0]]}
    whole, cast = [], []
    for _ in range(3):
        began = time.process_time()
        solve(scene.model_copy(update=planes), threads=1)
        whole.append(time.process_time() - began)
        began = time.process_time()
        solve(scene.model_copy(update=planes), building=live.building, rays=live.rays, threads=1)
        cast.append(time.process_time() - began)
    solved = min(whole)
    model, drawn = [], []
    for index in range(0, len(live.units), -(-len(live.units) // MOST_MOVED)):
        x, y = live.design.detectors[index].at
        for step in range(1, STEPS + 1):
            began = time.process_time()
            live.move(index, trial=True, at=(x + 0.01 * step, y))
            coverage = live.coverage(look)
            model.append(time.process_time() - began)
        began = time.process_time()
        for tray in trays_of(live.building, coverage, tuple(coverage)):
            x0, x1, y0, y1 = tray.plane.surface.edges
            span = max(x1 - x0, y1 - y0)
            make_map(tray.plane, tray.building, px_per_m=_DRAFT_PX / span, hatch_m=span / 110)
        drawn.append(time.process_time() - began)
        live.back()
    print(f"{path}: {len(live.units)} detectors; the first plane solved with building it, one thread: 1")
    print(f"a step, moved and cast again: {np.median(model) / solved:.3f} (slowest {np.max(model) / solved:.3f})")
    print(f"the same of casting alone, the building made beforehand: {np.median(model) / min(cast):.3f}")
    print(f"its map drawn coarse: {np.median(drawn) / solved:.3f}")
    print(f"both together: {1000 * (np.median(model) + np.median(drawn)):.0f} ms on this machine, now")


if __name__ == "__main__":
    main()
