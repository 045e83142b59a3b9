"""Who comes in by a door is noticed within so many metres: lines and metres worked out by hand."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from small_scenes import detector, pattern, scene

from raycover.building.build import build
from raycover.errors import InputError
from raycover.exchange.proof import proof_json
from raycover.proving.doorways import Entrances
from raycover.proving.firmness import with_chances
from raycover.proving.mending.bench import Bench, cases_of
from raycover.proving.needs import PlaceVerdict, Proof, figures_of, prove
from raycover.proving.proof_words import asked_words, first_words, found_words, way_words

DOOR = {"width": 1.0, "height": 2.1, "fill": "door-wood-40"}
ROOM = {
    "name": "Room", "outline": [[0, 0], [10, 0], [10, 8], [0, 8]], "height": 3, "walls": "brick-100",
    "openings": [{**DOOR, "edge": 0, "at": 4.5, "name": "Front door"}],
}  # fmt: skip
#: Answers to walking across alone, 3 m about it in plan at 0.3 m: nothing beyond (lens), everything within.
ACROSS = pattern({"circle": {"diameter": 6}}, mounting=3, plane=0.3)
#: The same for walking across, 1 m about it for walking toward it.
BOTH = {
    "kind": "infrared",
    "declared": [
        {"mounting": 3, "plane": 0.3, "motion": "tangential", "shape": {"circle": {"diameter": 6}}},
        {"mounting": 3, "plane": 0.3, "motion": "radial", "shape": {"circle": {"diameter": 2}}},
    ],
}


def room(*needs: dict[str, Any], unit: Any = ACROSS, at: tuple[float, float] = (5, 4), **more: Any) -> Any:
    return scene(rooms=[{**ROOM, **more.pop("room", {})}], detectors=[detector(at, 3, unit)], needs=list(needs),
                 doubt={"cases": 16}, **more)  # fmt: skip


def one(proof: Proof, need: int = 0) -> PlaceVerdict:
    return proof.needs[need].places[0]


def front(within: float, **more: Any) -> dict[str, Any]:
    return {"name": f"within {within:g}", "door": "Front door", "first_within": within, **more}


def test_straight_on_and_at_45_degrees_by_hand() -> None:
    """The unit hangs 4 m in, straight ahead, and sees 3 m about it: reached after 1 m straight on.

    At 45° the line passes the unit at 4·sin 45° = 2.828 m, so it enters the circle 4·cos 45° − √(9 − 8) = 1.828 m on.
    """
    proof = prove(room(front(1.9), front(1.75), front(1.75, name="edge", door="Room/edge 0")))
    assert [need.met for need in proof.needs] == [True, False, False]
    place = one(proof)
    assert place.figures.first_m == pytest.approx(4 / np.sqrt(2) - 1, abs=0.013)  # steps of 12 mm
    assert place.figures.line.startswith("45°")
    assert found_words(proof.needs[0].need, place.figures) == f"noticed within {place.figures.first_m:.2f} m"
    assert found_words(proof.needs[0].need, replace(place.figures, first_m=np.inf)) == "never noticed"
    assert first_words(place.figures.first_m).startswith("1.8")
    missed = one(proof, 1)
    assert way_words(proof.needs[1], missed) == f"{missed.figures.line}: outside the lens"
    assert missed.way is not None
    assert missed.way.at[1] == pytest.approx(1.75 / np.sqrt(2), abs=0.013)
    assert asked_words(proof.needs[0].need) == "noticed within 1.9 m of the threshold"
    found = proof_json(proof)["needs"][0]
    assert found["asked"]["first_within_m"] == 1.9
    assert found["places"][0]["first_m"] == pytest.approx(1.83, abs=0.015)


def test_walking_toward_a_unit_that_wants_walking_across() -> None:
    """Straight on leads toward it all the way: noticed 1 m before it, after 3 m, though across is seen from 1 m on."""
    proof = prove(room(front(2.5), unit=BOTH))
    place = one(proof)
    assert place.figures.line == "straight on"
    assert place.figures.first_m == pytest.approx(3.0, abs=0.013)
    assert way_words(proof.needs[0], place) == "straight on: in reach, but not for walking this way"
    assert with_chances(proof).needs[0].probability == 0


def test_at_the_threshold_already() -> None:
    """A unit 1 m in notices at the door: 0 m, in every case."""
    proof = with_chances(prove(room(front(0.5), at=(5, 1))))
    assert one(proof).figures.first_m == 0
    assert proof.needs[0].probability == 1


def test_who_never_comes_into_reach() -> None:
    proof = prove(room(front(1.0), at=(1, 7)))
    assert one(proof).figures.first_m == np.inf
    assert first_words(one(proof).figures.first_m) == "never"
    assert proof_json(proof)["needs"][0]["places"][0]["first_m"] is None
    assert not with_chances(proof).needs[0].probability


def test_units_of_another_room_do_not_count() -> None:
    """The corridor's unit sees through nothing; that of the room is what must notice. Each side is a way in."""
    corridor = {"name": "Corridor", "outline": [[0, -3], [10, -3], [10, 0], [0, 0]], "height": 3, "walls": "brick-100"}
    units = [detector((5, 4), 3, ACROSS, "R"), detector((5, -1.5), 3, ACROSS, "C")]
    needs = [front(1.9), {"name": "all", "doors_of": "all", "first_within": 1.9},
             {"name": "room", "doors_of": ["Room"], "first_within": 1.9}]  # fmt: skip
    proof = prove(scene(rooms=[ROOM, corridor], detectors=units, needs=needs))
    both, every, into = proof.needs
    names = [place.site.name for place in both.places]
    assert names == ["Front door into Room", "Front door into Corridor"] == [p.site.name for p in every.places]
    assert [place.site.own for place in both.places] == [("R",), ("C",)]
    assert [place.site.name for place in into.places] == ["Front door into Room"]
    assert both.places[1].figures.first_m == 0
    assert both.places[0].figures.first_m == pytest.approx(1.828, abs=0.013)


def test_what_stands_in_the_way() -> None:
    """A cupboard 2 m in: straight on one comes 0.25 m short of it; a corner's door has no way into the corner."""
    cupboard = {"name": "Cupboard", "centre": [5, 2.5], "size": [1, 1, 2], "material": "timber"}
    made = room(solids=[cupboard])
    (entrance,) = Entrances(made, build(made)).named("Front door", 1.0)
    assert [line.words for line in entrance.lines] == ["straight on", "45° to the left", "45° to the right"]
    assert entrance.lines[0].free_m == pytest.approx(1.75)
    corner = room(room={"openings": [{**DOOR, "edge": 0, "at": 0.1, "name": "Front door"}]})
    (entrance,) = Entrances(corner, build(corner)).named("Front door", 1.0)
    assert [line.words for line in entrance.lines] == ["straight on", "45° to the right"]


def test_a_door_looked_at_in_some_of_its_steps() -> None:
    """Every tenth step of 12 mm: the same figures to 0.12 m, margins of the steps chosen."""
    proof = prove(room(front(1.9)))
    place, situation = one(proof), proof.needs[0].situation
    chosen = np.arange(0, len(place.site), 10)
    some = place.site.some(chosen).some(np.arange(len(chosen)))
    margin = situation.margin_db(situation.units[0], some)
    assert margin == pytest.approx(place.margin_db[0][chosen])
    found = figures_of(proof.needs[0].need, some, margin)
    assert found.first_m == pytest.approx(place.figures.first_m, abs=0.12)
    assert found.line == place.figures.line


def test_what_would_mend_a_door_is_cast_along_its_lines() -> None:
    """Hung 1.6 m further toward the door the unit reaches the threshold: noticed after 0 m. As it is, after 1.83 m."""
    proof = prove(room(front(1.0), {"name": "met", "doors_of": ["Room"], "first_within": 1.9}))
    bench = Bench(cases_of(proof, "D1"), proof.needs[0])
    unit = proof.needs[0].situation.units[0]
    still = bench.try_unit(unit)
    assert [case.name for case in still.still] == ["Front door"]
    assert still.lack == pytest.approx(0.828, abs=0.013)
    nearer = bench.try_unit(replace(unit, position=unit.position - [0, 1.6, 0]))
    assert [case.name for case in nearer.mended] == ["Front door"]
    assert not nearer.broken


@pytest.mark.parametrize(
    ("need", "words"),
    [
        ({"door": "Frontdoor", "first_within": 1}, 'did you mean "Front door"?'),
        ({"doors_of": ["Rom"], "first_within": 1}, 'did you mean "Room"?'),
        ({"door": "Front door"}, "first_within goes with door or doors_of"),
        ({"rooms": "all", "first_within": 1}, "first_within goes with door or doors_of"),
        ({"door": "Front door", "first_within": 0}, "first_within"),
        ({"door": "Front door", "first_within": 1, "share": 0.9}, "share says nothing"),
        ({"door": "Front door", "first_within": 1, "never": True}, "never says nothing"),
        ({"door": "Front door", "doors_of": "all", "first_within": 1}, "one sort of place"),
    ],
)
def test_what_is_wrong(need: dict[str, Any], words: str) -> None:
    with pytest.raises(InputError) as error:
        prove(room({"name": "n", **need}))
    assert words in str(error.value)
