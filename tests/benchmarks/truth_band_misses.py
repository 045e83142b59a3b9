"""How often the stated 95 % band misses the truth: 200 random rooms, five points each; prints what MISS_RATE holds.

    .venv/bin/python tests/benchmarks/truth_band_misses.py [rooms] [seed]

About a minute. The first line is the stated band (everything in doubt), the second the ways alone (person, unit and
mounting as drawn, in the truth and in the band), the others what the band would be without a part of its physics.
"""

from __future__ import annotations

import sys
from pathlib import Path

TESTS = Path(__file__).parents[1]
sys.path[:0] = [str(TESTS), str(TESTS / "references")]

import numpy as np  # noqa: E402
import truth_bands  # noqa: E402
import truth_rooms  # noqa: E402

from raycover.scene.doubt import DoubtSpec  # noqa: E402
from raycover.solving.doubt import MISS_RATE  # noqa: E402


def main(n_rooms: int = 200, seed: int = 11) -> None:
    alone = truth_bands.WAYS_ALONE
    rooms = truth_rooms.truths(n_rooms, 5, seed)
    for name, doubt in (
        ("everything in doubt", DoubtSpec()),
        ("ways alone", alone),
        ("ways, no deeper reflections", alone.model_copy(update={"deeper": False})),
        (
            "ways, no deeper reflections, no polarisation",
            alone.model_copy(update={"deeper": False, "polarised": False}),
        ),
    ):
        found = truth_bands.compare(rooms, doubt, seed=5)
        print(f"{name}: {truth_bands.words(found)}")
        for kind in np.unique(found.kind):
            of_kind = found.kind == kind
            error = np.percentile((found.truth_db - found.drawn_db)[of_kind], [5, 50, 95])
            below = (found.truth_db < found.low_db)[of_kind].mean()
            above = (found.truth_db > found.high_db)[of_kind].mean()
            print(
                f"  {kind}: truth less margin as drawn {error[0]:+.1f} / {error[1]:+.1f} / {error[2]:+.1f} dB at "
                f"5 / 50 / 95 %; {below:.1%} below the band, {above:.1%} above"
            )
    print(f"stated: {MISS_RATE.words}")


if __name__ == "__main__":
    main(*(int(argument) for argument in sys.argv[1:]))
