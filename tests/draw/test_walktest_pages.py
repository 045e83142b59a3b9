"""Pages of a walk test and of what came back: no text over another or off the page, every point marked and numbered."""

from __future__ import annotations

from functools import lru_cache
from itertools import combinations

import numpy as np
import pytest
from page_texts import assert_texts_are_in_place

import raycover
from raycover.draw.page import Page
from raycover.draw.reconcile_page import make_reconciliation
from raycover.draw.walktest_page import make_walk_test_pages
from raycover.draw.walktest_plan import Sort, draw_mark
from raycover.errors import Position
from raycover.scene.devices import PlaneSpec
from raycover.solving.coverage import Coverage, solve
from raycover.walktest.answers import Answer, Answers
from raycover.walktest.making import WalkTest, make_walk_test
from raycover.walktest.returned import Returned, compare

STRESS = """
raycover: 1
title: Offices, two storeys of a house with a rather long name for a sheet of paper
date: "3 Feb 2026"
grid: 0.25
doubt: {cases: 16}
rooms:
  - {name: 'Größe_$x$ 房间', outline: [[0,0],[6,0],[6,4],[0,4]], height: 2.8, walls: brick-100}
  - name: A room upstairs with a long name
    outline: [[0,0],[6,0],[6,4],[0,4]]
    floor: 3
    height: 2.8
    walls: stud-wall-100
storeys: [{name: Ground floor of the house, floor: 0}, {name: First, floor: 3}]
partitions: [{name: Screen, room: 'Größe_$x$ 房间', line: [[3,0],[3,3]], height: 2, construction: chipboard-18}]
cubicles: [{name: A row of cubicles, room: A room upstairs with a long name, at: [3, 3.95], turn_deg: -90, count: 2}]
detectors:
  - {name: Detector with a name of its own, room: 'Größe_$x$ 房间', model: microwave-omni-5.8, at: [1, 2], mounting: 2}
  - {name: D2, room: A room upstairs with a long name, model: ceiling-infrared-general, at: [4, 2], mounting: 2.8}
needs:
  - {name: Street with a long name, area: [[-6,-3],[12,-3],[12,-0.2],[-6,-0.2]], storey: First, never: true}
"""
SORTS: tuple[Sort, ...] = (
    "noticed as predicted", "quiet as predicted", "missed though predicted", "noticed though not predicted"
)  # fmt: skip


@lru_cache
def sheet() -> WalkTest:
    return make_walk_test(raycover.load_text(STRESS), n_points=30)


@lru_cache
def back() -> tuple[Returned, Coverage]:
    """Every other point answered otherwise than predicted, with remarks without end."""
    test = sheet()
    remark = "a remark that goes on and on about lamps, doors, ladders and people who walked through " * 2
    given = tuple(
        Answer(p.number, p.at, p.move.key, (), (p.margin_db >= 0) == bool(k % 2), remark, Position("r.csv"))
        for k, p in enumerate(test.points)
    )
    returned = compare(test.scene, Answers(given, 3, None))
    plane = PlaneSpec(name="walk test", target="person", heights=[0.3, 1.0, 1.6])
    scene = test.scene.changed({"planes": [plane]}, test.scene.state, lambda places: places)
    return returned, solve(scene)


def words(page: Page) -> list[str]:
    return [text for text, _ in page.text_boxes()]


@pytest.mark.parametrize("paper", ["A4", "A3"])
def test_the_sheet_is_legible_and_complete(paper: str) -> None:
    pages = make_walk_test_pages(sheet(), paper=paper, dpi=60)
    plans, tables = pages[: len(sheet().storeys)], pages[len(sheet().storeys) :]
    for page in pages:
        assert_texts_are_in_place(page, 15)
    for storey, page in zip(sheet().storeys, plans, strict=True):
        numbers = {str(p.number) for p in sheet().points if p.storey == storey}
        assert numbers <= set(words(page))
    said = [text for page in tables for text in words(page)]
    for p in sheet().points:
        assert str(p.number) in said
        assert f"{p.at[0]:.2f}, {p.at[1]:.2f}" in said
        assert all(m.words in said for m in p.measured)
    assert [page.size for page in tables] == [(297.0, 210.0)] * len(tables)
    assert plans[0].paper == paper


def test_what_came_back_is_legible_and_complete() -> None:
    returned, coverage = back()
    pages = make_reconciliation(returned, coverage, dpi=60)
    for page in pages:
        assert_texts_are_in_place(page, 15)
    said = [text for page in pages for text in words(page)]
    for p in returned.points:
        assert str(p.answer.number) in said
    for text in (
        "As predicted and as found",
        "Points that came out otherwise",
        "3 points of the sheet have no answer.",
    ):
        assert text in said


def test_marks_are_told_apart_without_colour() -> None:
    """Every two sorts of marks differ in a fifth of the mark's pixels or more, in a grey print."""
    drawn = []
    for sort in SORTS:
        page = Page(dpi=150, size=(12.0, 12.0))
        draw_mark(page, np.array([6.0, 6.0]), sort)
        drawn.append(page.pixels().astype(float).mean(axis=2))
    area = max(float((grey < 200).sum()) for grey in drawn)
    for one, other in combinations(drawn, 2):
        assert (np.abs(one - other) > 100).sum() > 0.2 * area
