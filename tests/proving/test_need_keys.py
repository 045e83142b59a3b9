"""`by`, `ambient_c`, `aisles` and `all` of needs, against figures worked out by hand."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import shapely
from small_scenes import detector, pattern, scene

from raycover.building.aisles import Aisle, find_aisles
from raycover.building.build import build
from raycover.errors import InputError
from raycover.physics.infrared import contrast_factor
from raycover.proving.firmness import with_chances
from raycover.proving.needs import PlaceVerdict, Proof, prove
from raycover.proving.proof_words import asked_words, way_words

HALL = {"name": "Hall", "outline": [[0, 0], [20, 0], [20, 8], [0, 8]], "height": 3, "walls": "none"}
#: Reaches 5 m in plan on the floor, 3 m below it: √(5² + 3²) = 5.831 m slant.
ROUND = pattern({"circle": {"diameter": 10}}, mounting=3, motion="radial", frequency_ghz=5.8)
WARM = pattern({"circle": {"diameter": 10}}, mounting=3)
STRIP = {"name": "strip", "area": [[0, 3.9], [10, 3.9], [10, 4.1], [0, 4.1]], "height": 0}


def one(proof: Proof, need: int = 0) -> PlaceVerdict:
    return proof.needs[need].places[0]


def spot(x: float, name: str, **more: Any) -> dict[str, Any]:
    h = 0.01
    return {"name": name, "area": [[x - h, 4 - h], [x + h, 4 - h], [x + h, 4 + h], [x - h, 4 + h]], "height": 0, **more}


def two_units(*needs: dict[str, Any], **more: Any) -> Any:
    """A at x = 2 sees 0 to 7 m of the strip, B at x = 9 sees 4 to 10 m: both see 4 to 7 m, 30 %."""
    units = [detector((2, 4), 3, ROUND, "A"), detector((9, 4), 3, ROUND, "B")]
    return scene(rooms=[HALL], grid=0.05, detectors=units, needs=list(needs), doubt={"cases": 64}, **more)


def test_two_units_at_every_spot_by_hand() -> None:
    """Share 0.3; the worst spot is at x = 0.025, 8.975 m from B: √(8.975² + 3²) − 5.831 = 3.63 m beyond its reach."""
    needs = [{**STRIP, "share": 0.29, "by": 2}, {**STRIP, "name": "b", "share": 0.31, "by": 2}, {**STRIP, "name": "c"},
             {**STRIP, "name": "d", "by": 2, "largest_gap": 0.15}]  # fmt: skip
    proof = prove(two_units(*needs))
    assert [need.met for need in proof.needs] == [True, False, True, False]
    place = one(proof)
    assert place.figures.share == pytest.approx(0.3, abs=1e-6)
    # the gaps are 4 m and 3 m of a strip 0.2 m wide
    assert place.figures.largest_gap_m == pytest.approx(0.2, abs=0.01)
    assert place.figures.worst_db == pytest.approx(40 * np.log10(np.sqrt(34) / np.hypot(8.975, 3)), abs=2e-3)
    assert place.way is not None
    assert (place.way.unit, place.way.words) == ("B", "3.6 m beyond the reach")
    assert place.way.at[0] == pytest.approx(0.025)
    assert asked_words(proof.needs[0].need) == "29 % of it seen by 2 units"


def test_chances_of_two_units() -> None:
    """One unit sees the spot in every case, both together in none: B is 10 dB short, s.d. of a case about 4 dB."""
    proof = with_chances(prove(two_units(spot(2.0, "one"), spot(0.1, "two", by=2), spot(5.5, "both", by=2))))
    assert proof.needs[0].probability == 1
    assert proof.needs[1].probability == pytest.approx(0, abs=0.05)
    # 3.5 m from either, 40·log10(5.831/4.61) = 4.1 dB over: each in about 85 of 100 cases, both in fewer
    alone = with_chances(prove(two_units(spot(5.5, "A", detectors=["A"])))).needs[0].probability
    assert alone is not None
    assert 0.5 < (proof.needs[2].probability or 0) <= alone


def test_more_units_than_there_are() -> None:
    made = two_units({**STRIP, "by": 3})
    (warning,) = made.warnings
    assert (warning.code, warning.position.line) == ("by-too-many", 1)
    proof = prove(made)
    place = one(proof)
    assert not proof.met
    assert (place.figures.share, place.way) == (0.0, None)
    assert way_words(proof.needs[0], place) == "only 2 units for it"
    assert with_chances(proof).needs[0].probability == 0


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"by": 0}, "at least 1, got 0"),
        ({"by": 21}, "at most 20, got 21"),
        ({"by": 1.5}, "by"),
        ({"by": 2, "detectors": ["A"]}, "by: 2 asks for more units than the 1 that count"),
        ({"by": 2, "never": True}, "never takes no by"),
        ({"ambient_c": 51}, "at most 50, got 51"),
        ({"ambient_c": -31}, "at least -30, got -31"),
    ],
)
def test_figures_that_cannot_be(more: dict[str, Any], words: str) -> None:
    with pytest.raises(InputError) as error:
        two_units({**STRIP, **more})
    assert words in str(error.value)


def test_in_warm_air_by_hand() -> None:
    """Slant reach goes with √k (PHYSICS §3, Planck 8 to 14 µm; k at 30 °C from `physics.infrared`, tested there).

    4 m off in plan on the floor, 5 m slant: 5.831·√0.3665 = 3.530 m are reached, so 1.47 m are lacking.
    """
    warm = [spot(x, f"at {x}", ambient_c=30) for x in (6, 3, 9)]
    needs = [spot(6, "cool"), *warm]
    made = scene(rooms=[HALL], detectors=[detector((2, 4), 3, WARM, "A")], needs=needs)
    assert [w.code for w in made.warnings] == ["warm-air"] * 3
    proof = prove(made)
    assert [need.met for need in proof.needs] == [True, False, True, False]
    k = float(contrast_factor(30.0))
    assert one(proof, 1).figures.worst_db == pytest.approx(40 * np.log10(np.sqrt(34) / 5) + 20 * np.log10(k), abs=1e-6)
    assert 5 - np.sqrt(34 * k) == pytest.approx(1.47, abs=0.005)
    ways = [one(proof, k).way for k in range(4)]
    assert [way.words for way in ways if way is not None] == [
        "free sight", "1.5 m beyond the reach at 30 °C", "free sight", "outside the lens",
    ]  # fmt: skip
    assert [need.situation.scene.conditions.ambient_c for need in proof.needs] == [20, 30, 30, 30]
    assert proof.needs[1].situation is proof.needs[2].situation
    assert "air at 30 °C" in asked_words(proof.needs[1].need)


def test_warm_air_is_no_matter_to_microwave() -> None:
    made = two_units(spot(6, "a"), spot(6, "b", ambient_c=35))
    assert not made.warnings
    proof = prove(made)
    assert one(proof, 0).figures.worst_db == one(proof, 1).figures.worst_db


#: R1 faces north along y = 3 from x = 3 to 8.7 (two bays of 2.7 m between uprights of 0.1 m), R2 south along y = 6
#: from x = 4 to 6.9 (one bay): both face 2.9 m of an aisle 3 m wide.
R1 = {"name": "R1", "at": [8.7, 3], "turn_deg": 180, "bays": 2, "levels": 2}
R2 = {"name": "R2", "at": [4, 6], "bays": 1, "levels": 2}
#: Faces the wall along y = 0, 3 m away, alone.
R3 = {"name": "R3", "at": [12, 3], "bays": 1, "levels": 2}
STORE = {**HALL, "height": 6, "walls": "brick-215"}


def aisles(*racks: dict[str, Any], walls: Any = "brick-215") -> dict[str, Aisle]:
    made = scene(rooms=[{**STORE, "walls": walls}], racking=list(racks))
    return {aisle.name: aisle for aisle in find_aisles(build(made))}


def turned(rack: dict[str, Any], angle: float) -> dict[str, Any]:
    x, y = rack["at"]
    c, s = np.cos(np.radians(angle)), np.sin(np.radians(angle))
    return {**rack, "at": [c * x - s * y, s * x + c * y], "turn_deg": rack.get("turn_deg", 0) + angle}


@pytest.mark.parametrize("angle", [0.0, 30.0, 90.0])
def test_an_aisle_between_two_racks_by_hand(angle: float) -> None:
    """2.9 m by 3 m; loads stand out 50 mm from either frame (the default overhang): 2.9 × 2.9 = 8.41 m² clear."""
    big = {"name": "Yard", "outline": [[-30, -30], [30, -30], [30, 30], [-30, 30]], "height": 6,
           "walls": "none"}  # fmt: skip
    made = scene(rooms=[big], racking=[turned(R1, angle), turned(R2, angle)])
    (aisle,) = find_aisles(build(made))
    assert aisle.name == "R1/R2"
    assert shapely.Polygon(aisle.corners).area == pytest.approx(2.9 * 3)
    assert aisle.outline.area == pytest.approx(2.9 * 2.9)
    assert {"R2/R1", "Aisle R1 to R2"} < set(aisle.names)
    empty = scene(rooms=[big], racking=[turned({**r, "goods": False}, angle) for r in (R1, R2)])
    assert find_aisles(build(empty))[0].outline.area == pytest.approx(2.9 * 3)
    # Found once; a building made of another finds its own.
    building = build(empty)
    assert find_aisles(building) is find_aisles(building)
    between = find_aisles(building, walls=False)
    assert [aisle.name for aisle in between] == [a.name for a in find_aisles(building) if len(a.racks) > 1]
    assert find_aisles(replace(building, racks=())) == ()


def test_aisles_beside_walls() -> None:
    assert sorted(aisles(R1, R2, R3)) == ["R1/R2", "R3/wall 0"]
    assert aisles(R3)["R3/wall 0"].outline.bounds == pytest.approx((12, 0, 14.9, 2.95))
    assert not aisles(R3, walls="none")
    assert not aisles({**R3, "at": [12, 4.1]})  # 4.1 m to the wall is open floor
    # R1 looks at the far wall 5 m away: open floor, too; 3.9 m is an aisle
    assert sorted(aisles({**R1, "at": [8.7, 4.1]})) == ["R1/wall 2"]


def test_what_is_no_aisle() -> None:
    assert not aisles(R1, {**R2, "at": [9, 6]})  # side by side, nothing faces
    assert not aisles(R1, {**R2, "at": [4, 3.9]}, walls="none")  # 0.9 m: nobody drives there
    assert not aisles(R1, {**R2, "turn_deg": 90}, walls="none")
    # R2 stands between R1 and a rack behind it, which only its far part faces: 6.9 to 8.7 m is shorter than 2 m
    behind = {"name": "R4", "at": [3, 7.9], "bays": 2, "levels": 2}
    assert sorted(aisles(R1, R2, behind, walls="none")) == ["R1/R2"]
    longer = {**R1, "at": [11.5, 3], "bays": 3}  # x from 3 to 11.5
    found = aisles(longer, R2, {**behind, "bays": 3}, walls="none")
    assert sorted(found) == ["R1/R2", "R1/R4"]
    assert found["R1/R4"].corners[:, 0].min() == pytest.approx(6.9)


def test_aisles_as_places() -> None:
    """A unit over the middle reaches 1 m to either side in plan on the floor: 2 of 2.9 m."""
    unit = detector((5.45, 4.5), 5, pattern({"rectangle": {"length": 2, "width": 4}}, mounting=5, plane=0), "D1")
    needs: list[dict[str, Any]] = [
        {"name": "a", "aisles": ["R2/R1"], "height": 0, "share": 0.68},
        {"name": "b", "aisles": "all", "height": 0},
        {"name": "c", "aisles": ["Aisle R1 to R2"], "height": 0, "share": 0.7},
    ]
    made = scene(rooms=[STORE], racking=[R1, R2, R3], detectors=[unit], needs=needs, grid=0.05)
    proof = prove(made)
    place = one(proof)
    assert (place.site.name, place.site.kind) == ("R1/R2", "aisle")
    assert place.site.area.sum() == pytest.approx(8.41)
    assert place.figures.share == pytest.approx(2 / 2.9, abs=0.01)
    assert [need.met for need in proof.needs] == [True, False, False]
    assert [p.site.name for p in proof.needs[1].places] == ["R1/R2", "R3/wall 0"]


@pytest.mark.parametrize(
    ("given", "words"),
    [
        (["R1/R9"], 'aisle "R1/R9": unknown rack "R9"'),
        (["R1"], '"R1" names no aisle'),
        (["R1/R2", "R1/R2"], "stands twice"),
        (["R1/R3"], 'there is no aisle "R1/R3"'),
        (["R3/wall 7"], 'there is no aisle "R3/wall 7"'),
        ("some", "aisles"),
    ],
)
def test_aisles_that_are_not_there(given: Any, words: str) -> None:
    with pytest.raises(InputError) as error:
        prove(scene(rooms=[STORE], racking=[R1, R2, R3], needs=[{"name": "a", "aisles": given}]))
    assert words in str(error.value)


def test_why_there_is_no_aisle() -> None:
    """A row loaded from one side turns its back to the next; 7 m are open floor; a row across faces none."""
    back, far, across = {**R1, "turn_deg": 0, "at": [3, 1.9]}, {**R2, "at": [4, 10]}, {**R2, "turn_deg": 90}
    for racks, words in (((back, R2), "R1 turns its back to R2"), ((R1, far), "they stand 7.00 m apart"),
                         ((R1, across), "do not face each other")):  # fmt: skip
        with pytest.raises(InputError, match=words):
            prove(scene(rooms=[STORE], racking=list(racks), needs=[{"name": "a", "aisles": ["R1/R2"]}]))


def test_all_of_a_kind() -> None:
    """`all` in place of names, and what there is none of."""
    more = {
        "cubicles": [{"name": "WC", "at": [1, 0], "count": 2}], "desks": [{"name": "Row", "at": [10, 4], "seat": True},
        {"name": "Bare", "at": [10, 6]}],
    }  # fmt: skip
    needs = [{"name": k, k: "all"} for k in ("rooms", "cubicles", "desks")]
    other = {**HALL, "name": "Next", "outline": [[0, 8], [9, 8], [9, 12], [0, 12]]}
    proof = prove(scene(rooms=[HALL, other], needs=needs, **more))
    named = [[place.site.name for place in need.places] for need in proof.needs]
    assert named == [["Hall", "Next"], ["WC 1", "WC 2"], ["Row/seat 1"]]
    for key, words in (("stairs", "has no stairs"), ("tables", "has no tables"), ("aisles", "so no aisles")):
        with pytest.raises(InputError, match=words):
            scene(rooms=[HALL], needs=[{"name": "n", key: "all"}])
    with pytest.raises(InputError, match="none of the desks has seats"):
        scene(rooms=[HALL], desks=[{"name": "Bare", "at": [10, 6]}], needs=[{"name": "n", "desks": "all"}])
