"""Slabs and roofs as sheets, or as the floors and ceilings of rooms. Plain geometry, metres."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.importing.outlines import without_holes
from raycover.importing.walls import Wall, polygons

Floats = NDArray[np.floating]

#: Finishes between a slab's top and the floor of the space on it (m).
_FINISH = 0.35
#: A ceiling this near (m) to a slab's underside is that slab.
_CEILING_SLACK = 0.06
#: A room lies on a slab that carries this share of it.
_CARRIED = 0.97
#: What is left of a slab beyond the rooms' outlines in strips narrower than twice this (m) is the walls' share.
_STRIP = 0.2
#: Smallest hole in a slab (m²) worth a void.
_SMALLEST_VOID = 0.05
#: Smallest piece of a slab (m²) worth a sheet.
_SMALLEST = 0.25


@dataclass
class Room:
    """A room on its way into the scene: outline to centre lines, what is above and below; `net` as in the file."""

    name: str
    outline: Any
    floor: float
    height: float
    net: Any
    floor_construction: Any = "none"
    ceiling: Any = "none"
    notes: dict[str, list[str]] = field(default_factory=dict)
    storey: str = ""
    #: Holes in its floor or ceiling: (polygon, "floor" or "ceiling").
    voids: list[tuple[Any, str]] = field(default_factory=list)

    def note(self, key: str, text: str) -> None:
        if text not in self.notes.setdefault(key, []):
            self.notes[key].append(text)


@dataclass
class Plate:
    """A level slab: its plan (holes included), underside, top, construction; `sheet_z` is where its sheet lies."""

    name: str
    plan: Any
    bottom: float
    top: float
    construction: Any
    notes: list[str] = field(default_factory=list)
    storey: str = ""
    sheet_z: float | None = None
    #: Holes that something fills: (polygon, construction, name, notes).
    fills: list[tuple[Any, Any, str, list[str]]] = field(default_factory=list)

    @property
    def z(self) -> float:
        return self.bottom if self.sheet_z is None else self.sheet_z


@dataclass
class FlatSheet:
    """A sheet of the scene: corners (n, 3) and construction."""

    name: str
    corners: Floats
    construction: Any
    notes: list[str] = field(default_factory=list)
    storey: str = ""


@dataclass
class Box:
    """A box of the scene, its base absolute."""

    name: str
    centre: tuple[float, float]
    size: tuple[float, float, float]
    base: float
    turn_deg: float
    material: str
    notes: list[str] = field(default_factory=list)
    storey: str = ""


def facets(vertices: Floats, faces: NDArray[np.integer], *, downward: bool = True) -> list[tuple[Floats, Any]]:
    """The flat undersides (or upper sides) of a body: ((4,) plane n·x = d, polygon in plan), the largest first."""
    corners = vertices[faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    size = np.linalg.norm(normal, axis=1)
    keep = size > 1e-9
    corners, normal = corners[keep], normal[keep] / size[keep, None]
    facing = normal[:, 2] < -0.15 if downward else normal[:, 2] > 0.15
    corners, normal = corners[facing], normal[facing]
    offset = np.einsum("ij,ij->i", normal, corners[:, 0])
    found: list[tuple[Floats, Any]] = []
    left = np.ones(len(corners), bool)
    while left.any():
        first = int(np.argmax(left))
        alike = left & (normal @ normal[first] > 0.9998) & (np.abs(offset - offset[first]) < 0.01)
        plan = shapely.union_all(shapely.polygons(corners[alike][:, :, :2]), grid_size=1e-5)
        plane = np.array([*normal[first], offset[first]])
        found += [(plane, part) for part in polygons(plan) if part.area > 1e-3]
        left &= ~alike
    return sorted(found, key=lambda pair: -pair[1].area)


def on_plane(plan: Floats, plane: Floats) -> Floats:
    """Points in plan (n, 2) lifted onto a plane that is not upright: (n, 3)."""
    z = (plane[3] - plan @ plane[:2]) / plane[2]
    return np.column_stack([plan, z])


def lay_floors(rooms: Sequence[Room], plates: Sequence[Plate]) -> list[Room]:
    """Give rooms the slabs they lie on and under; returns the rooms that lie on none.

    What becomes a floor or ceiling is taken out of the plate's plan, so that no slab is there twice. Holes in it
    (a stair well) become the room's voids.
    """
    bare = []
    for room in rooms:
        below = [p for p in plates if -_FINISH <= p.top - room.floor <= 0.03 and _carries(p, room)]
        below = sorted(below, key=lambda p: -p.top)
        chain = [p for k, p in enumerate(below) if k == 0 or abs(below[k - 1].bottom - p.top) < 0.03]
        if not chain:
            reached = [p for p in plates if -_FINISH <= p.top - room.floor <= 0.03]
            part = sum(p.plan.intersection(room.net).area for p in reached)
            for plate in reached:
                if plate.plan.intersects(room.net) and plate.sheet_z is None:
                    plate.sheet_z = room.floor
            if part < 0.2 * room.net.area:
                bare.append(room)
            continue
        room.floor_construction = _together([p.construction for p in chain])
        room.voids += [(hole, "floor") for hole in _holes(chain[0], room)]
        for plate in below:  # a slab drawn twice is there once
            plate.plan = plate.plan.difference(room.outline)
        for plate in chain:
            for note in plate.notes:
                room.note("floor_construction", note)
            if plate.sheet_z is None:
                plate.sheet_z = room.floor
    for room in rooms:
        _under(room, plates)
    return bare


def _under(room: Room, plates: Sequence[Plate]) -> None:
    """The ceiling of a room where a slab that is nobody's floor lies on it; its height ends at the sheet."""
    top = room.floor + room.height
    above = [
        p
        for p in plates
        if p.bottom > room.floor + 0.5 * room.height and p.bottom - _CEILING_SLACK <= top <= p.top + 0.03
    ]
    for plate in sorted(above, key=lambda p: p.bottom):
        if plate.sheet_z is not None:
            if plate.plan.intersects(room.net) or plate.sheet_z < top:
                room.height = min(room.height, plate.sheet_z - room.floor)
            continue
        if _carries(plate, room):
            room.height = plate.bottom - room.floor
            room.ceiling = plate.construction
            for note in plate.notes:
                room.note("ceiling", note)
            room.voids += [(hole, "ceiling") for hole in _holes(plate, room)]
            plate.plan = plate.plan.difference(room.outline)
            return


def _carries(plate: Plate, room: Room) -> bool:
    """Whether a plate, its holes filled, takes in a room: one that is mostly hole, or filled by something, doesn't."""
    if not plate.plan.intersects(room.net) or any(fill[0].intersects(room.net) for fill in plate.fills):
        return False
    solid = plate.plan.intersection(room.net).area
    holes = sum(hole.intersection(room.net).area for hole in _holes(plate, room))
    return bool(solid + holes >= _CARRIED * room.net.area and solid > 0.1 * room.net.area)


def _holes(plate: Plate, room: Room) -> list[Any]:
    """The holes of a plate in a room that are more than a pipe's."""
    rings = [shapely.Polygon(ring) for part in polygons(plate.plan) for ring in part.interiors]
    # Rooms beside this one are taken out already and have left holes of their own.
    pieces = [part for ring in rings for part in polygons(ring.intersection(room.outline))]
    return [part.simplify(1e-3) for part in pieces if part.area > _SMALLEST_VOID and not part.interiors]


def _together(constructions: Sequence[Any]) -> Any:
    """Slabs that lie on each other as one construction, from the top down."""
    if len(constructions) == 1:
        return constructions[0]
    layers = [c["layers"] for c in constructions if isinstance(c, dict)]
    if len(layers) != len(constructions):
        # A name of the catalogue among them: the structure, which is the lossiest, stands for the whole.
        return next(c for c in constructions if not isinstance(c, dict))
    return {"layers": [layer for listed in layers for layer in listed][:20]}


def left_over(plates: Sequence[Plate]) -> list[FlatSheet]:
    """Sheets for what no room took: balconies, landings, roofs, slabs with holes; strips along walls are dropped.

    Where two plates lie in one plane the first has it.
    """
    made: list[FlatSheet] = []
    taken: list[tuple[float, Any]] = []
    for plate in plates:
        plan = shapely.union_all(polygons(plate.plan))
        for z, other in taken:
            if abs(z - plate.z) < 1.5e-3:
                plan = plan.difference(other)
        plan = plan.buffer(-_STRIP, join_style="mitre").buffer(_STRIP, join_style="mitre").intersection(plan)
        pieces = [part for part in polygons(plan) if part.area > _SMALLEST]
        if pieces:
            taken.append((plate.z, shapely.union_all(pieces)))
        made += _sheets(plate.name, pieces, plate.z, plate.construction, plate.notes, plate.storey)
        for hole, fill, name, notes in plate.fills:
            made += _sheets(name, [hole], plate.z, fill, notes, plate.storey)
    return made


def _sheets(
    name: str, pieces: Sequence[Any], z: float, construction: Any, notes: list[str], storey: str
) -> list[FlatSheet]:
    parts = [part for piece in pieces for part in without_holes(piece.simplify(1e-3))]
    made = []
    for k, part in enumerate(parts):
        ring = shapely.get_coordinates(part.exterior)[:-1]
        corners = np.column_stack([ring, np.full(len(ring), z)])
        label = name if len(parts) == 1 else f"{name} part {k + 1}"
        made.append(FlatSheet(label, corners, construction, list(notes), storey))
    return made


def fit_walls(walls: Sequence[Wall], plates: Sequence[Plate], plans: Sequence[Any]) -> int:
    """Bring tops and bases of walls (in place) to the sheets of the slabs they end at; returns how many moved.

    `plans` are the plates' whole plans. A wall ends at a slab's face, its sheet lies elsewhere in the slab's
    thickness: without this there would be a slit over or under the wall.
    """
    moved = 0
    tree = shapely.STRtree(list(plans)) if plans else None
    for wall in walls:
        path = shapely.LineString(wall.line)
        if tree is None:
            break
        base, top = wall.base, wall.top
        for i in sorted(tree.query(path)):
            plate = plates[i]
            if path.intersection(plans[i].buffer(wall.thickness)).length < 0.3 * path.length:
                continue
            if plate.bottom - 0.03 <= wall.top <= plate.top + 0.03 and not wall.gables:
                top = plate.z
            elif plate.bottom - 0.03 <= wall.base <= plate.top + 0.03:
                base = plate.z
        if top - base > 0.1 and (base, top) != (wall.base, wall.top):
            wall.base, wall.top = base, top
            moved += 1
    return moved
