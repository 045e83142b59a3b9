"""Embree and trimesh's tracer against a brute-force caster written here.

Brute force: every ray against every triangle by T. Möller and B. Trumbore, "Fast, Minimum Storage Ray/Triangle
Intersection", Journal of Graphics Tools 2 (1997) 21-28, in float64. Status: algorithm from memory. Rays that pass
an edge, or end beside a face, nearer than `MARGIN` are left out: there single precision may decide either way.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import trimesh
from small_scenes import scene

from raycover.building.build import build
from raycover.building.parts import Building
from raycover.rays.ray_scene import RayScene
from raycover.rays.tracers import EmbreeTracer, TrimeshTracer

#: Distance (m) from an edge, or of an end from a face, below which a ray is not judged.
MARGIN = 1e-4
N_RAYS = 3000


def brute_force(triangles: np.ndarray, origins: np.ndarray, directions: np.ndarray) -> tuple[np.ndarray, ...]:
    """Distances (n, m) in units of the directions, inf for a miss, and which rays (n,) pass close to an edge."""
    corner, one, two = triangles[:, 0], triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0]
    across = np.cross(directions[:, None], two)
    det = np.einsum("nmi,mi->nm", across, one)
    with np.errstate(divide="ignore", invalid="ignore"):
        offset = origins[:, None] - corner
        u = np.einsum("nmi,nmi->nm", offset, across) / det
        turned = np.cross(offset, one)
        v = np.einsum("nmi,ni->nm", turned, directions) / det
        t = np.einsum("nmi,mi->nm", turned, two) / det
    double_area = np.linalg.norm(np.cross(one, two), axis=1)
    sides = np.stack([np.linalg.norm(two, axis=1), np.linalg.norm(one, axis=1), np.linalg.norm(one - two, axis=1)])
    # Barycentric coordinates times the height over that side: the distance from it, in the triangle's plane.
    inward = np.minimum.reduce(
        [u * double_area / sides[0], v * double_area / sides[1], (1 - u - v) * double_area / sides[2]]
    )
    hit = (det != 0) & (inward >= 0)
    reach = np.linalg.norm(directions, axis=1)[:, None]
    near = (det != 0) & (np.abs(inward) < MARGIN) & (t * reach > -MARGIN) & ((t - 1) * reach < MARGIN)
    ends = hit & ((np.abs(t * reach) < MARGIN) | (np.abs((t - 1) * reach) < MARGIN))
    return np.where(hit, t, np.inf), (near | ends).any(axis=1)


def random_building(seed: int) -> Building:
    rng = np.random.default_rng(seed)
    solids = [
        {
            "name": f"b{i}",
            "centre": rng.uniform(-8, 8, 2).tolist(),
            "size": rng.uniform(0.2, 4, 3).tolist(),
            "base": float(rng.uniform(0, 4)),
            "turn_deg": float(rng.uniform(0, 360)),
            "material": "concrete",
        }
        for i in range(12)
    ]
    sheets: list[dict[str, Any]] = []
    for i in range(12):
        u, v = np.linalg.qr(rng.normal(size=(3, 2)))[0].T
        middle, size = rng.uniform([-6, -6, -2], [6, 6, 10]), rng.uniform(0.3, 4, 2)
        corners = [middle + a * size[0] * u + b * size[1] * v for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
        sheets.append({"name": f"s{i}", "corners": [c.tolist() for c in corners], "construction": "glass-6"})
    line = rng.uniform(-8, 8, (3, 2)).tolist()
    screen = {"name": "screen", "line": line, "height": 3, "construction": "brick-100"}
    return build(scene(solids=solids, sheets=sheets, partitions=[screen]))


def random_segments(seed: int) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed + 1000)
    low, high = [-10, -10, -1], [10, 10, 9]
    return rng.uniform(low, high, (N_RAYS, 3)), rng.uniform(low, high, (N_RAYS, 3))


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("tracer", [EmbreeTracer, TrimeshTracer])
def test_tracers(seed: int, tracer: type[EmbreeTracer] | type[TrimeshTracer]) -> None:
    """Occlusion, first hit and all crossings: no disagreement for any judged ray."""
    triangles = random_building(seed).mesh.triangles
    origins, targets = (a.astype(np.float32) for a in random_segments(seed))
    directions = targets - origins
    t, doubtful = brute_force(triangles, origins.astype(float), directions.astype(float))
    judged = ~doubtful
    assert judged.mean() > 0.95
    t = np.where((t >= 0) & (t <= 1), t, np.inf)
    hit = np.isfinite(t).any(axis=1)
    assert 0.2 < hit.mean() < 0.95
    made = tracer(triangles.astype(np.float32))
    ones = np.ones(N_RAYS, np.float32)

    assert (made.occluded(origins, directions, ones) == hit)[judged].all()

    triangle, distance = made.first(origins, directions, ones)
    assert ((triangle >= 0) == hit)[judged].all()
    both = np.flatnonzero(judged & hit)
    length = np.linalg.norm(directions, axis=1)
    first = t.min(axis=1)
    normal = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    # Off the plane, not along the ray: at grazing incidence the same rounding reaches further along.
    steep = np.abs(np.einsum("ij,ij->i", normal[triangle[both]], directions[both]))
    np.testing.assert_allclose(distance[both] * steep, first[both] * steep, atol=2e-5)
    np.testing.assert_allclose(t[both, triangle[both]], first[both], atol=1e-5)

    unit = directions / length[:, None]
    ray, at, which = made.crossings(origins, unit, length, 1e-4)
    # Crossings nearer to each other than the step are one by design: only rays without such are counted.
    ordered = np.sort(np.where(np.isfinite(t), t * length[:, None], np.inf), axis=1)
    with np.errstate(invalid="ignore"):
        spread = judged & ~(np.diff(ordered, axis=1) < 1e-3).any(axis=1)
    assert (np.bincount(ray, minlength=N_RAYS) == np.isfinite(t).sum(axis=1))[spread].all()
    kept = spread[ray]
    ray, at, which = ray[kept], at[kept], which[kept]
    steep = np.abs(np.einsum("ij,ij->i", normal[which], unit[ray]))
    np.testing.assert_allclose(at * steep, t[ray, which] * length[ray] * steep, atol=2e-5)


@pytest.mark.parametrize("seed", range(2))
def test_trimesh_itself(seed: int) -> None:
    """trimesh called directly on one mesh, by its own names: what it says is blocked, the ray scene says too."""
    building = random_building(seed)
    origins, targets = random_segments(seed)
    position = origins[0]
    rays = RayScene(building)
    blocked = rays.infrared_blocked(rays.segments(position, targets))
    mesh = trimesh.Trimesh(**trimesh.triangles.to_kwargs(building.mesh.triangles), process=False)
    directions = targets - position
    place, ray, _ = trimesh.ray.ray_triangle.RayMeshIntersector(mesh).intersects_location(
        np.tile(position, (N_RAYS, 1)), directions
    )
    along = np.linalg.norm(place - position, axis=1)
    reach = np.linalg.norm(directions, axis=1)
    between = (along > 1e-3) & (along < reach[ray] - 1e-3)
    expected = np.zeros(N_RAYS, bool)
    expected[ray[between]] = True
    _, doubtful = brute_force(building.mesh.triangles, np.tile(position, (N_RAYS, 1)), directions)
    ends = np.zeros(N_RAYS, bool)
    ends[ray[np.abs(along - reach[ray]) < 2e-3]] = True
    judged = ~doubtful & ~ends
    assert judged.mean() > 0.9
    assert (blocked == expected)[judged].all()
    assert 0.2 < blocked.mean() < 0.95


@pytest.mark.parametrize("seed", range(3))
def test_crossings_in_order(seed: int) -> None:
    """Sheets met by single rays: distance, incidence and order against brute force on the exact polygons' triangles."""
    building = random_building(seed)
    triangles, part = building.mesh.triangles, building.mesh.part
    origins, targets = random_segments(seed)
    t, doubtful = brute_force(triangles, origins, targets - origins)
    rays = RayScene(building)
    n_sheets, n_met = len(building.sheets), 0
    for i in range(150):
        reach = float(np.linalg.norm(targets[i] - origins[i]))
        inside = (t[i] * reach > 2e-3) & (t[i] * reach < reach - 2e-3)
        gaps = np.diff(np.sort(t[i][np.isfinite(t[i])])) * reach
        if doubtful[i] or (gaps < 2e-3).any():
            continue
        found = rays.crossings(rays.segments(origins[i], targets[i : i + 1]), 5.8, "averaged")
        assert [c.distance_m for c in found] == sorted(c.distance_m for c in found)
        met = [(c.distance_m, c.object, c.incidence_deg) for c in found if c.construction != "concrete"]
        along = (targets[i] - origins[i]) / reach
        expected = []
        for k in np.flatnonzero(inside & (part < n_sheets)):
            cosine = abs(float(building.sheets[part[k]].frame.normal @ along))
            expected.append((t[i, k] * reach, building.part_name(part[k]), float(np.degrees(np.arccos(cosine)))))
        expected.sort()
        assert [m[1] for m in met] == [e[1] for e in expected]
        np.testing.assert_allclose([m[0] for m in met], [e[0] for e in expected], atol=1e-4)
        np.testing.assert_allclose([m[2] for m in met], [e[2] for e in expected], atol=0.05)
        n_met += len(met)
    assert n_met > 50
