"""Shadows of boxes and racks against their projections as shapely polygons, and by similar triangles.

Source: central projection from the unit; shapely for the polygons.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import shapely
from shapely import affinity
from small_scenes import detector, open_floor, pattern, scene

import raycover
from raycover.solving.coverage import PlaneCoverage

WIDE = pattern({"circle": {"diameter": 60}}, mounting=10)


def shadow(box: dict[str, Any], eye: tuple[float, float, float]) -> shapely.Polygon:
    """The floor hidden by a box from a point above it: hull of its base and of its top projected."""
    sx, sy, sz = box["size"]
    base = affinity.rotate(shapely.box(-sx / 2, -sy / 2, sx / 2, sy / 2), box.get("turn_deg", 0), origin=(0, 0))
    base = affinity.translate(base, *box["centre"])
    z = box.get("base", 0) + sz
    assert eye[2] > z
    grow = eye[2] / (eye[2] - z)
    top = affinity.scale(base, grow, grow, origin=(eye[0], eye[1]))
    if box.get("base", 0) > 0:
        low = eye[2] / (eye[2] - box["base"])
        base = affinity.scale(base, low, low, origin=(eye[0], eye[1]))
    return shapely.union(base, top).convex_hull


def compare(plane: PlaneCoverage, hidden: Any, within: Any) -> float:
    """Cells that disagree with the polygons (none allowed away from edges); returns the area compared."""
    x, y = np.meshgrid(plane.x, plane.y)
    counted = plane.surface.inside & shapely.contains_xy(within, x, y)
    expected = ~shapely.contains_xy(hidden, x, y)
    edges = shapely.boundary(hidden).buffer(1e-3)
    clear = ~shapely.contains_xy(edges, x, y)
    wrong = counted & clear & (plane.detected != expected)
    assert not wrong.any(), list(zip(x[wrong][:5], y[wrong][:5], strict=True))
    assert (counted & clear & ~expected).sum() > 50
    return float(counted.sum()) * plane.surface.grid**2


@pytest.mark.parametrize("turn_deg", [0, 27])
@pytest.mark.parametrize("base", [0.0, 1.1])
def test_box(turn_deg: float, base: float) -> None:
    box = {
        "name": "box",
        "centre": [3, 1],
        "size": [1.6, 0.8, 1.5],
        "base": base,
        "turn_deg": turn_deg,
        "material": "goods",
    }
    unit = detector((0.4, -0.3), 5, WIDE)
    floor = raycover.solve(open_floor(unit, half=8, grid=0.05, solids=[box]))["floor"]
    compare(floor, shadow(box, (0.4, -0.3, 5)), shapely.box(-7, -7, 7, 7))


def test_two_solid_racks_and_a_round_unit() -> None:
    """A unit over one aisle of three: what it sees of the others, by the union of the racks' shadows."""
    racks = [
        {"name": f"rack {i}", "centre": [0, y], "size": [20, 1.1, 6], "material": "goods"}
        for i, y in enumerate((-2, 2, 6))
    ]
    unit = detector((1.0, 0.0), 9, WIDE)
    floor = raycover.solve(open_floor(unit, half=13, grid=0.1, solids=racks))["floor"]
    hidden = shapely.union_all([shadow(rack, (1, 0, 9)) for rack in racks])
    compare(floor, hidden, shapely.box(-12, -12, 12, 12))


def test_next_aisle_by_similar_triangles() -> None:
    """Across the aisle: a ray over the top edge of the near rack, 6 m high and 2.55 m off, lands at 2.55·9/3.

    From 9 m that is 7.65 m away: the whole of the next aisle (2.55 to 5.45 m) is hidden.
    """
    racks = [{"name": "rack", "centre": [0, 2], "size": [20, 1.1, 6], "material": "goods"}]
    floor = raycover.solve(open_floor(detector((0, 0), 9, WIDE), half=12, grid=0.05, solids=racks))["floor"]
    column = int(np.argmin(np.abs(floor.x)))
    missed = floor.y[~floor.detected[:, column] & floor.surface.inside[:, column] & (floor.y > 0)]
    assert missed.min() == pytest.approx(2.55, abs=0.05)
    assert missed.max() == pytest.approx(7.65, abs=0.05)
    assert len(missed) == pytest.approx((7.65 - 2.55) / 0.05, abs=2)


def test_real_racking_hides_no_more_than_its_envelope_and_no_less_than_its_goods() -> None:
    """Frames with pallets stand between the solid envelope (hides most) and the loads alone (least)."""
    rack = {"name": "R", "at": [-8.45, 1.5], "bays": 6, "levels": 4, "level_pitch": 1.5}
    unit = detector((0, 0), 9, WIDE)
    half = {"half": 12, "grid": 0.1}
    real = raycover.solve(open_floor(unit, racking=[rack], **half))["floor"]
    length = 6 * 2.8 + 0.1
    solid = {"name": "S", "centre": [-8.45 + length / 2, 2.05], "size": [length, 1.2, 6.0], "material": "goods"}
    x, y = np.meshgrid(real.x, real.y)
    outside = real.surface.inside
    envelope = shapely.contains_xy(shadow(solid, (0, 0, 9)), x, y)
    assert not (outside & ~envelope & ~real.detected & (np.hypot(x, y) < 12)).any()
    hidden = outside & envelope & ~real.detected
    assert 0.8 < hidden.sum() / (outside & envelope).sum() < 1


def test_glass_stops_infrared_and_not_microwave() -> None:
    """4 mm float glass passes 2 % of 8–14 µm [V, engineering handbook table]; 6 mm costs 3.2 dB at 5.8 GHz [C]."""
    pane = {"name": "pane", "line": [[2, -6], [2, 6]], "height": 3, "construction": "glass-6"}
    units = {
        "infrared": pattern({"circle": {"diameter": 12}}, mounting=2.5),
        "microwave": pattern({"circle": {"diameter": 12}}, mounting=2.5, motion="radial", frequency_ghz=5.8),
    }
    planes = [{"name": "floor", "height": 0, "extent": [-6, -6, 6, 6]}]
    for kind, made in units.items():
        solved = raycover.solve(
            scene(detectors=[detector((0, 0), 2.5, made)], partitions=[pane], planes=planes, grid=0.2)
        )
        beyond = solved["floor"].detected[:, solved["floor"].x > 2.1]
        assert beyond.any() == (kind == "microwave")
