"""The lens: lattices derived from footprints, and the response image."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from raycover.physics.lens import Ring, Zones, generic_zones, outer_ring_deg, pair_pitch_deg, response_image
from raycover.physics.pattern import Footprint, Mask
from raycover.physics.shapes import Circle, Rectangle, Sector

ONE = Zones((Ring(40, 1, 10, 8, 30),))


def circle(diameter: float, mounting: float) -> Footprint:
    return Footprint("tangential", Circle(diameter), mounting, False)


def stereographic(off_axis_deg: float, azimuth_deg: float) -> tuple[np.ndarray, np.ndarray]:
    rho, phi = np.tan(np.radians(off_axis_deg) / 2), np.radians(azimuth_deg)
    return np.array([rho * np.cos(phi)]), np.array([rho * np.sin(phi)])


def test_generic_lattice_worked_by_hand() -> None:
    """4 m from 2.5 m, P 11°: tan θ = 4/1.5, θ = 69.44°; rings down to 3.4°: 7; N = 360·sin θ/11 = 30.6 → 31 [C]."""
    zones = generic_zones(circle(8, 2.5), 2.5, 11)
    assert zones.element == "quad"
    assert [ring.count for ring in zones.rings] == [31, 28, 24, 19, 14, 8, 2]
    assert zones.rings[0].off_axis_deg == pytest.approx(69.44, abs=0.01)
    assert np.diff([ring.off_axis_deg for ring in zones.rings]) == pytest.approx(-11)
    assert {ring.height_deg for ring in zones.rings} == {8.8}


def test_outer_ring_looks_at_mid_body_however_low_the_unit_hangs() -> None:
    assert outer_ring_deg(4.0, 2.5) == pytest.approx(np.degrees(np.arctan(4 / 1.5)))
    assert outer_ring_deg(4.0, 1.2) == pytest.approx(np.degrees(np.arctan(4 / 0.6)))


@pytest.mark.parametrize(
    ("family", "footprint", "mounting", "pitch"),
    [
        ("ceiling infrared", circle(7, 2.5), 2.5, 11),
        ("wide infrared", Footprint("tangential", Rectangle(12, 10), 2.5, False), 2.5, 9),
        ("high-bay infrared", circle(29, 12), 12, 6),
        ("", circle(29, 12), 12, 6),
        ("high-bay infrared", Footprint("tangential", Rectangle(28, 4.4), 12, False), 12, 7),
        ("wall infrared", Footprint("tangential", Sector(11, 110), 2.2, False), 2.2, 11),
    ],
)
def test_pitch_by_family(family: str, footprint: Footprint, mounting: float, pitch: float) -> None:
    assert pair_pitch_deg(family, footprint, mounting) == pitch


def test_a_quad_zone_has_two_by_two_fields() -> None:
    """Signs along the unit's own x and y about a zone's middle, whatever its azimuth; at rest they balance."""
    image = response_image(ONE, n=1024)
    x, y = stereographic(40, 30)
    d = np.tan(np.radians(2.2) / 2)
    signs = {(i, j): float(image.sample(x + i * d, y + j * d)[0]) for i in (-1, 1) for j in (-1, 1)}
    assert signs[1, 1] > 0.5
    assert signs[-1, -1] > 0.5
    assert signs[1, -1] < -0.5
    assert signs[-1, 1] < -0.5
    assert abs(image.sample(x, y)[0]) < 0.15
    assert abs(image.values.sum()) < 0.05 * np.abs(image.values).sum()


def test_a_dual_zone_splits_across_azimuth_0() -> None:
    image = response_image(Zones((Ring(40, 1, 10, 8, 0),), "dual"), n=1024)
    left, right = (float(image.sample(*stereographic(40, azimuth))[0]) for azimuth in (4, -4))
    assert left > 0.7
    assert right == pytest.approx(-left, abs=0.05)


def test_nothing_outside_the_zones() -> None:
    image = response_image(ONE, n=1024)
    for off_axis, azimuth in ((40, 210), (10, 30), (60, 30), (85, 30)):
        assert abs(float(image.sample(*stereographic(off_axis, azimuth))[0])) < 1e-3


@settings(deadline=None, max_examples=25)
@given(st.floats(1, 60), st.floats(-180, 180))
def test_bilinear_sampling_is_what_the_pixels_say(off_axis: float, azimuth: float) -> None:
    """Against scipy's own bilinear interpolation."""
    from scipy.ndimage import map_coordinates

    image = response_image(generic_zones(circle(8, 2.5), 2.5, 11))
    x, y = stereographic(off_axis, azimuth)
    n = len(image.values)
    at = [[(v[0] + image.half) * (n - 1) / (2 * image.half)] for v in (y, x)]
    expected = map_coordinates(image.values, at, order=1)[0]
    assert float(image.sample(x, y)[0]) == pytest.approx(float(expected), abs=2e-4)


def test_half_the_pixels_say_nearly_the_same() -> None:
    zones = generic_zones(circle(8, 2.5), 2.5, 11)
    coarse, fine = response_image(zones, n=512), response_image(zones, n=1024)
    rng = np.random.default_rng(1)
    x, y = rng.uniform(-0.6, 0.6, (2, 4000))
    difference = coarse.sample(x, y) - fine.sample(x, y)
    assert np.sqrt(np.mean(difference**2)) < 0.02


def test_zones_end_where_the_footprint_ends() -> None:
    """28 × 4.4 m from 12 m: across the aisle, half a zone beyond atan(2.2/11) = 11.3°, nothing looks [C]."""
    aisle = Footprint("tangential", Rectangle(28, 4.4), 12, False)
    image = response_image(generic_zones(aisle, 12, 7), (aisle,), 12)
    side = np.linspace(20, 50, 200)
    across = np.abs([image.sample(*stereographic(t, 90))[0] for t in side])
    along = np.abs([image.sample(*stereographic(t, 0.5))[0] for t in side])
    assert across.max() < 0.01
    assert along.max() > 0.5


def test_masks_blank_their_sector_only() -> None:
    image = response_image(generic_zones(circle(8, 2.5), 2.5, 11))
    masked = image.masked([Mask(0, 90)])
    quadrant = np.s_[len(image.values) // 2 + 2 :, len(image.values) // 2 + 2 :]
    assert np.all(masked.values[quadrant] == 0)
    other = np.s_[: len(image.values) // 2 - 2, :]
    np.testing.assert_array_equal(masked.values[other], image.values[other])
    assert image.masked([]) is image
