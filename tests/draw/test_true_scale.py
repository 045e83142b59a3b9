"""Plans at true scale: read back from the PDF, a metre on the page is a metre over the scale."""

from __future__ import annotations

from datetime import datetime
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pypdfium2
import pypdfium2.raw as pdfium_c
import pytest
from test_plan import assert_texts_are_in_place

import raycover
from raycover.building.build import build
from raycover.draw.page import PAPERS
from raycover.draw.plan import make_plan
from raycover.draw.projection import DoesNotFit, Projection
from raycover.draw.true_scale import dated, draw_plan_pdf
from raycover.solving.coverage import solve

SCENE = """
raycover: 1
title: Brindle Court
date: "3 Feb 2026"
rooms: [{name: Long room, outline: [[100, 50], [110, 50], [110, 54], [100, 54]], height: 3, walls: brick-215}]
detectors: [{name: D1, model: ceiling-infrared-general, at: [102, 52], mounting: 3}]
planes: [{name: floor, height: 0}]
grid: 0.1
"""
MM = 25.4 / 72


@lru_cache
def solved() -> Any:
    scene = raycover.load_text(SCENE)
    building = build(scene)
    return scene, building, solve(scene, building=building)


@lru_cache
def pdf(paper: str, scale: int, folder: Path) -> Path:
    path = folder / f"{paper}-{scale}.pdf"
    draw_plan_pdf(*solved(), "floor", path, paper=paper, scale=scale)
    return path


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("pdf")


def paths_mm(page: Any) -> list[tuple[float, float, float, float]]:
    """Bounds (mm) of every path on a page."""
    found = []
    for thing in page.get_objects(filter=[pdfium_c.FPDF_PAGEOBJ_PATH]):
        found.append(tuple(v * MM for v in thing.get_bounds()))
    return found


@pytest.mark.parametrize(("paper", "scale"), [("A3", 100), ("A1", 50), ("A4", 75)])
def test_paper_and_scale_are_exact(folder: Path, paper: str, scale: int) -> None:
    with pypdfium2.PdfDocument(pdf(paper, scale, folder)) as document:
        assert len(document) == 1
        page = document[0]
        # ISO 216: A3 420 × 297, A1 841 × 594, A4 297 × 210 mm.
        wanted = {"A4": (297, 210), "A3": (420, 297), "A1": (841, 594)}[paper]
        assert [side * MM for side in page.get_size()] == pytest.approx(wanted, abs=0.01)
        # The room of 10 × 4 m between wall centre lines, its brick walls 215 mm thick.
        walls = [b for b in paths_mm(page) if b[2] - b[0] == pytest.approx(10_215 / scale, abs=0.1)]
        assert any(b[3] - b[1] == pytest.approx(4_215 / scale, abs=0.1) for b in walls)
        text = page.get_textpage().get_text_bounded()
    for word in ("Brindle Court", "Long room", "D1", f"1 : {scale}", f"Scale on {paper}", "walk-test", "40.0 m²"):
        assert word in text, word


@pytest.mark.parametrize(("paper", "scale"), [("A3", 100), ("A1", 50)])
def test_a_scale_bar_of_ten_metres(folder: Path, paper: str, scale: int) -> None:
    with pypdfium2.PdfDocument(pdf(paper, scale, folder)) as document:
        page = document[0]
        words = page.get_textpage()
        top = page.get_height() * MM
        # Bars of 1.1 mm in the upper margin, left of the north arrow; bounds take in the outline on both sides.
        bars = [b for b in paths_mm(page) if b[1] > top - 30 and 1.1 < b[3] - b[1] < 1.6]
        parts = np.array(sorted(b for b in bars if b[2] < page.get_width() * MM - 80))
        assert len(parts) == 5
        assert np.diff(parts[:, 0]) == pytest.approx(2_000 / scale, abs=0.01)
        outline = (parts[:, 2] - parts[:, 0]).mean() - np.diff(parts[:, 0]).mean()
        assert parts[-1, 2] - parts[0, 0] - outline == pytest.approx(10_000 / scale, abs=0.02)
        for metres, x in ((0, parts[0, 0]), (10, parts[-1, 2])):
            over = words.get_text_bounded(*(v / MM for v in (x - 3, parts[0, 3], x + 3, parts[0, 3] + 6)))
            assert over.split()[0] == str(metres)


def test_fonts_are_embedded_and_the_same_input_gives_the_same_bytes(folder: Path, tmp_path: Path) -> None:
    path = pdf("A4", 75, folder)
    data = path.read_bytes()
    again = tmp_path / "again.pdf"
    draw_plan_pdf(*solved(), "floor", again, paper="A4", scale=75)
    assert data == again.read_bytes()
    assert data.count(b"/FontFile2") >= 3  # sans, bold, serif at least
    assert b"/BaseFont /Helvetica" not in data
    with pypdfium2.PdfDocument(path) as document:
        said = document.get_metadata_dict()
    assert said["Title"] == "Brindle Court: coverage plan, floor"
    assert said["CreationDate"].startswith("D:20260203")
    assert [p.name for p in tmp_path.iterdir()] == ["again.pdf"]


def test_the_map_keeps_its_pixels(folder: Path) -> None:
    with pypdfium2.PdfDocument(pdf("A4", 75, folder)) as document:
        images = document[0].get_objects(filter=[pdfium_c.FPDF_PAGEOBJ_IMAGE])
        sizes = [(image.get_bounds(), image.get_px_size()) for image in images]
    bounds, pixels = max(sizes, key=lambda s: s[1][0])
    inches = np.array([bounds[2] - bounds[0], bounds[3] - bounds[1]]) / 72
    assert np.array(pixels) / inches == pytest.approx([150, 150], rel=0.01)


@pytest.mark.parametrize("paper", ["A3", "A1"])
def test_texts_neither_overlap_nor_leave_larger_paper(depot: Any, paper: str) -> None:
    page = make_plan(depot.scene, depot.building, depot.coverage, "floor", dpi=50, size=PAPERS[paper])
    assert_texts_are_in_place(page)


def test_a_building_too_large_for_its_scale() -> None:
    frame = (0.0, 0.0, 200.0, 100.0)
    assert Projection.fitted((0, 0, 19, 9), frame, scale=100).scale == 100
    with pytest.raises(DoesNotFit) as caught:
        Projection.fitted((0, 0, 38, 9), frame, scale=100)
    assert caught.value.fitting == 200
    assert Projection.fitted((0, 0, 38, 9), frame, scale=caught.value.fitting).scale == 200


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("3 Feb 2026", datetime(2026, 2, 3)),
        ("25 November 2026", datetime(2026, 11, 25)),
        ("2026-02-03", datetime(2026, 2, 3)),
        ("31 Feb 2026", None),
        ("spring 2026", None),
        (None, None),
    ],
)
def test_dates_of_the_title_block(text: str | None, day: datetime | None) -> None:
    assert dated(text) == day
