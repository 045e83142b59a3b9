"""Several aisles missed, each by another unit: what mends each is told, since no one change mends all."""

from __future__ import annotations

from typing import Any

import pytest
from small_scenes import detector, pattern, scene

from raycover.proving.mending import find_mending
from raycover.proving.mending.mends import Mending
from raycover.proving.mending.then import proof_then
from raycover.proving.mending_words import mend_effect, mending_verdict
from raycover.proving.needs import Proof, prove

#: Four rows of racking from x = 2 m on: four bays of 2.7 m and five frames of 0.1 m make three aisles of 11.3 m.
RACKS = [
    {"name": f"R{k}", "at": [2, y], "bays": 4, "bay_width": 2.7, "depth": 1.0, "levels": 3, "back_to_back": True}
    for k, y in enumerate((0.5, 5.0, 9.5, 14.0), 1)
]  # fmt: skip
HALL = {"name": "Hall", "outline": [[0, 0], [16, 0], [16, 17], [0, 17]], "height": 6, "walls": "steel-panel"}
#: A lens that sees 11.7 m along, 3 m across on the floor: 0.2 m more than an aisle at either end, hung in its middle.
LENS = pattern({"rectangle": {"length": 11.7, "width": 3.4}}, mounting=6)
GRID = 0.2


def store(*along: float) -> Any:
    """Units in the middle of the first aisles, at x = 7.65 m and so many metres on."""
    units = [detector((7.65 + x, 3.75 + 4.5 * k), 6, LENS, f"D{k + 1}") for k, x in enumerate(along)]
    need = {"name": "Aisles", "aisles": ["R1/R2", "R2/R3", "R3/R4"], "height": 0, "whose": "own"}
    return scene(rooms=[HALL], racking=RACKS, detectors=units, needs=[need], grid=GRID)


def found(made: Any) -> tuple[Proof, Mending]:
    proof = prove(made)
    (mending,) = find_mending(proof)
    return proof, mending


def test_a_move_along_the_aisle_closes_each_end() -> None:
    """By hand: 0.8 m off its middle a unit misses the last 0.6 m of its aisle, 0.2 m being to spare.

    A cell counts by its middle, so back by 0.5 m is enough for cells of 0.2 m, and by 1 m is not too much.
    """
    proof, mending = found(store(0.8, -0.8, 0.8))
    assert mending.missed == ("R1/R2", "R2/R3", "R3/R4")
    missed = [place.figures.share for place in proof.needs[0].places]
    assert missed == pytest.approx([1 - 0.6 / 11.3] * 3, abs=0.012)
    assert not mending.is_mended
    moves = {mend.mended: mend for mend in mending.remedies if mend.kind == "move" and mend.is_harmless}
    then = proof
    for k, (aisle, way) in enumerate((("R1/R2", -1), ("R2/R3", 1), ("R3/R4", -1))):
        move = moves[aisle,]
        assert move.unit == f"D{k + 1}"
        by = way * (move.keys["at"][0] - proof.needs[0].situation.units[k].position[0])
        assert 0.5 - 1e-6 <= by <= 1.0 + 1e-6
        assert f"mends {aisle}" in mend_effect(move)
        then = proof_then(then, move)
    assert then.met
    said = mending_verdict(mending)
    assert said.startswith("No single change mends all 3 places (")
    assert "A change of its own is listed for R1/R2, R2/R3 and R3/R4." in said
    assert "Nothing tried" not in said


def test_where_one_aisle_has_no_unit_the_others_are_told_all_the_same() -> None:
    """The third aisle asks for one more unit, the first two for a move."""
    proof, mending = found(store(0.8, -0.8))
    told = {(mend.mended, mend.kind) for mend in mending.remedies if mend.is_harmless}
    assert {(("R1/R2",), "move"), (("R2/R3",), "move"), (("R3/R4",), "one more")} <= told
    for mend in mending.remedies:  # a proof with it done says what is told, of places of other units, too
        after = proof_then(proof, mend).needs[0].places
        assert {place.site.name for place in after if not place.met} == {name for name, _ in mend.still}
        assert {*mend.mended, *(name for name, _ in mend.still)} == set(mending.missed)
    assert proof.needs[0].places[2].figures.share == 0


def test_words_where_places_are_left() -> None:
    proof, mending = found(store(0.8, -0.8, 0.8))
    first = next(mend for mend in mending.remedies if mend.mended == ("R1/R2",))
    left = Mending("Aisles", ("R1/R2", "R2/R3", "R3/R4"), (first,), 120, 1.0, not_tried=("R3/R4",))
    assert mending_verdict(left) == (
        "No single change mends all 3 places (120 tried, alone and in pairs). A change of its own is listed for R1/R2. "
        "Nothing tried mends R2/R3. Not looked at by themselves: R3/R4."
    )
    assert proof.needs[0].need.whose == "own"
