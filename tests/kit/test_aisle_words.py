"""Any declared motion along an aisle counts the reach for walking across; the note says so where that makes a map."""

from __future__ import annotations

from typing import Any

import pytest
from small_scenes import detector, pattern, scene

from raycover.cli.solving import solved
from raycover.draw.plan import make_plan
from raycover.exchange.summary import summary
from raycover.kit.aisle_words import ALONG_AISLES, maps_along_aisles
from raycover.proving.needs import prove
from raycover.proving.proof_words import assumptions

#: Four bays of 2.7 m and five frames of 0.1 m: an aisle of 11.3 m from x = 2 m on, its middle at 7.65 m.
RACKS = [
    {"name": f"R{k}", "at": [2, y], "bays": 4, "bay_width": 2.7, "depth": 1.0, "levels": 3, "back_to_back": True}
    for k, y in enumerate((0.5, 5.0), 1)
]  # fmt: skip
HALL = {"name": "Hall", "outline": [[0, 0], [16, 0], [16, 8], [0, 8]], "height": 6, "walls": "steel-panel"}
LENS = {
    "kind": "infrared",
    "declared": [
        {"mounting": 6, "plane": 0, "motion": motion, "shape": {"rectangle": {"length": length, "width": 3.4}}}
        for motion, length in (("tangential", 10), ("radial", 8))
    ],
}
WAVE = pattern({"circle": {"diameter": 8}}, mounting=6, motion="radial", frequency_ghz=5.8)


def store(unit: Any, y: float = 3.75, motion: str = "any", **need: Any) -> Any:
    aisle = {"name": "Aisle", "aisles": ["R1/R2"], "height": 0, "motion": motion, **need}
    plane = {"name": "floor", "height": 0, "motion": motion}
    return scene(rooms=[HALL], racking=RACKS, detectors=[detector((7.65, y), 6, unit)], needs=[aisle], planes=[plane],
                 grid=0.1)  # fmt: skip


def test_any_motion_counts_walking_across_and_says_so() -> None:
    """By hand: 10 of 11.3 m by any motion, 8 of 11.3 m by walking along."""
    either, along = prove(store(LENS)), prove(store(LENS, motion="radial"))
    assert either.needs[0].places[0].figures.share == pytest.approx(10 / 11.3, abs=0.01)
    assert along.needs[0].places[0].figures.share == pytest.approx(8 / 11.3, abs=0.01)
    assert ALONG_AISLES in assumptions(either)
    assert ALONG_AISLES not in assumptions(along)
    assert ALONG_AISLES not in assumptions(prove(store(LENS, never=True)))
    assert ALONG_AISLES not in assumptions(prove(store(WAVE)))  # microwave sees who comes nearer best


@pytest.mark.parametrize(
    ("unit", "y", "motion", "told"),
    [(LENS, 3.75, "any", True), (LENS, 3.75, "radial", False), (LENS, 7.8, "any", False), (WAVE, 3.75, "any", False)],
)
def test_maps_say_so_where_a_unit_hangs_over_an_aisle(unit: Any, y: float, motion: str, told: bool) -> None:
    done = solved(store(unit, y, motion), 1)
    assert maps_along_aisles(done.coverage) == ({"floor"} if told else set())
    assert summary(done.coverage)["planes"]["floor"].get("notes") == ([ALONG_AISLES] if told else None)
    page = make_plan(done.scene, done.building, done.coverage, "floor", dpi=60)
    assert (ALONG_AISLES in [text for text, _ in page.text_boxes()]) is told  # whole, on one line
