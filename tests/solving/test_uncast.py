"""The building alone: an empty coverage, and what the building holds against sums done by hand."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from small_scenes import scene

import raycover
from raycover.building.build import build
from raycover.solving.uncast import inventory, uncast

ROOM = {
    "name": "A",
    "outline": [[0, 0], [5, 0], [5, 4], [0, 4]],
    "height": 3,
    "walls": "brick-100",
    "ceiling": "plasterboard-12.5",
    "openings": [
        {"edge": 0, "at": 1, "width": 1, "height": 2, "fill": "door-wood-40"},
        {"edge": 1, "at": 1, "width": 2, "height": 1, "sill": 1, "fill": "glass-6"},
        {"edge": 2, "at": 1, "width": 1, "height": 2, "fill": "none"},
    ],
}


def test_an_inventory() -> None:
    """Walls 18 m × 3 m less openings of 2, 2 and 2 m²; a ceiling of 20 m²."""
    made = scene(rooms=[ROOM], desks=[{"name": "D", "at": [1, 2], "count": 2}])
    held = inventory(made, build(made))
    assert [(r.name, r.area_m2, r.floor, r.height) for r in held.rooms] == [("A", 20.0, 0.0, 3.0)]
    areas = dict(held.areas)
    assert areas["brick-100"] == pytest.approx(18 * 3 - 6)
    assert areas["plasterboard-12.5"] == pytest.approx(20)
    assert areas["door-wood-40"] == pytest.approx(2)
    assert areas["glass-6"] == pytest.approx(2)
    assert next(iter(areas)) == "brick-100"
    assert dict(held.counts) == {"doors": 1, "windows": 1, "gaps": 1, "desks": 2}
    assert held.floor_m2 == 20.0


def test_a_coverage_that_knows_nothing(office: Any) -> None:
    bare = uncast(raycover.load(office.path), office.building)
    assert list(bare) == ["floor"]
    plane = bare["floor"]
    assert np.isnan(plane.margin_db).all()
    assert plane.area_m2 == pytest.approx(office.coverage["floor"].area_m2, rel=0.02)
    assert (plane.gaps, plane.share, bare.n_rays) == ((), 0.0, 0)
    assert bare.detector_names == office.coverage.detector_names


def test_without_rooms_and_without_anything() -> None:
    for parts in ({"solids": [{"name": "s", "centre": [3, 2], "size": [1, 1, 1], "material": "metal"}]}, {}):
        made = scene(planes=[{"name": "p", "height": 0, "extent": [0, 0, 1, 1]}], **parts)
        assert uncast(made, build(made))["floor"].area_m2 > 0
