"""Closed imported objects: chords against closed forms and brute force, points inside, the way they join a scene."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
import trimesh
from mesh_scenes import GHZ, built, loss, mesh_scene, soup, sphere_of_lines, write

from raycover.building.build import build
from raycover.building.solid_angle import winding_number
from raycover.errors import InputError
from raycover.rays.enclosed import Enclosures
from raycover.rays.ray_scene import RayScene
from raycover.solving.coverage import make_units, solve

GOODS = 12.0  # dB per metre, models/materials.yaml
L_PLAN = shapely.Polygon([(0, 0), (3, 0), (3, 1), (1, 1), (1, 2), (0, 2)])
SHAPES = {
    "L": trimesh.creation.extrude_polygon(L_PLAN, 1.5),
    "torus": trimesh.creation.torus(2, 0.5, major_sections=16, minor_sections=8),
    "ring": trimesh.creation.annulus(0.5, 1.5, 0.4, sections=12),
}


def cuts(triangles: np.ndarray, start: np.ndarray, ends: np.ndarray) -> np.ndarray:
    """Length (n,) of segments within a closed object, in double precision by every triangle's plane in turn."""
    edge_1, edge_2 = triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0]
    inside = np.zeros(len(ends))
    for k, end in enumerate(ends):
        length = float(np.linalg.norm(end - start))
        along = (end - start) / length
        p = np.cross(along, edge_2)
        with np.errstate(divide="ignore", invalid="ignore"):
            det = np.einsum("ij,ij->i", edge_1, p)
            offset = start - triangles[:, 0]
            u = np.einsum("ij,ij->i", offset, p) / det
            q = np.cross(offset, edge_1)
            v, t = q @ along / det, np.einsum("ij,ij->i", edge_2, q) / det
            hit = (np.abs(det) > 1e-14) & (u > -1e-9) & (v > -1e-9) & (u + v < 1 + 1e-9) & (t > 0) & (t < length)
        stops = np.unique(np.concatenate([[0.0, length], t[hit]]))
        middle = start + ((stops[1:] + stops[:-1]) / 2)[:, None] * along
        inside[k] = np.diff(stops)[winding_number(triangles, middle) > 0.5].sum()
    return inside


@pytest.mark.parametrize("name", SHAPES)
@pytest.mark.parametrize("turn_deg", [0.0, 33.0])
def test_chords_against_brute_force(name: str, turn_deg: float, tmp_path: Path) -> None:
    """Rays anywhere, aimed at corners and at edges, ending within: as every triangle in double precision says.

    Segments end 1 mm short of their targets, which costs at most that much of a chord.
    """
    file = write(tmp_path, "shape.stl", SHAPES[name])
    building = built(tmp_path, {"file": file, "at": [20, -7], "base": 1, "turn_deg": turn_deg})
    triangles = building.objects[0].triangles
    corners = triangles.reshape(-1, 3)
    rng = np.random.default_rng(4)
    for start in ([12.0, -9, 2.2], [20.3, -6.8, 5.0]):
        near = corners.mean(axis=0) + rng.uniform(-2.5, 2.5, (250, 3))
        pick, share = rng.integers(0, len(triangles), 120), rng.random((120, 1))
        edge = triangles[pick, 0] * share + triangles[pick, 1] * (1 - share)
        aimed = np.concatenate([near, corners[rng.integers(0, len(corners), 120)], edge])
        ends = np.concatenate([near, np.array(start) + (aimed - start) * 2.2])
        expected = cuts(triangles, np.array(start), ends)
        assert (expected > 0.1).mean() > 0.1
        found = loss(building, start, ends)
        assert np.abs(found / GOODS - expected).max() < 1.1e-3


def test_chords_of_a_sphere(tmp_path: Path) -> None:
    """2·sqrt(r² − d²) for a ray passing the middle at distance d; a fine mesh is smaller by its own facets."""
    ball = trimesh.creation.icosphere(6, 1.5)
    building = built(tmp_path, {"file": write(tmp_path, "ball.ply", ball), "at": [0, 0, 3]})
    middle, start = np.array([0, 0, 3.0]), np.array([-6, 1, 2.0])
    across = sphere_of_lines(4000)
    ends = middle + across * np.random.default_rng(1).uniform(0, 2, (4000, 1))
    along = (ends - start) / np.linalg.norm(ends - start, axis=1)[:, None]
    ends = start + 20 * along
    off = np.linalg.norm(np.cross(middle - start, along), axis=1)
    exact = 2 * np.sqrt(np.maximum(1.5**2 - off**2, 0))
    found = loss(building, start, ends) / GOODS
    sagitta = 1.5 - np.abs(np.einsum("ij,ij->i", ball.face_normals, ball.triangles[:, 0])).min()
    # A chord of the ball with all its faces in by the sagitta is the least that the mesh can give.
    least = 2 * np.sqrt(np.maximum((1.5 - sagitta) ** 2 - off**2, 0))
    assert sagitta < 4e-4
    assert np.all(found <= exact + 1e-5)
    assert np.all(found >= least - 1e-5)
    assert found.max() > 2.9


def test_chords_of_a_torus(tmp_path: Path) -> None:
    """Along its middle plane: two chords of the ring between radii R − r and R + r; along its axis: none."""
    ring = trimesh.creation.torus(2, 0.5, major_sections=256, minor_sections=128)
    building = built(tmp_path, {"file": write(tmp_path, "ring.stl", ring), "at": [0, 0, 1]})
    start = np.array([-8, 0, 1.0])
    angles = np.linspace(-0.3, 0.3, 41) + 1e-3
    along = np.stack([np.cos(angles), np.sin(angles), np.zeros(41)], axis=1)
    off = 8 * np.abs(np.sin(angles))
    exact = 2 * (np.sqrt(np.maximum(2.5**2 - off**2, 0)) - np.sqrt(np.maximum(1.5**2 - off**2, 0)))
    found = loss(building, start, start + 16 * along) / GOODS
    clear = np.abs(off - 2.5) > 0.02
    assert found[clear] == pytest.approx(exact[clear], abs=3e-3)
    assert loss(building, [0, 0, 5], [0, 0, -5])[0] == 0
    assert loss(building, [0.0, 2, 5], [0.0, 2, -5])[0] / GOODS == pytest.approx(1, abs=1e-3)
    rays = RayScene(building)
    (one, two) = rays.crossings(rays.segments(start, np.array([[8, 0.5, 1.0]])), GHZ, "averaged")
    assert (one.object, two.object, one.owner) == ("M1/ring", "M1/ring", "M1")
    assert two.distance_m > one.distance_m + 3


@pytest.mark.parametrize("shape", ["box", "L"])
@pytest.mark.parametrize("material", ["goods", "concrete", "metal"])
def test_equal_to_solids(shape: str, material: str, tmp_path: Path) -> None:
    """A box and an L against `solids` of the same size: the same margins, cells, gaps and reasons everywhere."""
    solids = [{"name": "M1", "centre": [5, 4], "size": [2, 1, 1.5], "turn_deg": 30, "material": material}]
    mesh = trimesh.creation.box((2, 1, 1.5)).apply_translation([0, 0, 0.75])
    if shape == "L":
        solids[0]["turn_deg"] = 0
        solids.append({"name": "M2", "centre": [4.5, 5], "size": [1, 1, 1.5], "material": material})
        plan = shapely.box(-1, -0.5, 1, 0.5).union(shapely.box(-1, 0.5, 0, 1.5))
        mesh = trimesh.creation.extrude_polygon(plan, 1.5)
    file = write(tmp_path, "shape.glb", mesh)
    detectors = [
        {"name": "A", "model": "microwave-omni-5.8", "at": [1, 1.3], "mounting": 2.4},
        {"name": "B", "model": "ceiling-infrared-general", "at": [6.7, 2.2], "mounting": 2.7},
    ]
    room = {"name": "r", "outline": [[0, 0], [9, 0], [9, 7], [0, 7]], "height": 3, "walls": "brick-100"}
    parts: dict[str, Any] = {"rooms": [room], "detectors": detectors, "grid": 0.13}
    given = {"file": file, "at": [5, 4], "turn_deg": solids[0]["turn_deg"], "material": material, "axis": "z-up"}
    meshed = solve(mesh_scene(tmp_path, given, **parts))
    boxed = solve(mesh_scene(tmp_path, solids=solids, **parts))
    for name in ("floor", "desk"):
        one, two = meshed[name], boxed[name]
        np.testing.assert_array_equal(one.surface.inside, two.surface.inside)
        np.testing.assert_allclose(one.margin_db, two.margin_db, rtol=1e-5, atol=1e-3 if shape == "box" else 0.03)
        assert [g.cause for g in one.gaps] == [g.cause for g in two.gaps]
        blockers = [[{"M2": "M1"}.get(g.blocked_by, g.blocked_by) for g in plane.gaps] for plane in (one, two)]
        assert blockers[0] == blockers[1]
    assert (~meshed["floor"].surface.inside).sum() > 50
    lost = np.isneginf(meshed["floor"].margin_db) | (meshed["floor"].margin_db < 0)
    assert lost.sum() > 50


def test_infrared_stops_at_every_material(tmp_path: Path) -> None:
    file = write(tmp_path, "ring.stl", SHAPES["torus"])
    for material in ("goods", "metal", "timber"):
        rays = RayScene(built(tmp_path, {"file": file, "material": material}))
        ends = np.array([[8, 0, 0.0], [0, 2, 0], [-8, 0, 3]])
        blocked = rays.infrared_blocked(rays.segments(np.array([-8, 0, 0.0]), ends))
        assert blocked.tolist() == [True, True, False]
        (first, *_) = rays.first_blocker(rays.segments(np.array([-8, 0, 0.0]), ends)).tolist()
        assert rays.building.part_owner(first) == "M1"


@pytest.mark.parametrize("name", SHAPES)
def test_points_inside(name: str, tmp_path: Path) -> None:
    shape = SHAPES[name]
    building = built(tmp_path, {"file": write(tmp_path, "shape.stl", soup(shape))})
    points = np.random.default_rng(3).uniform(*shape.bounds, (3000, 3))
    expected = winding_number(np.asarray(shape.triangles), points) > 0.5
    np.testing.assert_array_equal(Enclosures(building).holds(0, points), expected)
    assert 0.05 < expected.mean() < 0.95


def test_floor_under_a_solid_is_left_out(tmp_path: Path) -> None:
    """A machine that stands on the floor: cells on its underside are in it; beneath its arm they are not."""
    post = trimesh.creation.box((0.6, 0.6, 2)).apply_translation([0, 0, 1])
    arm = trimesh.creation.box((2, 0.6, 0.4)).apply_translation([0.7, 0, 2.2])
    file = write(tmp_path, "crane.stl", trimesh.util.concatenate([post, arm]))
    room = {"name": "r", "outline": [[-2, -2], [4, -2], [4, 2], [-2, 2]], "height": 3, "walls": "none"}
    planes = [{"name": "floor", "height": 0}, {"name": "high", "height": 2.2}, {"name": "top", "height": 2.4}]
    scene = mesh_scene(tmp_path, {"file": file}, rooms=[room], planes=planes, grid=0.05)
    coverage = solve(scene)
    areas = {name: float(plane.surface.area.sum()) for name, plane in coverage.items()}
    assert areas["floor"] == pytest.approx(24 - 0.36, abs=0.01)
    assert areas["high"] == pytest.approx(24 - 1.2, abs=0.01)
    assert areas["top"] == pytest.approx(24 - 1.2, abs=0.01)


@pytest.mark.parametrize(
    ("at", "inside"),
    [([2, 0], True), ([2.49, 0], True), ([2.4997, 0], False), ([2.5, 0], False), ([2.5003, 0], False), ([0, 0], False)],
)
def test_detectors_inside(at: list[float], inside: bool, tmp_path: Path) -> None:
    """In the ring: refused; fixed to its face, or in its hole: taken."""
    ring = trimesh.creation.annulus(1.5, 2.5, 3, sections=4 * 90).apply_translation([0, 0, 1.5])
    file = write(tmp_path, "ring.glb", ring)
    detector = {"name": "D", "model": "microwave-omni-5.8", "at": at, "mounting": 1}
    scene = mesh_scene(tmp_path, {"file": file, "axis": "z-up"}, detectors=[detector])
    if not inside:
        make_units(scene, build(scene))
        return
    with pytest.raises(InputError) as caught:
        make_units(scene, build(scene))
    (problem,) = caught.value.problems
    assert problem.code == "detector-in-solid"
    assert 'hangs inside "M1/' in problem.message


def test_unit_on_an_imported_column(tmp_path: Path) -> None:
    """Fixed to a face of a turned column, to the millimetre: sees along the face, not through the column."""
    column = trimesh.creation.box((0.6, 0.6, 3)).apply_translation([0, 0, 1.5])
    file = write(tmp_path, "column.stl", column)
    given = {"file": file, "at": [150, 80], "turn_deg": 33, "material": "metal"}
    rays = RayScene(built(tmp_path, given))
    a = np.radians(33)
    turn = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    at = (np.array([0.3, 0.1]) @ turn + [150, 80]).round(3)
    face = np.column_stack([np.full(50, 0.35), np.linspace(-40, 40, 50)]) @ turn + [150, 80]
    behind = np.array([[-20, 0], [-5, 3]]) @ turn + [150, 80]
    targets = np.column_stack([np.concatenate([face, behind]), np.full(52, 1.0)])
    blocked = rays.infrared_blocked(rays.segments(np.array([*at, 2.5]), targets))
    assert blocked.tolist() == [False] * 50 + [True] * 2


def test_stacked_loads_cost_each_its_chord(tmp_path: Path) -> None:
    """Objects of one file that touch: the exit of one and the entry of the next lie in one place."""
    stack = trimesh.Scene()
    for k in range(4):
        load = trimesh.creation.box((1, 1, 1)).apply_translation([k, 0, 0.5])
        stack.add_geometry(load, node_name=f"load {k}", geom_name=f"load {k}")
    file = write(tmp_path, "stack.glb", stack)
    parts = [{"match": "load 2", "material": "concrete"}, {"match": "*", "material": "goods"}]
    building = built(tmp_path, {"file": file, "axis": "z-up", "parts": parts})
    concrete = next(o.made_of for o in building.objects if o.name == "M1/load 2")
    rate = concrete.loss_db_per_m(GHZ)  # type: ignore[union-attr]
    found = loss(building, [-5, 0.2, 0.4], [[9, 0.2, 0.4], [9, 0.21, 0.55]])
    slant = np.linalg.norm([14, 0.01, 0.15]) / 14
    assert found == pytest.approx(np.array([1, slant]) * (3 * GOODS + rate), abs=2e-3)


def test_both_tracers_agree(tmp_path: Path) -> None:
    building = built(tmp_path, {"file": write(tmp_path, "t.stl", SHAPES["torus"])})
    ends = sphere_of_lines(300) * [2.5, 2.5, 0.5]
    start = np.array([-6, 1, 0.5])
    found = []
    for backend in ("embree", "trimesh"):
        rays = RayScene(building, backend)
        found.append(rays.microwave_loss_db(rays.segments(start, ends), GHZ, "averaged"))
    np.testing.assert_allclose(found[0], found[1], atol=2e-3)
    assert (found[0] > 1).sum() > 30
