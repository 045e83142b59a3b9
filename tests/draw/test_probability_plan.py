"""The probability plan: classes that stay apart for everyone and in grey, a sheet on which nothing collides."""

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
from raycover.draw import chance_palette
from raycover.draw.chance_palette import chance_rgb, class_of, from_scale, to_scale
from raycover.draw.probability_plan import draw_chances, make_chances
from raycover.report.words import report_words
from raycover.scene.schema import Scene
from raycover.solving.chance_maps import ChanceMaps, vary
from raycover.solving.coverage import Coverage, solve
from raycover.spreads import in_words

SCENE = """
raycover: 1
title: Two rooms beside each other
date: "3 Feb 2026"
grid: 0.2
doubt: {cases: 32}
rooms:
  - {name: Store, outline: [[0, 0], [7, 0], [7, 4], [0, 4]], height: 3, walls: plasterboard-12.5}
  - {name: Lobby, outline: [[7, 0], [10, 0], [10, 4], [7, 4]], height: 3,
     walls: [brick-215, brick-215, brick-215, none]}
detectors:
  - {name: M1, model: microwave-omni-5.8, at: [2, 2], mounting: 2.9}
planes: [{name: floor, height: 0}]
"""
MIDDLES = (0.025, 0.275, 0.725, 0.975)


@pytest.fixture(scope="module")
def varied() -> tuple[Scene, Coverage, ChanceMaps]:
    scene = raycover.load_text(SCENE)
    coverage = solve(scene, threads=1)
    return scene, coverage, vary(scene, coverage, threads=1)


@pytest.mark.parametrize("sight", [None, "deuteranomaly", "protanomaly", "tritanomaly"])
def test_classes_stay_apart_for_everyone(sight: str | None) -> None:
    """CAM02-UCS distances under full dichromacy (Machado and others 2009, as colorspacious has it)."""
    shown = chance_rgb(MIDDLES) / 255
    if sight is not None:
        space = {"name": "sRGB1+CVD", "cvd_type": sight, "severity": 100}
        shown = np.clip(cspace_convert(shown, space, "sRGB1"), 0, 1)
    for one, two in combinations(shown, 2):
        assert deltaE(one, two, input_space="sRGB1") > 15


def test_classes_stay_apart_in_grey() -> None:
    lightness = cspace_convert(chance_rgb(MIDDLES) / 255, "sRGB1", "CIELab")[:, 0]
    assert np.diff(lightness).min() > 12


def test_a_bound_belongs_to_the_class_above() -> None:
    p = [0, 0.049, 0.05, 0.499, 0.5, 0.949, 0.95, 1.0, np.nan]
    expected = [0, 0, 1, 1, 2, 2, 3, 3, -1]
    assert class_of(p).tolist() == expected
    from raycover.draw import palette

    assert palette.class_of(to_scale(p), chance_palette.HALF).tolist() == expected
    there = [0, 0.05, 0.3, 0.5, 0.95, 1]
    np.testing.assert_allclose(from_scale(to_scale(there)), there, atol=1e-4)
    assert chance_rgb([np.nan]).tolist() == [[255, 255, 255]]


def test_the_sheet(varied: tuple[Scene, Coverage, ChanceMaps]) -> None:
    scene, coverage, maps = varied
    notes = in_words(scene.doubt, {"microwave", "infrared"}) * 4
    page = make_chances(scene, build(scene), coverage, maps, "floor", notes=notes)
    boxes = page.text_boxes()
    said = " ".join(text for text, _ in boxes)
    for words in ("Probability plan, floor", "hardly ever", "firm", "Lobby", "32 varied cases", "walk-test", "more"):
        assert words in said
    assert_texts_are_in_place(page)
    assert max(x1 for _, (_, _, x1, _) in boxes) <= 287.5


def test_the_sheet_in_german(varied: tuple[Scene, Coverage, ChanceMaps]) -> None:
    scene, coverage, maps = varied
    notes = in_words(scene.doubt, {"microwave", "infrared"})
    wording = report_words("de").wording
    page = make_chances(scene, build(scene), coverage, maps, "floor", notes=notes, dpi=60, wording=wording)
    assert_texts_are_in_place(page)
    said = [text for text, _ in page.text_boxes()]
    assert_words_are_german(said, [scene.title, "floor"])
    assert {
        "fast nie",
        "selten",
        "meist",
        "fast immer",
        "Montagehöhe ±0,1 m",
        "32 abgewandelte Fälle · Startwert 1",
    } <= set(said)


def test_the_file_holds_the_colours_of_its_classes(varied: tuple[Scene, Coverage, ChanceMaps], tmp_path: Path) -> None:
    scene, coverage, maps = varied
    path = tmp_path / "floor.png"
    draw_chances(scene, build(scene), coverage, maps, "floor", path, dpi=100)
    with Image.open(path) as picture:
        pixels = np.asarray(picture.convert("RGB")).reshape(-1, 3).astype(int)
    firm = np.abs(pixels - chance_rgb([1.0])[0].astype(int)).max(axis=1) < 10
    assert maps["floor"].firm_share > 0.2
    assert firm.sum() > 500
    with pytest.raises(KeyError):
        draw_chances(scene, build(scene), coverage, maps, "desk", path)
