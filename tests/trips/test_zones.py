"""Zones of a simulated lens on hot things: numbered by hand, signals from the radiance that reaches the unit."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from small_scenes import detector, pattern, scene

from raycover.building.build import build
from raycover.physics.disturbance import change_db
from raycover.physics.infrared import band_radiance
from raycover.scene.nuisances import Nuisance
from raycover.solving.coverage import make_units
from raycover.trips import find_trips
from raycover.trips.judging import ZoneHits
from raycover.trips.words import zone_words
from raycover.walking.sensing import sensor_of

#: Two rings: 20° wide zones every 45°, one about 20° and one about 45° off the axis.
LENS = {
    "element": "dual",
    "rings": [
        {"off_axis_deg": 20, "count": 4, "width_deg": 20, "height_deg": 12, "offset_deg": 0},
        {"off_axis_deg": 45, "count": 8, "width_deg": 20, "height_deg": 20, "offset_deg": 0},
    ],
}
MADE = pattern({"circle": {"diameter": 7}}, mounting=3, zones=LENS)
ROOM = {"name": "Room", "outline": [[0, 0], [12, 0], [12, 12], [0, 12]], "height": 3, "walls": "brick-215"}
SIDE = 0.02


def hits(nuisance: dict[str, Any]) -> ZoneHits:
    hung = [detector((6, 6), 3, MADE)]
    spec = {"name": "N", "kind": "heater", "surface_c": 80, "change_s": 1, **nuisance}
    (found,) = find_trips(scene(rooms=[ROOM], detectors=hung, nuisances=[spec], grid=1.0)).effects
    assert found.zones is not None
    return found.zones


def patch(azimuth: float, off_axis: float, side: float = SIDE) -> dict[str, Any]:
    """A flat patch on the floor at a direction from the unit at (6, 6, 3)."""
    r = 3 * np.tan(np.radians(off_axis))
    at = [6 + r * np.cos(np.radians(azimuth)), 6 + r * np.sin(np.radians(azimuth))]
    return {"at": at, "height": 0, "size": [side, side]}


@pytest.mark.parametrize(
    ("azimuth", "off_axis", "zones"),
    [(0, 45, ((2, 1),)), (45, 45, ((2, 2),)), (315, 45, ((2, 8),)), (0, 20, ((1, 1),)), (90, 20, ((1, 2),)),
     (270, 20, ((1, 4),)), (22.5, 45, ()), (0, 30, ())],
)  # fmt: skip
def test_zones_by_number(azimuth: float, off_axis: float, zones: tuple[tuple[int, int], ...]) -> None:
    """Ring 1 is the inner one; zones count anticlockwise from azimuth 0; between them there is nothing."""
    found = hits(patch(azimuth, off_axis))
    assert found.zones == zones
    assert (found.n_rings, found.generic) == (2, False)


def test_the_signal_of_a_small_patch_by_hand() -> None:
    """ε·ΔL·A·cos 45°/s² W/m², s = 3·√2 m, with the lens' full response, and what is left of a change within 1 s.

    Full but for the blurred edges of a field 10° wide, whose middle the aims tried come within a degree or two of.
    """
    made = scene(rooms=[ROOM], detectors=[detector((6, 6), 3, MADE)])
    (unit,) = make_units(made, build(made))
    threshold = sensor_of(unit, made.detectors[0].pattern).calibration.threshold  # type: ignore[arg-type]
    heat = 0.95 * float(band_radiance(80) - band_radiance(20))
    power = heat * SIDE**2 * np.cos(np.radians(45)) / 18
    expected = 20 * np.log10(power / threshold) + float(change_db(1))
    found = hits(patch(0, 45)).signal_db
    assert expected - 0.7 <= found <= expected + 0.01
    # twice as wide and long is four times the heat
    assert hits(patch(0, 45, 2 * SIDE)).signal_db - found == pytest.approx(20 * np.log10(4), abs=0.2)


def test_steady_heat_gives_none_and_things_behind_glass_are_not_listed() -> None:
    steady = hits({**patch(0, 45), "change_s": None, "steady": True})
    assert (steady.signal_db, steady.zones) == (-np.inf, ((2, 1),))
    pane = {"name": "G", "line": [[7, 0.1], [7, 11.9]], "height": 3, "construction": "glass-6"}
    spec = {"name": "N", "kind": "heater", **patch(0, 45)}
    made = scene(rooms=[ROOM], detectors=[detector((6, 6), 3, MADE)], nuisances=[spec], partitions=[pane], grid=1.0)
    assert find_trips(made).effects[0].zones is None


def test_a_hot_thing_that_passes_is_filtered_by_its_speed() -> None:
    """Slower than the amplifier's low end it gives less; at rest nothing."""
    line = {"kind": "vehicle", "line": [[6, 3.2], [6, 8.8]], "size": [0.1, 0.1, 0.1], "height": 0.1, "surface_c": 60}
    fast, slow, still = (hits({**line, "change_s": None, "speed_mps": v}).signal_db for v in (1.2, 0.02, 0.0))
    assert fast > slow + 6
    assert still == -np.inf


@pytest.mark.parametrize(
    ("model", "mounting", "near", "edge"),
    [("wide-infrared-rectangular", 2.5, 1.5, 4.8), ("ceiling-infrared-general", 2.5, 1.2, 3.4),
     ("high-bay-infrared-round", 8, 2.0, 9.5)],
)  # fmt: skip
def test_the_margin_agrees_with_the_lens_at_the_edge_and_is_safe_near_the_unit(
    model: str, mounting: float, near: float, edge: float
) -> None:
    """Two ways to one answer for a source of a person's size: the fourth-power law from the declared edge, with
    contrast and fill; and radiance, geometry and a threshold from the declared walk, which share no figure with it.

    Measured [C]: −2 to +5 dB apart at the edge in the mean over azimuths, 7 to 17 dB less near the unit, where a person
    too gives less than the law promises (zones are full).
    """

    def apart(radius: float) -> float:
        found = []
        for azimuth in np.radians([10, 100, 170, 250]):
            at = [radius * np.cos(azimuth), radius * np.sin(azimuth)]
            spec = {"name": "N", "kind": "heater", "at": at, "height": 0.9, "size": [0.45, 0.45, 1.75],
                    "surface_c": 60, "change_s": 0.01}  # fmt: skip
            hung = [{"name": "D", "model": model, "at": [0, 0], "mounting": mounting}]
            room = {**ROOM, "outline": [[-14, -14], [14, -14], [14, 14], [-14, 14]], "height": 9}
            (one,) = find_trips(scene(rooms=[room], detectors=hung, nuisances=[spec], grid=2.0)).effects
            assert one.zones is not None
            assert one.zones.generic
            found.append(one.zones.signal_db - one.margin_db)
        return float(np.mean(found))

    assert abs(apart(edge)) <= 6
    assert apart(near) <= -4.5


def test_words() -> None:
    assert zone_words(ZoneHits((), 8, True, 0.0)) == "between the zones"
    assert zone_words(ZoneHits(((3, 1),), 8, True, 0.0)) == "1 zone of ring 3 of 8"
    assert zone_words(ZoneHits(((3, 1), (4, 2)), 8, True, 0.0)) == "2 zones of rings 3 and 4 of 8"
    assert zone_words(ZoneHits(((3, 1), (4, 2), (5, 9)), 8, True, 0.0)) == "3 zones of rings 3 to 5 of 8"
    assert Nuisance.model_validate({"name": "N", "kind": "heater", "at": [0, 0]}).motion == "never"


def test_a_field_too_narrow_for_a_generic_lens_goes_by_its_footprint() -> None:
    narrow = pattern({"circle": {"diameter": 0.1}}, mounting=10)
    spec = {"name": "N", "kind": "heater", "at": [6, 6], "height": 0, "size": [0.3, 0.3]}
    room = {**ROOM, "height": 10}
    made = scene(rooms=[room], detectors=[detector((6, 6), 10, narrow)], nuisances=[spec], grid=1.0)
    (found,) = find_trips(made).effects
    assert np.isfinite(found.margin_db)
    assert found.zones is None
