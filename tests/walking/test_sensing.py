"""Simulated detectors in a building: made from patterns, and people followed past them."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import pytest
from small_scenes import detector, pattern, scene

import raycover
from raycover.building.build import build
from raycover.physics.body import make_body
from raycover.rays.ray_scene import RayScene
from raycover.scene.schema import Scene
from raycover.solving.coverage import make_units
from raycover.walking.sensing import Sensor, Track, follow, sensor_of, sensors_of

CIRCLE = pattern({"circle": {"diameter": 8}}, mounting=2.5)
ADULT = make_body("adult", 210)
PLANE = {"name": "p", "height": 0, "extent": [-6, -6, 6, 6]}


def placed(made: Any = CIRCLE, mounting: float = 2.5, **more: Any) -> tuple[Sensor, RayScene]:
    unit = {key: more.pop(key) for key in ("turn_deg", "tilt_deg", "masks", "sensitivity_pct") if key in more}
    at = more.pop("at", (0.0, 0.0))
    one = scene(detectors=[detector(at, mounting, made, **unit)], planes=[PLANE], **more)
    building = build(one)
    return sensors_of(one, make_units(one, building))["D1"], RayScene(building)


def walk(*corners: tuple[float, float], **more: Any) -> Track:
    return Track.along([(x, y, 0.0) for x, y in corners], **more)


def test_a_walk_across_is_noticed_within_the_edge_and_not_beyond() -> None:
    sensor, rays = placed()
    inside = follow(sensor, walk((2.5, -2), (2.5, 2)), ADULT, rays, 20.0)
    assert inside.noticed.any()
    assert inside.pulses[-1] >= 2
    outside = follow(sensor, walk((4.6, -2), (4.6, 2)), ADULT, rays, 20.0)
    assert not outside.noticed.any()
    assert np.all(outside.signal == 0)
    assert np.all(np.isneginf(outside.margin_db))
    free = follow(sensor, walk((4.6, -2), (4.6, 2)), ADULT, rays, 20.0, clipped=False)
    assert np.abs(free.signal).max() > 0


def test_standing_still_is_not_noticed() -> None:
    sensor, rays = placed()
    track = dataclasses.replace(walk((2.0, 0.0), (2.5, 0.0)), pose="stand")
    still = Track(track.time_s, np.tile([2.0, 0.5, 0.0], (len(track.time_s), 1)), track.heading_rad * 0,
                  np.zeros(len(track.time_s), bool), "stand")  # fmt: skip
    trace = follow(sensor, still, ADULT, rays, 20.0)
    assert np.abs(trace.signal).max() < 1e-6


def test_sitting_with_a_moving_arm() -> None:
    """Where presence is declared out to 1.6 m an arm is noticed at 0.6 m, not at 2.4 m."""
    made = {
        "kind": "infrared",
        "declared": [
            {"mounting": 2.5, "motion": "tangential", "shape": {"circle": {"diameter": 7}}},
            {"mounting": 2.5, "plane": 0.75, "motion": "presence", "shape": {"circle": {"diameter": 3.2}}},
        ],
    }
    sensor, rays = placed(made)
    time = np.arange(0, 10, 0.08)

    def seated(x: float) -> Any:
        track = Track(time, np.tile([x, 0.0, 0.0], (len(time), 1)), 0 * time + 2, np.zeros(len(time), bool), "sit")
        return follow(sensor, track, ADULT, rays, 20.0)

    assert seated(0.6).noticed.any()
    assert not seated(2.4).noticed.any()


def test_half_a_body_over_a_box_gives_half_a_signal() -> None:
    """A screen 1.0 m high close before the walker hides what lies below about 1 m: the visible share of the surface,
    and with it the signal, falls to about a half. Behind one 2 m high nothing is left."""
    visible, peak = {}, {}
    for height in (0.0, 1.0, 2.2):
        screen = [{"name": "s", "centre": [3.1, 0], "size": [0.1, 6, height], "material": "goods"}] if height else []
        sensor, rays = placed(solids=screen)
        trace = follow(sensor, walk((3.5, -1.5), (3.5, 1.5)), ADULT, rays, 20.0)
        visible[height], peak[height] = trace.visible.mean(), np.abs(trace.signal).max()
    assert visible[0.0] == 1.0
    assert 0.25 < visible[1.0] < 0.6
    assert 0.25 * peak[0.0] < peak[1.0] < 0.8 * peak[0.0]
    assert visible[2.2] == 0
    assert peak[2.2] == 0


@pytest.mark.parametrize(("construction", "seen"), [("glass-6", False), ("wire-mesh-50", True)])
def test_glass_hides_and_mesh_does_not(construction: str, seen: bool) -> None:
    wall = {"name": "w", "line": [[1, -4], [1, 4]], "height": 2.4, "construction": construction}
    sensor, rays = placed(partitions=[wall])
    assert follow(sensor, walk((2.5, -2), (2.5, 2)), ADULT, rays, 20.0).noticed.any() == seen


def test_a_mask_takes_its_sector() -> None:
    sensor, rays = placed(masks=[{"from_deg": -60, "to_deg": 60}])
    assert not follow(sensor, walk((2.5, -1.5), (2.5, 1.5)), ADULT, rays, 20.0).noticed.any()
    assert follow(sensor, walk((-2.5, -1.5), (-2.5, 1.5)), ADULT, rays, 20.0).noticed.any()


@pytest.mark.parametrize("turn", [90.0, -35.0])
def test_turning_unit_and_walk_together_changes_nothing(turn: float) -> None:
    angle = np.radians(turn)
    rotation = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    one, _ = placed()
    other, _ = placed(turn_deg=turn)
    corners = [np.array([2.5, -2.0]), np.array([2.5, 2.0])]
    first = follow(one, walk(*map(tuple, corners)), ADULT, None, 20.0)  # type: ignore[arg-type]
    second = follow(other, walk(*(tuple(rotation @ c) for c in corners)), ADULT, None, 20.0)  # type: ignore[misc]
    np.testing.assert_allclose(second.signal, first.signal, atol=0.02 * np.abs(first.signal).max())


def test_coarse_tracks_keep_the_peaks() -> None:
    """A track every 0.4 s is simulated at the detector's own step; each of its times keeps the largest since."""
    sensor, _ = placed()
    fine, coarse = (follow(sensor, walk((2.5, -2), (2.5, 2), step_s=s), ADULT, None, 20.0) for s in (0.04, 0.4))
    assert np.abs(coarse.signal).max() == pytest.approx(np.abs(fine.signal).max(), rel=0.05)
    assert len(coarse.signal) == len(coarse.time_s)


def test_hot_air_and_a_hot_background() -> None:
    sensor, _ = placed()
    track = walk((2.5, -2), (2.5, 2))
    cool, warm = (np.abs(follow(sensor, track, ADULT, None, t).signal).max() for t in (20.0, 30.0))
    assert warm == pytest.approx(0.367 * cool, rel=0.03)
    behind = follow(sensor, track, ADULT, None, 20.0, background_c=45.0)
    assert np.sign(behind.signal[np.abs(behind.signal).argmax()]) != 0
    assert np.abs(behind.signal).max() > cool  # hotter than the person: the contrast returns, inverted


@pytest.mark.parametrize("ambient", [-5.0, 41.0])
def test_air_beyond_the_model(ambient: float) -> None:
    sensor, _ = placed()
    with pytest.raises(raycover.InputError, match=r"holds for air of 0 to 40 °C"):
        follow(sensor, walk((2.5, -2), (2.5, 2)), ADULT, None, ambient)


def test_other_people() -> None:
    sensor, _ = placed()
    track = walk((2.0, -2), (2.0, 2))
    peaks = {
        kind: np.abs(follow(sensor, track, make_body(kind, 210), None, 20.0).signal).max()  # type: ignore[arg-type]
        for kind in ("adult", "child", "wheelchair")
    }
    assert 0 < peaks["child"] < peaks["adult"]
    assert peaks["wheelchair"] > 0


def test_tracks_must_be_even() -> None:
    sensor, _ = placed()
    track = walk((2.5, -2), (2.5, 2))
    odd = dataclasses.replace(track, time_s=track.time_s**2)
    with pytest.raises(ValueError, match="evenly spaced"):
        follow(sensor, odd, ADULT, None, 20.0)
    with pytest.raises(ValueError, match="above zero"):
        walk((0, 0), (1, 0), speed_mps=0)


def test_given_zones_are_used_and_wrong_ones_are_an_error_at_their_line() -> None:
    rings = [{"off_axis_deg": a, "count": n, "width_deg": 11, "height_deg": 9} for a, n in ((60, 28), (45, 22))]
    made = {**CIRCLE, "zones": {"element": "dual", "rings": rings, "pulses": 2}}
    sensor, _ = placed(made)
    assert not sensor.generic
    assert (sensor.zones.element, sensor.zones.n_pulses, len(sensor.zones.rings)) == ("dual", 2, 2)
    short = {**CIRCLE, "zones": {"rings": [{"off_axis_deg": 20, "count": 10, "width_deg": 11, "height_deg": 9}]}}
    one: Scene = scene(detectors=[detector((0, 0), 2.5, short)], planes=[PLANE])
    with pytest.raises(raycover.InputError, match=r'"D1" cannot be simulated: .* zones end at 24°') as caught:
        sensors_of(one, make_units(one, build(one)))
    assert caught.value.problems[0].code == "cannot-calibrate"
    assert caught.value.problems[0].position.line > 0


def test_a_microwave_unit_has_no_zones() -> None:
    made = pattern({"circle": {"diameter": 8}}, mounting=2.5, motion="radial", frequency_ghz=5.8)
    one = scene(detectors=[detector((0, 0), 2.5, made)], planes=[PLANE])
    (unit,) = make_units(one, build(one))
    with pytest.raises(ValueError, match="no infrared unit"):
        sensor_of(unit, one.pattern_of(one.detectors[0]))
    with pytest.raises(raycover.InputError, match="a microwave unit has no lens"):
        scene(
            detectors=[detector((0, 0), 2.5, {**made, "zones": {"rings": [
                {"off_axis_deg": 60, "count": 20, "width_deg": 11, "height_deg": 9}]}})],
            planes=[PLANE],
        )  # fmt: skip


def test_a_sensitivity_setting_moves_the_threshold() -> None:
    """50 % of the reach is 40·log10(0.5) = −12.04 dB [C]: the signal in thresholds falls to a quarter."""
    track = walk((1.5, -1.5), (1.5, 1.5))
    whole, half = (follow(placed(sensitivity_pct=pct)[0], track, ADULT, None, 20.0) for pct in (100, 50))
    np.testing.assert_allclose(half.signal, whole.signal / 4, rtol=1e-6, atol=1e-9)
