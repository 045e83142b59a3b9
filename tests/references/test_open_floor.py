"""Footprints on open ground against their closed forms: πr², a·b, sectors, at several heights and planes.

Source: plane geometry. The slant range and lens edge formulae are those stated for declared footprints:
s0 = √(r² + (H − h_p)²), tan θmax = r / (H − h_p); nothing is seen beyond either.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from small_scenes import detector, open_floor, pattern

import raycover

SHAPES = {
    "circle": ({"circle": {"diameter": 8}}, math.pi * 16),
    "rectangle": ({"rectangle": {"length": 8, "width": 5}}, 40.0),
    "ellipse": ({"ellipse": {"length": 9, "width": 4}}, math.pi * 4.5 * 2),
    "sector": ({"sector": {"reach": 5, "spread_deg": 100}}, math.pi * 25 * 100 / 360),
    # A polar table with rows a degree apart around a 6 m circle; polygon in azimuth, so a circle.
    "polar": ({"polar": [[a, 6.0] for a in range(0, 360, 10)]}, math.pi * 36),
}


def seen_area(scene: raycover.Scene) -> float:
    coverage = raycover.solve(scene)
    return coverage["floor"].area_where(coverage["floor"].detected)


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("turn_deg", [0, 33])
def test_declared_plane(shape: str, turn_deg: float) -> None:
    spec, area = SHAPES[shape]
    unit = detector((0.013, -0.021), 2.5, pattern(spec, mounting=2.5), turn_deg=turn_deg)
    assert seen_area(open_floor(unit, half=7, grid=0.05)) == pytest.approx(area, rel=0.006)


@pytest.mark.parametrize("mounting", [2.0, 2.5, 3.2])
@pytest.mark.parametrize("plane", [0.4, 0.75, 1.2])
def test_circle_at_heights_and_planes(mounting: float, plane: float) -> None:
    """Declared r = 4 m at 2.5 m over the floor; elsewhere the same angles and slant ranges hold."""
    unit = detector((0.0, 0.0), mounting, pattern({"circle": {"diameter": 8}}, mounting=2.5))
    lens = (mounting - plane) * 4 / 2.5
    slant = math.sqrt(max(16 + 2.5**2 - (mounting - plane) ** 2, 0))
    radius = min(lens, slant)
    assert seen_area(open_floor(unit, half=6, grid=0.04, height=plane)) == pytest.approx(math.pi * radius**2, rel=0.005)


def test_declared_on_a_desk_plane_limits_the_floor_by_slant_range() -> None:
    """Declared r = 3 m on 0.75 m from 2.5 m: on the floor s0 = √(9 + 1.75²) ends at √(s0² − 2.5²) = 2.41 m."""
    unit = detector((0.0, 0.0), 2.5, pattern({"circle": {"diameter": 6}}, mounting=2.5, plane=0.75))
    radius = math.sqrt(9 + 1.75**2 - 2.5**2)
    assert radius == pytest.approx(2.41, abs=0.005)
    assert seen_area(open_floor(unit, half=4, grid=0.04)) == pytest.approx(math.pi * radius**2, rel=0.005)


def test_lowering_the_unit_shrinks_the_floor_footprint_in_proportion() -> None:
    areas = [
        seen_area(
            open_floor(detector((0, 0), h, pattern({"circle": {"diameter": 8}}, mounting=2.5)), half=5, grid=0.04)
        )
        for h in (2.5, 2.0, 1.25)
    ]
    assert areas[1] / areas[0] == pytest.approx((2.0 / 2.5) ** 2, rel=0.01)
    assert areas[2] / areas[0] == pytest.approx(0.25, rel=0.01)


def test_microwave_has_no_lens_edge() -> None:
    """A reach surface s = s0: on a plane h below the unit the circle has radius √(s0² − (H − h)²)."""
    made = pattern({"circle": {"diameter": 10}}, mounting=2.5, motion="radial", frequency_ghz=5.8)
    for height in (0.0, 1.0, 2.4):
        radius = math.sqrt(25 + 2.5**2 - (2.5 - height) ** 2)
        scene = open_floor(detector((0, 0), 2.5, made), half=7, grid=0.05, height=height)
        assert seen_area(scene) == pytest.approx(math.pi * radius**2, rel=0.005)


def test_contrast_shrinks_the_slant_reach_by_its_root() -> None:
    """Slant reach scales with √|k|; k = 0.367 for a clothed person at 30 °C [C].

    From 2.5 m and r = 4 m: s0·√k = 4.717·0.606 = 2.857 m, so 1.38 m on the floor.
    """
    unit = detector((0, 0), 2.5, pattern({"circle": {"diameter": 8}}, mounting=2.5))
    scene = open_floor(unit, half=3, grid=0.02, conditions={"ambient_c": 30})
    radius = math.sqrt((16 + 6.25) * 0.367 - 6.25)
    assert seen_area(scene) == pytest.approx(math.pi * radius**2, rel=0.015)


def test_tilt_moves_the_lens_edge_by_its_angle() -> None:
    """A 45° cone tilted by 20° towards +x meets the floor from −H·tan 25° to H·tan 65° on the x axis."""
    made = pattern({"circle": {"diameter": 200}}, mounting=100)
    scene = open_floor(detector((0, 0), 4, made, tilt_deg=20), half=12, grid=0.05)
    floor = raycover.solve(scene)["floor"]
    row = int(np.argmin(np.abs(floor.y)))
    seen = floor.x[floor.detected[row]]
    assert seen.min() == pytest.approx(-4 * math.tan(math.radians(25)), abs=0.06)
    assert seen.max() == pytest.approx(4 * math.tan(math.radians(65)), abs=0.06)


def test_quarter_mask_takes_a_quarter() -> None:
    made = pattern({"circle": {"diameter": 8}}, mounting=2.5)
    whole = seen_area(open_floor(detector((0, 0), 2.5, made), half=5, grid=0.05))
    masked = seen_area(
        open_floor(detector((0, 0), 2.5, made, turn_deg=20, masks=[{"from_deg": 300, "to_deg": 30}]), half=5, grid=0.05)
    )
    assert masked / whole == pytest.approx(0.75, abs=0.004)
