"""Triangles as a file brings them → triangles with sides: merged, turned outward, told closed from open.

An object is closed when every edge is run along as often one way as the other: then rays enter and leave it
in turn, and it can be a solid. This is trimesh's `is_watertight and is_winding_consistent`, but for edges
that more than two faces share, which do no harm to that. trimesh's own repair of the winding walks from face
to face and needs another library; here it is one pass over a spanning tree.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse import csgraph
from scipy.spatial import cKDTree

from raycover.building.solid_angle import winding_number

Floats = NDArray[np.floating]
Indices = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: Corners nearer than this (m) are one where that closes an object; corners this near are one in any case.
MERGE, _SAME = 1e-5, 1e-8
#: More corners than this about each, and they are left alone.
_MOST_NEAR = 50
#: Faces whose normals differ by less than this (1 − cosine, 0.01°) lie in one plane.
_FLAT = 1.5e-8
#: Bodies turned inside out are asked whether they are cavities up to this many tests of a corner on a triangle.
_MOST_TESTS = 2e8


@dataclass(frozen=True)
class Mended:
    """An object in metres. `faces` (m, 3) index `vertices` (n, 3), outward where `closed`.

    `n_turned` faces were wound the wrong way and are turned; `n_open` edges have a face on one side only;
    `volume` (m³) within a closed one, `area` (m²) of all faces.
    """

    vertices: Floats
    faces: Indices
    closed: bool
    n_turned: int
    n_open: int
    volume: float
    area: float

    @property
    def triangles(self) -> Floats:
        """(m, 3, 3)."""
        return self.vertices[self.faces]

    @property
    def thickness(self) -> float:
        """Mean thickness (m) of a closed one: twice the volume over the area, the thickness of a thin plate."""
        return 2 * self.volume / self.area if self.area > 0 else 0.0


def mend(vertices: Floats, faces: Indices) -> Mended:
    """Merge corners, drop faces that fall together, turn faces outward as far as the object has an outside."""
    merged, kept = merge(vertices, faces)
    odd = _odd_edges(kept)
    if odd.any():
        nearer, fewer = _drawn_together(merged, kept)
        if (left := _odd_edges(fewer)).sum() < odd.sum():
            merged, kept, odd = nearer, fewer, left
    area = float(_areas(merged[kept]).sum())
    if odd.any() or not len(kept):
        return Mended(merged, kept, False, 0, int(odd.sum()), 0.0, area)
    turned = _outward(merged, kept)
    if turned is None:
        return Mended(merged, kept, False, 0, 0, 0.0, area)
    fixed = np.where(turned[:, None], kept[:, ::-1], kept)
    volume = float(_volumes(merged[fixed]).sum())
    return Mended(merged, fixed, True, int(turned.sum()), 0, volume, area)


def merge(vertices: Floats, faces: Indices) -> tuple[Floats, Indices]:
    """Corners of one place as one, and the faces that still have three corners."""
    used = np.zeros(len(vertices), bool)
    used[faces] = True
    places = vertices[used]
    grid = np.round((places - places.min(axis=0, initial=np.inf)) / _SAME).astype(np.int64)
    first, same = _unique_rows(grid)
    number = np.zeros(len(vertices), np.int64)
    number[used] = same
    return places[first], _with_corners(number[faces])


def _unique_rows(rows: Indices) -> tuple[Indices, Indices]:
    """Of whole numbers (n, 3), the first row of each kind and the kind (n,) of every row.

    One number a row sorts many times faster than three; should two kinds fall on one number, all three do it.
    """
    with np.errstate(over="ignore"):
        key = rows @ np.array([0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0x165667B19E3779F9], np.uint64).astype(np.int64)
    _, first, kind = np.unique(key, return_index=True, return_inverse=True)
    if not np.array_equal(rows[first[kind]], rows):
        _, first, kind = np.unique(rows, axis=0, return_index=True, return_inverse=True)
    return first, kind.reshape(-1)


def _drawn_together(vertices: Floats, faces: Indices) -> tuple[Floats, Indices]:
    """As `merge`, for corners up to `MERGE` apart."""
    tree = cKDTree(vertices)
    if tree.count_neighbors(tree, MERGE) > _MOST_NEAR * len(vertices):
        return vertices, faces  # dust, not corners that were meant to meet
    pairs = tree.query_pairs(MERGE, output_type="ndarray")
    group = _components(len(vertices), pairs[:, 0], pairs[:, 1])
    first = np.unique(group, return_index=True)[1]
    return vertices[first], _with_corners(group[faces])


def _with_corners(faces: Indices) -> Indices:
    """The faces with three different corners."""
    a, b, c = faces.T
    return faces[(a != b) & (b != c) & (c != a)]


def facets(vertices: Floats, faces: Indices) -> Indices:
    """The number (m,) of the flat face that each triangle belongs to, from 0."""
    one, two, _ = _neighbours(faces)
    normals = unit_normals(vertices[faces])
    flat = np.abs(np.einsum("ij,ij->i", normals[one], normals[two])) > 1 - _FLAT
    return _components(len(faces), one[flat], two[flat])


def unit_normals(triangles: Floats) -> Floats:
    """Unit normals (n, 3); zero for a triangle without area."""
    cross = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    length = np.linalg.norm(cross, axis=1)
    return np.asarray(cross / np.where(length > 0, length, 1.0)[:, None])


def _areas(triangles: Floats) -> Floats:
    cross = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    return np.asarray(np.linalg.norm(cross, axis=1) / 2)


def _volumes(triangles: Floats) -> Floats:
    """Signed volumes (n,) of tetrahedra from the middle to each triangle."""
    if not len(triangles):
        return np.zeros(0)
    local = triangles - triangles.reshape(-1, 3).mean(axis=0)
    return np.asarray(np.einsum("ij,ij->i", local[:, 0], np.cross(local[:, 1], local[:, 2])) / 6)


def _edges(faces: Indices) -> tuple[Indices, Bools]:
    """(3·m,) a number for each edge of each face whichever way it runs, and whether it runs upward."""
    start, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    n = int(faces.max(initial=0)) + 1
    return np.minimum(start, end) * n + np.maximum(start, end), start < end


def _odd_edges(faces: Indices) -> Bools:
    """Whether each edge of the object has an odd number of faces."""
    _, count = np.unique(_edges(faces)[0], return_counts=True)
    return np.asarray(count % 2 == 1)


def _balanced(faces: Indices) -> bool:
    """Whether every edge is run along as often one way as the other."""
    edge, upward = _edges(faces)
    _, number = np.unique(edge, return_inverse=True)
    return not np.bincount(number.reshape(-1), np.where(upward, 1.0, -1.0)).any()


def _neighbours(faces: Indices) -> tuple[Indices, Indices, Bools]:
    """Pairs of faces at an edge that no third shares, and whether they are wound alike."""
    edge, upward = _edges(faces)
    order = np.argsort(edge, kind="stable")
    edge, upward, face = edge[order], upward[order], order // 3
    starts = np.flatnonzero(np.concatenate([[True], np.diff(edge) != 0])) if len(edge) else np.zeros(0, int)
    two = starts[np.diff(np.append(starts, len(edge))) == 2]
    return face[two], face[two + 1], upward[two] != upward[two + 1]


def _components(n: int, one: Indices, two: Indices) -> Indices:
    graph = sparse.coo_matrix((np.ones(len(one), np.int8), (one, two)), shape=(n, n))
    return np.asarray(csgraph.connected_components(graph, directed=False)[1], np.int64)


def _outward(vertices: Floats, faces: Indices) -> Bools | None:
    """Which faces (m,) of an object without open edges to turn so that all face outward; None where none can."""
    turned = np.zeros(len(faces), bool)
    one, two, alike = _neighbours(faces)
    body = _components(len(faces), one, two)
    if not _balanced(faces):
        turned = _turned_alike(len(faces), one, two, alike)
        # Of the two ways to wind a body, the one that most of its faces have.
        size = np.bincount(body)
        turned ^= (2 * np.bincount(body, turned) > size)[body]
        if not _balanced(np.where(turned[:, None], faces[:, ::-1], faces)):
            return None  # a Möbius strip, or bodies that share faces
    triangles = vertices[np.where(turned[:, None], faces[:, ::-1], faces)]
    volumes = np.bincount(body, _volumes(triangles))
    if volumes.sum() < 0:
        turned, triangles, volumes = ~turned, triangles[:, ::-1], -volumes
    wrong = np.flatnonzero(volumes < 0)
    if len(wrong):
        # A body that faces inward is a cavity where it lies within the rest, else it is inside out.
        rest = triangles[(volumes > 0)[body]]
        corners = np.array([triangles[int(np.argmax(body == b)), 0] for b in wrong])
        inside = np.zeros(len(wrong), bool)
        if len(wrong) * len(rest) <= _MOST_TESTS:
            inside = winding_number(rest, corners) > 0.5
        turned ^= np.isin(body, wrong[~inside])
    return turned


def _turned_alike(n: int, one: Indices, two: Indices, alike: Bools) -> Bools:
    """Which faces (n,) to turn so that neighbours are wound alike, the first face of each body left as it is."""
    pair, first = np.unique(np.minimum(one, two) * n + np.maximum(one, two), return_index=True)
    a, b = pair // n, pair % n
    heads = np.unique(_components(n, one, two), return_index=True)[1]
    # One more node joins the first faces of all bodies, so that one walk finds a tree over everything.
    rows, columns = np.concatenate([a, np.full(len(heads), n)]), np.concatenate([b, heads])
    against = np.concatenate([~alike[first], np.zeros(len(heads), bool)])
    graph = sparse.coo_matrix((np.ones(len(rows)), (rows, columns)), shape=(n + 1, n + 1)).tocsr()
    _, parent = csgraph.breadth_first_order(graph, n, directed=False, return_predecessors=True)
    parent = np.where(parent < 0, n, parent).astype(np.int64)
    key = np.minimum(rows, columns) * (n + 1) + np.maximum(rows, columns)
    order = np.argsort(key)
    here = np.arange(n)
    mine = np.minimum(here, parent[:n]) * (n + 1) + np.maximum(here, parent[:n])
    turned = np.append(against[order][np.searchsorted(key[order], mine)], False)
    while (parent[:n] != n).any():  # each step takes in twice as many ancestors
        turned, parent = turned ^ turned[parent], parent[parent]
    return turned[:n]
