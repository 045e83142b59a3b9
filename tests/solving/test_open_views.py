"""Views that units alike share: the same as each unit's own, to the last bit, and as points judged one by one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import raycover
from raycover.building.build import build
from raycover.rays.ray_scene import RayScene
from raycover.solving.casting import Weather, cast, cast_many, judge
from raycover.solving.coverage import make_units
from raycover.solving.open_views import _Spot
from raycover.solving.surfaces import Surface, make_surfaces

PLACES = [(3.0, 3.0), (9.0, 3.0), (9.0, 6.0), (0.3, 0.3), (13.7, 7.9), (6.05, 4.0), (6.05, 4.37), (12.05, 4.37)]
TEXT = """
raycover: 1
title: hall
grid: 0.2
rooms: [{name: Hall, outline: [[0, 0], [14, 0], [14, 8.3], [0, 8.3]], height: 3, walls: stud-wall-100,
         ceiling: concrete-150}]
solids: [{name: Pillar, centre: [7, 4], size: [0.4, 0.4, 3], material: concrete}]
partitions: [{name: Screen, room: Hall, line: [[4, 2], [4, 6]], height: 2, construction: stud-wall-100}]
planes: [{name: floor, height: 0}, {name: person, target: person, heights: [0.3, 1.0]}]
detectors:
"""


def hall(model: str, mounting: float) -> raycover.Scene:
    units = [
        f"  - {{name: {model} {k}, model: {model}, at: [{x}, {y}], mounting: {mounting}, turn_deg: {30 * (k % 2)}}}"
        for k, (x, y) in enumerate(PLACES)
    ]
    return raycover.load_text(TEXT + "\n".join(units) + "\n")


@pytest.mark.parametrize(
    ("model", "mounting"),
    [("ceiling-infrared-general", 2.8), ("ceiling-infrared-general", 3.0), ("microwave-omni-5.8", 2.8)],
)
def test_units_alike_see_as_each_by_itself(model: str, mounting: float) -> None:
    """Units a whole number of cells apart, in corners where windows are cut, between the lines, and on the ceiling."""
    scene = hall(model, mounting)
    building = build(scene)
    units, rays, weather = make_units(scene, building), RayScene(building), Weather.of(scene)
    for surface in make_surfaces(scene, building)[0]:
        assert surface.is_regular
        together = cast_many(units, surface, rays, weather)
        for unit, patch in zip(units, together, strict=True):
            alone = cast(unit, surface, rays, weather)
            assert patch is not None
            assert alone is not None
            assert patch.window == alone.window
            np.testing.assert_array_equal(patch.margin_db, alone.margin_db)
            if len(surface.heights) == 1:
                _as_judged(unit, surface, patch, rays, weather)


def _as_judged(unit, surface: Surface, patch, rays: RayScene, weather: Weather) -> None:  # type: ignore[no-untyped-def]
    row, column = np.nonzero(np.isfinite(patch.margin_db))
    rows, columns = row + patch.rows.start, column + patch.columns.start
    points = surface.points(rows, columns, surface.heights[0])
    lifted = np.ones(len(points), bool)
    judged = judge(unit, points, surface.motion, rays, weather, lifted=lifted)
    assert len(points) > 100
    np.testing.assert_allclose(patch.margin_db[row, column], judged.margin_db, rtol=0, atol=1e-4)


def test_a_spot_is_the_same_anywhere_on_the_raster() -> None:
    """Rounding of places a long way off leaves where a unit stands between the lines: 0.35 of a cell, or on a line."""
    scene = hall("ceiling-infrared-general", 2.8)
    building = build(scene)
    (unit, *_), (surface, *_) = make_units(scene, building), make_surfaces(scene, building)[0]
    for off, beyond in ((0.07, 0.35), (0.0, 0.0)):
        spots = [
            _Spot.of(replace(unit, position=np.array([surface.x[0] + k * 0.2 + off, surface.y[0] + off, 2.8])), surface)
            for k in (0, 3, 1234, 54321)
        ]
        assert {spot.beyond for spot in spots} == {(beyond, beyond)}
        assert [spot.cell for spot in spots] == [(0, k) for k in (0, 3, 1234, 54321)]


def test_a_raster_that_is_not_level_or_even_is_not_regular() -> None:
    scene = hall("ceiling-infrared-general", 2.8)
    (surface, *_) = make_surfaces(scene, build(scene))[0]
    assert not replace(surface, floor=np.zeros(surface.shape)).is_regular
    assert not replace(surface, x=surface.x + 0.01 * np.arange(len(surface.x))).is_regular
