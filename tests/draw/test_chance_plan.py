"""Plans of a grid walk: classes of chance, marks of the worst way, shares, and a page drawn."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest
from small_scenes import detector, pattern, scene

from raycover.building.build import build
from raycover.building.parts import Building
from raycover.detectors import Unit
from raycover.draw import chance_plan, palette
from raycover.draw.chance_plan import BOUNDS, MAPS, as_margin_db, make_chance, mean_and_shares, means_and_shares
from raycover.rays.ray_scene import RayScene
from raycover.scene.schema import Scene
from raycover.solving.casting import Weather
from raycover.solving.coverage import make_units
from raycover.solving.surfaces import make_surfaces
from raycover.walking.grid_walk import GridWalk, grid_walk
from raycover.walking.sensing import MODEL_CAUTION, sensors_of


@lru_cache
def walked() -> tuple[Scene, Building, tuple[Unit, ...], GridWalk]:
    made = pattern({"circle": {"diameter": 6}}, mounting=2.5)
    room = {"name": "Room", "outline": [[0, 0], [9, 0], [9, 6], [0, 6]], "height": 2.7, "walls": "brick-100"}
    one = scene(rooms=[room], detectors=[detector((3, 3), 2.6, made)], grid=0.25, planes=[{"name": "f", "height": 0}])
    building = build(one)
    units, rays = make_units(one, building), RayScene(building)
    surface = make_surfaces(one, building)[0][0]
    weather = Weather.of(one)
    return one, building, units, grid_walk(surface, units, sensors_of(one, units), rays, weather, threads=1)


def test_chances_fall_into_their_classes() -> None:
    chance = np.array([0.0, 0.1, 0.25, 0.4, 0.5, 0.7, 0.9, 1.0, np.nan], np.float32)
    classes = palette.class_of(as_margin_db(chance), 3.0)
    np.testing.assert_array_equal(classes, [0, 0, 1, 1, 2, 2, 3, 3, -1])
    assert BOUNDS == (0.0, 0.25, 0.5, 0.9, 1.0)
    assert np.all(np.diff(as_margin_db(np.linspace(0, 1, 50).astype(np.float32))) > 0)


def test_shares_are_of_the_area() -> None:
    chance = np.array([[0.0, 0.6, 1.0, np.nan]], np.float32)
    mean, shares = mean_and_shares(chance, np.array([[1.0, 1.0, 2.0, 5.0]]))
    assert mean == pytest.approx(2.6 / 4)
    np.testing.assert_allclose(shares, [0.25, 0, 0.25, 0.5])
    assert mean_and_shares(chance * np.nan, np.ones((1, 4))) == (0.0, [0.0] * 4)


@pytest.mark.parametrize("which", MAPS, ids=lambda m: m.key)
def test_every_map_is_drawn_with_its_words(which: chance_plan.ChanceMap) -> None:
    one, building, units, found = walked()
    page = make_chance(one, building, units, found, which, dpi=50)
    said = " ".join(text.get_text() for text in page.axes.texts)
    assert which.title in said
    assert "20 °C" in said
    assert MODEL_CAUTION.split(":")[0].split(",")[0] in said
    assert all(name in said for name in chance_plan.NAMES)
    assert "A prediction, not a site test" in said
    shown = page.pixels()
    assert len(np.unique(shown.reshape(-1, shown.shape[-1]), axis=0)) > 10


def test_marks_lie_along_the_way_noticed_least() -> None:
    from raycover.draw import plan, sheet
    from raycover.draw.projection import Projection

    _, building, _, found = walked()
    projection = Projection.fitted((0.0, 0.0, 9.0, 6.0), sheet.FRAME)
    ticks = chance_plan._worst_ways(found, projection, np.zeros((0, 2)))
    assert ticks
    assert plan.DPI > 0
    middle = np.array([tick.mean(axis=0) for tick in ticks])
    along = np.array([tick[1] - tick[0] for tick in ticks])
    away = middle - projection.to_paper([3.0, 3.0])
    # Far out, people are noticed least walking toward the unit: most marks point to it.
    cosine = np.abs((along * away).sum(axis=1)) / np.linalg.norm(along, axis=1) / np.linalg.norm(away, axis=1)
    assert np.median(cosine) > 0.8
    assert building is not None


def test_rooms_at_once_are_rooms_one_by_one() -> None:
    rng = np.random.default_rng(1)
    chance = rng.random((40, 50)).astype(np.float32)
    room, area = rng.integers(-1, 6, chance.shape), rng.random(chance.shape)
    chance[rng.random(chance.shape) < 0.2] = np.nan
    chance[room == 3] = np.nan  # nobody can walk there, and the seventh room has no cell
    mean, shares = means_and_shares(chance, area, room, 7)
    for k in range(7):
        alone = mean_and_shares(chance, np.where(room == k, area, 0.0))
        assert mean[k] == pytest.approx(alone[0], abs=1e-6)
        assert shares[k] == pytest.approx(alone[1])
