"""What would mend a need, on the proof's pages: nothing over another, the remedies told, now and then drawn."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
from page_texts import assert_texts_are_in_place

import raycover
from raycover.draw.page import Page
from raycover.draw.proof_sheets import make_proof
from raycover.proving.mending import Mending, find_mending
from raycover.proving.needs import Proof, prove

SCENE = """
raycover: 1
title: Two rooms and a stair
date: "3 Feb 2026"
grid: 0.25
rooms:
  - {name: Left room, outline: [[0,0],[6,0],[6,6],[0,6]], height: 3.2, walls: brick-215}
  - {name: Right, outline: [[6,0],[12,0],[12,6],[6,6]], height: 3.2, walls: brick-215}
stairs: [{name: S, room: Right, at: [8, 1], rise: 3, risers: 18, width: 1.2, going: 0.25}]
detectors:
  - {name: D1, at: [2.0, 3], mounting: 3, pattern: {kind: infrared, declared: [
      {mounting: 3, plane: 0, motion: tangential, shape: {circle: {diameter: 8.6}}}]}}
needs:
  - {name: Corners of the left room, rooms: [Left room], height: 0, largest_gap: 0.3}
  - {name: Stair, stairs: [S]}
"""


@lru_cache
def made() -> tuple[Proof, tuple[Mending, ...]]:
    proof = prove(raycover.load_text(SCENE))
    return proof, find_mending(proof)


@lru_cache
def pages() -> list[Page]:
    proof, mendings = made()
    return make_proof(proof, mendings=mendings, dpi=80)


def texts(page: Page) -> list[str]:
    return [text for text, _ in page.text_boxes()]


def test_remedies_stand_on_the_pages_with_plans_of_now_and_then() -> None:
    _, mendings = made()
    assert [mending.need for mending in mendings] == ["Corners of the left room", "Stair"]
    assert all(mending.is_mended for mending in mendings)
    for page in pages():
        assert_texts_are_in_place(page)
    said = [text for page in pages() for text in texts(page)]
    assert said.count("As it stands") == len(mendings)
    assert sum(text.startswith("With the first: ") for text in said) == len(mendings)
    assert any(text.startswith("Remedies: a unit moved") for text in said)
    assert "mends it" in said


def test_the_second_plan_shows_what_the_remedy_does() -> None:
    """Of the two small plans the second has less of the dark hatched class."""
    page = next(page for page in pages() if "As it stands" in texts(page))
    (x, y, _, _) = next(box for text, box in page.text_boxes() if text == "As it stands")
    pixels = page.pixels()[..., :3].astype(float)
    k = 80 / 25.4

    def dark(left: float) -> float:
        rows = slice(int((210 - y + 2) * k), int((210 - y + 40) * k))
        part = pixels[rows, int(left * k) : int((left + 60) * k)]
        return float(np.mean((part[..., 2] - part[..., 0] > 60) & (part.mean(axis=-1) < 130)))

    assert dark(x) > dark(x + 67) + 0.002


def test_long_words_find_room() -> None:
    proof, mendings = made()
    first = mendings[0].remedies[0]
    long = replace(
        first,
        words="move 1.00 m to (12.625, 103.125), sensitivity 51 % and a few words more than that would ever be",
        gap_m=12.5,
        mended=("Left room",),
        still=tuple((f"A place with a rather long name {k}", proof.needs[0].places[0].figures) for k in range(9)),
        broken=tuple(f"Every cubicle: WC {k}" for k in range(12)),
        tripped=(("The street before the house", -1.25), ("Flat next door", 3.0)),
        chance=0.004,
    )
    none = Mending("Corners of the left room", tuple(f"WC {k}" for k in range(11)), (long, first, long), 211, 1.0)
    nothing = Mending("Stair", ("flight 1",), (), 93, 1.0)
    made_of = make_proof(proof, mendings=(none, nothing), dpi=60)
    for page in made_of:
        assert_texts_are_in_place(page)
    said = " ".join(text for page in made_of for text in texts(page))
    assert "None of 211 changes tried mends any of the 11 places, alone or in pairs" in said
    assert "None of 93 changes tried brings clearly more of it into view." in said


def test_places_beyond_a_small_plan_are_left_out() -> None:
    """Two rooms far apart, one missed: the small plans show the missed one only, the page is whole."""
    text = SCENE.replace("[[6,0],[12,0],[12,6],[6,6]]", "[[26,0],[32,0],[32,6],[26,6]]").replace(
        "at: [8, 1]", "at: [28, 1]"
    )
    text = text.replace("  - {name: Stair, stairs: [S]}", "").replace(
        "rooms: [Left room], height: 0, largest_gap: 0.3", "rooms: [Left room, Right], height: 0, largest_gap: 0.3"
    )
    text = text.replace(
        "needs:",
        """  - {name: D2, at: [29, 3], mounting: 3, pattern: {kind: infrared, declared: [
      {mounting: 3, plane: 0, motion: tangential, shape: {circle: {diameter: 30}}}]}}
needs:""",
    )
    text = "\n".join(line for line in text.splitlines() if not line.startswith("stairs:"))
    proof = prove(raycover.load_text(text))
    assert [place.met for place in proof.needs[0].places] == [False, True]
    for page in make_proof(proof, mendings=find_mending(proof), dpi=80):
        assert_texts_are_in_place(page)
