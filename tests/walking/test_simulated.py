"""Simulated detectors along a track: within the declared edge only, repeated while seated, held for a little while."""

from __future__ import annotations

import numpy as np
import pytest
from walk_scenes import CIRCLE, detector, past_one, pattern, scene

from raycover.building.build import build
from raycover.errors import InputError
from raycover.walking.simulated import NOTICED_S, _repeated, held
from raycover.walking.walk import walk


def test_a_walk_across_is_noticed_within_the_declared_edge_only() -> None:
    """[C] 8 m across from 2.5 m, a walk 2 m aside: the edge of 4 m is met √(16 − 4) = 3.46 m from the middle."""
    made = past_one(pattern(CIRCLE, mounting=2.5), line=[[-8, 2], [8, 2]])
    (found,) = walk(made)
    (seen,) = found.seen
    assert seen.mode == "simulated"
    at = found.track.position[seen.triggers, 0]
    assert len(at)
    assert np.abs(at).max() <= np.sqrt(12) + 0.1
    assert found.first is not None
    assert 8 - np.sqrt(12) - 0.1 < found.first.metres < 8
    assert seen.signal is not None
    np.testing.assert_array_equal(np.isneginf(seen.margin_db), seen.signal == 0)
    # A trigger counts as notice for two seconds, the light's hold time starts anew at triggers only.
    assert seen.noticed.sum() > seen.triggers.sum()
    assert found.light.off_at_s == pytest.approx(float(found.track.time_s[seen.triggers][-1]) + 900)


def test_who_stands_still_gives_nothing() -> None:
    made = past_one(pattern(CIRCLE, mounting=2.5), line=[[-3, 1], [3, 1]], pauses=[{"at": [0, 1], "seconds": 30}])
    (found,) = walk(made)
    (seen,) = found.seen
    still = (found.track.pose == 1) & (found.track.time_s > found.track.time_s[found.track.pose == 1][0] + 8)
    assert still.any()
    assert not seen.triggers[still].any()
    assert found.longest is not None
    assert found.longest.seconds > 15


def test_a_seated_arm_repeats() -> None:
    made = past_one(pattern(CIRCLE, mounting=2.5, motion="presence"), line=[[-2, 0.5], [0.5, 0.5]], seated_s=120)
    (found,) = walk(made)
    (seen,) = found.seen
    assert seen.signal is not None
    sitting = seen.signal[found.track.pose == 2]
    later = sitting[round(31 / 0.04) : round(54 / 0.04)]
    np.testing.assert_array_equal(later, sitting[round(55 / 0.04) : round(55 / 0.04) + len(later)])


def test_what_is_repeated() -> None:
    assert _repeated(10, 4, 3).tolist() == [0, 1, 2, 3, 1, 2, 3, 1, 2, 3]
    assert _repeated(3, 3, 2).tolist() == [0, 1, 2]


def test_a_trigger_counts_for_a_while() -> None:
    time = np.arange(0, 100) * 0.1
    triggers = np.zeros(100, bool)
    triggers[20] = True
    kept = time[held(time, triggers, NOTICED_S)]
    assert kept[0] == pytest.approx(2.0)
    assert kept[-1] == pytest.approx(4.0)


def test_microwave_units_keep_their_declared_reach() -> None:
    made = past_one(pattern(CIRCLE, mounting=2.5, motion="radial", frequency_ghz=5.8), line=[[-8, 0], [0, 0]])
    (found,) = walk(made)
    assert found.seen[0].mode == "declared"
    assert found.seen[0].signal is None


def test_air_that_the_model_does_not_hold_for() -> None:
    made = scene(
        conditions={"ambient_c": 45}, detectors=[detector((0, 0), 2.5, pattern(CIRCLE, mounting=2.5))],
        routes=[{"name": "A", "line": [[-3, 0], [3, 0]]}],
    )  # fmt: skip
    with pytest.raises(InputError, match="temperature-out-of-range"):
        walk(made, building=build(made))
    assert walk(made, declared=True)
