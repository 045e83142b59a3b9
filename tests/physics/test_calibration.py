"""Calibration: the declared footprint comes out of its own test, and what is said where it cannot."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from raycover.physics.calibration import (
    CannotCalibrate,
    DeclaredTest,
    calibrate,
    edge_azimuths,
    edge_outputs,
    lens_image,
    of_runs,
)
from raycover.physics.lens import Ring, Zones, generic_zones
from raycover.physics.pattern import Footprint
from raycover.physics.shapes import Circle, Rectangle, Sector

TANGENTIAL = Footprint("tangential", Circle(7), 2.5, False)
RADIAL = Footprint("radial", Circle(4.6), 2.5, False)
PRESENCE = Footprint("presence", Circle(3.2), 1.75, False)
ZONES = generic_zones(TANGENTIAL, 2.5, 11)
TESTS = tuple(DeclaredTest(f, 2.5) for f in (TANGENTIAL, RADIAL, PRESENCE))


def test_every_declared_footprint_comes_out_of_its_own_test() -> None:
    """At each declared edge the median over azimuths just meets that motion's threshold; half-way in it is above."""
    found, image = calibrate(ZONES, TESTS), lens_image(ZONES, TESTS)
    assert found.base == "tangential"
    assert found.offset_db["tangential"] == 0
    for test in TESTS:
        azimuth = edge_azimuths(test.footprint)
        for share, above in ((1.0, 0.0), (0.5, 1.0)):
            radius = np.full(len(azimuth), share * test.footprint.largest_radius)
            level = of_runs(np.abs(edge_outputs(image, 2.5, azimuth, radius, test.motion)[0]).max(axis=-1))
            margin = 20 * np.log10(np.median(level) / found.threshold_for(test.motion))
            assert margin > above if above else margin == pytest.approx(0, abs=0.01)


def test_scatter_says_what_the_median_hides() -> None:
    (scatter, *_) = calibrate(ZONES, TESTS).scatter
    assert scatter.motion == "tangential"
    assert scatter.edge_m == 3.5
    assert -8 < scatter.low_db < 0 < scatter.high_db < 8
    assert 0.3 < scatter.share < 0.7
    assert scatter.share_azimuths < scatter.share


def test_one_declared_motion_is_enough() -> None:
    found = calibrate(ZONES, (DeclaredTest(RADIAL, 2.5),))
    assert found.base == "radial"
    assert set(found.offset_db) == {"radial"}


def test_zones_that_do_not_look_there() -> None:
    short = Zones(tuple(ring for ring in ZONES.rings if ring.off_axis_deg < 30))
    with pytest.raises(CannotCalibrate, match=r"seen 67° off axis at mid-body, but the zones end at \d+°") as caught:
        calibrate(short, TESTS[:1])
    assert "ring" in caught.value.help


def test_pulses_that_never_come() -> None:
    """36 m from 14 m, zones as wide as a walk: two metres never give four pulses at most azimuths."""
    wide = Footprint("tangential", Circle(36), 14, False)
    around = 360 * np.sin(np.radians(54.2))
    zones = Zones((Ring(54.2, 20, around / 20, 12),), n_pulses=4)
    with pytest.raises(CannotCalibrate, match="never give 4 pulses") as caught:
        calibrate(zones, (DeclaredTest(wide, 14),))
    assert "fewer pulses" in caught.value.help
    assert calibrate(dataclasses.replace(zones, n_pulses=1), (DeclaredTest(wide, 14),)).threshold > 0


def test_figures_that_hardly_go_together_are_said() -> None:
    far = Footprint("presence", Circle(6.8), 1.75, False)
    found = calibrate(ZONES, (TESTS[0], DeclaredTest(far, 2.5)))
    assert found.offset_db["presence"] > 12
    assert any("presence edge at 3.4 m" in text for text in found.warnings)


@pytest.mark.parametrize(
    ("shape", "inside"),
    [
        (Circle(8), lambda phi: np.ones_like(phi, bool)),
        # The ends of a long field, not its sides: |φ| up to atan(2/15) about 0 and 180°.
        (Rectangle(30, 4), lambda phi: np.abs(np.sin(phi)) <= 2.01 / np.hypot(15, 2)),
        (Sector(11, 110), lambda phi: np.cos(phi) >= np.cos(np.radians(56))),
    ],
)
def test_where_an_edge_is_tested(shape: object, inside: object) -> None:
    azimuth = edge_azimuths(Footprint("tangential", shape, 5, False))  # type: ignore[arg-type]
    assert len(azimuth) == 48
    assert np.all(inside(azimuth))  # type: ignore[operator]
