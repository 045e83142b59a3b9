"""Aisles: the floor between two racks that face each other, or between a rack and the wall it faces."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import shapely

from raycover.building.parts import Building, Floats

#: Aisles between racks that face each other are so wide (m): more is open floor.
BETWEEN_RACKS = (1.0, 6.0)
#: And those between a rack and a wall: the widest usual aisle is 3.7 m, for counterbalance trucks (from memory).
BESIDE_A_WALL = (1.0, 4.0)
#: Shorter (m) than this it is no aisle.
_SHORTEST = 2.0
#: Racks stand on one floor where their feet differ by less (m).
_LEVEL = 0.1
#: Faces are parallel where the cosine between them is at least this: 8°.
_PARALLEL = 0.99


@dataclass(frozen=True)
class Aisle:
    """Between two faces: `corners` (4, 2) in plan, first along one face, then back along the other.

    `name` is `R1/R2`, of an aisle beside a wall `R1/wall 2` with the number of the room's edge; `racks` who faces it.
    `outline` (shapely) is the corners' quadrilateral less what loads take of it; `bottom` (m) the level of the feet.
    """

    name: str
    racks: tuple[str, ...]
    corners: Floats
    outline: Any
    bottom: float

    @property
    def middle(self) -> Floats:
        """(2, 2): its ends, half way across."""
        return np.asarray((self.corners[[0, 1]] + self.corners[[3, 2]]) / 2)

    @property
    def names(self) -> tuple[str, ...]:
        """Everything that it may be called: `R1/R2`, `R2/R1`, and as walks call it, `Aisle R1 to R2`."""
        if len(self.racks) < 2:
            return (self.name,)
        one, two = self.racks
        return (self.name, f"{one}/{two}", f"{two}/{one}", f"Aisle {one} to {two}", f"Aisle {two} to {one}")


@dataclass(frozen=True)
class _Face:
    """The front of a row of racking in plan: from `start` along unit vector `along`, `out` into the aisle."""

    rack: str
    start: Floats
    end: Floats
    along: Floats
    out: Floats
    bottom: float

    @property
    def length(self) -> float:
        return float((self.end - self.start) @ self.along)


def find_aisles(building: Building, *, walls: bool = True) -> tuple[Aisle, ...]:
    """Every aisle, those between racks first, each in the order of the scene's racks; those beside `walls` if asked.

    Where the racks differ in length an aisle is as long as both face it; where a third rack stands between, it ends.
    Found once: the building keeps them.
    """
    if walls not in building.aisles:
        building.aisles[walls] = _find(building, walls=walls)
    return building.aisles[walls]


def _find(building: Building, *, walls: bool) -> tuple[Aisle, ...]:
    faces = _faces(building)
    if not faces:
        return ()
    racks = shapely.polygons(np.array([rack.corners for rack in building.racks]))
    found = [*_between_racks(faces, racks), *(_beside_walls(faces, racks, building) if walls else ())]
    taken = shapely.polygons(building.envelopes.footprints()) if len(building.envelopes) else np.array([], object)
    tree = shapely.STRtree(taken)
    aisles, used = [], dict[str, int]()
    for name, owners, corners, bottom in found:
        quad = shapely.Polygon(corners)
        loads = shapely.union_all(taken[tree.query(quad, predicate="intersects")])
        clear = shapely.difference(quad, loads, grid_size=1e-6)  # a micrometre: no slivers where edges meet
        used[name] = used.get(name, 0) + 1
        label = name if used[name] == 1 else f"{name} ({used[name]})"
        aisles.append(Aisle(label, owners, corners, clear, bottom))
    return tuple(aisles)


def why_none(building: Building, name: str) -> str:
    """Why no aisle has the name `R1/R2`, where both racks are there; empty where that cannot be said."""
    one, _, two = name.partition("/")
    sides: dict[str, list[_Face]] = {}
    for face in _faces(building):
        sides.setdefault(face.rack, []).append(face)
    if one == two or one not in sides or two not in sides:
        return ""
    middle = {rack: np.mean([(f.start + f.end) / 2 for f in sides[rack]], axis=0) for rack in (one, two)}
    for rack, other in ((one, two), (two, one)):
        toward = [face for face in sides[rack] if face.out @ (middle[other] - middle[rack]) > 0]
        if not toward and len(sides[rack]) == 1:
            return f"{rack} turns its back to {other}: turn it (turn_deg), or give it back_to_back: true"
        sides[rack] = toward or sides[rack]
    near, far = sides[one][0], sides[two][0]
    if near.out @ far.out > -_PARALLEL:
        return "the two do not face each other in parallel"
    apart = float((far.start - near.start) @ near.out)
    low, high = BETWEEN_RACKS
    return f"they stand {apart:.2f} m apart; an aisle is {low:g} to {high:g} m wide" if not low <= apart <= high else ""


_Found = tuple[str, tuple[str, ...], Floats, float]


def _faces(building: Building) -> list[_Face]:
    faces = []
    for rack in building.racks:
        start, end = rack.corners[[2, 3]] if rack.facing_back else rack.corners[[0, 1]]
        along = (end - start) / max(float(np.linalg.norm(end - start)), 1e-9)
        out = np.array([along[1], -along[0]])
        if (start - rack.corners.mean(axis=0)) @ out < 0:
            out = -out
        faces.append(_Face(rack.owner, start, end, along, out, rack.bottom))
    return faces


def _between_racks(faces: list[_Face], racks: Any) -> Iterator[_Found]:
    lines = shapely.linestrings(np.array([[f.start, f.end] for f in faces]))
    pairs = shapely.STRtree(lines).query(lines, predicate="dwithin", distance=BETWEEN_RACKS[1] + 1e-6)
    for i, k in sorted(zip(*(index.tolist() for index in pairs), strict=True)):
        if i >= k:
            continue
        one, two = faces[i], faces[k]
        if one.out @ two.out > -_PARALLEL or abs(one.bottom - two.bottom) > _LEVEL:
            continue
        for corners in _stretches(one, two.start, two.end, racks, BETWEEN_RACKS):
            yield f"{one.rack}/{two.rack}", (one.rack, two.rack), corners, one.bottom


def _beside_walls(faces: list[_Face], racks: Any, building: Building) -> Iterator[_Found]:
    """Between a face and an edge of the room that it stands in, where the room lies between."""
    walls = _wall_lines(building)
    for face in faces:
        for room in building.rooms:
            if not room.floor - _LEVEL <= face.bottom <= room.floor + room.height:
                continue
            points = shapely.get_coordinates(room.polygon.exterior)
            for edge, (start, end) in enumerate(pairwise(points)):
                along = (end - start) / max(float(np.linalg.norm(end - start)), 1e-9)
                walled = walls.distance(shapely.Point((start + end) / 2)) <= 1e-3  # not of a number where none stands
                if abs(along @ face.along) < _PARALLEL or not walled:
                    continue
                for corners in _stretches(face, start, end, racks, BESIDE_A_WALL):
                    if room.polygon.buffer(1e-6).contains(shapely.Polygon(corners)):
                        yield f"{face.rack}/wall {edge}", (face.rack,), corners, face.bottom


def _wall_lines(building: Building) -> Any:
    """Where walls stand in plan, openings included: an edge of a room may have none."""
    lines = []
    for sheet in building.sheets:
        if sheet.kind == "wall" and sheet.vertical:
            lines.append(shapely.MultiPoint(sheet.frame.to_space(shapely.get_coordinates(sheet.polygon))).convex_hull)
    return shapely.union_all(lines)


def _stretches(face: _Face, start: Floats, end: Floats, racks: Any, widths: tuple[float, float]) -> Iterator[Floats]:
    """Corners (4, 2) of what lies between a face and a line across from it, in pieces where racks stand between."""
    ahead = (start - face.start) @ face.out, (end - face.start) @ face.out
    if min(ahead) < widths[0] - 1e-9 or max(ahead) > widths[1] + 1e-9:
        return
    at = (start - face.start) @ face.along, (end - face.start) @ face.along
    low, high = max(0.0, float(min(at))), min(face.length, float(max(at)))
    if high - low < _SHORTEST:
        return

    def corners(a: float, b: float) -> Floats:
        """The quadrilateral from a to b (m) along the face; the far side lies on the line itself."""
        near = face.start + np.outer([a, b], face.along)
        share = (np.array([b, a]) - at[0]) / (at[1] - at[0])
        return np.concatenate([near, start + share[:, None] * (end - start)])

    whole = shapely.Polygon(corners(low, high))
    between = shapely.intersection(racks, whole)
    spans = [(low, low)]
    for part in between[shapely.area(between) > 1e-4]:
        reach = (shapely.get_coordinates(part) - face.start) @ face.along
        spans.append((float(reach.min()), float(reach.max())))
    done = low
    for a, b in (*sorted(spans), (high, high)):
        if a - done >= _SHORTEST - 1e-9:
            yield corners(done, a)
        done = max(done, b)
