"""The page of a walk: nothing overlaps, everything said is there, the chart's axis is true."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from page_texts import assert_texts_are_in_place, assert_words_are_german
from small_scenes import detector, pattern, scene

from raycover.building.build import build
from raycover.draw.page import Page
from raycover.draw.strip_chart import draw_strip_chart, shown_lanes, time_axis
from raycover.draw.walk_page import make_walk_page
from raycover.report.words import report_words
from raycover.walking.walk import Walk, walk
from raycover.walking.ways import make_ways

CIRCLE = {"circle": {"diameter": 8}}
LONG = "A route with a name that goes on and on and on, from one end of the building to the other"


def walked(made: Any, **options: Any) -> tuple[Any, list[Walk]]:
    building = build(made)
    return building, walk(made, building=building, declared=True, **options)


def rooms(**parts: Any) -> Any:
    room = {"name": "Hall", "outline": [[0, 0], [20, 0], [20, 12], [0, 12]], "height": 3, "walls": "stud-wall-100"}
    side = {"name": "Side room", "outline": [[20, 0], [26, 0], [26, 12], [20, 12]], "height": 3,
            "walls": "stud-wall-100", "openings": [{"edge": 3, "at": 5, "width": 1, "height": 2.1}]}  # fmt: skip
    return scene(rooms=[room, side], **parts)


CASES: dict[str, dict[str, Any]] = {
    "nobody there": {"detectors": [], "routes": [{"name": "A", "line": [[1, 1], [18, 11]]}]},
    "long names": {
        "detectors": [detector((10, 6), 2.8, pattern(CIRCLE, mounting=2.8), "A detector with quite a long name")],
        "routes": [{"name": LONG[:78], "line": [[1, 1], [10, 6.5], [25, 6.5]], "seated_s": 3000}],
    },
    "many detectors": {
        "detectors": [
            detector((1.5 + 1.7 * k, 6), 2.8, pattern(CIRCLE, mounting=2.8), f"D{k + 1}") for k in range(11)
        ],
        "routes": [{"name": "Along", "line": [[1, 5], [19, 5]], "pauses": [{"at": 4, "seconds": 4},
                                                                         {"at": 9, "seconds": 400}]}],
    },
    "a short way": {
        "detectors": [detector((10, 6), 2.8, pattern(CIRCLE, mounting=2.8))],
        "routes": [{"name": "Step", "line": [[9, 6], [9.4, 6]]}],
    },
    "to and fro": {
        "detectors": [detector((10, 6), 2.8, pattern(CIRCLE, mounting=2.8, motion="presence"))],
        "routes": [{"name": "Fro",
                    "line": [[2, 2], [18, 2], [2, 2.6], [18, 3.2], [19, 6.4], [25, 6.5], [19, 6.6], [2, 10]]}],
    },
    "upright": {
        "detectors": [detector((10, 6), 2.8, pattern(CIRCLE, mounting=2.8))],
        "routes": [{"name": "Up", "line": [[10, 0.5], [10, 11.5]], "person": "wheelchair"}],
    },
}  # fmt: skip


@pytest.mark.parametrize("name", [name for name in CASES if name != "long names"])
def test_a_page_in_german(name: str) -> None:
    made = rooms(**CASES[name])
    building, found = walked(made, hold_s=30)
    for one in found:
        page = make_walk_page(made, building, one, dpi=60, wording=report_words("de").wording)
        assert_texts_are_in_place(page)
        texts = [text for text, _ in page.text_boxes()]
        assert_words_are_german(texts, [])
        assert {"Dieser Weg", "längste Lücke", "Licht", "von niemandem bemerkt"} <= set(texts)


@pytest.mark.parametrize("name", CASES)
def test_texts_neither_overlap_nor_leave_the_page(name: str) -> None:
    made = rooms(**CASES[name])
    building, found = walked(made, hold_s=30)
    for one in found:
        assert_texts_are_in_place(make_walk_page(made, building, one))


@pytest.mark.parametrize("name", ["depot", "office"])
def test_texts_of_the_examples(name: str, request: pytest.FixtureRequest) -> None:
    example = request.getfixturevalue(name)
    # One of each route of the scene: those to every desk are alike.
    ways = list({way.route: way for way in make_ways(example.scene, example.building)}.values())
    for one in walk(example.scene, building=example.building, rays=example.rays, ways=ways, declared=True, hold_s=120):
        page = make_walk_page(example.scene, example.building, one)
        assert_texts_are_in_place(page)
        texts = [text for text, _ in page.text_boxes()]
        assert any(one.name in text for text in texts)
        assert any(text.startswith("A prediction, not a site test") for text in texts)


def test_the_time_axis_is_even_where_one_walks_and_short_where_one_sits() -> None:
    made = rooms(
        detectors=[detector((10, 6), 2.8, pattern(CIRCLE, mounting=2.8))],
        routes=[{"name": "A", "line": [[1, 1], [13, 1]], "seated_s": 600}],
    )
    _, (found,) = walked(made)
    axis = time_axis(found, 20.0, 120.0)
    assert axis.x(0.0) == pytest.approx(20)
    assert axis.x(found.track.seconds) == pytest.approx(120)
    np.testing.assert_allclose(axis.x(np.array([2.0, 4.0, 6.0])) - 20, axis.mm_per_s * np.array([2, 4, 6]))
    assert axis.breaks == (pytest.approx((10.0, 610.0), abs=0.05),)
    assert 120 - axis.x(10.0) < 40


def test_a_chart_shows_those_that_matter() -> None:
    far = {"circle": {"diameter": 1}}
    units = [detector((1.0 + k, 11.5), 2.8, pattern(far, mounting=2.8), f"F{k}") for k in range(12)]
    near = detector((10, 1.5), 2.8, pattern(CIRCLE, mounting=2.8), "Near")
    made = rooms(detectors=[*units, near], routes=[{"name": "A", "line": [[1, 1], [19, 1]]}])
    _, (found,) = walked(made)
    lanes, rest = shown_lanes(found, 8)
    assert "Near" in [seen.name for seen in lanes]
    assert len(lanes) + len(rest) == 13
    page = Page(dpi=60)
    draw_strip_chart(page, found, lanes, (10, 33.5, 229, 120))
    texts = [text for text, _ in page.text_boxes()]
    assert {"light", "room", "person", "Near", "Hall", "walks"} <= set(texts)


def test_the_same_walk_gives_the_same_page() -> None:
    made = rooms(**CASES["upright"])
    building, (found,) = walked(made)
    one, two = (make_walk_page(made, building, found, dpi=50).pixels() for _ in range(2))
    np.testing.assert_array_equal(one, two)


def test_the_headline_is_the_longest_wait_not_the_quick_notice_in_the_last_room() -> None:
    """The Hall's circle of 4 m radius begins 12 m on, at 1.2 m/s or so; the side room's unit notices at its door."""
    units = [
        detector((17, 6.5), 2.8, pattern(CIRCLE, mounting=2.8), "Far"),
        detector((22, 6.5), 2.8, pattern(CIRCLE, mounting=2.8), "Side"),
    ]
    made = rooms(detectors=units, routes=[{"name": "In", "line": [[1, 6.5], [25, 6.5]]}])
    building, (one,) = walked(made)
    assert one.entries[-1].first is not None
    assert one.entries[-1].first.seconds < 0.5
    (wait,) = one.light.waits[:1]
    assert wait[1] - wait[0] > 8
    texts = [text for text, _ in make_walk_page(made, building, one).text_boxes()]
    assert f"{wait[1]:.1f} s" in texts
    assert "in the dark from the start" in texts
