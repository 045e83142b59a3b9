"""What must hold of any scene: it does not matter where it stands, more detectors see more, obstacles hide."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_scenes import detector, pattern, scene

import raycover

lengths = st.integers(0, 60).map(lambda k: k / 10)
boxes = st.lists(
    st.tuples(lengths, lengths, st.floats(0.2, 1.5), st.floats(0.2, 1.5), st.floats(0.3, 2.2), st.floats(0, 90)),
    max_size=4,
)
units = st.lists(st.tuples(lengths, lengths, st.floats(2.3, 2.9), st.booleans()), min_size=1, max_size=3)


def make(
    some_units: Any, some_boxes: Any, move: tuple[float, float] = (0.0, 0.0), turn_deg: float = 0.0
) -> raycover.Scene:
    turn = np.radians(turn_deg)

    def placed(x: float, y: float) -> list[float]:
        return [
            float(x * np.cos(turn) - y * np.sin(turn) + move[0]),
            float(x * np.sin(turn) + y * np.cos(turn) + move[1]),
        ]

    outline = [placed(*corner) for corner in ((-0.5, -0.5), (6.5, -0.5), (6.5, 6.5), (-0.5, 6.5))]
    detectors = [
        detector(tuple(placed(x, y)), height, pattern(  # type: ignore[arg-type]
            {"rectangle": {"length": 6, "width": 4}}, mounting=2.5, motion="radial",
            **({"frequency_ghz": 5.8} if microwave else {}),
        ), f"D{i}", turn_deg=turn_deg + 20 * i)
        for i, (x, y, height, microwave) in enumerate(some_units)
    ]  # fmt: skip
    solids = [
        {"name": f"B{i}", "centre": placed(x, y), "size": [a, b, h], "turn_deg": t + turn_deg, "material": "goods"}
        for i, (x, y, a, b, h, t) in enumerate(some_boxes)
    ]
    room = {"name": "room", "outline": outline, "height": 3, "walls": "plasterboard-12.5"}
    return scene(rooms=[room], solids=solids, detectors=detectors, planes=[{"name": "floor", "height": 0}], grid=0.25)


def solved(made: raycover.Scene) -> Any:
    try:
        return raycover.solve(made)["floor"]
    except raycover.InputError as error:
        if "detector-in-solid" in str(error):
            return None
        raise


@settings(max_examples=25)
@given(units, boxes, st.tuples(st.integers(-400, 400), st.integers(-400, 400)))
def test_moving_the_scene_changes_nothing(some_units: Any, some_boxes: Any, move: tuple[int, int]) -> None:
    here, there = solved(make(some_units, some_boxes)), solved(make(some_units, some_boxes, move))
    if here is None:
        return
    # A cell whose ray grazes an edge may fall either way by rounding; no more than those.
    assert abs(here.share - there.share) < 0.004
    same = np.isclose(here.margin_db, there.margin_db, atol=2e-3, equal_nan=True)
    assert same.mean() > 0.99


@settings(max_examples=15)
@given(units, boxes)
def test_a_quarter_turn_changes_nothing(some_units: Any, some_boxes: Any) -> None:
    here, there = solved(make(some_units, some_boxes)), solved(make(some_units, some_boxes, turn_deg=90))
    if here is not None:
        assert here.share == pytest.approx(there.share, abs=0.004)
        assert here.area_m2 == pytest.approx(there.area_m2, abs=0.07)


@settings(max_examples=20)
@given(units, boxes)
def test_one_more_detector_never_lowers_coverage(some_units: Any, some_boxes: Any) -> None:
    more, fewer = solved(make(some_units, some_boxes)), solved(make(some_units[:-1], some_boxes))
    if more is not None and fewer is not None:
        inside = more.surface.inside
        assert (more.margin_db[inside] >= fewer.margin_db[inside]).all()
        assert more.share >= fewer.share


@settings(max_examples=20)
@given(units, boxes.filter(len))
def test_one_more_obstacle_never_raises_a_margin(some_units: Any, some_boxes: Any) -> None:
    more, fewer = solved(make(some_units, some_boxes)), solved(make(some_units, some_boxes[:-1]))
    if more is not None and fewer is not None:
        both = more.surface.inside & fewer.surface.inside
        assert (more.margin_db[both] <= fewer.margin_db[both] + 1e-4).all()


@settings(max_examples=10)
@given(units, boxes)
def test_halving_the_cell_changes_the_share_little(some_units: Any, some_boxes: Any) -> None:
    made = make(some_units, some_boxes)
    coarse = solved(made)
    if coarse is None:
        return
    finer = made.model_copy(update={"grid": 0.125})
    finer.attach(made._document, made.catalogue)  # type: ignore[arg-type]
    assert solved(finer).share == pytest.approx(coarse.share, abs=0.04)
