"""Scales and the placing of a plan on paper."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from raycover.draw.projection import SCALES, Projection, choose_scale, round_step

FRAME = (10.0, 33.5, 229.0, 176.0)


@pytest.mark.parametrize(
    ("size", "scale"),
    [
        ((2, 1), 20),
        ((4.2, 1), 20),
        ((4.3, 1), 25),
        ((5.3, 1), 30),
        ((7, 1), 40),
        ((8.5, 1), 50),
        ((42, 24), 200),
        ((1, 24), 200),
        ((1, 27), 250),
        ((1000, 400), 5000),
    ],
)
def test_the_finest_round_scale_that_fits(size: tuple[float, float], scale: int) -> None:
    assert choose_scale(*size, 210, 133) == scale


@given(st.floats(0.1, 40_000), st.floats(0.1, 40_000))
def test_everything_fits_and_no_finer_scale_does(width: float, height: float) -> None:
    scale = choose_scale(width, height, 210, 133)
    assert width * 1000 / scale <= 210 + 1e-6
    assert height * 1000 / scale <= 133 + 1e-6
    finer = [s for s in SCALES if s < scale]
    if scale in SCALES and finer:
        assert width * 1000 / finer[-1] > 210 or height * 1000 / finer[-1] > 133


def test_bounds_land_inside_the_frame_to_scale_and_back() -> None:
    projection = Projection.fitted((-3, 5, 39, 31), FRAME)
    corners = projection.to_paper([[-3, 5], [39, 31]])
    assert (corners[0] >= [14.5, 38.0]).all()
    assert (corners[1] <= [224.5, 171.5]).all()
    assert corners[1] - corners[0] == pytest.approx(np.array([42, 26]) * 1000 / projection.scale)
    assert projection.to_plan(corners) == pytest.approx(np.array([[-3, 5], [39, 31]]))


@pytest.mark.parametrize(("at_least", "step"), [(0.3, 0.5), (1, 1), (1.01, 2), (3, 5), (7, 10), (37.5, 50)])
def test_round_steps(at_least: float, step: float) -> None:
    assert round_step(at_least) == pytest.approx(step)
