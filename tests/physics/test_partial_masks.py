"""Partial masks: sectors in azimuth and off axis, their losses, shares and seams, by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest

from raycover.physics.margin import mask_loss_db
from raycover.physics.pattern import Declaration, Mask, mask_share
from raycover.physics.shapes import Circle


def direction(azimuth_deg: float, off_axis_deg: float) -> tuple[float, float, float]:
    azimuth, off = math.radians(azimuth_deg), math.radians(off_axis_deg)
    return math.sin(off) * math.cos(azimuth), math.sin(off) * math.sin(azimuth), -math.cos(off)


#: 3 dB over a quarter from 30° off the axis to 60°, 5 dB over the half that overlaps it from 45° outward.
TWO = (
    Mask(0, 90, off_axis_from_deg=30, off_axis_to_deg=60, loss_db=3),
    Mask(45, 225, off_axis_from_deg=45, off_axis_to_deg=180, loss_db=5),
)


@pytest.mark.parametrize(
    ("azimuth", "off_axis", "loss"),
    [
        (20, 40, 3), (20, 20, 0), (20, 70, 0), (60, 40, 3), (60, 50, 8), (60, 70, 5), (60, 130, 5),
        (200, 50, 5), (200, 40, 0), (300, 50, 0), (90, 50, 8), (225, 100, 5),
    ],
)  # fmt: skip
def test_two_partial_sectors(azimuth: float, off_axis: float, loss: float) -> None:
    x, y, z = (np.array([v]) for v in direction(azimuth, off_axis))
    assert mask_loss_db((x, y, z), TWO).tolist() == [loss]


def test_their_share_of_the_area_by_hand() -> None:
    """A circle of 5 m from 2.5 m ends 45° off the axis (radius 2.5 m): of it the first mask takes a quarter from
    2.5·tan 30° = 1.443 m outward, (1 − 1/3)/4 = 1/6; the second begins where the footprint ends. From 1.25 m on one
    declared wider, 60° off the axis, it takes (3 − 1)/3 of a half, the first (3 − 1/3)/3 of a quarter; what both take
    counts once: 1/8·(3 − 1)/3."""
    assert mask_share(TWO, Declaration(2.5, 0, "radial", Circle(5))) == pytest.approx(1 / 6, abs=1e-4)
    wide = Declaration(2.5, 0, "radial", Circle(5 * math.tan(math.radians(60))))
    assert mask_share(TWO, wide) == pytest.approx(1 / 3 + 8 / 9 / 4 - 1 / 12, abs=1e-4)


def test_masks_that_meet_count_once_at_the_seam() -> None:
    seam = (Mask(0, 90, loss_db=4), Mask(90, 180, loss_db=4))
    x, y, z = (np.array(v) for v in zip(*(direction(a, 50) for a in (0, 45, 90, 135, 180)), strict=True))
    assert mask_loss_db((x, y, z), seam) == pytest.approx(4)
    rings = (Mask(0, 360, 0, 45, loss_db=4), Mask(0, 360, 45, 180, loss_db=4))
    x, y, z = (np.array(v) for v in zip(*(direction(10, a) for a in (0, 44.9, 45, 45.1, 180)), strict=True))
    assert mask_loss_db((x, y, z), rings) == pytest.approx(4)


def test_a_sector_spares_the_axis_even_in_a_ring() -> None:
    """Straight below there is no azimuth: only a mask all round covers it."""
    axis = (np.zeros(1), np.zeros(1), np.full(1, -2.0))
    assert mask_loss_db(axis, (Mask(-45, 45, 0, 30, loss_db=3),)).tolist() == [0]
    assert mask_loss_db(axis, (Mask(0, 360, 0, 30, loss_db=3),)).tolist() == [3]
