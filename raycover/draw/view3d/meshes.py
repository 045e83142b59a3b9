"""Triangles and lines for the drawn building, in numpy, and their way into PyVista."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.building.mesh import sheet_triangles

Floats = NDArray[np.floating[Any]]
#: Corners that turn less than this (degrees) get no edge line.
_SMOOTH_DEG = 20.0


@dataclass(frozen=True)
class Body:
    """Faces (n, 3, 3) and edge lines (m, 2, 3) of one thing or many alike."""

    triangles: Floats
    edges: Floats

    @property
    def empty(self) -> bool:
        return not len(self.triangles)


NOTHING = Body(np.zeros((0, 3, 3)), np.zeros((0, 2, 3)))


def join(bodies: Sequence[Body]) -> Body:
    if not bodies:
        return NOTHING
    return Body(np.concatenate([b.triangles for b in bodies]), np.concatenate([b.edges for b in bodies]))


def level(polygon: Any, z: float, *, facing_up: bool = True, outlined: bool = True) -> Body:
    """A level face of a plan polygon."""
    flat = sheet_triangles(polygon)
    if not len(flat):
        return NOTHING
    triangles = np.concatenate([flat, np.full((*flat.shape[:2], 1), z)], axis=-1)
    first, second = flat[:, 1] - flat[:, 0], flat[:, 2] - flat[:, 0]
    upward = first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0] > 0
    wrong = upward != facing_up
    triangles[wrong] = triangles[wrong][:, ::-1]
    return Body(triangles, _ring_edges(polygon, z) if outlined else NOTHING.edges)


def sides(polygon: Any, bottom: float, top: float) -> Body:
    """The upright faces of a plan polygon's prism, with edge lines at its corners only."""
    triangles, edges = [], []
    for ring in _rings(polygon):
        start, end = ring, np.roll(ring, -1, axis=0)
        low_0, low_1 = _at(start, bottom), _at(end, bottom)
        high_0, high_1 = _at(start, top), _at(end, top)
        triangles += [np.stack([low_0, low_1, high_1], axis=1), np.stack([low_0, high_1, high_0], axis=1)]
        along = end - start
        turn = np.degrees(np.arctan2(along[:, 1], along[:, 0]))
        bend = np.abs((np.roll(turn, 1) - turn + 180) % 360 - 180)
        corner = bend > _SMOOTH_DEG
        edges.append(np.stack([low_0[corner], high_0[corner]], axis=1))
    return Body(np.concatenate(triangles), np.concatenate(edges)) if triangles else NOTHING


def prism(polygon: Any, bottom: float, top: float, *, base: bool = False) -> Body:
    """A plan polygon raised from bottom to top, with its lid, and its base outlined where asked."""
    parts = [sides(polygon, bottom, top), level(polygon, top)]
    if base:
        parts.append(Body(NOTHING.triangles, _ring_edges(polygon, bottom)))
    return join(parts)


def plate(outline: Floats, holes: Sequence[Floats], thickness_m: float) -> Body:
    """A flat polygon anywhere in space, (k, 3) outline and holes, given a thickness about its middle."""
    origin = outline[0]
    normal = np.zeros(3)
    for a, b in zip(outline, np.roll(outline, -1, axis=0), strict=True):
        normal += np.cross(a - origin, b - origin)
    normal /= max(float(np.linalg.norm(normal)), 1e-12)
    u = np.cross(normal, [0.0, 0.0, 1.0] if abs(normal[2]) < 0.9 else [1.0, 0.0, 0.0])
    u /= np.linalg.norm(u)
    v = np.cross(normal, u)

    def flat(ring: Floats) -> Floats:
        return np.stack([(ring - origin) @ u, (ring - origin) @ v], axis=1)

    polygon = shapely.Polygon(flat(outline), [flat(h) for h in holes])
    upright = prism(polygon, -thickness_m / 2, thickness_m / 2, base=True)
    under = level(polygon, -thickness_m / 2, facing_up=False, outlined=False)
    whole = join([upright, under])
    axes = np.stack([u, v, normal])
    return Body(whole.triangles @ axes + origin, whole.edges @ axes + origin)


def boxes(centre: Floats, size: Floats, turn_rad: Floats, *, closed: bool = False) -> Body:
    """Boxes (n,) as faces, undersides only where `closed`, and all their edges above."""
    n = len(centre)
    if not n:
        return NOTHING
    half = size / 2
    sign = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    cos, sin = np.cos(turn_rad)[:, None], np.sin(turn_rad)[:, None]
    x, y = half[:, None, 0] * sign[:, 0], half[:, None, 1] * sign[:, 1]
    corners = np.empty((n, 8, 3))
    corners[:, :4, 0] = corners[:, 4:, 0] = centre[:, None, 0] + x * cos - y * sin
    corners[:, :4, 1] = corners[:, 4:, 1] = centre[:, None, 1] + x * sin + y * cos
    corners[:, :4, 2] = (centre[:, 2] - half[:, 2])[:, None]
    corners[:, 4:, 2] = (centre[:, 2] + half[:, 2])[:, None]
    faces = np.array([[4, 5, 6], [4, 6, 7], [0, 1, 5], [0, 5, 4], [1, 2, 6], [1, 6, 5], [2, 3, 7], [2, 7, 6],
                      [3, 0, 4], [3, 4, 7], [0, 2, 1], [0, 3, 2]])  # fmt: skip
    faces = faces if closed else faces[:-2]
    lines = np.array([[4, 5], [5, 6], [6, 7], [7, 4], [0, 4], [1, 5], [2, 6], [3, 7], [0, 1], [1, 2], [2, 3], [3, 0]])
    return Body(corners[:, faces].reshape(-1, 3, 3), corners[:, lines].reshape(-1, 2, 3))


def round_cone(start: Sequence[float], end: Sequence[float], r0: float, r1: float, *, n: int = 14) -> Floats:
    """(k, 3, 3) triangles of a capsule from start to end, its radius going from r0 to r1."""
    a, b = np.asarray(start, float), np.asarray(end, float)
    axis = b - a
    length = float(np.linalg.norm(axis))
    axis = axis / length if length > 1e-9 else np.array([0.0, 0.0, 1.0])
    u = np.cross(axis, [1.0, 0.0, 0.0] if abs(axis[0]) < 0.9 else [0.0, 1.0, 0.0])
    u /= np.linalg.norm(u)
    v = np.cross(axis, u)
    bow = np.linspace(0, np.pi / 2, 6)
    along = np.concatenate([-r0 * np.cos(bow), length + r1 * np.sin(bow)])
    radius = np.concatenate([r0 * np.sin(bow), r1 * np.cos(bow)])
    phi = np.linspace(0, 2 * np.pi, n, endpoint=False)
    round_ = np.cos(phi)[:, None] * u + np.sin(phi)[:, None] * v
    points = a + along[:, None, None] * axis + radius[:, None, None] * round_
    following = np.roll(points, -1, axis=1)
    one = np.stack([points[:-1], following[:-1], following[1:]], axis=2).reshape(-1, 3, 3)
    two = np.stack([points[:-1], following[1:], points[1:]], axis=2).reshape(-1, 3, 3)
    return np.concatenate([one, two])


def _rings(polygon: Any) -> list[Floats]:
    """Outlines without their closing point, outer ones anticlockwise and holes clockwise."""
    found = []
    for piece in shapely.get_parts(polygon):
        if piece.geom_type == "Polygon" and not piece.is_empty:
            piece = shapely.geometry.polygon.orient(piece)
            found += [np.asarray(ring.coords)[:-1, :2] for ring in (piece.exterior, *piece.interiors)]
    return found


def _ring_edges(polygon: Any, z: float) -> Floats:
    rings = _rings(polygon)
    if not rings:
        return NOTHING.edges
    return np.concatenate([np.stack([_at(r, z), _at(np.roll(r, -1, axis=0), z)], axis=1) for r in rings])


def _at(ring: Floats, z: float) -> Floats:
    return np.column_stack([ring, np.full(len(ring), z)])


def to_surface(pyvista: Any, triangles: Floats) -> Any:
    """(n, 3, 3) → PolyData with flat faces."""
    points = np.ascontiguousarray(triangles.reshape(-1, 3), np.float32)
    n = len(points) // 3
    faces = np.column_stack([np.full(n, 3), np.arange(3 * n).reshape(-1, 3)])
    return pyvista.PolyData(points, faces=faces.ravel())


def to_lines(pyvista: Any, segments: Floats) -> Any:
    """(n, 2, 3) → PolyData of lines."""
    points = np.ascontiguousarray(segments.reshape(-1, 3), np.float32)
    n = len(points) // 2
    lines = np.column_stack([np.full(n, 2), np.arange(2 * n).reshape(-1, 2)])
    return pyvista.PolyData(points, lines=lines.ravel())


def to_polylines(pyvista: Any, lines: Sequence[Floats]) -> Any:
    """Lines (k, 3) of any length → PolyData."""
    segments = [np.stack([line[:-1], line[1:]], axis=1) for line in lines if len(line) > 1]
    return to_lines(pyvista, np.concatenate(segments) if segments else np.zeros((0, 2, 3)))
