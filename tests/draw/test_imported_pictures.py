"""Imported meshes in pictures: they show, in plan and in 3D, and are cut where they would hide the map."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import shapely
import trimesh
from mesh_scenes import mesh_scene, write

from raycover.building.build import build
from raycover.draw.dxf import write_dxf
from raycover.draw.plan import make_plan
from raycover.draw.view3d.cutaway import Cuts
from raycover.draw.view3d.imported import imported_bodies, imported_things
from raycover.draw.view3d.solids import draw_solids
from raycover.solving.coverage import solve

ROOM = {"name": "hall", "outline": [[0, 0], [12, 0], [12, 8], [0, 8]], "height": 5, "walls": "brick-100"}
UNIT = {"name": "D", "model": "ceiling-infrared-general", "at": [6, 6], "mounting": 3}


def machine() -> trimesh.Scene:
    made = trimesh.Scene()
    quad = [[-1, -1.2, 0.2], [1, -1.2, 0.2], [1, -1.2, 2], [-1, -1.2, 2]]
    shapes = {
        "body": trimesh.creation.cylinder(0.8, 2.6, sections=40).apply_translation([0, 0, 1.3]),
        "pane": trimesh.Trimesh(quad, [[0, 1, 2], [0, 2, 3]], process=False),
        "fence": trimesh.Trimesh(np.add(quad, [0, 2.4, 0]), [[0, 1, 2], [0, 2, 3]], process=False),
    }
    for name, shape in shapes.items():
        made.add_geometry(shape, node_name=name, geom_name=name)
    return made


PARTS = [
    {"match": "body", "material": "metal"},
    {"match": "pane", "construction": "glass-6"},
    {"match": "fence", "construction": "wire-mesh-50"},
]


def scene_with(folder: Path, *heights: float):  # type: ignore[no-untyped-def]
    file = write(folder, "m.glb", machine())
    meshes = [
        {"file": file, "axis": "z-up", "at": [3 + 4 * k, 4], "base": h, "parts": PARTS} for k, h in enumerate(heights)
    ]
    return mesh_scene(
        folder, *meshes, rooms=[ROOM], detectors=[UNIT], grid=0.2, planes=[{"name": "floor", "height": 0}]
    )


def test_in_plan(tmp_path: Path) -> None:
    """Standing on the floor, and hung above the cut: pixels change about both, and nowhere else."""
    pictures = []
    for heights in ((), (0.0, 2.0)):
        scene = scene_with(tmp_path, *heights)
        building = build(scene)
        coverage = solve(mesh_scene(tmp_path, rooms=[ROOM], grid=0.2, planes=[{"name": "floor", "height": 0}]))
        pictures.append(make_plan(scene, building, coverage, "floor", dpi=100).pixels().astype(int))
    changed = np.abs(pictures[0] - pictures[1]).max(axis=2) > 30
    rows, columns = np.nonzero(changed)
    assert len(rows) > 400
    # Two groups beside each other, of like height: the machine and the one hung up.
    gap = np.flatnonzero(np.diff(np.unique(columns)) > 20)
    assert len(gap) == 1
    split = np.unique(columns)[gap[0]]
    spans = [np.ptp(rows[columns <= split]), np.ptp(rows[columns > split])]
    assert spans[0] == pytest.approx(spans[1], abs=4)


def test_in_3d(tmp_path: Path) -> None:
    building = build(scene_with(tmp_path, 0.0, 2.0))
    things = imported_things(building)
    assert [t.owner for t in things] == ["M1", "M2"]
    assert [(t.bottom, t.top) for t in things] == [pytest.approx((0, 2.6)), pytest.approx((2, 4.6))]
    plain, glazed = imported_bodies(building, {"M1": 1.5, "M2": 9.0})
    top = plain.triangles[plain.triangles[..., 0].max(axis=1) < 5, :, 2].max()
    assert top == pytest.approx(1.5)
    # The lid where it is cut: a level face of the circle's area.
    lid = plain.triangles[(np.abs(plain.triangles[..., 2] - 1.5) < 1e-9).all(axis=1)]
    area = sum(shapely.Polygon(t[:, :2]).area for t in lid)
    assert area == pytest.approx(40 / 2 * 0.64 * np.sin(2 * np.pi / 40), rel=1e-6)
    assert len(glazed.triangles) >= 4  # the panes; wire mesh shows by its frame only
    flat = np.abs(plain.triangles[..., 1] - 5.2).max(axis=1) < 1e-6
    assert not flat.any()
    assert (np.abs(plain.edges[..., 1] - 5.2).max(axis=1) < 1e-6).any()
    area_of_map = shapely.box(0, 0, 12, 8)
    drawn = draw_solids(building, area_of_map, None, Cuts.for_area(area_of_map, 5))
    assert len(drawn.bodies["mesh"].triangles) > 100
    assert not drawn.glass.empty


def test_in_dxf(tmp_path: Path) -> None:
    """What a mesh covers lies on the layer of objects, at its true size."""
    ezdxf = pytest.importorskip("ezdxf")
    scene = scene_with(tmp_path, 0.0)
    building = build(scene)
    write_dxf(scene, building, solve(scene, building=building), tmp_path / "a.dxf")
    lines = [e for e in ezdxf.readfile(tmp_path / "a.dxf").modelspace() if "OBJECTS" in e.dxf.layer]
    points = np.concatenate([np.array([p[:2] for p in e.get_points()]) for e in lines])
    unit = np.ptp(points[:, 0]) / 1.6  # the drawing's own units a metre
    assert unit in (pytest.approx(1, rel=1e-2), pytest.approx(1000, rel=1e-2))
    assert np.ptp(points, axis=0) / unit == pytest.approx([1.6, 1.6], abs=0.02)
