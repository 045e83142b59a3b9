"""Ray tracers over triangles: Embree through embreex, or trimesh's own where embreex is missing.

The only file that knows either. A tracer answers two questions about segments, in metres and float32:
is anything in the way, and which triangles are crossed.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.floating]
Single = NDArray[np.float32]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int32]

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


class Tracer(Protocol):
    """Segments against one set of triangles. `origins`, `directions` (n, 3) float32, `lengths` (n,) float32.

    A segment runs from origin to origin + length·direction.
    """

    def occluded(self, origins: Single, directions: Single, lengths: Single) -> Bools: ...

    def first(self, origins: Single, directions: Single, lengths: Single) -> tuple[Ints, Single]:
        """The first triangle (−1 none) and the distance to it in units of `directions`, both (n,)."""

    def crossings(self, origins: Single, directions: Single, lengths: Single, step: float) -> tuple[Ints, Single, Ints]:
        """Every crossing as (ray, distance, triangle), in no order; `directions` are unit vectors.

        Crossings less than `step` (m) after another are passed over.
        """


class EmbreeTracer:
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

    def crossings(self, origins: Single, directions: Single, lengths: Single, step: float) -> tuple[Ints, Single, Ints]:
        rays: list[Ints] = []
        distances: list[Single] = []
        triangles: list[Ints] = []
        # Most rays meet nothing of a set: the first round takes them as they come, the others only those that go on.
        triangle, distance = self.first(origins, directions, lengths)
        ray = np.flatnonzero(triangle >= 0).astype(np.int32)
        triangle, travelled = triangle[ray], distance[ray]
        while len(ray):
            rays.append(ray)
            distances.append(travelled)
            triangles.append(triangle)
            travelled = travelled + np.float32(step)
            on = np.flatnonzero(travelled < lengths[ray])
            ray, travelled = ray[on], travelled[on]
            along = directions[ray]
            start = origins[ray] + travelled[:, None] * along
            triangle, distance = self.first(start, along, lengths[ray] - travelled)
            hit = np.flatnonzero(triangle >= 0)
            ray, triangle, travelled = ray[hit], triangle[hit], travelled[hit] + distance[hit]
        if not rays:
            return np.zeros(0, np.int32), np.zeros(0, np.float32), np.zeros(0, np.int32)
        return np.concatenate(rays), np.concatenate(distances), np.concatenate(triangles)


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


class TrimeshTracer:
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

    def crossings(self, origins: Single, directions: Single, lengths: Single, step: float) -> tuple[Ints, Single, Ints]:
        return self._hits(origins, directions, lengths)


class EmptyTracer:
    """Nothing to hit."""

    def occluded(self, origins: Single, directions: Single, lengths: Single) -> Bools:
        return np.zeros(len(origins), bool)

    def first(self, origins: Single, directions: Single, lengths: Single) -> tuple[Ints, Single]:
        return np.full(len(origins), -1, np.int32), np.array(lengths, np.float32)

    def crossings(self, origins: Single, directions: Single, lengths: Single, step: float) -> tuple[Ints, Single, Ints]:
        return np.zeros(0, np.int32), np.zeros(0, np.float32), np.zeros(0, np.int32)


def make_tracer(triangles: Floats, backend: str, alike: Alike | None = None, centre: Floats = _ORIGIN) -> Tracer:
    """The tracer named by `backend` over (n, 3, 3) triangles less a centre (3,), some maybe of pieces alike."""
    if not len(triangles):
        return EmptyTracer()
    return EmbreeTracer(triangles, alike, centre) if backend == "embree" else TrimeshTracer(triangles, centre)


def default_backend() -> str:
    return "embree" if HAS_EMBREE else "trimesh"
