"""Sheets of studies: small plans and charts on which nothing collides, and figures that agree with the study."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from page_texts import assert_texts_are_in_place, assert_words_are_german

import raycover
from raycover.asking.studying import Caster, study
from raycover.asking.summer import summer_reach
from raycover.building.build import build
from raycover.draw.chart import ticks
from raycover.draw.heat import make_heat
from raycover.draw.multiples import Small, sheets_of
from raycover.draw.study import Shown, along_axis, axis_of, make_chart_sheet, make_plan_sheets
from raycover.report.words import report_words
from raycover.scene.varying import Change, varied
from raycover.solving.coverage import solve

SCENE = """
raycover: 1
title: A hall with racking in it and a rather long name, so that it must be fitted
date: "3 Feb 2026"
grid: 0.25
rooms:
  - {name: Hall, outline: [[0, 0], [30, 0], [30, 14], [0, 14]], height: 11, walls: steel-panel}
  - {name: Office, outline: [[30, 0], [34, 0], [34, 6], [30, 6]], height: 3,
     walls: [brick-100, brick-100, brick-100, none]}
racking: [{name: R1, at: [4, 6], bays: 7, levels: 4}]
detectors:
  - {name: A1, model: high-bay-infrared-aisle, at: [9, 9], mounting: 10}
  - {name: A2, model: high-bay-infrared-aisle, at: [20, 9], mounting: 10}
  - {name: C1, model: ceiling-infrared-general, at: [32, 3], mounting: 2.8}
planes:
  - {name: floor, height: 0}
  - {name: the working plane at a bench, height: 0.75}
  - {name: person, target: person}
  - {name: shoulder, height: 1.4}
"""


@pytest.fixture(scope="module")
def made() -> Any:
    scene = raycover.load_text(SCENE)
    return scene, build(scene)


def test_heat_sheets(made: Any) -> None:
    scene, building = made
    found = {t: solve(varied(scene, Change(ambient_c=t)), building=building) for t in (20.0, 25.0, 30.0)}
    rows = summer_reach(found[20.0].units, list(found))
    pages = make_heat(scene, building, found, rows)
    assert len(pages) == 2  # four planes: two sheets of two
    for page in pages:
        assert_texts_are_in_place(page, 20)
    texts = [text for text, _ in pages[0].text_boxes()]
    assert "25 °C" in texts
    share = f"{100 * found[25.0]['floor'].share:.1f} % seen"
    assert any(text.startswith(share) for text in texts)
    german = make_heat(scene, building, found, rows, dpi=60, wording=report_words("de").wording)[0]
    assert_texts_are_in_place(german, 20)
    names = scene.title, "the working plane at a bench"  # over several lines
    said = [text for text, _ in german.text_boxes() if not any(text.removesuffix("…") in name for name in names)]
    assert_words_are_german(said, ["floor", *(unit.title for unit in found[20.0].units)])


def test_chart_and_plans_of_a_study(made: Any) -> None:
    scene, _ = made
    changes = [Change(mounting=m, tilt_deg=t) for m in (6.0, 8.0, 10.0) for t in (0.0, 10.0)]
    found = study(scene, changes, ["A1", "A2"])
    assert found.rooms == ("Hall",)
    assert axis_of(found)[0] == "mounting"
    lined = along_axis(found)
    assert [s.change.mounting for s in lined.steps] == [6, 8, 10]
    best = max(
        (s for s in found.steps if s.change.mounting == 8), key=lambda s: np.mean([p.share for p in s.planes.values()])
    )
    assert lined.steps[1] is best
    page = make_chart_sheet(scene, found, need=0.5, now=10.0)
    assert_texts_are_in_place(page, 30)
    caster = Caster(scene, ["A1", "A2"])
    shown = []
    for change in changes[::2]:
        planes = caster.planes(change)
        shown.append(
            Shown(change, {n: Small(caster.building(change), p, caster.units(change)) for n, p in planes.items()})
        )
    pages = make_plan_sheets(scene, "plans", "Plans of chosen steps", shown, ("A note.",))
    assert sorted(pages) == ["plans 1.png", "plans 2.png"]
    for page in pages.values():
        assert_texts_are_in_place(page, 20)


def test_sheets_are_parted_evenly() -> None:
    assert sheets_of([1, 2, 3, 4], 3, ["a"], 4) == [([1, 2], ["a"]), ([3, 4], ["a"])]
    assert sheets_of([1], 3, list("abcde"), 4) == [([1], ["a", "b", "c"]), ([1], ["d", "e"])]


def test_ticks_are_round() -> None:
    assert list(ticks(0, 100, 5)) == [0, 20, 40, 60, 80, 100]
    assert list(ticks(6, 11, 10)) == [6, 6.5, 7, 7.5, 8, 8.5, 9, 9.5, 10, 10.5, 11]
    assert list(ticks(3, 3, 5)) == [3]
