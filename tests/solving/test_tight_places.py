"""Places where rounding could decide: corners, faces, lines of cells, far coordinates, tiny steps. Geometry by hand."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from small_scenes import detector, pattern, scene

import raycover
from raycover.asking.probe import probe

INFRARED = pattern({"circle": {"diameter": 30}}, mounting=3)
MICROWAVE = pattern({"circle": {"diameter": 30}}, mounting=3, motion="radial", frequency_ghz=5.8)
FLOOR = [{"name": "floor", "height": 0}]
both = pytest.mark.parametrize("made", [INFRARED, MICROWAVE], ids=["infrared", "microwave"])


def room(width: float = 6.0, depth: float = 5.0, at: tuple[float, float] = (0.0, 0.0), **more: Any) -> dict[str, Any]:
    x, y = at
    outline = [[x, y], [x + width, y], [x + width, y + depth], [x, y + depth]]
    return {"name": "room", "outline": outline, "height": 3, "walls": "brick-100", "ceiling": "concrete-150", **more}


def share(unit: dict[str, Any], **parts: Any) -> float:
    parts = {"rooms": [room()], "planes": FLOOR, "grid": 0.25, **parts}
    return raycover.solve(scene(detectors=[unit], **parts))["floor"].share


@both
@pytest.mark.parametrize(
    ("at", "height"),
    [((0, 0), 3), ((6, 5), 3), ((0, 2.5), 2.5), ((5e-4, 5e-4), 2.9995), ((3, 2.5), 3 - 1e-9)],
)
def test_a_unit_in_a_corner_or_on_a_face_sees_its_whole_room(made: Any, at: tuple[float, float], height: float) -> None:
    assert share(detector(at, height, made)) == 1


@both
@pytest.mark.parametrize("off", [0.0, 1e-9, 1e-4, 1e-3, 2e-3, 0.01])
def test_a_unit_on_the_side_of_a_box_sees_half_the_room(made: Any, off: float) -> None:
    """A box 1 × 1 m in the middle of 6 × 5 m: what lies before its side is 2.5 × 5 of 29 m². The step of 0.01 m lets
    nothing around a corner be seen: 0.01/0.5 of a metre sideways over 1 m of depth is less than a cell."""
    box = {"name": "box", "centre": [3, 2.5], "size": [1, 1, 3], "material": "metal"}
    assert share(detector((2.5 - off, 2.5), 2.0, made), solids=[box]) == pytest.approx(12.5 / 29, abs=1e-6)


@both
def test_cells_on_the_line_of_a_screen_are_seen_from_either_side(made: Any) -> None:
    """Centres at 3.125 m lie in a steel screen at 3.125 m: who stands in it is seen by both, nobody beyond it."""
    screen = {"name": "screen", "line": [[3.125, 0], [3.125, 5]], "height": 3, "construction": "steel-panel"}
    assert share(detector((2, 2.5), 2.9, made), partitions=[screen]) == pytest.approx(13 / 24)
    assert share(detector((4.25, 2.5), 2.9, made), partitions=[screen]) == pytest.approx(12 / 24)


@both
def test_a_way_along_a_screen_crosses_nothing(made: Any) -> None:
    """Unit and person in the screen's own plane, and a tenth of a millimetre off it."""
    screen = {"name": "screen", "line": [[0, 2], [6, 2]], "height": 3, "construction": "steel-panel"}
    for unit, person in ((2.0, 2.0), (2.0001, 2.0), (2.0, 2.0001)):
        made_scene = scene(rooms=[room()], partitions=[screen], detectors=[detector((1, unit), 2.5, made)])
        (view,) = probe(made_scene, (4.0, person, 1.0))
        assert view.margin_db > 0
        assert not view.crossings


@pytest.mark.parametrize("at", [(0.0, 0.0), (19_000.0, -18_000.0), (-12_345.678, 17_654.321)])
def test_two_kilometres_and_national_coordinates(at: tuple[float, float]) -> None:
    """A tunnel 2 km long with a unit each 100 m, r = 8 m in 6 m of width: each sees 6 m × 2·√(8² − y²), the mean of
    which over |y| < 3 is 15.617 m, so 6·15.617 m² of 600."""
    length = min(2000.0, 19_999 - at[0])
    n = int(length // 100)
    made = pattern({"circle": {"diameter": 16}}, mounting=3)
    units = [detector((at[0] + 50 + 100 * i, at[1] + 3), 3, made, f"D{i}") for i in range(n)]
    hall = room(100.0 * n, 6, at)
    floor = raycover.solve(scene(rooms=[hall], detectors=units, planes=FLOOR, grid=0.25))["floor"]
    half = 3 / 2 * math.sqrt(64 - 9) + 32 * math.asin(3 / 8)
    assert 4 * half == pytest.approx(6 * 15.617, abs=0.01)
    assert floor.area_where(floor.detected) / n == pytest.approx(4 * half, rel=5e-3)


def test_steps_of_a_centimetre() -> None:
    """150 risers of 10 mm on goings of 20 mm, a unit above: every tread is seen."""
    stairs = {"name": "S", "at": [1, 1], "kind": "straight", "rise": 1.5, "risers": 150, "going": 0.02, "width": 1}
    made = scene(
        rooms=[room(8, 8, height=4)], stairs=[stairs], detectors=[detector((4, 1.5), 3.9, INFRARED)], planes=FLOOR
    )
    solved = raycover.solve(made)
    assert solved["floor S"].share == 1
    assert solved["floor S"].area_m2 == pytest.approx(149 * 0.02, rel=1e-6)


def test_a_high_unit_over_fine_cells() -> None:
    """From 14 m, 40 m across, in a hall of 40 × 40 m: π/4 of it, from 160,000 cells."""
    made = pattern({"circle": {"diameter": 40}}, mounting=14)
    floor = raycover.solve(
        scene(rooms=[room(40, 40, height=14.5)], detectors=[detector((20, 20), 14, made)], planes=FLOOR, grid=0.1)
    )["floor"]
    assert floor.share == pytest.approx(math.pi / 4, abs=2e-4)
    assert not np.isnan(floor.margin_db[floor.surface.inside]).any()
