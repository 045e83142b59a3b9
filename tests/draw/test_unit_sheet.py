"""The sheet of a unit: what is on the paper, that nothing overlaps, and that it appears whole or not at all."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from raycover.asking.reach import table_heights, unit_reach
from raycover.catalogue import load_catalogue
from raycover.draw.palette import ACCENT
from raycover.draw.unit_sheet import draw_unit_sheet, unit_page
from raycover.exchange.entry_notes import notes
from raycover.scene.devices import DetectorModel

CATALOGUE = load_catalogue()
NAMES = sorted(CATALOGUE.detectors)


def entry(**more: object) -> DetectorModel:
    declared = [{"mounting": 2.5, "motion": "tangential", "shape": {"circle": {"diameter": 7}}, "source": "s"}]
    plain = {"raycover_detector": 1, "name": "unit", "title": "Unit", "kind": "infrared", "declared": declared}
    return DetectorModel.model_validate({**plain, **more})


AWKWARD = {
    "long words": entry(
        title="An uncommonly long title " * 4,
        description="words " * 600,
        source="a source of many words " * 40,
        largest_mask_share=0.25,
        bus_current_ma=8,
        mounting={"from": 2, "to": 4},
    ),
    "strange letters": entry(title="$x^2$ 検知器 \u202e😀 $", description="50 % of $5", source="§ ∑"),
    "many heights": entry(
        declared=[
            {"mounting": 2 + 0.5 * k, "motion": m, "shape": {"rectangle": {"length": 12.5 + k, "width": 10}}}
            for k in range(30)
            for m in ("tangential", "radial", "presence")
        ]
    ),
    "very wide": entry(
        declared=[{"mounting": 50, "motion": "radial", "shape": {"ellipse": {"length": 290, "width": 2}}}]
    ),
    "very small": entry(
        declared=[{"mounting": 0.4, "plane": 0.3, "motion": "presence", "shape": {"circle": {"diameter": 0.1}}}]
    ),
    "radii by azimuth": entry(
        kind="microwave",
        frequency_ghz=24.125,
        reach_behind=1,
        declared=[
            {"mounting": 3, "motion": "radial", "shape": {"polar": [[0, 9], [60, 1], [120, 0], [180, 4], [270, 2]]}}
        ],
    ),
    "sees nothing on the floor": entry(
        declared=[{"mounting": 3, "plane": 0.75, "motion": "presence", "shape": {"circle": {"diameter": 0.5}}}]
    ),
}
PARTS = {f"{name}-{part.kind}": part for name in NAMES for part in CATALOGUE.detectors[name].parts}
ALL = {**PARTS, **AWKWARD}


@pytest.mark.parametrize("name", list(ALL))
def test_no_text_overlaps_or_leaves_the_page(name: str) -> None:
    model = ALL[name]
    page = unit_page(unit_reach(model), notes=tuple(notes(model)), version="0.0", dpi=60)
    boxes = [(words, box) for words, box in page.text_boxes() if words.strip()]
    assert len(boxes) > 30
    for words, (x0, y0, x1, y1) in boxes:
        assert x0 >= 5, words
        assert y0 >= 5, words
        assert x1 <= 292, words
        assert y1 <= 205, words
    low = np.array([box[:2] for _, box in boxes])
    high = np.array([box[2:] for _, box in boxes])
    # descenders may reach into the leading: half a millimetre
    shared = np.minimum(high[:, None], high) - np.maximum(low[:, None], low)
    overlapping = np.argwhere(np.triu((shared > 0.5).all(axis=2), k=1))
    assert [(boxes[a][0], boxes[b][0]) for a, b in overlapping] == []
    height, width = page.pixels().shape[:2]
    # A4 landscape, 297 × 210 mm (ISO 216), to the nearest pixel at 60 dpi
    assert (width, height) == pytest.approx((297 / 25.4 * 60, 210 / 25.4 * 60), abs=1)


@pytest.mark.parametrize("name", ["wall-dual-microwave", "strange letters"])
def test_a_sheet_becomes_a_file(name: str, tmp_path: Path) -> None:
    path = tmp_path / "sheet.png"
    draw_unit_sheet(unit_reach(ALL[name]), path, dpi=60)
    with Image.open(path) as picture:
        # A4 landscape, 297 × 210 mm (ISO 216), to the nearest pixel at 60 dpi
        assert picture.size == pytest.approx((297 / 25.4 * 60, 210 / 25.4 * 60), abs=1)
    assert [p.name for p in tmp_path.iterdir()] == ["sheet.png"]


def test_the_accent_marks_the_detector(tmp_path: Path) -> None:
    path = tmp_path / "sheet.png"
    draw_unit_sheet(unit_reach(CATALOGUE.detectors["ceiling-infrared-general"]), path, dpi=150)
    with Image.open(path) as picture:
        pixels = np.asarray(picture.convert("RGB"))
    accent = np.array([int(ACCENT[k : k + 2], 16) for k in (1, 3, 5)])
    assert (pixels == accent).all(axis=2).sum() > 200


def test_the_words_say_what_the_entry_says() -> None:
    model = CATALOGUE.detectors["high-bay-infrared-aisle"]
    unit = unit_reach(model, 10.0)
    words = " | ".join(words for words, _ in unit_page(unit, version="0.0", dpi=60).text_boxes())
    middle = "24.0 × 4.0"  # half-way between the entry's 20 × 3.6 m from 8 m and 28 × 4.4 m from 12 m
    assert words.count(middle) >= 2  # in the table and under the plan
    for expected in (model.title, model.name, "10 m", "up to 25 % of the declared area"):
        assert expected in words
    assert "typical of the trade, no source" in words
    assert "walk-test before hand-over" in words
    assert "Not a safety function" in words
    assert "Makers' instructions" in words


def test_rows_beyond_the_declared_heights_are_marked() -> None:
    model = entry(mounting={"from": 2, "to": 3})
    words = [words for words, _ in unit_page(unit_reach(model, 2.5, [6.0]), dpi=60).text_boxes()]
    assert "2.5" in words  # declared
    assert "3 *" in words  # inside the mounting range, outside the declared heights
    assert "6 †" in words  # outside both


def test_table_heights_are_few_and_hold_the_declared_ones() -> None:
    for model in CATALOGUE.detectors.values():
        heights = table_heights(model, [7.25])
        assert {d.mounting for d in model.declared} | {7.25} <= set(heights)
        assert heights == sorted(set(heights))
        assert len(heights) <= 9


def test_a_folder_that_is_not_there_is_an_error(tmp_path: Path) -> None:
    with pytest.raises(OSError, match="missing"):
        draw_unit_sheet(unit_reach(entry()), tmp_path / "missing" / "sheet.png", dpi=40)
    assert list(tmp_path.iterdir()) == []
