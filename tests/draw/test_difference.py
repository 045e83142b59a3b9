"""The difference plan: colours that tell gained from lost for everyone, a sheet on which nothing collides."""

from __future__ import annotations

from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from colorspacious import cspace_convert, deltaE
from page_texts import assert_texts_are_in_place, assert_words_are_german
from PIL import Image

import raycover
from raycover.building.build import build
from raycover.draw.difference import change_rgb, draw_difference, make_difference
from raycover.loading import in_state
from raycover.report.words import report_words
from raycover.scene.schema import Scene
from raycover.solving.comparing import GAINED, KEPT, LOST, NEITHER, Comparison, compare
from raycover.solving.coverage import solve

SCENE = """
raycover: 1
title: Two rooms with a door between them
date: "3 Feb 2026"
grid: 0.1
rooms:
  - {name: Store, outline: [[0, 0], [6, 0], [6, 4], [0, 4]], height: 3, walls: steel-panel}
  - {name: Lobby, outline: [[6, 0], [9, 0], [9, 4], [6, 4]], height: 3, walls: steel-panel,
     openings: [{name: Door, edge: 3, at: 1.5, width: 1, height: 2.1, fill: steel-door}]}
solids: [{name: Trolley, centre: [2, 2], size: [1, 1, 1.6], material: metal}]
detectors: [{name: D1, model: ceiling-infrared-general, at: [3.5, 2], mounting: 3}]
planes: [{name: floor, height: 0}]
states: [{name: door open, set: {Door: open, Trolley: {centre: [1, 1]}}}]
"""


@pytest.fixture(scope="module")
def compared() -> tuple[Scene, Comparison]:
    scene = raycover.load_text(SCENE)
    after = in_state(scene, "door open")
    return after, compare(solve(scene), solve(after), ("as drawn", "door open"))


def colours() -> dict[str, np.ndarray]:
    codes = {"gained": GAINED, "lost": LOST, "kept": KEPT, "neither": NEITHER}
    found = {name: change_rgb(np.array([code], np.int8), [0.0])[0] for name, code in codes.items()}
    found["weaker"] = change_rgb(np.array([KEPT], np.int8), [-20.0])[0]
    found["stronger"] = change_rgb(np.array([KEPT], np.int8), [20.0])[0]
    return found


@pytest.mark.parametrize("sight", [None, "deuteranomaly", "protanomaly", "tritanomaly"])
def test_gained_and_lost_stay_apart_for_everyone(sight: str | None) -> None:
    """CIEDE2000-like distances (CAM02-UCS) under full dichromacy (Machado and others 2009, as colorspacious has it)."""
    shown = {name: rgb / 255 for name, rgb in colours().items()}
    if sight is not None:
        space = {"name": "sRGB1+CVD", "cvd_type": sight, "severity": 100}
        shown = {name: np.clip(cspace_convert(rgb, space, "sRGB1"), 0, 1) for name, rgb in shown.items()}
    for one, two in combinations(("gained", "lost", "kept"), 2):
        assert deltaE(shown[one], shown[two], input_space="sRGB1") > 20, (one, two)
    assert deltaE(shown["weaker"], shown["stronger"], input_space="sRGB1") > 15


def test_lost_and_gained_differ_in_grey() -> None:
    lightness = {name: cspace_convert(rgb / 255, "sRGB1", "CIELab")[0] for name, rgb in colours().items()}
    assert lightness["gained"] - lightness["lost"] > 15
    assert lightness["kept"] - lightness["gained"] > 25


def test_nowhere_is_white_and_no_change_is_pale() -> None:
    assert change_rgb(np.array([-1], np.int8), [np.nan]).tolist() == [[255, 255, 255]]
    assert change_rgb(np.array([KEPT], np.int8), [np.nan]).tolist() == change_rgb(
        np.array([KEPT], np.int8), [0.0]
    ).tolist()  # fmt: skip


def test_the_sheet(compared: tuple[Scene, Comparison], tmp_path: Path) -> None:
    scene, found = compared
    page = make_difference(scene, build(scene), found, "floor", what_changes=["Door: open"] * 40)
    said = " ".join(text for text, _ in page.text_boxes())
    for words in ("as drawn → door open", "gained", "lost", "Difference plan, floor", "Door: open", "more", "Lobby"):
        assert words in said
    assert_texts_are_in_place(page)


def test_the_sheet_in_german(compared: tuple[Scene, Comparison]) -> None:
    scene, found = compared
    page = make_difference(scene, build(scene), found, "floor", dpi=60, wording=report_words("de").wording)
    assert_texts_are_in_place(page)
    said = [text for text, _ in page.text_boxes()]
    assert_words_are_german(said, [scene.title, "door open", "floor"])
    assert {"gewonnen", "verloren", "danach", "wie gezeichnet → door open", "Änderungsplan, floor"} <= set(said)


def test_the_file_and_its_colours(compared: tuple[Scene, Comparison], tmp_path: Path) -> None:
    """The lobby, seen through the open door only, shows as gained."""
    scene, found = compared
    path = tmp_path / "floor.png"
    draw_difference(scene, build(scene), found, "floor", path, dpi=100)
    with Image.open(path) as picture:
        pixels = np.asarray(picture.convert("RGB")).reshape(-1, 3).astype(int)
    gained = np.abs(pixels - colours()["gained"]).max(axis=1) < 12
    assert gained.sum() > 500
    plane = found.planes["floor"]
    lobby = plane.surface.room == 1
    assert (plane.change[lobby] == GAINED).any()
    assert not (plane.change[lobby] == KEPT).any()
    with pytest.raises(KeyError):
        draw_difference(scene, build(scene), found, "desk", path)
