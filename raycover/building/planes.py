"""Which faces lie in one plane: equal to rounding, or within a millimetre of each other where they meet."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence

import numpy as np
import shapely
from scipy.spatial import cKDTree

from raycover.building.faces import Face
from raycover.building.parts import Floats

#: Faces nearer than this (m) lie in one plane.
PLANE_TOLERANCE = 1e-3
#: Planes turned against each other by more than this (rad) are never one: 1 mm over half a metre.
_LARGEST_TURN = 2e-3
#: Normals are turned to this side, which no plane of a building runs along.
_SIDE = np.array([0.6123724, 0.5307228, 0.5860027])


def planes(faces: Sequence[Face]) -> Iterable[list[Face]]:
    """Faces by the plane they lie in, in the order of the first of each."""
    groups: dict[tuple[int, ...], list[Face]] = defaultdict(list)
    for face in faces:
        normal = _normal(face)
        # An odd shift keeps round coordinates away from the borders between steps.
        offset = float(normal @ face.frame.origin) + 0.0003718
        key = (*np.round(normal * 1e5 + 0.1234).astype(int).tolist(), round(offset / PLANE_TOLERANCE))
        groups[key].append(face)
    found = list(groups.values())
    for one, two in _nearly_one(found):
        if moved := _lying_in(found[two], found[one]):
            found[one], found[two] = found[one] + moved, _without(found[two], moved)
        elif moved := _lying_in(found[one], found[two]):
            found[two], found[one] = found[two] + moved, _without(found[one], moved)
    return [group for group in found if group]


def _normal(face: Face) -> Floats:
    normal = face.frame.normal
    return normal if normal @ _SIDE > 0 else -normal


def _corners(face: Face) -> Floats:
    return face.frame.to_space(shapely.get_coordinates(face.polygon))


def _nearly_one(groups: Sequence[list[Face]]) -> list[tuple[int, int]]:
    """Pairs of groups whose planes could run within the tolerance of each other somewhere in the building."""
    if len(groups) < 2:
        return []
    normals = np.array([_normal(group[0]) for group in groups])
    points = np.array([_corners(group[0])[0] for group in groups])
    points -= points.mean(axis=0)
    offsets = np.einsum("ij,ij->i", normals, points)
    radius = float(np.linalg.norm(points, axis=1).max()) + 1.0
    reach = PLANE_TOLERANCE + _LARGEST_TURN * radius
    tree = cKDTree(np.column_stack([normals / _LARGEST_TURN, offsets / reach]))
    pairs = tree.query_pairs(1.5, output_type="ndarray")
    turn = np.linalg.norm(normals[pairs[:, 0]] - normals[pairs[:, 1]], axis=1)
    apart = np.abs(offsets[pairs[:, 0]] - offsets[pairs[:, 1]])
    near = pairs[apart <= 2 * PLANE_TOLERANCE + 2 * turn * radius]
    return sorted((min(pair), max(pair)) for pair in near.tolist())


def _lying_in(movable: Sequence[Face], fixed: Sequence[Face]) -> list[Face]:
    """The movable faces that lie in the plane of the fixed ones and meet one of them."""
    if not fixed:
        return []
    normal, origin = _normal(fixed[0]), fixed[0].frame.origin
    boxes = [_extent(face) for face in fixed]
    found = []
    for face in movable:
        corners = _corners(face)
        if np.abs((corners - origin) @ normal).max() > PLANE_TOLERANCE:
            continue
        low, high = _extent(face)
        if any(np.all(low <= top) and np.all(bottom <= high) for bottom, top in boxes):
            found.append(face)
    return found


def _extent(face: Face) -> tuple[Floats, Floats]:
    corners = _corners(face)
    return corners.min(axis=0) - PLANE_TOLERANCE, corners.max(axis=0) + PLANE_TOLERANCE


def _without(faces: Sequence[Face], moved: Sequence[Face]) -> list[Face]:
    gone = {id(face) for face in moved}
    return [face for face in faces if id(face) not in gone]
