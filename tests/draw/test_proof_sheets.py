"""Proof pages: no text over another or off the page, every place marked, what is missed shown without colour."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest
from conftest import EXAMPLES
from page_texts import assert_texts_are_in_place, assert_words_are_german
from PIL import Image

import raycover
from raycover.draw.page import Page, pdf_of
from raycover.draw.proof_sheets import draw_proof, make_proof
from raycover.proving.needs import Proof, prove
from raycover.proving.remedies import Remedy, Trouble
from raycover.report.words import report_words

LONG = "A need with a rather long name for a sheet"
STRESS = f"""
raycover: 1
title: Offices, three storeys of a house with a long name
date: "3 Feb 2026"
grid: 0.25
rooms:
  - {{name: 'Größe_$x$ 房间', outline: [[0,0],[6,0],[6,4],[0,4]], height: 2.8, walls: brick-100}}
  - {{name: Office, outline: [[0,0],[6,0],[6,4],[0,4]], floor: 3, height: 2.8, walls: brick-100}}
  - {{name: Loft, outline: [[0,0],[6,0],[6,4],[0,4]], floor: 6, height: 2.8, walls: brick-100}}
storeys: [{{name: Ground, floor: 0}}, {{name: First, floor: 3}}, {{name: Second, floor: 6}}]
cubicles: [{{name: WC, room: Office, at: [3, 3.9], turn_deg: -90, count: 3, doors: open, back_to_back: true}}]
desks: [{{name: Row, room: Loft, at: [1, 1.4], count: 3, seat: true}}]
detectors:
  - {{name: Detector with a name of its own, room: Office, model: microwave-omni-5.8, at: [1, 2], mounting: 2.5}}
  - {{name: D2, room: Loft, model: ceiling-infrared-general, at: [3, 2], mounting: 2.8}}
states: [{{name: hot, conditions: {{ambient_c: 33}}}}]
needs:
  - {{name: {LONG[:38]}, cubicles: [WC], largest_gap: 0.5}}
  - {{name: Closed, cubicles: [WC], doors: closed, share: 0.9}}
  - {{name: Seats, desks: [Row]}}
  - {{name: Seats in summer, desks: [Row], state: hot}}
  - {{name: Everywhere, rooms: ['Größe_$x$ 房间', Office, Loft], share: 0.5}}
  - {{name: Bench, area: [[1,1],[2,1],[2,2]], room: Loft, height: 0.75}}
  - {{name: Street, area: [[-6,-3],[12,-3],[12,-0.2],[-6,-0.2]], storey: First, never: true, clear_db: 6}}
"""


TWO_PAGES = """
raycover: 1
title: Two pages
date: "3 Feb 2026"
rooms: [{name: Hall, outline: [[0,0],[8,0],[8,6],[0,6]], height: 3, walls: brick-100}]
detectors: [{name: D1, model: microwave-omni-5.8, at: [4, 3], mounting: 2.5}]
needs:
  - {name: Middle of the hall, area: [[3,2],[5,2],[5,4],[3,4]]}
  - {name: Its floor, area: [[3,2],[5,2],[5,4],[3,4]], height: 0}
"""


def remedy(words: str, **more: object) -> Remedy:
    plain = Remedy("H1", "move", words, {}, True, -3.2, -3.0, (), 0.0)
    return replace(plain, **more)  # type: ignore[arg-type]


TROUBLES = (
    Trouble(
        "H1",
        ("Corridor", "Flat next door", "Street"),
        (
            remedy(
                "mask 220° to 315°, beyond 35° off axis and sensitivity 52 %", note="25% of the pattern", quiet=0.84
            ),
            remedy("move 1.00 m to (12.625, 103.125) and sensitivity 51 %", area_lost_m2={"person": 16.1}, quiet=1.0),
            remedy(
                "turn to 76°, tilt 40°", missed=tuple(f"WC {k}" for k in range(1, 12)), share_lost=0.9, lost_at="WC 4"
            ),
            remedy("sensitivity", stops=False, worst_db=-np.inf, note="less than 10 % sensitivity would be needed"),
        ),
    ),
)


@lru_cache
def proof_of(name: str) -> Proof:
    """A proof as if varied cases had been looked at, too."""
    scene = raycover.load_text(STRESS) if name == "stress" else raycover.load(EXAMPLES / name / "scene.yaml")
    found = prove(scene)
    needs = tuple(
        replace(need, places=tuple(replace(place, probability=0.997) for place in need.places), probability=0.004,
                words="met in ≥ 95 % of varied cases" if need.met else need.words)
        for need in found.needs
    )  # fmt: skip
    return replace(found, needs=needs, n_cases=128)


@lru_cache
def pages_of(name: str) -> list[Page]:
    return make_proof(proof_of(name), TROUBLES if name == "stress" else (), ["A sentence more."], dpi=80)


def texts(page: Page) -> list[str]:
    return [text for text, _ in page.text_boxes()]


@pytest.mark.parametrize("name", ["washroom", "stairwell", "stress"])
def test_nothing_overlaps_or_leaves_the_page(name: str) -> None:
    for page in pages_of(name):
        assert_texts_are_in_place(page, fewest=5, edge=4)
        assert page.size == (297.0, 210.0)


def test_the_washroom_says_what_it_must() -> None:
    (page,) = pages_of("washroom")
    said = texts(page)
    for words in ("4 of 5", "Every cubicle", "met in ≥ 95 % of varied cases (< 1 %)", "Corridor", "WC 1", "H1", "no",
                  "What this rests on", "1 : 75", "must not trip a unit"):  # fmt: skip
        assert words in said, words
    assert (said.count("yes"), said.count("no")) == (4, 1)
    assert any(text.startswith("A prediction, not a site test") for text in said)
    assert any("varied cases" in text for text in said)
    assert "A sentence more." in said


def test_every_place_of_the_stairwell_stands_on_its_pages() -> None:
    first, second = pages_of("stairwell")
    assert {"Flight 1", "Landing 2", "Flight 3", "Flight 4", "Landing 5", "Flight 6"} <= set(texts(first))
    assert "6 of 6" in texts(first)
    assert "0 of 1" in texts(second)
    assert "Flat next door" in texts(second)


def test_missed_and_met_differ_without_colour() -> None:
    """A tick on white and a cross on dark: their middles differ by far in grey."""
    from raycover.draw.proof_marks import draw_verdict

    page = Page(dpi=200)
    draw_verdict(page, (20, 20), met=True)
    draw_verdict(page, (40, 20), met=False)
    grey = np.asarray(Image.fromarray(page.pixels()).convert("L"), float)

    def mean(x: float) -> float:
        k = 200 / 25.4
        rows = slice(int((210 - 21.3) * k), int((210 - 18.7) * k))
        return float(grey[rows, int((x - 1.3) * k) : int((x + 1.3) * k)].mean())

    assert mean(20) - mean(40) > 75


def test_the_files(tmp_path: Path) -> None:
    """PNGs of A4 and one PDF of as many pages, with its text as text; the same scene gives the same bytes."""
    import pypdfium2

    proof = prove(raycover.load_text(TWO_PAGES))
    names = draw_proof(proof, tmp_path, TROUBLES, dpi=60)
    assert names == ["proof.png", "proof 2.png", "proof.pdf"]
    with Image.open(tmp_path / "proof.png") as picture:
        assert picture.size == (701, 496)  # whole pixels of 297 × 210 mm at 60 an inch
    book = pypdfium2.PdfDocument(tmp_path / "proof.pdf")
    assert len(book) == 2
    assert "Middle of the hall" in book[0].get_textpage().get_text_range()
    assert [round(v) for v in book[0].get_size()] == [842, 595]
    book.close()
    again = make_proof(proof, TROUBLES, dpi=150, vector=True)
    made = pdf_of(again, title="Two pages: proof", created=datetime(2026, 2, 3))
    assert (tmp_path / "proof.pdf").read_bytes() == made


#: What the stress scene calls its things, and words of units and sources that no language changes.
NAMES = (
    LONG[:38], "Größe_$x$", "Office", "Loft", "Ground", "First", "Second", "WC", "Row", "Closed", "Seats in summer",
    "Everywhere", "Seats", "Bench", "Street", "Offices, three storeys of a house with a long name", "hot", "person",
    "Offices, three storeys of", "a house with a long name", "Detector with a name of its own", "Detector with…", "D2",
    "motion: presence", "ITU-R P.2040", "Corridor", "Flat next door", "door", "divider", "front", "wall", "left",
    "right",
)  # fmt: skip


def test_a_proof_can_be_told_in_german() -> None:
    pages = make_proof(proof_of("stress"), TROUBLES, dpi=80, wording=report_words("de").wording)
    said = [text for page in pages for text in texts(page)]
    for page in pages:
        assert_texts_are_in_place(page)
    assert_words_are_german(said, NAMES)
    assert {"Ort", "erfüllt", "Abstand", "Worauf es beruht", "Maßstab auf A4", "nein"} <= set(said)
