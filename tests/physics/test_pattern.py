"""Footprints at a mounting height, masks, and the open-air margin, each against a number worked by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from raycover.physics.margin import (
    inside_lens,
    mask_loss_db,
    reach_margin_db,
    to_local,
    undominated,
    unit_rotation,
)
from raycover.physics.pattern import Declaration, Mask, mask_share, resolve
from raycover.physics.shapes import Circle, Ellipse, Polar, Rectangle, Sector, azimuth_cells

SHAPES = [
    Circle(8),
    Rectangle(8, 5),
    Ellipse(9, 4),
    Sector(5, 100),
    Polar((0, 90, 200), (4, 2, 5)),
]


def at(*point: float) -> tuple[np.ndarray, ...]:
    return tuple(np.array([v], float) for v in point)


def one(declaration: Declaration, mounting: float):  # type: ignore[no-untyped-def]
    return resolve((declaration,), mounting)[0]


def test_radii_on_the_axes() -> None:
    x, y = (np.array([1.0, 0.0]), np.array([0.0, 1.0]))
    assert Rectangle(8, 5).radius(x, y).tolist() == [4, 2.5]
    assert Ellipse(9, 4).radius(x, y).tolist() == [4.5, 2]
    assert Sector(5, 100).radius(x, y).tolist() == [5, 0]
    # Rows at 0°, 90° and 200°: half way between the last two, 145°, lies 3.5 m; 280°, half way round, 4.5 m.
    azimuth = np.radians([0, 45, 145, 280])
    assert Polar((0, 90, 200), (4, 2, 5)).radius(np.cos(azimuth), np.sin(azimuth)) == pytest.approx([4, 3, 3.5, 4.5])


@pytest.mark.parametrize("shape", SHAPES, ids=lambda s: type(s).__name__)
def test_areas_by_azimuth_cells(shape) -> None:  # type: ignore[no-untyped-def]
    phi, width = azimuth_cells(shape.corners_rad)
    area = float(np.sum(width * shape.radius(np.cos(phi), np.sin(phi)) ** 2) / 2)
    closed = {"Circle": math.pi * 16, "Rectangle": 40, "Ellipse": math.pi * 9, "Sector": math.pi * 25 * 100 / 360}
    if (expected := closed.get(type(shape).__name__)) is not None:
        assert area == pytest.approx(expected, rel=1e-6)
    assert width.sum() == pytest.approx(2 * math.pi)


def test_outside_declared_heights_angles_and_slants_stay() -> None:
    """r = 18 m from 14 m: from 10 m the same angle, so 12.86 m; the slant range stays √(18² + 14²) = 22.8 m."""
    low = one(Declaration(14, 0, "tangential", Circle(36)), 10)
    assert low.extrapolated
    assert 10 * math.tan(low.edge_off_axis_rad) == pytest.approx(18 * 10 / 14)
    assert low.largest_slant == pytest.approx(math.hypot(18, 14))


def test_between_declared_heights_the_radius_is_linear() -> None:
    declared = (Declaration(2, 0, "radial", Circle(6)), Declaration(4, 1, "radial", Circle(10)))
    (middle,) = resolve(declared, 3)
    assert not middle.extrapolated
    assert middle.shape.constant == pytest.approx(4)  # radius half way between 3 and 5
    assert middle.drop == pytest.approx(3 - 0.5)  # the plane half way between 0 and 1


def test_motions_come_in_a_fixed_order() -> None:
    declared = tuple(Declaration(2, 0, motion, Circle(6)) for motion in ("presence", "radial", "tangential"))
    assert [f.motion for f in resolve(declared, 2)] == ["tangential", "radial", "presence"]


def test_fourth_power_by_hand() -> None:
    """Half the slant range of a circle's edge: 40·log10 2 = 12.04 dB; the edge itself 0 dB."""
    footprint = one(Declaration(3, 0, "tangential", Circle(8)), 3)
    assert footprint.largest_slant == 5
    assert reach_margin_db(at(4, 0, -3), footprint) == pytest.approx(0, abs=1e-12)
    assert reach_margin_db(at(2, 0, -1.5), footprint) == pytest.approx(40 * math.log10(2))
    assert reach_margin_db(at(0, 0, -3), footprint) == pytest.approx(40 * math.log10(5 / 3))


def test_blend_near_the_axis_by_hand() -> None:
    """Rectangle 8 × 6 from 3 m, at (2, 0) on the floor: w = sin²θ / sin²θ_edge with θ_edge at azimuth 0.

    sin²θ = 4/13, sin²θ_edge = 16/25, w = 0.4808; ln s0' = (1 − w)·mean + w·ln 5, mean over azimuths numeric.
    """
    footprint = one(Declaration(3, 0, "tangential", Rectangle(8, 6)), 3)
    phi = (np.arange(200_000) + 0.5) / 200_000 * 2 * np.pi
    radius = np.minimum(4 / np.abs(np.cos(phi)), 3 / np.abs(np.sin(phi)))
    mean = float(np.mean(0.5 * np.log(radius**2 + 9)))
    assert footprint.mean_log_slant == pytest.approx(mean, abs=1e-6)  # midpoints every tenth of a degree
    w = (4 / 13) / (16 / 25)
    expected = 40 / math.log(10) * ((1 - w) * mean + w * math.log(5) - 0.5 * math.log(13))
    assert reach_margin_db(at(2, 0, -3), footprint) == pytest.approx(expected, abs=1e-5)
    # Straight below, whatever the azimuth would be: the mean alone.
    assert reach_margin_db(at(0, 0, -3), footprint) == pytest.approx(40 / math.log(10) * (mean - math.log(3)), abs=1e-5)


@pytest.mark.parametrize("shape", SHAPES, ids=lambda s: type(s).__name__)
def test_margin_is_never_negative_inside_the_declared_footprint(shape) -> None:  # type: ignore[no-untyped-def]
    footprint = one(Declaration(2.5, 0, "radial", shape), 2.5)
    rng = np.random.default_rng(1)
    phi, share = rng.uniform(0, 2 * np.pi, 4000), np.sqrt(rng.uniform(0, 1, 4000))
    rho = share * shape.radius(np.cos(phi), np.sin(phi))
    local = (rho * np.cos(phi), rho * np.sin(phi), np.full(4000, -2.5))
    covered = rho > 0
    assert (reach_margin_db(local, footprint)[covered] >= -1e-9).all()
    assert inside_lens(local, footprint)[covered].all()


def test_microwave_reach_behind() -> None:
    """Half the reach behind the mounting plane: 40·log10 0.5 = −12.04 dB; none: nothing at all."""
    footprint = one(Declaration(3, 0, "radial", Circle(8)), 3)
    ahead = reach_margin_db(at(3, 0, -4), footprint, 0.5)
    behind = reach_margin_db(at(3, 0, 4), footprint, 0.5)
    assert behind - ahead == pytest.approx(40 * math.log10(0.5))
    assert np.isneginf(reach_margin_db(at(3, 0, 4), footprint, 0.0))
    assert reach_margin_db(at(3, 0, 4), footprint, 1.0) == pytest.approx(ahead)
    assert np.isfinite(reach_margin_db(at(3, 0, 0), footprint, 0.0))  # in the mounting plane: still in front


def test_nothing_above_an_infrared_lens() -> None:
    footprint = one(Declaration(3, 0, "radial", Circle(8)), 3)
    assert not inside_lens(at(0.1, 0, 1), footprint).any()
    assert not inside_lens(at(0, 0, 0), footprint).any()


@pytest.mark.parametrize(("turn", "tilt", "expected"), [
    (0, 0, (1, 0, 0)), (90, 0, (0, 1, 0)), (0, 90, (0, 0, 1)), (90, 30, (0, math.cos(math.pi / 6), 0.5)),
])  # fmt: skip
def test_local_x_turns_anticlockwise_and_tilts_up(turn: float, tilt: float, expected: tuple[float, ...]) -> None:
    assert unit_rotation(turn, tilt)[:, 0] == pytest.approx(expected, abs=1e-12)


@given(st.floats(-360, 360), st.floats(-90, 90))
def test_to_local_undoes_the_rotation(turn: float, tilt: float) -> None:
    rotation = unit_rotation(turn, tilt)
    points = np.random.default_rng(3).normal(size=(3, 5))
    local = to_local(rotation, tuple(points))  # type: ignore[arg-type]
    assert rotation @ np.stack(np.broadcast_arrays(*local)) == pytest.approx(points, abs=1e-9)


@pytest.mark.parametrize(("mask", "inside", "outside"), [
    (Mask(200, 260), [200, 230, 260], [199, 261, 50]),
    (Mask(350, 20), [350, 0, 20], [349, 21, 180]),
    (Mask(-10, 20), [350, 0, 20], [349, 21, 180]),
    (Mask(90, 30), [90, 180, 0, 30], [31, 60, 89]),
    (Mask(0, 360), [0, 90, 359], []),
])  # fmt: skip
def test_masks_run_anticlockwise_and_wrap(mask: Mask, inside: list[float], outside: list[float]) -> None:
    for azimuths, covered in ((inside, True), (outside, False)):
        phi = np.radians(np.array(azimuths, float))
        assert (mask.covers_azimuth(np.cos(phi), np.sin(phi)) == covered).all()


def test_mask_losses_add_up_and_spare_the_axis() -> None:
    masks = (Mask(0, 90, loss_db=2), Mask(45, 135, loss_db=3), Mask(180, 270))
    loss = mask_loss_db((np.array([1, 1, -1, -1, 0.0]), np.array([0.1, 1, 1, -1, 0.0]), np.full(5, -2.0)), masks)
    assert loss.tolist() == [2, 5, 3, np.inf, 0]


def test_off_axis_mask() -> None:
    ring = (Mask(0, 360, off_axis_from_deg=30, off_axis_to_deg=60),)
    off = np.tan(np.radians([20.0, 45.0, 70.0]))
    assert mask_loss_db((off, np.zeros(3), np.full(3, -1.0)), ring).tolist() == [0, np.inf, 0]


@pytest.mark.parametrize(("masks", "shape", "share"), [
    ([Mask(0, 90)], Circle(8), 0.25),
    ([Mask(0, 90), Mask(45, 135)], Circle(8), 0.375),
    ([Mask(-45, 45)], Rectangle(30, 4), 56 / 120),
    ([Mask(0, 180)], Sector(5, 100), 0.5),
    # Off axis from half the radius on, all round: three quarters of the disc.
    ([Mask(0, 360, off_axis_from_deg=math.degrees(math.atan(2 / 2.5)))], Circle(8), 0.75),
])  # fmt: skip
def test_mask_share_closed_form(masks: list[Mask], shape, share: float) -> None:  # type: ignore[no-untyped-def]
    assert mask_share(masks, Declaration(2.5, 0, "radial", shape)) == pytest.approx(share, abs=1e-5)


def test_dominated_footprints_never_decide() -> None:
    declared = (
        Declaration(3, 0, "tangential", Rectangle(12, 4)),
        Declaration(3, 0, "radial", Rectangle(9, 3)),
        Declaration(3, 0.75, "presence", Circle(5)),
    )
    footprints = resolve(declared, 3)
    kept = undominated(footprints)
    assert [f.motion for f in kept] == ["tangential", "presence"]
    rng = np.random.default_rng(0)
    local = (rng.uniform(-7, 7, 5000), rng.uniform(-4, 4, 5000), -rng.uniform(0.5, 3, 5000))

    def best(some) -> np.ndarray:  # type: ignore[no-untyped-def]
        seen = [np.where(inside_lens(local, f), reach_margin_db(local, f), -np.inf) for f in some]
        return np.max(seen, axis=0)

    assert best(kept) == pytest.approx(best(footprints), abs=1e-9)


def test_equal_footprints_keep_one() -> None:
    same = resolve(tuple(Declaration(3, 0, m, Circle(6)) for m in ("tangential", "radial", "presence")), 3)
    assert len(undominated(same)) == 1


@pytest.mark.parametrize("shape", SHAPES, ids=lambda s: type(s).__name__)
@pytest.mark.parametrize("turn_deg", [0, 17, 45, 133])
def test_hull_bounds_the_outline_at_any_turn(shape, turn_deg: float) -> None:  # type: ignore[no-untyped-def]
    footprint = one(Declaration(2.5, 0, "radial", shape), 2.5)
    rotation = unit_rotation(turn_deg, 0)[:2, :2]
    outline, hull = footprint.outline @ rotation.T, footprint.hull @ rotation.T
    assert hull.min(axis=0) == pytest.approx(outline.min(axis=0), abs=1e-4)
    assert hull.max(axis=0) == pytest.approx(outline.max(axis=0), abs=1e-4)
    if type(shape).__name__ == "Rectangle":
        assert len(hull) == 4
