"""The large flat surfaces of a building that mirror microwave, and a unit's images in them.

Every flat face counts: sheets, faces of boxes and of imported objects. Faces of one plane, one construction and
touching each other are one mirror; mirrors of one plane share an image. What is hit is found by a ray square to
the plane, so a hole reflects nothing.

Size. A surface mirrors where it holds most of the first Fresnel zone, of diameter 2·√(λ·d1·d2/(d1 + d2)); smaller
ones scatter, and weaker. Legs of 3 m each are taken for a room: 0.56 m at 5.8 GHz, 0.27 m at 24 GHz.

Racks. The fronts of loads are faces of boxes like any other: of metal they mirror, of goods they reflect as
`reflecting.half_space_table` says (about −15 dB square on). A front's roughness, which spreads what it reflects, is
left out: taken strictly a rack mirrors less.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.constants import speed_of_light
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from raycover.building.parts import Building
from raycover.catalogue import Construction, Losses, SolidMaterial
from raycover.rays.reflecting import reflection_table
from raycover.rays.tracers import Bools, Ints, make_tracer

Floats = NDArray[np.floating]

#: Legs (m) for which a mirror must hold the first Fresnel zone.
TYPICAL_LEG = 3.0
#: Faces of one plane nearer than this (m) to each other are one mirror.
TOUCHING = 0.01
#: Planes nearer than this (m) are one; so far from a plane, or less, a unit lies in it.
IN_PLANE = 1e-3
#: A floor or ceiling this near (m) to the level of the unit's own room is that room's.
_LEVEL = 0.01
#: Steps of the cosine in which the strongest reflection of a plane's mirrors is bounded.
_N_BOUNDS = 128
#: Normals are turned to this side, which no plane of a building runs along.
_SIDE = np.array([0.6123724, 0.5307228, 0.5860027])
_SLABS = ("floor", "ceiling")
#: Nothing narrower than this (m) mirrors at any frequency of the materials' tables, up to 100 GHz.
_NARROWEST = 0.13
#: So many units' images are remembered.
_MOST_KEPT = 4096


def smallest_side_m(frequency_ghz: float) -> float:
    """Smallest side (m) of a mirror: the first Fresnel zone's diameter half-way along two typical legs."""
    wavelength = speed_of_light / (frequency_ghz * 1e9)
    return float(2 * np.sqrt(wavelength * TYPICAL_LEG / 2))


@dataclass(frozen=True)
class Mirrors:
    """Mirrors of a building, `n_mirrors` in `n_planes` planes.

    Planes: `normal` (p, 3) unit, `offset` (p,) with normal·x = offset, `u`, `v` (p, 3) axes in the plane.
    Mirrors: `plane` (n,) its plane, `made` (n,) index into `made_of`, `slab` (n,) floors and ceilings of rooms,
    `rect` (n, 4) lowest u, v and highest u, v, `area` (n,) m², `side` (n,) the shorter side of its faces (m): area
    over longer side, the mean by area. `part` (n,) the part of its largest face.
    Triangles: those of the mirrors, `triangles` (t, 3, 3), the mirror and part of each, and the side it
    reflects to along the plane's normal: 1, −1, or 0 for both.
    """

    normal: Floats
    offset: Floats
    u: Floats
    v: Floats
    plane: Ints
    made: Ints
    slab: Bools
    rect: Floats
    area: Floats
    side: Floats
    part: Ints
    made_of: tuple[Construction | SolidMaterial, ...]
    triangles: Floats
    triangle_mirror: Ints
    triangle_part: Ints
    triangle_side: NDArray[np.int8]
    centre: Floats
    backend: str
    building: Building
    _images: dict[tuple[object, ...], Images] = field(default_factory=dict, repr=False, compare=False)

    def __len__(self) -> int:
        return len(self.plane)

    @property
    def n_planes(self) -> int:
        return len(self.offset)

    def name(self, mirror: int) -> str:
        """The name of the part that the largest face of a mirror belongs to."""
        return self.building.part_name(int(self.part[mirror]))

    @cached_property
    def _tracer(self):  # type: ignore[no-untyped-def]
        return make_tracer((self.triangles - self.centre).astype(np.float32), self.backend)

    def hit(self, plane: Ints, points: Floats, side: Floats) -> tuple[Ints, Ints]:
        """(mirror, part), each (n,), met at points (n, 3) of planes (n,) from one side (±1 along the normal).

        −1 where there is none: a hole, the back of a solid, something else in front.
        """
        normal = self.normal[plane]
        start = (points - self.centre + 2 * IN_PLANE * side[:, None] * normal).astype(np.float32)
        along = (-side[:, None] * normal).astype(np.float32)
        triangle, _ = self._tracer.first(start, along, np.full(len(plane), 4 * IN_PLANE, np.float32))
        if not len(self.triangle_mirror):
            return np.full(len(plane), -1, np.int32), np.full(len(plane), -1, np.int32)
        mirror = self.triangle_mirror[triangle]
        facing = self.triangle_side[triangle]
        there = (triangle >= 0) & (self.plane[mirror] == plane) & ((facing == 0) | (facing == side))
        return np.where(there, mirror, -1).astype(np.int32), np.where(there, self.triangle_part[triangle], -1)

    def reflect_db(self, mirror: Ints, cosine: Floats, frequency_ghz: float, losses: Losses) -> Floats:
        """One-way reflection loss (n,) of mirrors (n,) at cosines of incidence (n,)."""
        made = self.made[mirror]
        loss = np.empty(len(made))
        for k in np.unique(made).tolist():
            mine = made == k
            loss[mine] = reflection_table(self.made_of[k], frequency_ghz, losses).loss_db(cosine[mine])
        return loss

    def strongest(self, allowed: Bools, frequency_ghz: float, losses: Losses) -> Floats:
        """(p, _N_BOUNDS) most power that the allowed mirrors (n,) of a plane reflect within steps of the cosine."""
        edges = np.linspace(0, 1, 8 * _N_BOUNDS + 1)
        bound = np.zeros((self.n_planes, _N_BOUNDS))
        used = np.unique(self.made[allowed])
        most = np.zeros((len(self.made_of), _N_BOUNDS))
        for k in used.tolist():
            power = 10 ** (-reflection_table(self.made_of[k], frequency_ghz, losses).loss_db(edges) / 10)
            inner = np.maximum(power[:-1], power[1:]).reshape(_N_BOUNDS, 8).max(axis=1)
            most[k] = np.minimum(inner * 1.001, 1.0)  # between the samples a table is straight, to rounding
        np.maximum.at(bound, self.plane[allowed], most[self.made[allowed]])
        return bound


def make_mirrors(building: Building, backend: str) -> Mirrors:
    """The mirrors of a building, of every size; which of them are large enough depends on the frequency."""
    made_of, made_number = _made_of(building)
    corners, part, face, side = _faces(building, made_number)
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    double = np.linalg.norm(cross, axis=1)
    kept = double > 1e-9
    corners, part, face, side, cross, double = (a[kept] for a in (corners, part, face, side, cross, double))
    normal = cross / double[:, None]
    flip = normal @ _SIDE < 0
    normal[flip] = -normal[flip]
    side = np.where(flip, -side, side).astype(np.int8)
    centre = building.bounds.mean(axis=0)
    plane = _planes(normal, np.einsum("ij,ij->i", normal, corners[:, 0] - centre))
    n_planes = int(plane.max(initial=-1)) + 1

    # The largest triangle speaks for its plane.
    order = np.argsort(double, kind="stable")
    speaker = np.zeros(n_planes, int)
    speaker[plane[order]] = order
    normals = normal[speaker]
    offsets = np.einsum("ij,ij->i", normals, corners[speaker, 0])
    u = _along(building, part[speaker], corners[speaker], normals)
    v = np.cross(normals, u)

    # Faces: one plane and one part each; then mirrors, what touches of one plane and construction.
    slab = np.zeros(building.n_parts, bool)
    slab[: len(building.sheets)] = [sheet.kind in _SLABS for sheet in building.sheets]
    _, first, of_face = np.unique(
        np.stack([plane.astype(np.int64), face], axis=1), axis=0, return_index=True, return_inverse=True
    )
    of_face = of_face.ravel()
    n_faces = len(first)
    along_u = np.einsum("ijk,ik->ij", corners, u[plane])
    along_v = np.einsum("ijk,ik->ij", corners, v[plane])
    rect = np.full((n_faces, 4), np.inf)
    for column, values in enumerate(
        (along_u.min(axis=1), along_v.min(axis=1), -along_u.max(axis=1), -along_v.max(axis=1))
    ):
        np.minimum.at(rect[:, column], of_face, values)
    rect[:, 2:] *= -1
    area = np.bincount(of_face, double / 2, minlength=n_faces)
    face_plane, face_part = plane[first], part[first]
    face_made, face_slab = made_number[face_part], slab[face_part]
    of_mirror = _touching(face_plane, face_made, face_slab, rect)
    n_mirrors = int(of_mirror.max(initial=-1)) + 1
    whole = np.full((n_mirrors, 4), np.inf)
    for column in range(4):
        np.minimum.at(whole[:, column], of_mirror, rect[:, column] * (1 if column < 2 else -1))
    whole[:, 2:] *= -1
    total = np.bincount(of_mirror, area, minlength=n_mirrors).astype(float)
    largest = np.zeros(n_mirrors, int)
    by_area = np.lexsort((-face_part, np.round(area, 6)))  # of faces alike, the first in the scene
    largest[of_mirror[by_area]] = by_area
    # A lattice of narrow faces is no wide mirror: faces speak for themselves, by their area.
    own_side = area / np.maximum(_longer_m(of_face, along_u, along_v, double / 2, rect), 1e-9)
    shorter = np.bincount(of_mirror, area * own_side, minlength=n_mirrors) / np.maximum(total, 1e-9)
    wide = shorter >= _NARROWEST
    number = np.cumsum(wide) - 1
    kept = wide[of_mirror[of_face]]
    largest = largest[wide]
    return Mirrors(
        normals, offsets, u, v, face_plane[largest], face_made[largest], face_slab[largest], whole[wide], total[wide],
        shorter[wide], face_part[largest].astype(np.int32), made_of, corners[kept],
        number[of_mirror[of_face]][kept].astype(np.int32), part[kept], side[kept], centre, backend, building,
    )  # fmt: skip


def _made_of(building: Building) -> tuple[tuple[Construction | SolidMaterial, ...], Ints]:
    """What parts are made of, each once, and its number for each part; −1 for what reflects nothing."""
    number: dict[Construction | SolidMaterial, int] = {}
    found = np.full(building.n_parts, -1, np.int32)
    materials = [
        *(sheet.construction for sheet in building.sheets),
        *building.boxes.materials,
        *(one.made_of for one in building.objects),
    ]
    seen: dict[int, int] = {}
    for part, made in enumerate(materials):
        if (known := seen.get(id(made))) is None:
            mirrors = not isinstance(made, Construction) or not (
                made.kind == "open" or (made.kind == "layers" and not made.layers)
            )
            known = seen[id(made)] = number.setdefault(made, len(number)) if mirrors else -1
        found[part] = known
    return tuple(number), found


def _faces(building: Building, made_number: Ints) -> tuple[Floats, Ints, NDArray[np.int64], NDArray[np.int8]]:
    """Triangles (t, 3, 3) of what reflects, their parts and flat faces, and the side they reflect to: 0 both, 1 out."""
    mesh = building.mesh
    n_sheets, n_boxes = len(building.sheets), len(building.boxes)
    kept = made_number[mesh.part] >= 0
    part, face = mesh.part[kept], mesh.face[kept].astype(np.int64)
    in_box = (part >= n_sheets) & (part < n_sheets + n_boxes)
    # The twelve triangles of a box come in pairs, a pair a side.
    first = np.searchsorted(part, part[in_box])
    face[in_box] = (
        building.n_parts + int(mesh.face.max(initial=0)) + 6 * part[in_box] + (np.flatnonzero(in_box) - first) // 2
    )
    side = np.zeros(len(part), np.int8)
    closed = np.concatenate(
        [np.zeros(n_sheets, bool), np.ones(n_boxes, bool), [one.closed for one in building.objects]]
    )
    side[closed.astype(bool)[part]] = 1
    return mesh.triangles[kept], part, face, side


def _planes(normal: Floats, offset: Floats) -> Ints:
    """Number (n,) of the plane that each face lies in: one direction, offsets in unbroken millimetres."""
    if not len(normal):
        return np.zeros(0, np.int32)
    _, turn = np.unique(np.round(normal * 1e5 + 0.1234).astype(np.int64), axis=0, return_inverse=True)
    turn = turn.ravel()
    order = np.lexsort((offset, turn))
    new = (np.diff(turn[order]) != 0) | (np.diff(offset[order]) > IN_PLANE)
    found = np.empty(len(order), np.int32)
    found[order] = np.concatenate([[0], np.cumsum(new)])
    return found


def _along(building: Building, part: Ints, corners: Floats, normals: Floats) -> Floats:
    """A unit vector (p, 3) in each plane: level in upright and sloped ones, along their part in level ones."""
    level = np.cross([0.0, 0.0, 1.0], normals)
    length = np.linalg.norm(level, axis=1)
    found = corners[:, 1] - corners[:, 0]
    n_sheets = len(building.sheets)
    for k in np.flatnonzero(length <= 1e-6).tolist():
        p = int(part[k])
        if p < n_sheets:
            found[k] = building.sheets[p].frame.u
        elif p < n_sheets + len(building.boxes):
            turn = building.boxes.turn_rad[p - n_sheets]
            found[k] = np.cos(turn), np.sin(turn), 0.0
    upright = length > 1e-6
    found[upright] = level[upright]
    found = found - np.einsum("ij,ij->i", found, normals)[:, None] * normals
    return np.asarray(found / np.linalg.norm(found, axis=1, keepdims=True))


def _longer_m(face: NDArray[np.signedinteger[Any]], u: Floats, v: Floats, area: Floats, rect: Floats) -> Floats:
    """Longer side (f,) in m of the rectangle that holds each face's area as far from its middle as the face does.

    Of triangles in their plane, `u`, `v` (t, 3), by second moments: the same however a face is turned in its plane,
    which the extent along an axis is not. Of a rectangle, its longer side.
    """
    n = len(rect)
    u, v = u - rect[face, :1], v - rect[face, 1:2]
    weight = area / 12

    def summed(values: Floats) -> Floats:
        return np.bincount(face, values, minlength=n).astype(float)

    def moment(one: Floats, two: Floats) -> Floats:
        return summed(weight * ((one * two).sum(axis=1) + one.sum(axis=1) * two.sum(axis=1)))

    total = np.maximum(summed(area), 1e-12)
    middle_u, middle_v = summed(area * u.mean(axis=1)) / total, summed(area * v.mean(axis=1)) / total
    uu, vv, uv = (
        moment(one, two) / total - a * b
        for one, two, a, b in ((u, u, middle_u, middle_u), (v, v, middle_v, middle_v), (u, v, middle_u, middle_v))
    )
    largest = (uu + vv) / 2 + np.hypot((uu - vv) / 2, uv)
    return np.asarray(np.minimum(np.sqrt(12 * largest), np.hypot(rect[:, 2] - rect[:, 0], rect[:, 3] - rect[:, 1])))


def _touching(plane: Ints, made: Ints, slab: Bools, rect: Floats) -> Ints:
    """Number (n,) of the mirror that each face belongs to: touching faces of one plane and construction."""
    n = len(plane)
    if not n:
        return np.zeros(0, np.int32)
    _, group = np.unique(np.stack([plane, made, slab], axis=1), axis=0, return_inverse=True)
    # Groups lie side by side, far apart, so that one tree answers for all.
    wide = float(np.ptp(rect[:, [0, 2]])) + 10.0
    shift = group.ravel() * wide - rect[:, 0].min()
    boxes = shapely.box(rect[:, 0] + shift, rect[:, 1], rect[:, 2] + shift, rect[:, 3])
    one, two = shapely.STRtree(boxes).query(boxes, predicate="dwithin", distance=TOUCHING)
    graph = coo_matrix((np.ones(len(one), bool), (one, two)), shape=(n, n))
    return np.asarray(connected_components(graph, directed=False)[1], np.int32)


@dataclass(frozen=True)
class Images:
    """A unit's images, `k` of them, one a plane.

    `plane` (k,); `allowed` (n_mirrors,) which mirrors may reflect; `distance` (k,) of the unit from the plane along
    its normal, signed; `along` (k, 2) its place in the plane; `rect` (k, 4) all allowed mirrors of the plane;
    `bound` (k, steps) most power reflected within steps of the cosine.
    """

    plane: Ints
    allowed: Bools
    distance: Floats
    along: Floats
    rect: Floats
    bound: Floats

    def __len__(self) -> int:
        return len(self.plane)

    def chosen(self, some: Bools) -> Images:
        """Some of them, by mask (k,)."""
        return Images(
            self.plane[some], self.allowed, self.distance[some], self.along[some], self.rect[some], self.bound[some]
        )


def images_of(
    mirrors: Mirrors, position: Floats, mounting: float, frequency_ghz: float, losses: Losses, *, every: bool = False
) -> Images:
    """The images of a unit at `position` (3,), `mounting` above its floor; asked for again, the same.

    Left out are mirrors too small, those the unit lies in or is fixed to, and the floor and ceiling of its own
    room, over which and under which its reach was declared: their whole level, the roof and suspended ceiling of
    its room, and, where the unit hangs over a void, the next floor or ceiling straight below or above. `every`
    keeps floors and ceilings.
    """
    key = (position.tobytes(), mounting, frequency_ghz, losses, every)
    if (known := mirrors._images.get(key)) is None:
        if len(mirrors._images) >= _MOST_KEPT:
            mirrors._images.clear()
        known = mirrors._images[key] = _images_of(mirrors, position, mounting, frequency_ghz, losses, every=every)
    return known


def _images_of(
    mirrors: Mirrors, position: Floats, mounting: float, frequency_ghz: float, losses: Losses, *, every: bool
) -> Images:
    allowed = mirrors.side >= smallest_side_m(frequency_ghz)
    apart = mirrors.normal @ position - mirrors.offset
    across = np.stack([mirrors.u @ position, mirrors.v @ position], axis=1)
    beyond = np.maximum(
        np.maximum(mirrors.rect[:, :2] - across[mirrors.plane], across[mirrors.plane] - mirrors.rect[:, 2:]), 0
    ).max(axis=1, initial=0)
    half = np.array([getattr(made, "thickness_m", 0.0) / 2 for made in mirrors.made_of] or [0.0])[mirrors.made]
    off = np.abs(apart[mirrors.plane])
    allowed &= (off > IN_PLANE) & ~((off <= half + IN_PLANE) & (beyond <= half + IN_PLANE))
    if not every:
        allowed &= ~_own_slabs(mirrors, position, mounting)
    planes = np.unique(mirrors.plane[allowed])
    rect = np.full((mirrors.n_planes, 4), np.inf)
    np.minimum.at(rect, mirrors.plane[allowed], mirrors.rect[allowed] * [1, 1, -1, -1])
    rect[:, 2:] *= -1
    bound = mirrors.strongest(allowed, frequency_ghz, losses)
    return Images(planes, allowed, apart[planes], across[planes], rect[planes], bound[planes])


def _own_slabs(mirrors: Mirrors, position: Floats, mounting: float) -> Bools:
    """Which mirrors (n,) are the floor or ceiling of the unit's own room."""
    building = mirrors.building
    level = np.abs(mirrors.normal[:, 2]) > 1 - 1e-9
    height = mirrors.offset / np.where(level, mirrors.normal[:, 2], 1.0)
    x, y, z = (float(c) for c in position)
    holding = [room for room in building.rooms if room.holds(x, y, z)]
    own = min(holding, key=lambda room: abs(room.floor - (z - mounting)), default=None)
    levels: list[float] = []
    by_owner = np.zeros(len(mirrors), bool)
    if own is not None:
        levels = [own.floor, own.floor + own.height]
        if own.tiles is not None:
            levels.append(own.floor + own.tiles)
        mine = [p for p, sheet in enumerate(building.sheets) if sheet.kind in _SLABS and sheet.owner == own.name]
        by_owner[mirrors.triangle_mirror[np.isin(mirrors.triangle_part, mine)]] = True
    # Straight below and above: the slab itself, or through a void the next one.
    flat = np.flatnonzero(mirrors.slab & level[mirrors.plane])
    if len(flat):
        at = np.stack([np.full(len(flat), x), np.full(len(flat), y), height[mirrors.plane[flat]]], axis=1)
        met, _ = mirrors.hit(mirrors.plane[flat], at, np.ones(len(flat)))
        there = at[met == flat, 2]
        levels += [float(there[there <= z + IN_PLANE].max(initial=-np.inf))]
        levels += [float(there[there >= z - IN_PLANE].min(initial=np.inf))]
    near = np.zeros(mirrors.n_planes, bool)
    for one in levels:
        near |= level & (np.abs(height - one) <= _LEVEL)
    return np.asarray(mirrors.slab & (near[mirrors.plane] | by_owner))
