"""Proposed layouts against a greedy choice, the area, and the hexagonal covering: counts, no times.

    .venv/bin/python tests/benchmarks/layouts.py [SECONDS]

Covering the plane by equal circles takes at least 2π/√27 = 1.209 of its area (Kershner 1939, from memory); a hall
takes more, since circles hang over its edges.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "placing"))

from placing_scenes import circle, entries, floor_of, made, room

from raycover.placing.candidates import find_candidates
from raycover.placing.covering import greedy
from raycover.placing.layout import place
from raycover.placing.visibility import seen_by, thin
from raycover.proving.needs import prove

RADIUS = 4.0
HALLS = ((12.0, 9.0), (20.0, 12.0), (28.0, 20.0), (40.0, 28.0))


def main() -> None:
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 60.0
    print(f"circles of {2 * RADIUS:g} m, every spot of the floor; density: their area over the floor's, 1.209 at best")
    print("hall            area bound  bound  units  regular  greedy  density")
    with tempfile.TemporaryDirectory() as folder:
        entries(Path(folder), disc=circle(RADIUS))
        for width, depth in HALLS:
            scene = made(
                Path(folder), rooms=[room(width, depth)], needs=[floor_of()], grid=0.5, placing={"models": ["disc"]}
            )
            found = place(scene, seconds=seconds)
            lines = len({d.at[0] for d in found.detectors}) * len({d.at[1] for d in found.detectors})
            assert scene.placing is not None
            (verdict,) = prove(scene).needs
            candidates = find_candidates(scene, verdict.situation.building, scene.placing, [0])
            asked = thin(verdict.need, verdict.situation, verdict.places[0].site, 10**9)
            chosen = greedy(seen_by(candidates.units, asked), asked.weight, candidates.cost)
            area, disc = width * depth, np.pi * RADIUS**2
            n = len(found.new)
            print(
                f"{width:4g} × {depth:<4g} m {np.ceil(area / disc):12.0f} {found.bound:6g} {n:6d} "
                f"{'yes' if lines == n else 'no':>8} {len(chosen):7d} {n * disc / area:8.2f}",
                flush=True,
            )


if __name__ == "__main__":
    main()
