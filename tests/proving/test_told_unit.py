"""Which unit answers for a place that is missed: the one that the map's gap names, not one two rooms away."""

from __future__ import annotations

import math

import pytest
from small_scenes import detector, pattern, scene

import raycover
from raycover.exchange.proof import proof_json
from raycover.proving.needs import prove
from raycover.solving.casting import CAUSES

ROOMS = [
    {"name": "Here", "outline": [[0, 0], [6, 0], [6, 6], [0, 6]], "height": 3, "walls": "brick-100"},
    {"name": "Next", "outline": [[6, 0], [12, 0], [12, 6], [6, 6]], "height": 3, "walls": "brick-100"},
]
UNITS = [
    detector((3, 3), 3, pattern({"circle": {"diameter": 6}}, mounting=3), "I1"),
    detector((9, 3), 3, pattern({"circle": {"diameter": 8}}, mounting=3, frequency_ghz=5.8), "M1"),
]


def test_a_corner_outside_the_lens_is_told_of_the_unit_of_its_room() -> None:
    """M1 hangs next door: 9.4 m away behind brick its margin is finite, some −15 dB, and says nothing of use."""
    made = scene(
        rooms=ROOMS, detectors=UNITS, planes=[{"name": "floor", "height": 0}], grid=0.25,
        needs=[{"name": "All", "rooms": ["Here"], "height": 0}],
    )  # fmt: skip
    proof = prove(made)
    ((place,),) = (need.places for need in proof.needs)
    assert place.way is not None
    assert (place.way.unit, place.way.words) == ("I1", "outside the lens")
    assert place.figures.worst_db == -math.inf
    told = proof_json(proof)["needs"][0]["places"][0]
    assert told["margin_db"] is None
    gap = raycover.solve(made)["floor"].gaps[0]
    assert (CAUSES[gap.cause], gap.detector) == ("outside-lens", "I1")


def test_a_spot_just_short_of_the_reach_is_told_of_the_unit_that_nearly_sees_it() -> None:
    """4.5 m off in plan, reach 4 m, both from 3 m up: 40·log10(5 / 5.40) = −1.3 dB, within the reserve."""
    open_rooms = [{**room, "walls": "none"} for room in ROOMS]
    spot = [[4.5, 2.99], [4.53, 2.99], [4.53, 3.01], [4.5, 3.01]]
    units = [detector((1, 1), 3, pattern({"circle": {"diameter": 2}}, mounting=3), "I1"), UNITS[1]]
    need = {"name": "Spot", "area": spot, "height": 0}
    (asked,) = prove(scene(rooms=open_rooms, detectors=units, grid=0.02, needs=[need])).needs
    (place,) = asked.places
    assert place.way is not None
    assert place.way.unit == "M1"
    assert place.figures.worst_db == pytest.approx(40 * math.log10(5 / math.hypot(4.49, 3)), abs=0.05)
