"""The plan of the building alone: its numbers and tables, storeys apart, every text in its place."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from page_texts import assert_texts_are_in_place
from PIL import Image

import raycover
from raycover.building.build import build
from raycover.draw.building_plan import draw_building_plan, make_building_plan
from raycover.draw.page import Page
from raycover.solving.coverage import make_units
from raycover.solving.uncast import inventory

STACKED = """
raycover: 1
title: Two storeys
date: "3 Feb 2026"
rooms:
  - {name: Shop, outline: [[0, 0], [9, 0], [9, 6], [0, 6]], height: 3.2, walls: brick-215,
     openings: [{edge: 0, at: 1, width: 1, height: 2.1, fill: door-wood-40}]}
  - {name: Flat, outline: [[0, 0], [9, 0], [9, 6], [0, 6]], floor: 3.2, height: 2.6, walls: stud-wall-100}
solids:
  - {name: Counter, centre: [4, 3], size: [2, 1, 1], material: timber, room: Shop}
  - {name: Bath, centre: [4, 3], size: [2, 1, 1], material: metal, room: Flat}
detectors:
  - {name: S1, model: ceiling-infrared-general, at: [6, 3], mounting: 3, room: Shop}
  - {name: F1, model: ceiling-infrared-general, at: [2, 3], mounting: 2.4, room: Flat}
"""


def page_of(text: str, storey: int | None = None) -> Page:
    scene = raycover.load_text(text)
    building = build(scene)
    units = make_units(scene, building)
    chosen = None if storey is None else building.storeys[storey]
    return make_building_plan(scene, building, units, inventory(scene, building), storey=chosen, dpi=100)


def said(page: Page) -> list[str]:
    return [text for text, _ in page.text_boxes()]


def test_an_example(example: Any) -> None:
    scene = raycover.load(example.path)
    held = inventory(scene, example.building)
    storeys = example.building.storeys if len(example.building.storeys) > 1 else [None]
    for storey in storeys:
        page = make_building_plan(scene, example.building, example.coverage.units, held, storey=storey, dpi=100)
        assert_texts_are_in_place(page)
        texts = said(page)
        members = range(len(scene.rooms)) if storey is None else storey.rooms
        assert all(any(scene.rooms[i].name in text for text in texts) for i in members)
        assert "Made of" in texts
        for _, (x0, y0, x1, y1) in page.text_boxes():
            assert min(x0, y0) >= 0
            assert x1 <= page.size[0]
            assert y1 <= page.size[1]


def test_edges_have_their_numbers() -> None:
    text = STACKED.replace("height: 3.2, walls: brick-215", "height: 3.2, walls: [brick-215, none, brick-215, glass-6]")
    numbers = [t for t in said(page_of(text, 0)) if t.isdigit() and len(t) == 1]
    assert {"0", "1", "2", "3"} <= set(numbers)
    assert "edge, as openings count it" in said(page_of(text, 0))


def test_storeys_apart() -> None:
    below, above = said(page_of(STACKED, 0)), said(page_of(STACKED, 1))
    for mine, other, texts in (("Shop", "Flat", below), ("Flat", "Shop", above)):
        assert mine in texts
        assert other not in texts
    assert ("S1" in below, "F1" in below) == (True, False)
    assert ("S1" in above, "F1" in above) == (False, True)
    assert ("Counter" in below, "Bath" in below) == (True, False)
    assert ("Counter" in above, "Bath" in above) == (False, True)
    assert "All storeys hold" in above


@pytest.mark.parametrize(
    "text",
    [
        "raycover: 1\n",
        "raycover: 1\nsolids: [{name: s, centre: [3, 2], size: [1, 1, 1], material: metal}]\n",
        "raycover: 1\ndetectors: [{name: d, model: wall-infrared, at: [0, 0], mounting: 2}]\n",
    ],
)
def test_scenes_without_rooms(text: str) -> None:
    assert "There is no room." in said(page_of(text))


def test_the_state_is_named() -> None:
    text = STACKED + "states: [{name: emptied, set: {Counter: absent}}]\n"
    assert any(t.endswith("· as drawn") for t in said(page_of(text, 0)))


def test_the_file(tmp_path: Path) -> None:
    scene = raycover.load_text(STACKED)
    building = build(scene)
    draw_building_plan(
        scene, building, make_units(scene, building), inventory(scene, building), tmp_path / "b.png",
        storey=building.storeys[0], dpi=100,
    )  # fmt: skip
    with Image.open(tmp_path / "b.png") as picture:
        pixels = np.asarray(picture.convert("RGB"))
    assert pixels.shape[0] > 800
    assert (pixels < 60).all(axis=-1).mean() > 0.005  # walls in ink
