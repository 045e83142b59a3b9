"""Who comes into an aisle by its end is noticed within so many metres: worked out by hand."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from small_scenes import detector, scene

import raycover
from raycover.errors import InputError
from raycover.placing.layout import place
from raycover.proving.mending import find_mending
from raycover.proving.mending.then import verdict_then
from raycover.proving.needs import Proof, prove
from raycover.proving.proof_words import asked_words, assumptions, way_words

#: Four bays of 2.7 m and five frames of 0.1 m: two aisles of 11.3 m from x = 2 m on, their middles at 7.65 m.
RACKS = [
    {"name": f"R{k}", "at": [2, y], "bays": 4, "bay_width": 2.7, "depth": 1.0, "levels": 3, "back_to_back": True}
    for k, y in enumerate((0.5, 5.0, 9.5), 1)
]  # fmt: skip
#: At 0.3 m 4 m along either way for who walks toward it, 5 m for who walks across; 1.7 m across the aisle.
LENS = {
    "kind": "infrared",
    "declared": [
        {"mounting": 6, "plane": 0.3, "motion": motion, "shape": {"rectangle": {"length": length, "width": 3.4}}}
        for motion, length in (("tangential", 10), ("radial", 8))
    ],
}
AISLES = ["R1/R2", "R2/R3"]


def store(*needs: dict[str, Any], units: Any = ((7.65, 3.75),), west: float = 0.0) -> Any:
    hall = {"name": "Hall", "outline": [[west, 0], [16, 0], [16, 12.5], [west, 12.5]], "height": 6, "walls": "none"}
    hung = [detector(at, 6, LENS, f"D{k}") for k, at in enumerate(units, 1)]
    return scene(rooms=[hall], racking=RACKS, detectors=hung, needs=list(needs), grid=0.5, doubt={"cases": 16})


def entering(within: float, **more: Any) -> dict[str, Any]:
    return {"name": f"within {within:g}", "aisles": ["R1/R2"], "first_within": within, **more}


def first(proof: Proof, need: int = 0) -> dict[str, float | None]:
    return {place.site.name: place.figures.first_m for place in proof.needs[need].places}


def test_from_both_ends_by_hand() -> None:
    """The unit hangs 5.65 m in and sees 4 m toward either end: noticed after 1.65 m, though across is seen 5 m away.

    Half a metre to the right it is 2.15 m from the left end, and 1.15 m from the right one.
    """
    proof = prove(store(entering(2), entering(1.5)))
    assert [need.met for need in proof.needs] == [True, False]
    assert first(proof) == {
        "R1/R2, left end": pytest.approx(1.65, abs=0.013), "R1/R2, right end": pytest.approx(1.65, abs=0.013),
    }  # fmt: skip
    assert asked_words(proof.needs[0].need) == "noticed within 2 m of either end"
    assert any(said.startswith("Into aisles people walk from each open end") for said in assumptions(proof))
    assert not any("By doors" in said or "walking along" in said for said in assumptions(proof))
    aside = prove(store(entering(2), units=[(8.15, 3.75)]))
    assert list(first(aside).values()) == [pytest.approx(2.15, abs=0.013), pytest.approx(1.15, abs=0.013)]
    assert way_words(aside.needs[0], aside.needs[0].places[0]) == "straight on: in reach, but not for walking this way"


def test_an_end_at_a_wall_is_none() -> None:
    proof = prove(store(entering(2), west=1.9))
    assert list(first(proof)) == ["R1/R2, right end"]


def test_the_units_of_the_aisle_alone() -> None:
    """The unit hangs over the other aisle: any of the hall counts, and own ones there are none."""
    needs = [entering(2), entering(2, name="own", whose="own")]
    proof = prove(store(*needs, units=[(7.65, 8.25)]))
    places = [verdict.places[0] for verdict in proof.needs]
    assert [len(place.units) for place in places] == [1, 0]
    assert way_words(proof.needs[1], places[1]) == "no unit of its own"
    assert not proof.matrices
    own = prove(store(*needs)).needs[1]
    assert own.met
    assert not any(place.site.others for place in own.places)


def test_a_move_along_the_aisle_mends_the_end() -> None:
    """0.5 m off its middle, 0.15 m too much: back by 0.15 to 0.85 m both ends are noticed within 2 m."""
    proof = prove(store(entering(2, whose="own"), units=[(8.15, 3.75)]))
    (mending,) = find_mending(proof)
    move = next(mend for mend in mending.remedies if mend.kind == "move" and mend.mends)
    assert -0.86 <= move.keys["at"][0] - 8.15 <= -0.14
    assert verdict_then(proof.needs[0], move).met


def test_every_aisle_gets_units_of_its_own(tmp_path: Path) -> None:
    """Placed for entering, own units: over each aisle at least one, and the proof of the layout is met."""
    folder = tmp_path / "models" / "detectors"
    folder.mkdir(parents=True)
    made = {"raycover_detector": 1, "name": "lens", "title": "lens", **LENS, "mounting": {"from": 5, "to": 6}}
    made["declared"] = [{**one, "source": "test"} for one in LENS["declared"]]  # type: ignore[union-attr]
    (folder / "lens.yaml").write_text(json.dumps({**made, "source": "test"}), encoding="utf-8")
    parts = store(entering(2, aisles=AISLES, whose="own"), units=()).model_dump(exclude_unset=True, mode="json")
    parts["placing"] = {"models": ["lens"], "mounting": [6.0], "along": ["aisles"], "pitch": 1.0}
    found = place(raycover.load_text(json.dumps(parts), "scene.yaml", tmp_path))
    assert found.met
    y = np.array([unit.at[1] for unit in found.detectors])
    assert (y < 6).any()
    assert (y > 6).any()


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"whose": "others"}, "units of others notice first"),
        ({"motion": "radial"}, "motion says nothing"),
        ({"aisles": ["R1/R9"]}, 'unknown rack "R9"'),
    ],
)
def test_what_is_wrong(more: dict[str, Any], words: str) -> None:
    with pytest.raises(InputError, match=words):
        store(entering(2, **more))
