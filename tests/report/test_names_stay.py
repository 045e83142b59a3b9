"""Names that a scene's author gave stay as they are in every language, though they be words of the sheets."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from raycover.draw.lettering import clean, named
from raycover.draw.page import Page
from raycover.loading import load_text
from raycover.report.words import report_words, words_for

#: Names that are whole texts of sheets, or hold words and figures that patterns put into German.
NAMES = ("met", "Room", "masked", "Goods and kit", "Room 2.14", "hidden shelf", "May 2026")


@pytest.mark.parametrize("name", NAMES)
def test_a_name_by_itself(name: str) -> None:
    page = Page(dpi=60, wording=report_words("de").wording)
    page.text(10, 10, page.lettering.fit(named(name), "sans", 8, 80), 8)
    page.text(10, 20, named(name), 8)
    for k, line in enumerate(page.lettering.wrap(clean(named(name)), "sans", 8, 80, 2)):
        page.text(10, 30 + k, line, 8)
    assert {text for text, _ in page.text_boxes()} == {name}


def test_a_name_does_not_keep_its_word_from_being_put_into_german() -> None:
    page = Page(dpi=60, wording=report_words("de").wording)
    page.text(10, 10, named("Room"), 8)
    page.text(10, 20, "Room", 8)
    assert [text for text, _ in page.text_boxes()] == ["Room", "Raum"]
    assert page.lettering.extent("Room", "sans", 8) != page.lettering.extent(named("Room"), "sans", 8)


@pytest.mark.parametrize("name", NAMES)
def test_a_name_within_sentences(name: str) -> None:
    words = replace(report_words("de"), names=frozenset(NAMES)).wording
    assert words.said(f"hidden by {name}") == f"verdeckt durch {name}"
    assert words.way(f"{name}, lost through plasterboard wall {name}").startswith(f"{name}, verloren durch Gipskarton")
    assert words(f"Coverage plan, {name}") == f"Erfassungsplan, {name}"
    assert words(f"19.5 °C · doors open · {name}") == f"19,5 °C · Türen offen · {name}"
    assert words(f"detector: {name}") == f"Melder: {name}"


def test_names_come_from_the_scene() -> None:
    scene = load_text(
        "raycover: 1\n"
        "rooms: [{name: Goods and kit, outline: [[0, 0], [6, 0], [6, 4], [0, 4]], height: 3, walls: brick-100}]\n"
        "detectors: [{name: masked, model: ceiling-infrared-general, at: [3, 2], mounting: 3}]\n"
        "planes: [{name: floor, height: 0}]",
        "scene.yaml",
        Path(),
    )
    words = words_for(scene, "de")
    assert {"Goods and kit", "masked"} <= words.names
    assert "as drawn" not in words.names  # nobody wrote that: it is a word of the sheets
    assert words.wording.said("masked hidden by Goods and kit") == "masked verdeckt durch Goods and kit"
