"""Headroom over stairs, worked by hand: 2.0 m over treads and landings, Approved Document K [2nd]."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from small_scenes import scene

import raycover
from raycover.building.build import build
from raycover.rays.ray_scene import RayScene
from raycover.solving.stair_headroom import clear_heights, stair_headroom

#: Ten risers of 170 mm: nine treads of 280 mm, the last at 1.53 m.
STAIR = {
    "name": "S",
    "at": [0, 0],
    "rise": 1.7,
    "risers": 10,
    "going": 0.28,
    "width": 1.0,
    "construction": "concrete-150",
}
NOWHERE = [{"name": "p", "height": 0, "extent": [5, 5, 6, 6]}]


def under(z: float, construction: str = "steel-panel") -> raycover.Scene:
    slab = {"name": "Slab", "corners": [[0, -1, z], [1, -1, z], [1, 4, z], [0, 4, z]], "construction": construction}
    return scene(stairs=[STAIR], sheets=[slab], planes=NOWHERE)


def clear(made: Any) -> tuple[np.ndarray, np.ndarray]:
    building = build(made)
    points, height, _ = clear_heights(building, RayScene(building), building.stairs[0])
    return points, height


def test_clear_height_is_that_of_the_slab_less_the_tread() -> None:
    """A sheet hangs half its thickness below its plane; the last tread lies at 9 × 0.17 = 1.53 m."""
    made = under(3.3)
    building = build(made)
    half = next(s for s in building.sheets if s.owner == "Slab").construction.thickness_m / 2
    points, height = clear(made)
    assert height.min() == pytest.approx(3.3 - half - 1.53, abs=1e-3)
    near = np.isfinite(height)
    assert height[near] == pytest.approx(3.3 - half - points[near, 2], abs=1e-3)
    # Over lower treads the slab is higher than what is looked for.
    assert points[~near, 2].max() < 3.3 - 2.0


@pytest.mark.parametrize(("z", "n"), [(3.7, 0), (3.5, 1), (2.5, 1)])
def test_a_low_slab_is_warned_about(z: float, n: int) -> None:
    made = under(z)
    building = build(made)
    found = stair_headroom(made, building, RayScene(building))
    assert [p.code for p in found] == ["headroom"] * n
    for problem in found:
        assert problem.severity == "warning"
        assert 'stair "S"' in problem.message
        assert 'under "Slab"' in problem.message
        assert "local rules" in problem.help
    assert [p for p in raycover.solve(made).warnings if p.code == "headroom"] == found


def test_the_worst_place_is_named() -> None:
    """3.5 m less 1.53 m, less half a steel panel."""
    made = under(3.5)
    building = build(made)
    (problem,) = stair_headroom(made, building, RayScene(building))
    half = next(s for s in building.sheets if s.owner == "Slab").construction.thickness_m / 2
    assert f"has {3.5 - 1.53 - half:.2f} m of headroom" in problem.message
    assert ", 1.53)" in problem.message


def test_a_slab_between_storeys_counts_its_whole_thickness() -> None:
    """A floor's underside is 150 mm below its level: over the last tread of a stair that stops 0.17 m below the floor
    at 3.6 m the void is open, but the slab beyond hangs at 3.45 m over treads at 1.5 m and more."""
    common = {"outline": [[0, 0], [3, 0], [3, 6], [0, 6]], "height": 3.6, "walls": "brick-215",
              "ceiling": "concrete-150", "floor_construction": "concrete-150"}  # fmt: skip
    rooms = [{"name": f"R{k}", "floor": 3.6 * k, **common} for k in range(2)]
    made = scene(rooms=rooms, stairs=[{**STAIR, "at": [1, 1], "room": "R0", "rise": 1.7}])
    _, height = clear(made)
    assert height.min() == pytest.approx(3.6 - 0.15 - 1.53, abs=1e-3)


def test_open_air_and_the_example_have_headroom(stairwell: Any) -> None:
    assert not np.isfinite(clear(scene(stairs=[STAIR], planes=NOWHERE))[1]).any()
    assert not stair_headroom(stairwell.scene, stairwell.building, stairwell.rays)
