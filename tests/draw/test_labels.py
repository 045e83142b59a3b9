"""Placing of text: no overlaps, nothing outside the frame, lines kept off where there is a choice."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import small_scenes
from hypothesis import given
from hypothesis import strategies as st
from page_texts import assert_texts_are_in_place

from raycover.building.build import build
from raycover.draw.labels import Placer
from raycover.draw.plan import make_plan
from raycover.solving.coverage import solve

FRAME = (0.0, 0.0, 100.0, 60.0)


def overlap(a: tuple[float, ...], b: tuple[float, ...]) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


@given(st.lists(st.tuples(st.floats(0, 100), st.floats(0, 60), st.floats(1, 30), st.floats(1, 4)), max_size=40))
def test_boxes_never_overlap_nor_leave_the_frame(wanted: list[tuple[float, float, float, float]]) -> None:
    placer = Placer(FRAME)
    boxes = []
    for x, y, width, height in wanted:
        placed = placer.near((x, y), (width, height), (1.0, 3.0, 6.0))
        if placed is not None:
            cx, cy = placed.centre
            boxes.append((cx - width / 2, cy - height / 2, cx + width / 2, cy + height / 2))
    assert not any(overlap(a, b) for a, b in combinations(boxes, 2))
    assert all(b[0] >= 0 and b[1] >= 0 and b[2] <= 100 and b[3] <= 60 for b in boxes)


def test_a_place_off_the_lines_is_preferred() -> None:
    placer = Placer(FRAME)
    placer.note_strokes([(np.array([[50.0, 0.0], [50.0, 60.0]]), 8.0)])
    assert placer.place((10, 3), [(50, 30), (70, 30)], [0.0, 1.0]) == 1
    assert placer.place((10, 3), [(50, 30)], [0.0], most=1.0) is None


def test_what_is_taken_stays_taken_until_released() -> None:
    placer = Placer(FRAME)
    placer.take((40, 20, 60, 40))
    assert placer.place((10, 3), [(50, 30)], [0.0]) is None
    placer.release()
    assert placer.place((10, 3), [(50, 30)], [0.0]) == 0


def test_far_places_get_a_leader_to_the_edge_of_the_box() -> None:
    placer = Placer(FRAME)
    placer.take((40, 25, 60, 35))
    placed = placer.near((50, 30), (6, 2), (1.0, 9.0), leader_from=5.0)
    assert placed is not None
    assert placed.leader is not None
    (cx, cy), (ex, ey) = placed.centre, placed.leader
    assert max(abs(ex - cx) - 3, abs(ey - cy) - 1) <= 1e-9


def test_crowds_are_dots_and_a_table() -> None:
    """396 detectors 2.7 mm apart on A4: no tag, no mark, a dot each; the column says which, the foot how many."""
    ceiling = small_scenes.pattern({"circle": {"diameter": 6}}, mounting=2.8)
    places = [(2.0 + 4 * i, 2.0 + 4 * k) for k in range(6) for i in range(66)]
    detectors = [small_scenes.detector(at, 2.8, ceiling, f"DET-{i:03d}") for i, at in enumerate(places)]
    room = {"name": "H", "outline": [[0, 0], [264, 0], [264, 24], [0, 24]], "height": 3, "walls": "brick-215"}
    plane = {"name": "floor", "height": 0}
    scene = small_scenes.scene(rooms=[room], detectors=detectors, planes=[plane], grid=2.0)
    building = build(scene)
    page = make_plan(scene, building, solve(scene, building=building, threads=1), "floor", dpi=60)
    assert_texts_are_in_place(page, fewest=20)
    texts = [text.strip() for text, _ in page.text_boxes()]
    assert "DET-000 to DET-395" in texts
    assert "396" in texts
    assert not [text for text in texts if text.startswith("DET-") and " to " not in text]
    assert "No room at this scale for 396 detector tags." in texts
