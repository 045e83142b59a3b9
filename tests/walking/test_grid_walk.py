"""The grid walk: chances by direction, walls and goods, microwave beside infrared."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from small_scenes import detector, pattern, scene

import raycover
from raycover.building.build import build
from raycover.rays.ray_scene import RayScene
from raycover.solving.casting import Weather
from raycover.solving.coverage import make_units
from raycover.solving.surfaces import make_surfaces
from raycover.walking.grid_walk import HEADINGS_RAD, GridWalk, grid_walk
from raycover.walking.sensing import sensors_of
from raycover.walking.walkable import free_ahead_m, ground_of

CIRCLE = pattern({"circle": {"diameter": 6}}, mounting=2.5)


def walked(*detectors: dict[str, Any], grid: float = 0.5, **parts: Any) -> GridWalk:
    planes = parts.pop("planes", [{"name": "floor", "height": 0, "extent": [-4, -4, 4, 4]}])
    one = scene(detectors=list(detectors), grid=grid, planes=planes, **parts)
    building = build(one)
    units = make_units(one, building)
    surface = make_surfaces(one, building)[0][0]
    sensors = sensors_of(one, units)
    weather = Weather.of(one)
    return grid_walk(surface, units, sensors, RayScene(building), weather, threads=1)


def at(found: GridWalk, values: np.ndarray, x: float, y: float) -> Any:
    row = int(np.argmin(np.abs(found.surface.y - y)))
    column = int(np.argmin(np.abs(found.surface.x - x)))
    return values[..., row, column]


def test_near_is_noticed_and_far_is_not() -> None:
    found = walked(detector((0, 0), 2.5, CIRCLE))
    assert found.chance.shape == (8, 16, 16)
    distance = np.hypot(*np.meshgrid(found.surface.x, found.surface.y))
    assert np.all(found.mean[distance < 1.2] > 0.8)
    assert np.all(found.mean[distance > 3.1] == 0)
    assert found.n_infrared == 1
    assert found.n_walks > 1000
    assert np.all((found.worst <= found.mean + 1e-6) & (found.mean <= found.best + 1e-6))


def test_across_is_noticed_more_than_toward_far_out() -> None:
    found = walked(detector((0, 0), 2.5, CIRCLE), grid=0.25)
    distance = np.hypot(*np.meshgrid(found.surface.x, found.surface.y))
    ring = (distance > 2.0) & (distance < 2.9)
    assert found.tangential[ring].mean() > found.radial[ring].mean() + 0.2
    # At (0.125, 2.375) the bearing is 87.0°: across lies 0.067 of an eighth off directions 0 and 4 toward 7 and 3.
    chance = at(found, found.chance, 0.125, 2.375)
    off = (90 - np.degrees(np.arctan2(2.375, 0.125))) / 45
    across = (1 - off) * chance[[0, 4]].mean() + off * chance[[7, 3]].mean()
    toward = (1 - off) * chance[[2, 6]].mean() + off * chance[[1, 5]].mean()
    assert at(found, found.tangential, 0.125, 2.375) == pytest.approx(across, abs=1e-5)
    assert at(found, found.radial, 0.125, 2.375) == pytest.approx(toward, abs=1e-5)


def test_what_hides_a_person_hides_the_walk() -> None:
    wall = {"name": "w", "line": [[1, -4], [1, 4]], "height": 2.4, "construction": "glass-6"}
    found = walked(detector((0, 0), 2.5, CIRCLE), partitions=[wall])
    assert np.nanmax(at(found, found.mean, 1.75, 0.25)) == 0
    assert at(found, found.mean, 0.25, 0.25) > 0.8
    # A low box hides legs only: less is noticed behind it, but not nothing.
    box = {"name": "b", "centre": [1.6, 0], "size": [0.2, 8, 1.0], "material": "goods"}
    low = walked(detector((0, 0), 2.5, CIRCLE), solids=[box])
    free = walked(detector((0, 0), 2.5, CIRCLE))
    behind = free.surface.x > 1.8
    assert 0.2 < np.nanmean(low.mean[:, behind]) / np.nanmean(free.mean[:, behind]) < 0.98


def test_nobody_walks_through_walls() -> None:
    """In a passage 0.3 m wide only the two directions along it are walked; cells in goods are none."""
    room = {"name": "r", "outline": [[-4, -4], [4, -4], [4, 4], [-4, 4]], "height": 2.6, "walls": "brick-100"}
    sides = [{"name": f"s{k}", "centre": [0, y], "size": [8, 1.0, 2], "material": "goods"}
             for k, y in enumerate((0.65, -0.65))]  # fmt: skip
    found = walked(
        detector((0, 0), 2.5, CIRCLE), rooms=[room], solids=sides, planes=[{"name": "floor", "height": 0}], grid=0.25
    )
    walkable = np.isfinite(at(found, found.chance, 0.0, 0.125))
    np.testing.assert_array_equal(walkable, [True, False, False, False, True, False, False, False])
    assert np.isnan(at(found, found.mean, 0.0, 0.7))


def test_free_way_ahead() -> None:
    wall = {"name": "w", "line": [[1, -4], [1, 4]], "height": 2.4, "construction": "chipboard-18"}
    one = scene(partitions=[wall], planes=[{"name": "f", "height": 0, "extent": [-4, -4, 4, 4]}], grid=0.25)
    building = build(one)
    rays = RayScene(building)
    ground = ground_of(make_surfaces(one, building)[0][0], rays)
    ahead = free_ahead_m(ground, 0.0, 0.5, rays)
    x = ground.feet[:, 0]
    np.testing.assert_allclose(ahead[(x < 1) & (x > 0.5)], 1 - x[(x < 1) & (x > 0.5)], atol=0.01)
    assert np.all(ahead[x < 0.4] == 0.5)


def test_turning_the_scene_by_a_direction_turns_the_chances() -> None:
    """Unit and raster turned by 90°: the chances are those of before, turned, but for rounding at thresholds."""
    first = walked(detector((0.0, 0.0), 2.5, CIRCLE))
    other = walked(detector((0.0, 0.0), 2.5, CIRCLE, turn_deg=90))
    turned = np.roll(np.rot90(first.chance, -1, axes=(1, 2)), 2, axis=0)
    assert np.nanmean(np.abs(turned - other.chance)) < 0.01


def test_more_detectors_never_notice_less() -> None:
    one = walked(detector((0, 0), 2.5, CIRCLE))
    two = walked(detector((0, 0), 2.5, CIRCLE), detector((2, 2), 2.5, CIRCLE, name="D2"))
    assert np.all(two.chance >= one.chance)


def test_seated_only_near() -> None:
    made = {
        "kind": "infrared",
        "declared": [
            {"mounting": 2.5, "motion": "tangential", "shape": {"circle": {"diameter": 7}}},
            {"mounting": 2.5, "plane": 0.75, "motion": "presence", "shape": {"circle": {"diameter": 3.2}}},
        ],
    }
    found = walked(detector((0, 0), 2.5, made), grid=0.25)
    distance = np.hypot(*np.meshgrid(found.surface.x, found.surface.y))
    assert found.seated[distance < 0.8].mean() > 0.8
    assert np.all(found.seated[distance > 1.7] == 0)


def test_microwave_by_its_declared_margin() -> None:
    """8 m across tangential, 4 m radial: at 3 m both ways across are noticed and none toward."""
    made = {
        "kind": "microwave",
        "frequency_ghz": 5.8,
        "declared": [
            {"mounting": 2.5, "motion": "radial", "shape": {"circle": {"diameter": 7}}},
            {"mounting": 2.5, "motion": "tangential", "shape": {"circle": {"diameter": 4}}},
        ],
    }
    found = walked(detector((0, 0), 2.5, made))
    assert found.n_microwave == 1
    chance = at(found, found.chance, 3.25, 0.25)
    assert set(np.unique(chance)) <= {0.0, 1.0}
    assert chance[0] == chance[4] == 1
    assert chance[2] == chance[6] == 0
    assert np.all(found.seated[found.surface.inside] == 0)


def test_hot_air_lowers_the_chance_and_too_hot_is_an_error() -> None:
    cool = walked(detector((0, 0), 2.5, CIRCLE))
    warm = walked(detector((0, 0), 2.5, CIRCLE), conditions={"ambient_c": 30})
    assert np.nanmean(warm.mean) < 0.8 * np.nanmean(cool.mean)
    with pytest.raises(raycover.InputError, match="0 to 40"):
        walked(detector((0, 0), 2.5, CIRCLE), conditions={"ambient_c": 45})


def test_headings_go_round_by_eighths() -> None:
    np.testing.assert_allclose(np.degrees(HEADINGS_RAD), np.arange(8) * 45)
