"""Plans, stairs, sections and isometrics in German: no English word is left over, and all stands in its place."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
from page_texts import assert_texts_are_in_place, assert_words_are_german

from raycover.asking.upright import solve_sections
from raycover.draw.page import PAPERS, Page
from raycover.draw.plan import make_plan
from raycover.draw.section_sheet import make_section
from raycover.draw.stair_sheet import make_stair_sheet
from raycover.draw.view3d.isometric import isometric_page, lay_isometric
from raycover.report.words import report_words

if TYPE_CHECKING:
    from collections.abc import Callable

    from conftest import Solved

#: What the examples call their storeys, maps and sections.
NAMES = ("Ground floor", "First floor", "Second floor", "floor", "across the racking", "through flights and lobbies")
GERMAN = report_words("de").wording

SCENE = """
raycover: 1
title: Tarn Street
date: 3 May 2026
grid: 0.4
project: {language: de}
rooms: [{name: Store, outline: [[0, 0], [8, 0], [8, 6], [0, 6]], height: 3, walls: brick-215}]
detectors: [{name: A, model: ceiling-infrared-general, at: [3, 3], mounting: 3}]
planes: [{name: floor, height: 0}]
"""


def _assert_german(page: Page) -> list[str]:
    """The page's texts, of which none is cut short, but those that a name of the scene fills."""
    assert_texts_are_in_place(page, fewest=20)
    said = [text for text, _ in page.text_boxes()]
    assert_words_are_german(said, NAMES)
    assert not [text for text in said if text.endswith("…")]
    for text, (_, _, right, _) in page.text_boxes():
        assert right <= page.size[0] - 9.5, text  # within the column's edge, where the rules end
    return said


def test_plans_in_german(depot: Solved) -> None:
    floor, person = (
        _assert_german(make_plan(depot.scene, depot.building, depot.coverage, name, dpi=60, wording=GERMAN))
        for name in ("floor", "person")
    )
    assert {"Raum", "Alle Räume", "Lücke", "Breite", "warum", "Erfassungsplan, floor", "des Bodens erfasst,"} <= set(
        floor
    )
    assert "in 0,3; 1 oder 1,6 m Höhe" in " ".join(person)
    large = make_plan(depot.scene, depot.building, depot.coverage, "floor", dpi=60, size=PAPERS["A3"], wording=GERMAN)
    assert "Maßstab auf A3" in _assert_german(large)


def test_storeys_and_stairs_in_german(stairwell: Solved) -> None:
    parts = stairwell.scene, stairwell.building, stairwell.coverage
    for name, plane in stairwell.coverage.items():
        if plane.surface.stairs is None:
            assert {"auf", "ab"} & set(_assert_german(make_plan(*parts, name, dpi=60, wording=GERMAN)))
        else:
            said = _assert_german(make_stair_sheet(*parts, name, dpi=60, wording=GERMAN))
            assert {"Lauf 1", "Podest 2", "Ganze Treppe"} <= set(said)
            assert any(text.startswith("Stair B, abgewickelt: Wo ein Mensch") for text in said)


def test_sections_in_german(depot: Solved, stairwell: Solved) -> None:
    for one in (depot, stairwell):
        units = one.coverage.units
        for field in solve_sections(one.scene, one.building, one.rays, units, threads=1)[-1:]:
            said = _assert_german(make_section(one.scene, one.building, one.coverage, field, dpi=60, wording=GERMAN))
            assert {f"Schnitt {field.name}–{field.name}", "Bewegungszone", "Melder im Schnitt"} <= set(said)


def test_an_isometric_in_german(stairwell: Solved) -> None:
    one = stairwell
    laid = lay_isometric(one.scene, one.building, one.coverage, rays=one.rays, dpi=60, size=PAPERS["A4"])
    placed = laid.composed.placed
    white = np.full((placed.height, placed.width, 3), 255, np.uint8)
    said = _assert_german(isometric_page(one.scene, one.building, one.coverage, laid, white, dpi=60, wording=GERMAN))
    assert any(text.startswith("Isometrie von ") and text.endswith(" längs der drei Achsen") for text in said)


def test_map_speaks_the_language_asked_for(run: Callable[..., tuple[int, str, str]]) -> None:
    """That of the scene, and of `--lang` before it; one that there is no file for is refused and nothing written."""
    import pypdfium2

    def words_of(folder: str) -> str:
        book = pypdfium2.PdfDocument(Path(folder) / "floor.pdf")
        text = book[0].get_textpage().get_text_range()
        book.close()
        return text

    assert run("map", "scene.yaml", "-o", "own", "--no-view", "--pdf", "A4", "--dpi", "72")[0] == 0
    assert "Erfassungsplan, floor" in words_of("own")
    assert "3. Mai 2026" in words_of("own")
    assert run("map", "scene.yaml", "-o", "asked", "--no-view", "--pdf", "A4", "--dpi", "72", "--lang", "en")[0] == 0
    assert "Coverage plan, floor" in words_of("asked")
    code, _, err = run("map", "scene.yaml", "-o", "none", "--lang", "xx")
    assert code == 2
    assert "xx" in err
    assert not Path("none").exists()


@pytest.mark.parametrize("name", ["lost in a wall", "hidden by a wall or slab"])
def test_causes_by_a_wall_without_a_name(name: str) -> None:
    assert " a " not in GERMAN(name)
