"""Whose units count at aisles and zones, and who trips whom: figures worked out by hand.

What the published sets ask: aisleways that control nothing beyond themselves (IECC 2015/2018 C405.2.1.2 [V]), zones of
at most 55 m² (IECC 2018 C405.2.1.3 [2nd]).
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from small_scenes import detector, pattern, scene

from raycover.draw.page import Page
from raycover.draw.proof_matrix import draw_matrix, matrix_parts
from raycover.errors import InputError
from raycover.exchange.proof import proof_json
from raycover.proving.matrices import NEITHER, UNWANTED, WANTED, Matrix
from raycover.proving.needs import Proof, prove
from raycover.proving.proof_words import assumptions, cell_words, matrix_words, way_words

#: Sees 4 m by 7 m about itself at 0.3 m, the lowest height of a person, and less higher up.
FIELD = pattern({"rectangle": {"length": 4, "width": 7}}, mounting=3, plane=0.3)
OFFICE = {"name": "Office", "outline": [[0, 0], [12, 0], [12, 7], [0, 7]], "height": 3, "walls": "none"}
ZONES = [
    {"name": "West", "detectors": ["A", "B"], "area": [[0, 0], [7, 0], [7, 7], [0, 7]]},
    {"name": "East", "detectors": ["C"], "area": [[7, 0], [12, 0], [12, 7], [7, 7]]},
]


def office(*needs: dict[str, Any], zones: list[dict[str, Any]] = ZONES) -> Any:
    """A sees x from 0 to 4 m, B 4 to 8 m, C 8.5 to 12 m, D, of no zone, 9 to 12 m: all from wall to wall.

    So West is seen whole by its own, East from 8.5 m on: 3.5 of 5 m. B is tripped from 1 of 5 m of East.
    """
    places = {"A": 2, "B": 6, "C": 10.5, "D": 11}
    units = [detector((x, 3.5), 3, FIELD, name) for name, x in places.items()]
    return scene(rooms=[OFFICE], detectors=units, zones=zones, needs=list(needs), grid=0.1)


def office_proof() -> Proof:
    return prove(office({"set": "office zones"}))


def test_zones_by_hand() -> None:
    proof = office_proof()
    size, seen, others = proof.needs
    assert [need.met for need in proof.needs] == [True, False, False]
    assert [place.figures.area_m2 for place in size.places] == pytest.approx([49, 35])
    assert way_words(size, size.places[0]) == "49.0 m²"
    assert [place.figures.share for place in seen.places] == pytest.approx([1, 0.7], abs=0.01)
    assert [[seen.situation.units[k].name for k in place.units] for place in seen.places] == [["A", "B"], ["C"]]
    assert [[others.situation.units[k].name for k in place.units] for place in others.places] == [["C"], ["A", "B"]]
    assert [place.met for place in others.places] == [True, False]
    assert others.places[1].figures.share == pytest.approx(0.2, abs=0.01)
    assert any("never a statement of compliance" in said for said in assumptions(proof))


def test_who_trips_whom_by_hand() -> None:
    (matrix,) = office_proof().matrices
    assert matrix.title == "office zones"
    assert (matrix.rows, matrix.units) == (("West", "East"), ("A", "B", "C", "D"))
    want = [[4 / 7, 3 / 7, 0, 0], [0, 0.2, 0.7, 0.6]]
    assert matrix.share == pytest.approx(np.array(want), abs=0.01)
    kinds = [[WANTED, WANTED, UNWANTED, NEITHER], [UNWANTED, UNWANTED, WANTED, NEITHER]]
    assert matrix.kind.tolist() == kinds
    assert [(row, unit) for row, unit, _ in matrix.crossing] == [("East", "B")]
    assert matrix_words(matrix) == "1 unwanted trip, the worst B from 20 % of East"
    found = proof_json(office_proof())["matrices"][0]
    assert found["detectors"] == ["A", "B", "C", "D"]
    assert found["kind"][1] == ["unwanted", "unwanted", "wanted", "neither"]
    assert found["share"][1][1] == pytest.approx(0.2, abs=0.01)


def test_the_others_are_those_of_every_zone_not_only_of_those_named() -> None:
    """B hangs over West and is tripped from 1 of 5 m of East: asked of East by itself it is no less so."""
    (need,) = prove(office({"name": "East", "zones": ["East"], "whose": "others", "never": True})).needs
    assert [[need.situation.units[k].name for k in place.units] for place in need.places] == [["A", "B"]]
    assert not need.met
    assert need.places[0].figures.share == pytest.approx(0.2, abs=0.01)


def test_a_zone_larger_than_the_code_says() -> None:
    """7 × 8 = 56 m² is more than 55; a zone of a whole room is as large as the room."""
    zones = [{"name": "Z", "detectors": ["A"], "area": [[0, 0], [8, 0], [8, 7], [0, 7]]},
             {"name": "All", "detectors": ["B"], "rooms": ["Office"]}]  # fmt: skip
    proof = prove(office({"name": "size", "zones": "all", "largest_area": 55}, zones=zones))
    places = proof.needs[0].places
    assert [place.figures.area_m2 for place in places] == pytest.approx([56, 84])
    assert not any(place.met for place in places)
    assert not proof.matrices  # nobody asked whose units count


@pytest.mark.parametrize(
    ("need", "zone", "words"),
    [
        ({"zones": ["Wast"]}, {}, 'did you mean "West"?'),
        ({"zones": ["West"]}, {"area": None}, 'zone "West" does not say its floor'),
        ({"zones": "all"}, {"rooms": ["Ofice"]}, 'zone "West": unknown room "Ofice"'),
        ({"zones": "all"}, {"area": [[20, 0], [22, 0], [22, 2]]}, "lies outside its rooms"),
        ({"zones": "all"}, {"area": [[0, 0], [4, 4], [4, 0], [0, 4]]}, "crosses or touches itself at (2, 2)"),
        ({"area": [[0, 0], [4, 0], [4, 4]], "whose": "own"}, {}, "whose goes with aisles"),
        ({"rooms": "all", "whose": "others"}, {}, "only own units are told apart"),
        ({"rooms": "all", "largest_area": 4}, {}, "largest_area goes with zones only"),
    ],
)
def test_what_is_wrong_with_zones(need: dict[str, Any], zone: dict[str, Any], words: str) -> None:
    changed = {key: value for key, value in {**ZONES[0], **zone}.items() if value is not None}
    with pytest.raises(InputError) as error:
        office({"name": "n", **need}, zones=[changed, ZONES[1]])
    assert words in str(error.value)


def test_a_set_of_zones_without_zones() -> None:
    with pytest.raises(InputError, match="the scene has no zones"):
        office({"set": "office zones"}, zones=[])


#: Two aisles 3 m by 8.5 m (three bays of 2.7 m) between empty racks, x from 3 to 11.5 m; y from 3 to 6 and 8.4 to 11.4.
RACKS = [
    {"name": "R1", "at": [11.5, 3], "turn_deg": 180, "bays": 3, "levels": 2, "goods": False},
    {"name": "R2", "at": [3, 6], "bays": 3, "levels": 2, "goods": False, "back_to_back": True, "flue_gap": 0.2},
    {"name": "R3", "at": [3, 11.4], "bays": 3, "levels": 2, "goods": False},
]
HALL = {"name": "Hall", "outline": [[0, 0], [15, 0], [15, 14], [0, 14]], "height": 6, "walls": "none"}


def store(length: float, *needs: dict[str, Any]) -> Any:
    """U1 over the middle of the first aisle, U2 of the second; each sees `length` by 3 m, 0.3 m up."""
    made = pattern({"rectangle": {"length": length, "width": 3}}, mounting=5, plane=0.3)
    across = pattern({"rectangle": {"length": 2.8, "width": 13}}, mounting=5)
    units = [detector((7.25, 4.5), 5, made, "U1"), detector((7.25, 9.9), 5, made, "U2"),
             detector((1.5, 7), 5, across, "Cross")]  # fmt: skip
    asked = list(needs) or [{"set": "aisle independence"}]
    return scene(rooms=[HALL], racking=RACKS, detectors=units, needs=asked, grid=0.1)


def test_aisles_that_are_independent() -> None:
    """A field as long as the aisle: all of it, and nothing beyond."""
    proof = prove(store(8.5))
    assert [need.met for need in proof.needs] == [True, True, True]
    (matrix,) = proof.matrices
    assert matrix.rows == ("R1/R2", "R2/R3", "Hall, beyond the aisles")
    assert matrix.units == ("U1", "U2", "Cross")
    assert matrix.share[[0, 1], [0, 1]].min() == 1
    assert not matrix.crossing
    # of 15 × 14 m² less two aisles of 8.5 × 3 and racks of 8.5 × 1.1 (R2: 2.4) m²
    assert matrix.area_m2[2] == pytest.approx(210 - 51 - 8.5 * 4.6, abs=0.6)
    assert matrix.share[2, 2] > 0.2
    assert matrix.kind[2].tolist() == [UNWANTED, UNWANTED, NEITHER]


def test_a_unit_that_sees_past_the_end_of_its_aisle() -> None:
    """A field 2 m longer is tripped from the cross aisles, in no way from the next aisle behind empty steel."""
    proof = prove(store(10.5))
    seen, others, beyond = proof.needs
    assert seen.met
    assert not beyond.met
    (matrix,) = proof.matrices
    assert {unit for _, unit, _ in matrix.crossing} == {"U1", "U2"}
    assert matrix.share[2, 0] * matrix.area_m2[2] == pytest.approx(6.0, abs=0.1)  # 1 m at each end, 3 m wide
    assert others.met
    assert not matrix.unwanted[:2].any()


def test_the_others_are_those_of_every_aisle_not_only_of_those_named() -> None:
    asked = {"name": "First", "aisles": ["R1/R2"], "whose": "others", "never": True}
    (need,) = prove(store(8.5, asked)).needs
    assert [[need.situation.units[k].name for k in place.units] for place in need.places] == [["U2"]]


def test_words_of_a_cell() -> None:
    assert [cell_words(0.98, WANTED), cell_words(0.0, WANTED)] == ["98 %", "0 %"]
    assert [cell_words(0.04, UNWANTED), cell_words(0.0, UNWANTED), cell_words(0.3, NEITHER)] == ["! 4 %", "", "30 %"]


def large(n_rows: int, n_units: int) -> Matrix:
    rows, units = (
        tuple(f"{name} {k}" for k in range(n)) for name, n in (("Aisle with a name", n_rows), ("U", n_units))
    )
    share = np.random.default_rng(1).random((n_rows, n_units)) ** 8
    kind = np.where(np.add.outer(np.arange(n_rows), np.arange(n_units)) % 9 == 0, WANTED, UNWANTED)
    return Matrix("large", rows, units, share, kind.astype(np.int8), np.ones(n_rows), "20 °C")


@pytest.mark.parametrize(("n_rows", "n_units", "pages"), [(2, 4, 1), (13, 30, 1), (60, 70, 9)])
def test_pages_of_a_matrix(n_rows: int, n_units: int, pages: int) -> None:
    """Every row and unit on one page or another, no text over another, wanted and unwanted told apart in grey."""
    from draw.page_texts import assert_texts_are_in_place

    proof = office_proof()
    matrix = large(n_rows, n_units)
    page = Page(dpi=50)
    parts = list(matrix_parts(page, (matrix,)))
    assert len(parts) == pages
    seen = [(r, u) for p in parts for r in matrix.rows[p.rows] for u in matrix.units[p.units]]
    assert len(seen) == len(set(seen)) == n_rows * n_units
    draw_matrix(page, proof, parts[0], (1, pages))
    assert_texts_are_in_place(page)
