"""Needs judged against margins worked out by hand, and facts of the trade."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from small_scenes import detector, pattern, scene

import raycover
from raycover.proving.firmness import with_chances
from raycover.proving.needs import PlaceVerdict, Proof, prove
from raycover.solving.doubt import MET_FIRMLY, NOT_MET

#: A microwave unit 1 m up that sees all round: declared 14 m across on the floor, so √(7² + 1²) = 7.0711 m slant.
SLANT = np.sqrt(50.0)
UNIT = pattern({"circle": {"diameter": 14}}, mounting=1, motion="radial", frequency_ghz=5.8, reach_behind=1)
BIG = {"name": "Hall", "outline": [[0, 0], [20, 0], [20, 8], [0, 8]], "height": 3, "walls": "none"}
COHERENT = {"losses": "coherent"}


def spot(x: float, y: float, name: str = "spot", **more: Any) -> dict[str, Any]:
    """A need on one cell of 20 mm about (x, y), 1 m up, where the unit's ray runs level."""
    h = 0.01
    outline = [[x - h, y - h], [x + h, y - h], [x + h, y + h], [x - h, y + h]]
    return {"name": name, "area": outline, "height": 1, **more}


def one(proof: Proof, need: int = 0) -> PlaceVerdict:
    return proof.needs[need].places[0]


@pytest.mark.parametrize(
    ("x", "distance", "loss"),
    [
        # 13 mm chipboard (which stands for the laminate) at 5.8 GHz, coherent: 1.42 dB square on, 1.83 dB at 45°
        # (mean of polarisations). PHYSICS table of slab losses [C].
        (3.0, 3.0, 1.42),
        (6.0, 3.0 * np.sqrt(2), 1.83),
    ],
)
def test_a_person_in_a_cubicle_by_hand(x: float, distance: float, loss: float) -> None:
    """Open distance and one laminate front, at its incidence: 40·log10(7.0711/s) − 2·L."""
    row = {"name": "WC", "at": [2, 6], "turn_deg": 0, "count": 1, "width": 6, "depth": 1.5}
    # seen from the rear wall's side: the front stands at y = 4.5 + 3 of a row turned about
    row = {**row, "at": [8, 6], "turn_deg": 180, "door_width": 0.6}
    made = scene(rooms=[BIG], cubicles=[row], conditions=COHERENT, detectors=[detector((3, 2), 1, UNIT)],
                 needs=[spot(x, 5.0)])  # fmt: skip
    place = one(prove(made))
    assert place.figures.worst_db == pytest.approx(40 * np.log10(SLANT / distance) - 2 * loss, abs=0.025)
    assert place.met
    assert place.way is not None
    assert place.way.words.startswith("through laminate panel WC/front 1")
    assert place.way.words.endswith(f"{loss:.1f} dB")


@pytest.mark.parametrize(("distance", "met"), [(5.0, False), (7.4, False), (7.7, True)])
def test_a_never_area_behind_plasterboard_by_hand(distance: float, met: bool) -> None:
    """12.5 mm plasterboard, 0.92 dB square on [C]: 3 dB clear from 7.0711·10^((3 − 1.84)/40) = 7.559 m on."""
    wall = {"name": "Wall", "line": [[4, 0], [4, 8]], "height": 3, "construction": "plasterboard-12.5"}
    made = scene(rooms=[BIG], partitions=[wall], conditions=COHERENT, detectors=[detector((1, 4), 1, UNIT)],
                 needs=[spot(1 + distance, 4, never=True)])  # fmt: skip
    place = one(prove(made))
    assert place.figures.worst_db == pytest.approx(40 * np.log10(SLANT / distance) - 2 * 0.92, abs=0.02)
    assert place.met is met
    if distance == 5.0:
        assert place.way is not None
        assert place.way.words == "through plasterboard partition Wall, 0.9 dB"


def test_a_never_area_outside_every_room() -> None:
    """The street: nothing of the scene but a wall between. The unit's own room ends at x = 20."""
    made = scene(rooms=[BIG], detectors=[detector((19, 4), 1, UNIT)], needs=[spot(22, 4, never=True)])
    assert one(prove(made)).figures.worst_db == pytest.approx(40 * np.log10(SLANT / 3), abs=1e-3)


def test_only_the_units_named_count() -> None:
    units = [detector((2, 4), 1, UNIT, "near"), detector((18, 4), 1, UNIT, "far")]
    proof = prove(scene(rooms=[BIG], detectors=units, needs=[spot(4, 4), spot(4, 4, "b", detectors=["far"])]))
    assert [need.met for need in proof.needs] == [True, False]
    way = one(proof, 1).way
    assert way is not None
    assert way.words == f"{14 - SLANT:.1f} m beyond the reach"


def test_share_and_gap_of_an_area_by_hand() -> None:
    """A strip 0.2 m wide from 0 to 10 m off a unit that reaches 7 m on the floor: 70 %, a gap 0.2 m wide."""
    omni = pattern({"circle": {"diameter": 14}}, mounting=3, motion="radial", frequency_ghz=5.8)
    strip = {"name": "strip", "area": [[0, 3.9], [10, 3.9], [10, 4.1], [0, 4.1]], "height": 0}
    needs = [{**strip, "name": "a", "share": 0.69}, {**strip, "name": "b", "share": 0.71},
             {**strip, "name": "c", "largest_gap": 0.25}, {**strip, "name": "d", "largest_gap": 0.15}]  # fmt: skip
    proof = prove(scene(rooms=[BIG], grid=0.05, detectors=[detector((0.01, 4), 3, omni)], needs=needs))
    assert one(proof).figures.share == pytest.approx(0.7, abs=0.006)
    assert one(proof).figures.largest_gap_m == pytest.approx(0.2, abs=0.01)
    assert [need.met for need in proof.needs] == [True, False, True, False]


def test_doors_of_cubicles_stand_as_asked() -> None:
    """An infrared unit before the door sees in only where it stands open."""
    row = {"name": "WC", "at": [8, 6], "turn_deg": 180, "count": 1, "width": 1.6, "depth": 1.5, "door_width": 1.4,
           "opens": "outward", "top": 2.9, "floor_gap": 0.01}  # fmt: skip
    unit = detector((7.2, 3), 2.4, pattern({"circle": {"diameter": 12}}, mounting=2.4))
    needs = [{"name": n, "cubicles": ["WC"], "doors": n, "heights": [0.5], "share": 0.5} for n in ("open", "closed")]
    proof = prove(scene(rooms=[BIG], cubicles=[row], detectors=[unit], needs=needs))
    assert [need.met for need in proof.needs] == [True, False]
    way = one(proof, 1).way
    assert way is not None
    assert way.words == "hidden by WC/door 1"


def test_needs_in_their_states() -> None:
    """What stands in the way in one state only."""
    wall = {"name": "Wall", "line": [[4, 0], [4, 8]], "height": 3, "construction": "steel-panel"}
    states = [{"name": "wall away", "set": {"Wall": "absent"}}]
    needs = [spot(6, 4, "shut"), spot(6, 4, "away", state="wall away")]
    made = scene(rooms=[BIG], partitions=[wall], states=states, detectors=[detector((2, 4), 1, UNIT)], needs=needs)
    assert [need.met for need in prove(made).needs] == [False, True]
    assert [need.met for need in prove(made, state="wall away").needs] == [True, True]
    assert [need.need.name for need in prove(made, state="as drawn").needs] == ["shut"]


def test_seats() -> None:
    """Presence on seats: a detector that declares none notices nobody seated."""
    desks = {"name": "Row", "at": [4, 4], "count": 2, "seat": True}
    made = scene(
        rooms=[BIG], desks=[desks], detectors=[detector((5, 4), 1, UNIT)], needs=[{"name": "s", "desks": ["Row"]}]
    )
    proof = prove(made)
    assert [place.site.kind for place in proof.needs[0].places] == ["seat", "seat"]
    assert not proof.met
    way = one(proof).way
    assert way is not None
    assert way.words == "no such motion is declared"


def test_a_scene_without_detectors_meets_nothing_but_never() -> None:
    proof = prove(scene(rooms=[BIG], needs=[spot(4, 4), spot(4, 4, "b", never=True)]))
    assert [need.met for need in proof.needs] == [False, True]
    assert one(proof).way is None


def test_ready_made_needs(washroom: Any) -> None:
    """Common practice, no source: a microwave unit in the middle of a washroom sees into cubicles, doors closed."""
    bare = raycover.load(washroom.path).model_copy(update={"needs": []})
    proof = prove(bare)
    assert proof.assumed
    assert proof.met
    assert [place.site.name for place in proof.needs[0].places] == ["WC 1", "WC 2", "WC 3", "WC 4"]
    assert {place.way.unit for place in proof.needs[0].places if place.way} == {"H1"}
    assert proof.needs[0].need.doors == "closed"


def test_every_flight_and_landing(stairwell: Any) -> None:
    """Common practice, no source: microwave serves a stairwell. Six pieces, each judged on its own treads."""
    proof = prove(raycover.load(stairwell.path).model_copy(update={"needs": []}))
    kinds = [place.site.kind for place in proof.needs[0].places]
    assert kinds == ["flight", "landing", "flight"] * 2
    assert proof.met
    treads = proof.needs[0].places[0].site
    assert treads.area.sum() == pytest.approx(9 * 0.28 * 1.2)  # ten risers to the landing: nine treads
    assert np.unique(np.round(treads.ground[:, 2], 3)) == pytest.approx(np.arange(1, 10) * 0.16)


def test_a_way_by_a_mirror_in_words() -> None:
    """A steel screen hides the spot; a steel wall 3 m beside both mirrors: unfolded 2·√(2² + 3²) = 7.211 m, no loss."""
    screen = {"name": "Screen", "line": [[10, 3], [10, 5]], "height": 3, "construction": "steel-panel"}
    mirror = {"name": "Mirror", "line": [[2, 7], [18, 7]], "height": 3, "construction": "steel-panel"}
    needs = [spot(12, 4, never=True), spot(12, 4, "seen")]
    made = scene(rooms=[BIG], partitions=[screen, mirror], conditions={**COHERENT, "reflections": 1},
                 detectors=[detector((8, 4), 1, UNIT)], needs=needs)  # fmt: skip
    never, seen = (one(prove(made), k) for k in (0, 1))
    assert never.figures.worst_db == pytest.approx(40 * np.log10(SLANT / (2 * np.hypot(2, 3))), abs=0.01)
    assert never.way is not None
    assert never.way.by is not None
    assert (never.way.by.object, never.way.by.loss_db) == ("Mirror", pytest.approx(0.0, abs=1e-6))
    assert "by steel partition Mirror, 0.0 dB" in never.way.words
    assert never.way.words.startswith("hidden by Screen")
    assert not seen.met


@pytest.mark.parametrize(("x", "chance"), [(4.0, 1.0), (19.0, 0.0)])
def test_chances_of_what_is_sure(x: float, chance: float) -> None:
    """2 m off a unit that reaches 7 m is 22 dB over the limit, 17 m off 15 dB under: no case of a spread of 4 dB."""
    made = scene(rooms=[BIG], doubt={"cases": 64}, detectors=[detector((2, 4), 1, UNIT)],
                 needs=[spot(x, 4), spot(x, 4, "b", never=True)])  # fmt: skip
    proof = with_chances(prove(made))
    assert proof.n_cases == 64
    assert proof.needs[0].probability == pytest.approx(chance, abs=0.02)
    assert proof.needs[1].probability == pytest.approx(1 - chance, abs=0.02)
    firm, missed = (MET_FIRMLY, NOT_MET) if chance else (NOT_MET, MET_FIRMLY)
    assert [need.words for need in proof.needs] == [firm, missed]
