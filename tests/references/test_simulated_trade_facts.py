"""Facts of the trade, "common practice, no source", each by what follows from it in the simulated detector.

The lens is derived from the fact itself, so nothing here proves a real unit; asserted is how the model answers. Where
it disagrees with what is said in the trade, the docstring says so.
"""

from __future__ import annotations

import numpy as np
import pytest
from edge_levels import made

from raycover.detectors import make_unit
from raycover.physics.body import make_body
from raycover.physics.shapes import Circle, Rectangle
from raycover.scene.devices import DetectorSpec, PatternSpec
from raycover.walking.sensing import Sensor, Track, follow, sensor_of


def sensor(shape: dict[str, object], mounting: float, *, hung: float | None = None, family: str = "") -> Sensor:
    declared = [{"mounting": mounting, "motion": "tangential", "shape": shape}]
    pattern = PatternSpec.model_validate({"kind": "infrared", "declared": declared})
    spec = DetectorSpec.model_validate({"name": "D", "at": [0, 0], "mounting": hung or mounting, "pattern": pattern})
    return sensor_of(make_unit(spec, pattern, 0.0), pattern)


@pytest.mark.parametrize(("height", "across"), [(8.0, 20.6), (10.0, 25.7), (12.0, 30.9)])
def test_36_m_from_14_m_lower_down(height: float, across: float) -> None:
    """36 m across from 14 m: 20.6, 25.7 and 30.9 m from 8, 10 and 12 m. The simulation gives 6 to 10 % more, since a
    body stands up into the outermost zones, and no hole in between: who walks across is noticed all the way in."""
    unit = made(Circle(36), 14.0, 6.0)
    reach = unit.reach(np.arange(0.9, 1.2, 0.03) * across / 2, mounting=height)
    assert 1.03 < 2 * reach / across < 1.12
    assert all(unit.margin_db(share * across / 2, mounting=height) > 0 for share in (0.1, 0.3, 0.5, 0.7, 0.9))


def test_36_m_from_14_m_walking_in() -> None:
    """Walking straight in is noticed later: the simulation gives 0.7 to 0.85 of the radius across."""
    unit = made(Circle(36), 14.0, 6.0)
    toward = unit.reach(np.arange(0.5, 1.05, 0.03) * 18, "radial")
    assert 0.65 < toward / 18 < 0.9


def test_30_by_4_m_along_an_aisle() -> None:
    """30 × 4 m from 12 m: whoever walks in along the aisle is first noticed near its end. Of twelve people (three
    lanes, four phases of the gait) the simulation notices half within 4 m of the end, and all within 8 m."""
    unit = sensor({"rectangle": {"length": 30, "width": 4}}, 12.0)
    body = make_body("adult", 54)
    first = []
    for lane in (-0.6, 0.0, 0.6):
        for phase in np.arange(4) * np.pi / 2:
            track = Track.along([(-19, lane, 0), (0, lane, 0)])
            trace = follow(unit, track, body, None, 20.0, gait_phase=float(phase))
            assert trace.noticed.any()
            first.append(float(track.position[trace.noticed.argmax(), 0]))
    assert np.median(first) < -11
    assert max(first) < -7
    assert min(first) >= -15.05


def test_6_by_8_m_from_another_height() -> None:
    """6 × 8 m from 2.5 m; mounting it higher or lower is said to be worse. In the simulation (not clipped at the
    declared edge, so a tenth more than 4 m along from 2.5 m): lower, the field shrinks with the height, geometry says
    to 3.2 m from 2 m; higher, it does not grow with geometry, walking toward it loses 6 dB and more by 3.5 m, a moving
    arm 4 dB; and from 5 m the declared field itself has holes."""
    unit = made(Rectangle(8, 6), 2.5)
    ahead = np.radians([-8.0, -4.0, 0.0, 4.0, 8.0])

    def along(height: float) -> list[float]:
        radii = np.arange(0.4, 6.0, 0.2) if height < 4 else np.arange(0.4, 4.0, 0.2)
        levels = [np.median(unit.levels(float(r), mounting=height, azimuths=ahead)) for r in radii]
        return [float(r) for r, level in zip(radii, levels, strict=True) if level >= unit.calibration.threshold]

    assert 4.0 <= max(along(2.5)) <= 4.5
    assert max(along(2.0)) == pytest.approx(3.2, abs=0.4)
    assert max(along(3.5)) < 4 * 3.5 / 2.5
    assert unit.margin_db(1.0, "radial", mounting=3.5) < unit.margin_db(1.0, "radial") - 6
    assert unit.margin_db(0.5, "presence", mounting=3.5) < unit.margin_db(0.5, "presence") - 4
    assert len(along(5.0)) <= 18 - 3


def test_20_by_20_m_between_2_5_and_10_m() -> None:
    """One dense unit is sold for 20 × 20 m from 2.5 to 10 m. The simulation disagrees with one threshold for all of it:
    calibrated from 2.5 m it still sees across 7 m out from 6 m, but from 10 m nothing at all; calibrated from 10 m and
    hung at 2.5 m its lens ends 4 m out. So such a unit must change lens, threshold or both with height; and a moving
    arm 4 m out is noticed from nowhere."""
    low = made(Rectangle(20, 20), 2.5, 9.0)
    assert low.margin_db(7.0) > 3
    assert low.margin_db(7.0, mounting=6.0) > 0
    assert all(low.margin_db(r, mounting=10.0) < 0.5 for r in (1.0, 4.0, 7.0, 10.0))
    high = made(Rectangle(20, 20), 10.0, 6.0)
    assert high.margin_db(7.0) > 0
    assert high.margin_db(4.0, mounting=2.5) < -6
    for unit, height in ((low, 2.5), (low, 6.0), (high, 10.0)):
        assert unit.margin_db(4.0, "presence", mounting=height) < -6


def test_high_bays_notice_nobody_seated() -> None:
    """Nobody seated is noticed from a high bay: a moving arm straight below lies at least 10 dB under the threshold."""
    for shape, mounting, pitch in ((Circle(20), 8.0, 7.0), (Circle(36), 14.0, 6.0)):
        assert made(shape, mounting, pitch).margin_db(0.3, "presence") < -10


def test_no_reach_in_hot_air_up_high() -> None:
    """In 30 °C air a high-bay unit notices nobody but by chance: under it, at 14 m, the median margin is below 0 dB."""
    unit = made(Circle(36), 14.0, 6.0)
    level = np.median(unit.levels(1.0, ambient_c=30.0))
    assert 20 * np.log10(level / unit.calibration.threshold) < 0
