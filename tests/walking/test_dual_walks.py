"""Dual units along a track: triggered first, then held; by hand, on declared footprints and simulated."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from dual_scenes import halves
from walk_scenes import scene, walks

from raycover.building.build import build
from raycover.detectors import Unit
from raycover.scene.schema import Scene
from raycover.solving.coverage import make_units
from raycover.walking.dual import combined_along, held_from
from raycover.walking.walk import Walk, walk

TIME = np.arange(0.0, 10.0)


def at(*seconds: int) -> np.ndarray:
    return np.isin(TIME, seconds)


def dual(combine: str, trigger: str = "infrared") -> Unit:
    pattern = {"kind": "dual", "combine": combine, **halves()}
    setting = {"trigger": trigger} if combine == "trigger-then-hold" else {}
    detector = {"name": "D1", "at": [0, 0], "mounting": 2.5, "pattern": pattern, **setting}
    return make_units(made := scene(detectors=[detector]), build(made))[0]


def test_what_holds_counts_from_the_first_start_on() -> None:
    """Hold time 3 s. Triggers of the other half at 0 and 1 are too early; the start at 2 counts, then each that
    follows within 3 s, 4 and 6; 9 comes 3 s later, after the light has gone off."""
    holds, starts = at(0, 1, 4, 6, 9), at(2)
    assert np.flatnonzero(held_from(TIME, starts, holds, 3.0)).tolist() == [2, 4, 6]
    assert np.flatnonzero(held_from(TIME, starts, holds, 3.5)).tolist() == [2, 4, 6, 9]
    assert not held_from(TIME, at(), holds, 3.0).any()
    assert not held_from(TIME, at(), at(), 3.0).any()


@pytest.mark.parametrize(
    ("combine", "trigger", "noticed", "margins"),
    [
        ("or", "infrared", [0, 1, 2, 3, 4, 5, 9], {1: 5.0, 2: 5.0, 4: 4.0, 5: 4.0, 9: 4.0}),
        ("and", "infrared", [2, 3], {1: -9.0, 2: 2.0, 4: -9.0, 5: -9.0, 9: -9.0}),
        # infrared starts at 2, microwave holds to 5; at 9 the light (3 s) is off and infrared silent
        ("trigger-then-hold", "infrared", [2, 3, 4, 5], {1: -9.0, 2: 2.0, 4: 4.0, 5: 4.0, 9: -9.0}),
        ("trigger-then-hold", "both", [2, 3, 4, 5], {1: -9.0, 2: 2.0, 4: 4.0, 5: 4.0, 9: -9.0}),
    ],
)
def test_two_halves_over_time(combine: str, trigger: str, noticed: list[int], margins: dict[int, float]) -> None:
    """Infrared notices at 2 and 3 s, microwave at 0 to 5 and 9 s."""
    infrared, microwave = at(2, 3), at(0, 1, 2, 3, 4, 5, 9)
    levels = np.where(infrared, 2.0, -9.0), np.where(microwave, np.where(TIME < 4, 5.0, 4.0), -9.0)
    margin, seen, triggers = combined_along(
        dual(combine, trigger), TIME, levels, (infrared, microwave), (infrared, microwave), 3.0, by_hand=False
    )
    assert np.flatnonzero(seen).tolist() == noticed
    assert np.flatnonzero(triggers).tolist() == noticed
    assert {second: margin[second] for second in margins} == margins


def test_a_light_switched_on_by_hand_is_held_by_either_half() -> None:
    unit = dual("trigger-then-hold")
    levels = np.full(10, -np.inf), np.where(at(0, 5), 1.0, -9.0)
    _, seen, triggers = combined_along(unit, TIME, levels, (at(), at(0, 5)), (at(), at(0, 5)), 3.0, by_hand=True)
    assert np.flatnonzero(triggers).tolist() == [0, 5]
    assert np.flatnonzero(seen).tolist() == [0, 5]


def hall(combine: str, **setting: Any) -> Scene:
    """A hall of 16 × 4 m, a unit at (12, 2): infrared 2 m, microwave 6 m each way; someone walks in from the left
    along y = 2, and stands at (15, 2), beyond infrared's 2 m."""
    pattern = {"kind": "dual", "combine": combine, **halves()}
    detector = {"name": "D1", "at": [12, 2], "mounting": 2.5, "pattern": pattern, **setting}
    rooms = [{"name": "Hall", "outline": [[0, 0], [16, 0], [16, 4], [0, 4]], "height": 3, "walls": "none"}]
    route = {"name": "A", "line": [[1, 2], [15, 2]], "pauses": [{"at": 14, "seconds": 60}]}
    return scene(rooms=rooms, detectors=[detector], routes=[route], conditions={"hold_s": 20})


def first_m(found: Walk) -> float:
    assert found.first is not None
    return found.first.metres


@pytest.mark.parametrize(
    ("combine", "metres"),
    # A person counts at 0.3, 1.0 and 1.6 m. Infrared's edge is a cone: on the declared floor 2 m out, at 0.3 m
    # 2·(2.2/2.5) = 1.76 m, so from x = 10.24 on, 9.24 m walked. Microwave's is a sphere of √(6² + 2.5²) = 6.5 m: 6.44 m
    # out at 1.6 m, so from x = 5.56 on, 4.56 m walked. (A step of 0.1 s is 0.12 m.)
    [("or", 4.56), ("and", 9.24), ("trigger-then-hold", 9.24)],
)
def test_where_a_walker_is_first_noticed(combine: str, metres: float) -> None:
    assert first_m(walks(hall(combine))[0]) == pytest.approx(metres, abs=0.12)


@pytest.mark.parametrize(("combine", "left"), [("or", False), ("and", True), ("trigger-then-hold", False)])
def test_who_stands_still_is_held_by_microwave(combine: str, left: bool) -> None:
    """3 m out, beyond the lens, for 60 s with a hold time of 20 s: microwave declares presence and holds."""
    assert bool(walks(hall(combine))[0].light.left) is left


def test_the_walk_says_both_halves() -> None:
    (found,) = walks(hall("trigger-then-hold"))
    (seen,) = found.seen
    assert [half.name for half in seen.halves] == ["D1/infrared", "D1/microwave"]
    infrared, microwave = seen.halves
    assert seen.noticed.sum() > infrared.noticed.sum()
    before = np.flatnonzero(seen.noticed)[0]
    assert microwave.noticed[:before].any()
    assert not infrared.noticed[:before].any()
    assert found.longest is not None
    assert (found.longest.why.detector, found.longest.why.half) == ("D1", "infrared")


def test_infrared_halves_are_simulated() -> None:
    """The same hall with infrared as a signal: it triggers within the declared edge or not at all, microwave holds."""
    made = hall("trigger-then-hold")
    (found,) = walk(made, building=build(made))
    (seen,) = found.seen
    assert [half.mode for half in seen.halves] == ["simulated", "declared"]
    assert seen.halves[0].signal is not None
    assert 8.5 <= first_m(found) <= 11.5
    assert not found.light.left
