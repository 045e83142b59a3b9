"""Elevation tables and aimed beams: hand-worked reaches, and the declared footprint that both must give back."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from raycover.physics.directivity import SIDE_LOBES, Beam, Beams, Elevation, share_behind
from raycover.physics.margin import (
    largest_reach_m,
    reach_margin_db,
    undominated,
    worst_against_footprint_db,
)
from raycover.physics.pattern import Declaration, Footprint, resolve
from raycover.physics.shapes import Circle, Ellipse, Rectangle, Shape

DOWN_AND_UP = Elevation((0, 60, 90, 120, 180), (0.8, 1.0, 0.9, 0.4, 0.1))
CORRIDOR = Beams((Beam(0, 60, 60), Beam(180, 60, 60)))


def at(*points: tuple[float, float, float]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    x, y, z = np.array(points, float).T
    return x, y, z


def reach(footprint: Footprint, off_axis_deg: float, azimuth_deg: float = 0.0, behind: float = 0.0) -> float:
    """Distance (m) of margin 0 along one direction."""
    off, azimuth = math.radians(off_axis_deg), math.radians(azimuth_deg)
    direction = (math.sin(off) * math.cos(azimuth), math.sin(off) * math.sin(azimuth), -math.cos(off))
    return float(10 ** (reach_margin_db(at(direction), footprint, behind)[0] / 40))


def footprint(shape: Shape, directivity: object, *, mounting: float = 2.5) -> Footprint:
    (made,) = resolve((Declaration(2.5, 0, "radial", shape),), mounting, directivity)  # type: ignore[arg-type]
    return made


def test_elevation_shares_of_a_circle_by_hand() -> None:
    """8.66 m across from 2.5 m: the edge lies 60° off the axis, s0 = 2.5/cos 60° = 5 m, where the table says 1.

    So 4 m straight down, 4.5 m along the mounting plane, 2 m at 120°, 0.5 m straight back; halfway between 60°
    and 90° 4.75 m.
    """
    made = footprint(Circle(2 * 2.5 * math.tan(math.radians(60))), DOWN_AND_UP)
    for off_axis, expected in ((0, 4.0), (60, 5.0), (75, 4.75), (90, 4.5), (120, 2.0), (150, 1.25), (180, 0.5)):
        assert reach(made, off_axis) == pytest.approx(expected, rel=1e-9)
        assert reach(made, off_axis, 217) == pytest.approx(expected, rel=1e-9)


def test_only_the_shape_of_a_table_counts() -> None:
    """Twice every share is the same unit: the footprint fixes the scale. A flat table is none at all, in front."""
    doubled = Elevation(DOWN_AND_UP.off_axis_deg, tuple(2 * s for s in DOWN_AND_UP.shares))
    flat = Elevation((0, 180), (1, 1))
    for shape in (Circle(9), Ellipse(14, 8), Rectangle(10, 7)):
        for off_axis in (0, 20, 50, 85, 130, 180):
            one, two = (reach(footprint(shape, table), off_axis, 33) for table in (DOWN_AND_UP, doubled))
            assert two == pytest.approx(one)
            assert reach(footprint(shape, flat), off_axis, 33) == pytest.approx(
                reach(footprint(shape, None), off_axis, 33, behind=1.0)
            )


def test_no_jump_at_the_mounting_plane_nor_at_the_axis() -> None:
    """A table runs on through 90°, where `reach_behind` jumps; straight down and back the azimuth means nothing."""
    plain = footprint(Ellipse(12, 6), None)
    assert reach(plain, 90.001, behind=0.2) == pytest.approx(0.2 * reach(plain, 90, behind=0.2), rel=1e-3)
    for directivity in (DOWN_AND_UP, CORRIDOR):
        made = footprint(Ellipse(12, 6), directivity)
        assert reach(made, 90.001) == pytest.approx(reach(made, 89.999), rel=1e-3)
        for off_axis in (1e-4, 180 - 1e-4):
            around = [reach(made, off_axis, azimuth) for azimuth in range(0, 360, 45)]
            assert np.ptp(around) < 1e-3 * max(around)


def test_points_in_the_mounting_plane_are_in_front() -> None:
    """Whatever rounding a turned or tilted frame leaves in z."""
    made = footprint(Circle(9), None)
    margins = reach_margin_db(at((3, 0, 0), (3, 0, 1e-15), (3, 0, -1e-15), (3, 0, 1e-6)), made, 0.0)
    assert np.isfinite(margins).tolist() == [True, True, True, False]


def test_a_beam_has_half_its_power_at_half_its_width() -> None:
    """cosⁿ with n = ln ½ / ln cos 30° = 4.819 for 60°: half the one-way power 30° off, so reach × √½ (−3 dB each
    way, 40·log10 √½ = −6.02 dB for the round trip)."""
    beam = Beam(0, 60, 60)
    assert beam.exponent == pytest.approx(4.8188, abs=1e-4)
    x, y, z = (np.array([math.sin(math.radians(a)) for a in (60, 90, 30)]), np.zeros(3),
               np.array([-math.cos(math.radians(a)) for a in (60, 90, 30)]))  # fmt: skip
    assert Beams((beam,)).share(x, y, z) == pytest.approx([1, math.sqrt(0.5), math.sqrt(0.5)])
    # Beyond a right angle off its axis only side lobes are left.
    assert Beams((beam,)).share(np.array([-1.0]), np.zeros(1), np.zeros(1)) == pytest.approx(SIDE_LOBES)


def test_a_corridor_unit_above_its_mounting_plane_by_hand() -> None:
    """18 × 2.6 m from 2.5 m, beams 60° off the axis, 60° wide, along azimuth 0.

    Edge ahead: θ_e = atan(9/2.5) = 74.476°, 14.476° off the beam, s0 = 9.3408 m. At 105°, 45° off the beam, sin θ is
    about that of the edge: reach = 9.3408·(cos 45°/cos 14.476°)^(4.8188/2) = 4.376 m. At 120° azimuths mean less,
    w = (sin 120°/sin 74.476°)² = 0.808: ln(s0/f_e) blends to its mean over the azimuths by as much, f = cos 60°^2.409.
    """
    made = footprint(Ellipse(18, 2.6), CORRIDOR)
    assert reach(made, 74.4758) == pytest.approx(9.3408, abs=1e-3)
    n = math.log(0.5) / math.log(math.cos(math.radians(30)))
    ahead = 9.3408 / math.cos(math.radians(14.4758)) ** (n / 2)
    assert reach(made, 105) == pytest.approx(4.376, abs=0.01)
    phi = (np.arange(100_000) + 0.5) / 100_000 * 2 * np.pi
    radius = 1 / np.hypot(np.cos(phi) / 9, np.sin(phi) / 1.3)
    slant = np.hypot(radius, 2.5)
    off = np.sin(np.radians(60)) * radius * np.abs(np.cos(phi)) / slant + np.cos(np.radians(60)) * 2.5 / slant
    mean = float(np.mean(np.log(slant / off ** (n / 2))))
    weight = (math.sin(math.radians(120)) / math.sin(math.radians(74.4758))) ** 2
    expected = math.exp((1 - weight) * mean + weight * math.log(ahead)) * 0.5 ** (n / 2)
    assert reach(made, 120) == pytest.approx(expected, rel=1e-4)


SHAPES = st.one_of(
    st.builds(Circle, st.floats(2, 20)),
    st.builds(Ellipse, st.floats(2, 24), st.floats(2, 24)),
    st.builds(Rectangle, st.floats(2, 24), st.floats(2, 24)),
)
BEAMS = st.lists(st.builds(Beam, st.floats(-180, 180), st.floats(0, 120), st.floats(20, 150)), min_size=1, max_size=4)


@settings(max_examples=60, deadline=None)
@given(SHAPES, BEAMS, st.floats(2.0, 4.0))
def test_whatever_the_beams_the_declared_footprint_comes_out(shape: Shape, beams: list[Beam], mounting: float) -> None:
    """On its own plane a footprint is seen within its edge and nowhere beyond, with the margins that it has inside."""
    made = footprint(shape, Beams(tuple(beams)), mounting=mounting)
    plain = footprint(shape, None, mounting=mounting)
    phi = np.linspace(0, 2 * np.pi, 73)
    radius = shape.radius(np.cos(phi), np.sin(phi))
    for share in (0.02, 0.4, 0.9, 0.999, 1.001, 1.1, 2.0, 6.0):
        flat = share * radius
        local = (flat * np.cos(phi), flat * np.sin(phi), np.full_like(flat, -made.drop))
        margin = reach_margin_db(local, made, 0.3)
        if share < 1:
            assert margin == pytest.approx(reach_margin_db(local, plain, 0.3), abs=1e-9)
        else:
            assert (margin < 0).all()


@settings(max_examples=40, deadline=None)
@given(SHAPES, BEAMS)
def test_windows_hold_every_reach(shape: Shape, beams: list[Beam]) -> None:
    made = footprint(shape, Beams(tuple(beams)))
    rng = np.random.default_rng(5)
    u = rng.normal(size=(3, 3000))
    x, y, z = u / np.linalg.norm(u, axis=0)
    assert 10 ** (reach_margin_db((x, y, z), made, 0.2).max() / 40) <= largest_reach_m(made, 0.2)


def test_behind_beams_no_less_than_the_entry_says() -> None:
    made, plain = footprint(Ellipse(18, 2.6), CORRIDOR), footprint(Ellipse(18, 2.6), None)
    for off_axis in (95, 130, 180):
        assert reach(made, off_axis, 40, behind=0.3) >= reach(plain, off_axis, 40, behind=0.3) - 1e-9


def test_front_to_back_ratio() -> None:
    """10 dB one way: 20 dB two way, reach × 10^(−20/40) = 0.316."""
    assert share_behind(10) == pytest.approx(0.3162, abs=1e-4)
    assert share_behind(0) == 1


def test_a_table_against_its_footprint() -> None:
    """8.66 m across from 2.5 m (edge 60° off, 5 m): a share of 0.4 straight down is 2 m, short of the floor by
    40·log10(2.5/2) = 3.9 dB. A share that
    rises to 4 at 80° is 2.8 at 72°: 14 m, beyond 2.5/cos 72° = 8.09 m by 9.53 dB, the most along the way."""
    circle = Circle(2 * 2.5 * math.tan(math.radians(60)))
    assert worst_against_footprint_db(footprint(circle, DOWN_AND_UP)) == (0, 0)
    low, _ = worst_against_footprint_db(footprint(circle, Elevation((0, 60, 180), (0.4, 1, 1))))
    assert low == pytest.approx(40 * math.log10(2.5 / 2))
    within, beyond = worst_against_footprint_db(footprint(circle, Elevation((0, 60, 80, 90, 180), (1, 1, 4, 1, 0))))
    assert within == 0
    assert beyond == pytest.approx(9.53, abs=0.05)


def test_a_directed_footprint_is_never_dropped() -> None:
    declared = (Declaration(2.5, 0, "radial", Circle(9)), Declaration(2.5, 0, "tangential", Circle(7)))
    assert len(undominated(resolve(declared, 2.5))) == 1
    assert len(undominated(resolve(declared, 2.5, DOWN_AND_UP))) == 2
