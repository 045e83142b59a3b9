"""Ray tracers over triangles: Embree through embreex, or trimesh's own where embreex is missing.

The only file that knows either. A tracer answers two questions about segments, in metres and float32:
is anything in the way, and which triangles are crossed.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from raycover.rays.vectors import Single, rows, scaled

Floats = NDArray[np.floating]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int32]
Index = NDArray[np.intp]

try:
    from embreex.mesh_construction import TriangleMesh
    from embreex.rtcore_scene import EmbreeScene

    HAS_EMBREE = True
except ImportError:  # Linux on aarch64 has no wheel
    HAS_EMBREE = False

_ORIGIN = np.zeros(3)

SLOW_WARNING = (
    "embreex is not installed: trimesh's own ray tracer stands in, which is about a hundred times slower "
    "(pip install embreex, where a wheel exists)"
)


@dataclass(frozen=True)
class Alike:
    """Triangles of a set, from `first` up to `last`, that are pieces of one make: `faces` (m, 3) over their corners.

    Boxes are such: their eight corners need be kept once, not once a triangle.
    """

    first: int
    last: int
    faces: NDArray[np.integer]


@dataclass(frozen=True)
class Round:
    """Crossings of rays (n,), each ray at most once and in rising order: distance in m, triangle, and the rays'
    directions (n, 3). From the second round on also the triangle that each ray crossed `before`, and how much farther
    than a step beyond that, in m, it crosses this one."""

    ray: Index
    distance: Single
    triangle: Index
    along: Single
    before: tuple[Index, Single] | None = None


#: Rays from each first up to each last.
Runs = Sequence[tuple[int, int]]


class Tracer(Protocol):
    """Segments against one set of triangles. `origins`, `directions` (n, 3) float32, `lengths` (n,) float32.

    A segment runs from origin to origin + length·direction.
    """

    def occluded(self, origins: Single, directions: Single, lengths: Single) -> Bools: ...

    def first(self, origins: Single, directions: Single, lengths: Single) -> tuple[Ints, Single]:
        """The first triangle (−1 none) and the distance to it in units of `directions`, both (n,)."""

    def rounds(
        self, origins: Single, directions: Single, lengths: Single, step: float, runs: Runs | None = None
    ) -> Iterator[Round]:
        """Every crossing: the first of each ray, then the next of each that goes on, and so on.

        `directions` are unit vectors. Crossings less than `step` (m) after another are passed over. With `runs`, only
        of rays from each run's first up to its last.
        """

    def crossings(self, origins: Single, directions: Single, lengths: Single, step: float) -> tuple[Ints, Single, Ints]:
        """Every crossing as (ray, distance, triangle), in no order; as `rounds`."""
        found = list(self.rounds(origins, directions, lengths, step))
        if not found:
            return np.zeros(0, np.int32), np.zeros(0, np.float32), np.zeros(0, np.int32)
        ray = np.concatenate([r.ray for r in found]).astype(np.int32)
        triangle = np.concatenate([r.triangle for r in found]).astype(np.int32)
        return ray, np.concatenate([r.distance for r in found]), triangle


class EmbreeTracer(Tracer):
    """Embree's robust mode, single precision; releases the GIL."""

    def __init__(self, triangles: Floats, alike: Alike | None = None, centre: Floats = _ORIGIN) -> None:
        self._scene = EmbreeScene(robust=True)
        if alike is None or alike.first == alike.last:
            TriangleMesh(self._scene, recentred(triangles, centre))
        else:
            vertices, index = _indexed(triangles, alike)
            TriangleMesh(self._scene, recentred(vertices, centre), index)
        self._lock = threading.Lock()
        self._committed = False

    def _run(self, origins: Single, directions: Single, lengths: Single, query: str, output: bool = False):  # type: ignore[no-untyped-def]
        if not self._committed:
            # The first query commits the scene, which two threads must not do at once.
            with self._lock:
                if not self._committed:
                    self._scene.run(origins[:1], directions[:1], dists=lengths[:1], query="OCCLUDED")
                    self._committed = True
        return self._scene.run(origins, directions, dists=lengths, query=query, output=output)

    def occluded(self, origins: Single, directions: Single, lengths: Single) -> Bools:
        if not len(origins):
            return np.zeros(0, bool)
        return self._run(origins, directions, lengths, "OCCLUDED") >= 0

    def first(self, origins: Single, directions: Single, lengths: Single) -> tuple[Ints, Single]:
        if not len(origins):
            return np.zeros(0, np.int32), np.zeros(0, np.float32)
        # Embree writes the distances over the lengths it was given.
        hit = self._run(origins, directions, np.array(lengths, np.float32), "INTERSECT", True)
        return hit["primID"], hit["tfar"]

    def rounds(
        self, origins: Single, directions: Single, lengths: Single, step: float, runs: Runs | None = None
    ) -> Iterator[Round]:
        ray, triangle, travelled = self._first_of(origins, directions, lengths, runs)
        along, begin, length = rows(directions, ray), rows(origins, ray), lengths.take(ray)
        before: tuple[Index, Single] | None = None
        while len(ray):
            yield Round(ray, travelled, triangle, along, before)
            travelled = travelled + np.float32(step)
            left = length - travelled
            if not (on := left > 0).all():
                going = np.flatnonzero(on)
                ray, triangle, along = ray.take(going), triangle.take(going), rows(along, going)
                travelled, left = travelled.take(going), left.take(going)
                begin, length = rows(begin, going), length.take(going)
                if not len(ray):
                    return
            start = scaled(along, travelled)
            start += begin
            hits = self._run(start, along, left, "INTERSECT", True)
            hit = (hits["primID"] >= 0).nonzero()[0]
            farther = hits["tfar"].take(hit)
            before = triangle.take(hit), farther
            # Numbers of triangles are made what numpy indexes with once, not by every `take`.
            ray, triangle = ray.take(hit), hits["primID"].take(hit).astype(np.intp)
            travelled = travelled.take(hit) + farther
            along, begin, length = rows(along, hit), rows(begin, hit), length.take(hit)

    def _first_of(
        self, origins: Single, directions: Single, lengths: Single, runs: Runs | None
    ) -> tuple[Index, Index, Single]:
        """Rays that meet something, the triangle that each meets first, and where."""
        found = []
        for first, last in [(0, len(lengths))] if runs is None else runs:
            triangle, distance = self.first(origins[first:last], directions[first:last], lengths[first:last])
            hit = (triangle >= 0).nonzero()[0]
            found.append((hit + first, triangle.take(hit).astype(np.intp), distance.take(hit)))
        if len(found) == 1:
            return found[0]
        rays, triangles, distances = zip(*found, strict=True)
        return np.concatenate(rays), np.concatenate(triangles), np.concatenate(distances)


def recentred(points: Floats, centre: Floats) -> Single:
    """Points less a centre (3,), rounded once, after."""
    found = np.empty(points.shape, np.float32)
    return np.subtract(points, centre, out=found, casting="unsafe")


def _indexed(triangles: Floats, alike: Alike) -> tuple[Floats, Ints]:
    """Vertices (k, 3) and indices (n, 3) of triangles, the corners of pieces that are alike once each."""
    before, pieces, after = np.split(triangles, [alike.first, alike.last])
    _, places = np.unique(alike.faces, return_index=True)  # where each corner first stands in a piece
    corners = pieces.reshape(-1, alike.faces.size, 3)[:, places]
    vertices = np.concatenate([before.reshape(-1, 3), corners.reshape(-1, 3), after.reshape(-1, 3)])
    n_before, n_corners = 3 * len(before), corners.shape[0] * corners.shape[1]
    of_pieces = np.arange(len(corners), dtype=np.int32)[:, None, None] * np.int32(len(places)) + alike.faces
    index = [
        np.arange(n_before).reshape(-1, 3),
        of_pieces.reshape(-1, 3) + n_before,
        np.arange(3 * len(after)).reshape(-1, 3) + n_before + n_corners,
    ]
    return vertices, np.concatenate(index).astype(np.int32)


class TrimeshTracer(Tracer):
    """trimesh's own tracer (numpy and an R-tree): slow, needs no compiled ray library."""

    def __init__(self, triangles: Floats, centre: Floats = _ORIGIN) -> None:
        import trimesh
        from trimesh.ray.ray_triangle import RayMeshIntersector

        vertices = recentred(triangles, centre).reshape(-1, 3).astype(float)
        mesh = trimesh.Trimesh(vertices, np.arange(len(vertices)).reshape(-1, 3), process=False)
        self._tracer = RayMeshIntersector(mesh)

    def _hits(self, origins: Single, directions: Single, lengths: Single) -> tuple[Ints, Single, Ints]:
        if not len(origins):
            return np.zeros(0, np.int32), np.zeros(0, np.float32), np.zeros(0, np.int32)
        start, along = np.asarray(origins, float), np.asarray(directions, float)
        triangle, ray, place = self._tracer.intersects_id(start, along, multiple_hits=True, return_locations=True)
        square = np.einsum("ij,ij->i", along, along)
        distance = np.einsum("ij,ij->i", place.reshape(-1, 3) - start[ray], along[ray]) / square[ray]
        kept = (distance >= 0) & (distance <= lengths[ray])
        return ray[kept].astype(np.int32), distance[kept].astype(np.float32), triangle[kept].astype(np.int32)

    def occluded(self, origins: Single, directions: Single, lengths: Single) -> Bools:
        found = np.zeros(len(origins), bool)
        found[self._hits(origins, directions, lengths)[0]] = True
        return found

    def first(self, origins: Single, directions: Single, lengths: Single) -> tuple[Ints, Single]:
        ray, distance, triangle = self._hits(origins, directions, lengths)
        order = np.lexsort((distance, ray))
        ray, index = np.unique(ray[order], return_index=True)
        first, reach = np.full(len(origins), -1, np.int32), np.array(lengths, np.float32)
        first[ray], reach[ray] = triangle[order][index], distance[order][index]
        return first, reach

    def rounds(
        self, origins: Single, directions: Single, lengths: Single, step: float, runs: Runs | None = None
    ) -> Iterator[Round]:
        ray, distance, triangle = self._hits(origins, directions, lengths)
        if runs is not None:
            asked = np.zeros(len(lengths), bool)
            for first, last in runs:
                asked[first:last] = True
            chosen = np.flatnonzero(asked[ray])
            ray, distance, triangle = ray[chosen], distance[chosen], triangle[chosen]
        order = np.lexsort((distance, ray))
        ray, distance, triangle = ray[order], distance[order], triangle[order]
        rank = np.arange(len(ray)) - np.searchsorted(ray, ray)
        for k in range(int(rank.max(initial=-1)) + 1):
            here = np.flatnonzero(rank == k)
            met = ray[here].astype(np.intp), distance[here], triangle[here].astype(np.intp), rows(directions, ray[here])
            if not k:
                yield Round(*met)
                continue
            farther = distance[here] - distance[here - 1] - np.float32(step)
            yield Round(*met, (triangle[here - 1].astype(np.intp), farther))


class EmptyTracer(Tracer):
    """Nothing to hit."""

    def occluded(self, origins: Single, directions: Single, lengths: Single) -> Bools:
        return np.zeros(len(origins), bool)

    def first(self, origins: Single, directions: Single, lengths: Single) -> tuple[Ints, Single]:
        return np.full(len(origins), -1, np.int32), np.array(lengths, np.float32)

    def rounds(
        self, origins: Single, directions: Single, lengths: Single, step: float, runs: Runs | None = None
    ) -> Iterator[Round]:
        return iter(())


def make_tracer(triangles: Floats, backend: str, alike: Alike | None = None, centre: Floats = _ORIGIN) -> Tracer:
    """The tracer named by `backend` over (n, 3, 3) triangles less a centre (3,), some maybe of pieces alike."""
    if not len(triangles):
        return EmptyTracer()
    return EmbreeTracer(triangles, alike, centre) if backend == "embree" else TrimeshTracer(triangles, centre)


def default_backend() -> str:
    return "embree" if HAS_EMBREE else "trimesh"
