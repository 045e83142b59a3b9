"""Outlines of coverage and gaps: their areas are those of the cells, and those of closed forms, within the grid."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
import shapely
from small_scenes import detector, open_floor, pattern

import raycover
from raycover.asking.outlines import gap_outlines, mapped_areas, seen_areas
from raycover.building.build import build
from raycover.solving.coverage import PlaneCoverage, solve

CIRCLE = pattern({"circle": {"diameter": 8}}, mounting=2.5)


def edge_m(areas: list[Any]) -> float:
    return sum(a.length for a in areas)


@pytest.mark.parametrize("grid", [0.25, 0.1])
def test_an_open_circle(grid: float) -> None:
    scene = open_floor(detector((0.03, -0.07), 2.5, CIRCLE), half=6, grid=grid)
    building = build(scene)
    plane = solve(scene, building=building)["floor"]
    (area,) = seen_areas(plane, building)
    # Closed form: π·4² m²; an infrared footprint has a sharp edge, which lies anywhere within a cell.
    assert area.area == pytest.approx(math.pi * 16, abs=0.15 * grid * area.length)
    radius = np.hypot(*(shapely.get_coordinates(area.exterior) - [0.03, -0.07]).T)
    assert np.abs(radius - 4).max() < 0.8 * grid


def test_an_annulus_keeps_its_hole() -> None:
    ring = [{"name": "hut", "centre": [0, 0], "size": [2, 1, 2], "material": "metal"}]
    scene = open_floor(detector((0, 3), 2.5, CIRCLE), half=8, grid=0.1, solids=ring)
    building = build(scene)
    plane = solve(scene, building=building)["floor"]
    (free,) = mapped_areas(plane, building)
    assert free.area == pytest.approx(16 * 16 - 2)
    assert all(a.intersection(shapely.box(-1, -0.5, 1, 0.5)).area < 1e-9 for a in seen_areas(plane, building))


def agree(plane: PlaneCoverage, building: Any) -> None:
    grid = plane.surface.grid
    seen, gaps = seen_areas(plane, building), gap_outlines(plane, building)
    free = mapped_areas(plane, building)
    assert sum(a.area for a in seen) == pytest.approx(
        plane.area_where(plane.detected), abs=0.25 * grid * edge_m(seen) + grid**2
    )
    assert [g.gap for g in gaps] == list(plane.gaps)
    for gap in gaps:
        assert gap.areas
        total = sum(a.area for a in gap.areas)
        assert total == pytest.approx(gap.gap.area_m2, abs=0.5 * grid * edge_m(list(gap.areas)) + 2 * grid**2)
    # Together they are the whole, but for specks.
    missed = sum(a.area for g in gaps for a in g.areas)
    whole = sum(a.area for a in free)
    assert sum(a.area for a in seen) + missed == pytest.approx(whole, rel=0.01)
    assert all(a.is_valid for a in seen)


def test_the_examples(example: Any) -> None:
    for plane in example.coverage.values():
        if plane.surface.stairs is None:
            agree(plane, example.building)


def test_nothing_seen_and_everything_seen() -> None:
    room = "rooms: [{name: Room, outline: [[0, 0], [4, 0], [4, 3], [0, 3]], height: 3, walls: brick-100}]\n"
    unit = "detectors: [{name: D1, model: ceiling-infrared-general, at: [2, 1.5], mounting: 2.8}]\n"
    for text, seen_m2, n_gaps in ((room, 0.0, 1), (room + unit, 12.0, 0)):
        scene = raycover.load_text("raycover: 1\ngrid: 0.1\n" + text)
        building = build(scene)
        plane = solve(scene, building=building)["floor"]
        assert sum(a.area for a in seen_areas(plane, building)) == pytest.approx(seen_m2)
        assert len(gap_outlines(plane, building)) == n_gaps
