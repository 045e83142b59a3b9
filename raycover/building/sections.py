"""Imported objects cut level, seen from above, and cut off at a height: what drawings show of them."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.building.parts import Floats, MeshObject

#: A cut through a corner is moved by this (m), so that every triangle is cut through or not at all.
_ASIDE = 1.7e-6
#: Cracks in an outline narrower than twice this (m) are closed.
_CRACK = 5e-4
#: From so many triangles on the outline is that of the convex hull: a union would take too long.
_MOST_UNITED = 20_000


def section(one: MeshObject, z: float) -> Any:
    """The object cut at height z, in plan (shapely): areas of a closed one, else lines; empty where not met."""
    heights = one.triangles[..., 2]
    while np.any(np.abs(heights - z) < 1e-9):
        z += _ASIDE
    above = heights > z
    met = np.flatnonzero(above.any(axis=1) & ~above.all(axis=1))
    if not len(met):
        return shapely.Polygon()
    lone = _lone_first(one.triangles[met], above[met])
    ends = np.stack([_crossing(lone[:, 0], lone[:, k], z)[:, :2] for k in (1, 2)], axis=1)
    if not one.closed:
        return shapely.line_merge(shapely.union_all(shapely.linestrings(ends)))
    return _within(_inside_left(ends, one.normals[met, :2]))


def _inside_left(ends: Floats, outward: Floats) -> Floats:
    """Lines (n, 2, 2) turned so that the inside lies to their left; `outward` (n, 2) points away from it."""
    along = ends[:, 1] - ends[:, 0]
    wrong = along[:, 1] * outward[:, 0] - along[:, 0] * outward[:, 1] < 0
    return np.where(wrong[:, None, None], ends[:, ::-1], ends)


def _within(lines: Floats) -> Any:
    """The areas that lines (n, 2, 2), the inside to their left, wind around: bodies that overlap count together."""
    pieces = shapely.get_parts(shapely.polygonize(shapely.get_parts(shapely.node(shapely.multilinestrings(lines)))))
    if not len(pieces):
        return shapely.Polygon()
    points = shapely.get_coordinates(shapely.point_on_surface(pieces))
    x, y = points[:, :1], points[:, 1:]
    (x0, y0), (x1, y1) = lines[:, 0].T, lines[:, 1].T
    up, down = (y0 <= y) & (y < y1), (y1 <= y) & (y < y0)
    left = (x1 - x0) * (y - y0) - (x - x0) * (y1 - y0)
    winding = (up & (left > 0)).sum(axis=1) - (down & (left < 0)).sum(axis=1)
    return shapely.union_all(pieces[winding > 0])


def outline(objects: Iterable[MeshObject]) -> Any:
    """What objects cover in plan (shapely)."""
    pieces = []
    for one in objects:
        plan = one.triangles[..., :2]
        if one.closed:
            plan = plan[one.normals[:, 2] > 0]  # what faces up covers all of a closed one
        a, b = plan[:, 1] - plan[:, 0], plan[:, 2] - plan[:, 0]
        plan = plan[np.abs(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]) > 1e-9]
        if 0 < len(plan) <= _MOST_UNITED:
            pieces.append(shapely.union_all(shapely.polygons(plan), grid_size=1e-5))
        else:
            pieces.append(footprint([one]))
    # Triangles whose corners were rounded apart leave cracks between them.
    return shapely.union_all(pieces).buffer(_CRACK, join_style="mitre").buffer(-_CRACK, join_style="mitre")


def footprint(objects: Iterable[MeshObject]) -> Any:
    """The convex hull (shapely) of objects in plan."""
    return shapely.convex_hull(shapely.geometrycollections([one.footprint for one in objects]))


def cut_off(triangles: Floats, z: float) -> Floats:
    """(n, 3, 3) what lies below height z of triangles, those in between cut."""
    above = triangles[..., 2] > z
    some = above.any(axis=1) & ~above.all(axis=1)
    met, over = triangles[some], above[some]
    lone = _lone_first(met, over)
    p, q = (_crossing(lone[:, 0], lone[:, k], z) for k in (1, 2))
    # One corner below leaves a triangle, two leave a four-sided piece.
    single = over.sum(axis=1) == 2
    kept = [
        triangles[~above.any(axis=1)],
        np.stack([lone[single, 0], p[single], q[single]], axis=1),
        np.stack([p, lone[:, 1], lone[:, 2]], axis=1)[~single],
        np.stack([p, lone[:, 2], q], axis=1)[~single],
    ]
    return np.concatenate(kept)


def feature_edges(triangles: Floats, smooth_deg: float) -> Floats:
    """(n, 2, 3) edges of triangles at a rim, or where two faces meet at more than `smooth_deg`."""
    if not len(triangles):
        return np.zeros((0, 2, 3))
    corner = np.unique(np.round(triangles.reshape(-1, 3), 5), axis=0, return_inverse=True)[1].reshape(-1, 3)
    cross = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    normal = cross / np.maximum(np.linalg.norm(cross, axis=1), 1e-12)[:, None]
    start, end = corner.ravel(), np.roll(corner, -1, axis=1).ravel()
    key = np.minimum(start, end) * np.int64(corner.max() + 1) + np.maximum(start, end)
    order = np.argsort(key, kind="stable")
    firsts = np.flatnonzero(np.concatenate([[True], np.diff(key[order]) != 0]))
    count = np.diff(np.append(firsts, len(order)))
    one, two = order[firsts], order[np.minimum(firsts + 1, len(order) - 1)]
    bent = np.einsum("ij,ij->i", normal[one // 3], normal[two // 3]) < np.cos(np.radians(smooth_deg))
    shown = one[(count != 2) | bent]
    points = triangles.reshape(-1, 3)
    return np.stack([points[shown], points[shown // 3 * 3 + (shown + 1) % 3]], axis=1)


def _lone_first(triangles: Floats, above: NDArray[np.bool_]) -> Floats:
    """Triangles (n, 3, 3) turned so that the corner alone on its side comes first, the way round kept."""
    alone = np.where(above.sum(axis=1) == 1, above.argmax(axis=1), (~above).argmax(axis=1))
    turn = (alone[:, None] + np.arange(3)) % 3
    return np.take_along_axis(triangles, turn[..., None], axis=1)


def _crossing(one: Floats, other: Floats, z: float) -> Floats:
    """Where edges (n, 3) to (n, 3) meet height z, from their lower end: both faces at an edge get the same numbers."""
    up = (one[:, 2] < other[:, 2])[:, None]
    low, high = np.where(up, one, other), np.where(up, other, one)
    share = (z - low[:, 2:]) / (high[:, 2:] - low[:, 2:])
    return np.asarray(low + share * (high - low))
