"""Triangles against the polygons and boxes they stand for."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
import trimesh
from hypothesis import given
from hypothesis import strategies as st
from small_scenes import scene

from raycover.building.build import build
from raycover.building.mesh import JOINT_OVERLAP, box_triangles, sheet_triangles
from raycover.building.parts import Boxes


def area(triangles: np.ndarray) -> float:
    if triangles.shape[-1] == 2:
        a, b = triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0]
        return float(np.abs(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum() / 2)
    return float(
        np.linalg.norm(np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0]), axis=1).sum() / 2
    )


L_SHAPE = shapely.Polygon([(0, 0), (8, 0), (8, 3), (4, 3), (4, 6), (0, 6)])
HOLED = shapely.box(0, 0, 10, 3).difference(shapely.unary_union([shapely.box(1, 0, 2, 2), shapely.box(4, 1, 6, 2)]))


@pytest.mark.parametrize(
    "polygon",
    [
        shapely.Polygon([(0, 0), (1, 0), (0, 1)]),
        L_SHAPE,
        L_SHAPE.reverse(),
        HOLED,
        shapely.box(0, 0, 5, 5).difference(shapely.Point(2, 2).buffer(1)),
        shapely.MultiPolygon([shapely.box(0, 0, 1, 1), shapely.box(2, 0, 3, 4)]),
    ],
    ids=["triangle", "L", "clockwise", "holes", "round hole", "two pieces"],
)
def test_triangles_fill_the_polygon(polygon: shapely.Geometry) -> None:
    triangles = sheet_triangles(polygon)
    assert area(triangles) == pytest.approx(polygon.area, rel=1e-12)
    assert shapely.union_all(shapely.polygons(triangles)).symmetric_difference(polygon).area < 1e-9


@given(
    angles=st.lists(st.floats(0.5, 1), min_size=5, max_size=12),
    radii=st.lists(st.floats(1, 10), min_size=12, max_size=12),
    hole=st.floats(0.01, 0.1),
)
def test_star_shapes_with_a_hole(angles: list[float], radii: list[float], hole: float) -> None:
    """Any star-shaped outline, with a hole about its middle where it fits: nothing lost, nothing doubled."""
    turn = np.cumsum(angles) / sum(angles) * 2 * np.pi
    r = np.array(radii[: len(angles)])
    outline = shapely.Polygon(np.stack([r * np.cos(turn), r * np.sin(turn)], axis=1))
    polygon = outline.difference(shapely.Point(0, 0).buffer(hole))
    assert area(sheet_triangles(polygon)) == pytest.approx(polygon.area, rel=1e-9)


def test_empty_polygon() -> None:
    assert sheet_triangles(shapely.MultiPolygon()).shape == (0, 3, 2)
    assert box_triangles(Boxes.join([])).shape == (0, 3, 3)


def test_parts_are_sheets_then_boxes() -> None:
    building = build(
        scene(
            partitions=[{"name": "p", "line": [[0, 0], [2, 0]], "height": 2, "construction": "glass-6"}],
            sheets=[{"name": "s", "corners": [[0, 0, 3], [1, 0, 3], [0, 1, 3]], "construction": "glass-6"}],
            solids=[
                {"name": "a", "centre": [5, 5], "size": [1, 1, 1], "material": "metal"},
                {"name": "b", "centre": [9, 5], "size": [1, 2, 3], "material": "timber"},
            ],
        )
    )
    assert [building.part_name(i) for i in range(building.n_parts)] == ["p", "s", "a", "b"]
    assert [building.part_made_of(i).name for i in range(4)] == ["glass-6", "glass-6", "metal", "timber"]
    mesh = building.mesh
    assert len(mesh.part) == len(mesh.triangles)
    for part in (2, 3):
        solid = mesh.triangles[mesh.part == part]
        assert trimesh.Trimesh(**trimesh.triangles.to_kwargs(solid)).volume == pytest.approx([1, 6][part - 2])
    # A sheet reaches over its edges by the joint overlap, to keep joints shut in single precision.
    over = 2 * JOINT_OVERLAP
    assert area(mesh.triangles[mesh.part == 0]) == pytest.approx((2 + over) * (2 + over))
    np.testing.assert_allclose(mesh.triangles[mesh.part == 1][..., 2], 3)


def test_bounds_take_in_rooms_without_walls() -> None:
    hall = {"name": "hall", "outline": [[1, 2], [6, 2], [6, 9], [1, 9]], "floor": 3.2, "height": 3, "walls": "none"}
    np.testing.assert_allclose(build(scene(rooms=[hall])).bounds, [[1, 2, 3.2], [6, 9, 6.2]])
    np.testing.assert_allclose(build(scene()).bounds, [[0, 0, 0], [1, 1, 1]])
