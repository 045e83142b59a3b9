"""Imported objects in plan and cut off: areas in closed form and trimesh's own sections and slices as the measure."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import shapely
import trimesh
from mesh_scenes import built, write

from raycover.building.parts import MeshObject
from raycover.building.sections import cut_off, feature_edges, footprint, outline, section

L_PLAN = shapely.Polygon([(0, 0), (3, 0), (3, 1), (1, 1), (1, 2), (0, 2)])


def object_of(folder: Path, shape: trimesh.Trimesh, **more: object) -> MeshObject:
    return built(folder, {"file": write(folder, "m.stl", shape), "turn_deg": 20, **more}).objects[0]


@pytest.mark.parametrize("z", [0.0, 0.3, 0.5, 0.75, 1.0, 1.4999, 1.5, 1.6])
def test_section_of_a_block(z: float, tmp_path: Path) -> None:
    """An L on a plinth, cut within, through corners and at the very top: the areas of its plans."""
    plinth = trimesh.creation.box((5, 4, 0.5)).apply_translation([1, 1, 0.25])
    tall = trimesh.creation.extrude_polygon(L_PLAN, 1.5)
    one = object_of(tmp_path, trimesh.util.concatenate([plinth, tall]))
    found = section(one, z).area
    expected = (20.0 if z < 0.5 else 4.0) if z < 1.5 else 0.0
    assert found == pytest.approx(expected, abs=1e-4)


def test_section_with_holes(tmp_path: Path) -> None:
    ring = trimesh.creation.annulus(0.5, 1.0, 2, sections=60)
    one = object_of(tmp_path, ring)
    cut = section(one, 0.123)
    assert len(cut.interiors) == 1
    assert cut.area == pytest.approx(ring.volume / 2, rel=1e-6)
    # A torus at height z: the ring between R − s and R + s with s² = r² − z², an area of 4π·R·s.
    tube = trimesh.creation.torus(2, 0.5, major_sections=128, minor_sections=128)
    area = section(object_of(tmp_path, tube), 0.2).area
    assert area == pytest.approx(4 * np.pi * 2 * np.sqrt(0.5**2 - 0.2**2), rel=2e-3)


def test_section_of_open_faces_is_lines(tmp_path: Path) -> None:
    tube = trimesh.creation.cylinder(1, 3, sections=32)
    walls = trimesh.Trimesh(tube.vertices, tube.faces[np.abs(tube.face_normals[:, 2]) < 0.5], process=False)
    cut = section(object_of(tmp_path, walls, construction="glass-6"), 0.4)
    assert cut.geom_type == "LineString"
    assert cut.length == pytest.approx(32 * 2 * np.sin(np.pi / 32), rel=1e-6)


def test_outline_and_footprint(tmp_path: Path) -> None:
    """What an L covers is an L, without cracks; its footprint is the hull: half the missing square more."""
    one = object_of(tmp_path, trimesh.creation.extrude_polygon(L_PLAN, 1.5).subdivide().subdivide())
    covered = outline([one])
    assert covered.geom_type == "Polygon"
    assert not covered.interiors
    assert covered.area == pytest.approx(4, abs=1e-4)
    assert footprint([one]).area == pytest.approx(L_PLAN.convex_hull.area, abs=1e-6)
    ball = trimesh.creation.icosphere(4, 1.0)
    assert outline([object_of(tmp_path, ball)]).area == pytest.approx(np.pi, rel=3e-3)


@pytest.mark.parametrize("z", [-0.9, -0.31, 0.0, 0.42, 2.0])
def test_cut_off(z: float) -> None:
    for shape in (
        trimesh.creation.icosphere(3, 1.0),
        trimesh.creation.torus(0.7, 0.3),
        trimesh.creation.box((1, 1, 1)),
    ):
        kept = cut_off(np.asarray(shape.triangles), z)
        below = shape.slice_plane([0, 0, z], [0, 0, -1])
        area = np.linalg.norm(np.cross(kept[:, 1] - kept[:, 0], kept[:, 2] - kept[:, 0]), axis=1).sum() / 2
        assert area == pytest.approx(below.area if below is not None else 0.0, abs=1e-9)
        assert kept[..., 2].max(initial=-9) <= z + 1e-12
        normals = np.cross(kept[:, 1] - kept[:, 0], kept[:, 2] - kept[:, 0])
        if shape.volume > 2:  # the ball: what is cut still faces outward
            assert np.einsum("ij,ij->i", normals, kept.mean(axis=1)).min(initial=0) >= -1e-12


def test_feature_edges() -> None:
    """A box has twelve edges however it is divided, a smooth ball none, an open strip its rim."""
    box = trimesh.creation.box((1, 2, 3)).subdivide()
    lines = feature_edges(np.asarray(box.triangles), 25)
    assert np.linalg.norm(lines[:, 1] - lines[:, 0], axis=1).sum() == pytest.approx(4 * (1 + 2 + 3))
    assert not len(feature_edges(np.asarray(trimesh.creation.icosphere(4).triangles), 25))
    strip = np.array([[[0, 0, 0], [1, 0, 0], [1, 1, 0]], [[0, 0, 0], [1, 1, 0], [0, 1, 0]]], float)
    lines = feature_edges(strip, 25)
    assert np.linalg.norm(lines[:, 1] - lines[:, 0], axis=1).sum() == pytest.approx(4)
    assert feature_edges(np.zeros((0, 3, 3)), 25).shape == (0, 2, 3)
