"""Closed objects of imported files: which points lie in them, and where rays enter and leave them.

Rays pass from face to face. Where the faces met face toward the ray, then away from it, and so on in turn, the
passages are read off; the few rays that graze an edge, or start or end within, have the middle of each stretch
looked at. A point is inside where the nearest face along a line faces away, by two lines of three.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from raycover.building.parts import Building, MeshObject
from raycover.rays.tracers import Bools, Ints, Tracer, default_backend, make_tracer

Floats = NDArray[np.floating]

#: Faces along a ray are told apart down to this (m).
_STEP = 1e-4
#: A face met again within this (m), the other way round from none between, is the same crossing.
_AGAIN = 2e-3
#: Three lines in no direction that buildings run in.
_SKEW = np.array([[0.3713, 0.2571, 0.8922], [-0.5347, 0.6149, -0.5797], [0.7193, -0.6421, 0.2651]])
#: Points on the underside or top of an object count as just within it (m).
_WITHIN = 1e-4


@dataclass(frozen=True)
class Passages:
    """Stretches of rays within an object, (n,): `ray`, distances (m) of entry and exit, cosine of incidence.

    The cosine is the flatter of those at entry and exit: a ray that enters a plate by its rim goes through its
    face all the same.
    """

    ray: Ints
    enter: Floats
    leave: Floats
    cosine: Floats


class Enclosures:
    """The closed objects of a building, by their number in `building.objects`; tracers are made when first needed."""

    def __init__(self, building: Building, backend: str | None = None) -> None:
        self.objects = building.objects
        self._backend = backend if backend is not None else default_backend()
        self._tracers: dict[int, Tracer] = {}
        self._lock = threading.Lock()

    def holds(self, index: int, points: Floats) -> Bools:
        """Which points (n, 3) lie in an object, its top and underside included."""
        one = self.objects[index]
        low, high = one.bounds
        found = np.zeros(len(points), bool)
        if not one.closed:
            return found
        near = np.flatnonzero(np.all((low - 1e-9 <= points) & (points <= high + 1e-9), axis=1))
        if len(near):
            asked = points[near].astype(float)
            asked[:, 2] = np.clip(asked[:, 2], low[2] + _WITHIN, max(high[2] - _WITHIN, low[2] + _WITHIN))
            found[near] = self._inside(index, asked)
        return found

    def holding(self, point: Floats, depth: float) -> int | None:
        """The first object that holds a point (3,) more than `depth` (m) in from its faces, or None."""
        for index, one in enumerate(self.objects):
            if self.holds(index, point[None])[0] and not len(faces_at(one, point, depth)):
                return index
        return None

    def passages(self, index: int, origins: Floats, directions: Floats, lengths: Floats) -> Passages:
        """Stretches within an object along rays (n, 3) with unit directions, up to their lengths (n,)."""
        one = self.objects[index]
        tracer, centre = self._tracer(index), one.bounds.mean(axis=0)
        directions = np.ascontiguousarray(directions, np.float32)
        lengths = np.ascontiguousarray(lengths, np.float32)
        start = np.ascontiguousarray(origins - centre, np.float32)
        ray, distance, triangle = tracer.crossings(start, directions, lengths, _STEP)
        toward = -np.einsum("ij,ij->i", one.normals[triangle], directions[ray])
        real = toward != 0
        ray, distance, toward = ray[real], distance[real].astype(float), toward[real]
        order = np.lexsort((distance, ray))
        ray, distance, toward = ray[order], distance[order], toward[order]
        inward = toward > 0
        again = np.zeros(len(ray), bool)
        again[1:] = (np.diff(ray) == 0) & (inward[1:] == inward[:-1]) & (np.diff(distance) <= _AGAIN)
        ray, distance, toward, inward = ray[~again], distance[~again], toward[~again], inward[~again]
        if not len(ray):
            return Passages(ray, distance, distance, toward)
        regular = _regular(ray, inward, len(origins))
        plain = regular[ray]
        entries, exits = plain & inward, plain & ~inward
        flatter = np.minimum(toward[entries], -toward[exits])
        found = [Passages(ray[entries], distance[entries], distance[exits], flatter)]
        if not plain.all():
            rest = ray[~plain], distance[~plain], toward[~plain]
            found.append(self._by_stretches(index, rest, start, directions, lengths))
        return Passages(*(np.concatenate([getattr(p, f) for p in found]) for f in Passages.__dataclass_fields__))

    def _by_stretches(
        self, index: int, met: tuple[Ints, Floats, Floats], start: Floats, directions: Floats, lengths: Floats
    ) -> Passages:
        """Passages of rays whose faces do not alternate: the middle of each stretch between faces decides."""
        ray, distance, toward = met
        rays = np.unique(ray)
        # Every stretch begins at a face or at the ray's start, and ends at the next or at the ray's end.
        owner = np.concatenate([rays, ray])
        begin = np.concatenate([np.zeros(len(rays)), distance])
        cosine = np.concatenate([np.ones(len(rays)), np.abs(toward)])
        order = np.lexsort((begin, owner))
        owner, begin, cosine = owner[order], begin[order], cosine[order]
        last = np.append(owner[1:] != owner[:-1], True)
        end = np.where(last, lengths[owner], np.roll(begin, -1))
        flatter = np.where(last, cosine, np.minimum(cosine, np.roll(cosine, -1)))
        long = np.flatnonzero(end - begin > _STEP)
        middle = start[owner[long]] + ((begin + end)[long] / 2)[:, None] * directions[owner[long]]
        inside = long[self._inside(index, middle + self.objects[index].bounds.mean(axis=0))]
        return Passages(owner[inside].astype(np.int32), begin[inside], end[inside], flatter[inside])

    def _inside(self, index: int, points: Floats) -> Bools:
        """Whether points (n, 3) lie inside: the nearest face faces away, along two lines of three at least."""
        one = self.objects[index]
        tracer = self._tracer(index)
        start = np.ascontiguousarray(points - one.bounds.mean(axis=0), np.float32)
        votes = np.zeros(len(points), int)
        for along in _SKEW:
            lines = np.broadcast_to((along / np.linalg.norm(along)).astype(np.float32), start.shape)
            reach = np.full(len(start), 2 * np.linalg.norm(np.ptp(one.bounds, axis=0)) + 1, np.float32)
            triangle, _ = tracer.first(start, np.ascontiguousarray(lines), reach)
            away = np.einsum("ij,j->i", one.normals[triangle], along) > 0
            votes += (triangle >= 0) & away
        return votes >= 2

    def _tracer(self, index: int) -> Tracer:
        if index not in self._tracers:
            with self._lock:
                if index not in self._tracers:
                    one = self.objects[index]
                    local = (one.triangles - one.bounds.mean(axis=0)).astype(np.float32)
                    self._tracers[index] = make_tracer(local, self._backend)
        return self._tracers[index]


def faces_at(one: MeshObject, point: Floats, tolerance: float) -> NDArray[np.intp]:
    """The triangles of an object that a point (3,) lies on, to a tolerance (m)."""
    offset = point - one.triangles[:, 0]
    near = np.flatnonzero(np.abs(np.einsum("ij,ij->i", one.normals, offset)) <= tolerance)
    triangles, normals = one.triangles[near], one.normals[near]
    on = (normals != 0).any(axis=1)
    for k in range(3):
        edge = triangles[:, (k + 1) % 3] - triangles[:, k]
        length = np.linalg.norm(edge, axis=1)
        across = np.cross(normals, edge) / np.where(length > 0, length, 1.0)[:, None]
        on &= np.einsum("ij,ij->i", across, point - triangles[:, k]) >= -tolerance
    return near[on]


def _regular(ray: Ints, inward: Bools, n: int) -> Bools:
    """Which rays (n,) enter and leave in turn, beginning with an entry and ending with an exit."""
    first = np.append(True, np.diff(ray) != 0)
    last = np.append(first[1:], True)
    wrong = (first & ~inward) | (last & inward)
    wrong[1:] |= ~first[1:] & (inward[1:] == inward[:-1])
    regular = np.ones(n, bool)
    regular[ray[wrong]] = False
    return regular
