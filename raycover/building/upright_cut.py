"""A building cut by an upright plane: what the cut meets, and what is seen beyond it. For section drawings and fields.

Places in a section are (s, z): metres along its line, and height. Looking at it, s runs from left to right.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.building.parts import Boxes, Building, Floats, MeshObject, OpeningMark, RoomShape, Sheet, StairShape
from raycover.building.sections import feature_edges, section

Ints = NDArray[np.intp]
#: A stretch of line shorter than this (m) is no cut.
_SHORTEST = 1e-4
#: A sheet that stands nearly along the cut is drawn no thicker than this many times its thickness.
_THICKEST = 5.0


@dataclass(frozen=True)
class CutLine:
    """The plane: from `origin` (2,) along a unit vector (2,) for `length` m; beyond lies to the left of `along`."""

    origin: Floats
    along: Floats
    length: float

    @classmethod
    def between(cls, start: Sequence[float], end: Sequence[float], *, looking_left: bool = True) -> CutLine:
        """The cut from one point to another, seen by someone who walks along it and looks to a side."""
        a, b = (np.asarray(p, float) for p in ((start, end) if looking_left else (end, start)))
        length = float(np.linalg.norm(b - a))
        return cls(a, (b - a) / length, length)

    @property
    def beyond(self) -> Floats:
        """Unit vector (2,) of the direction one looks in."""
        return np.array([-self.along[1], self.along[0]])

    def place(self, points: Floats) -> Floats:
        """Plan points (…, 2 or more) → (…, 2): along the line, and beyond it (m)."""
        offset = np.asarray(points, float)[..., :2] - self.origin
        return np.stack([offset @ self.along, offset @ self.beyond], axis=-1)

    def at(self, s: Floats) -> Floats:
        """Plan points (…, 2) at places along the line."""
        return np.asarray(self.origin + np.asarray(s, float)[..., None] * self.along)

    @property
    def string(self) -> Any:
        return shapely.LineString([self.origin, self.at(np.array(self.length))])


def room_profiles(line: CutLine, rooms: Sequence[RoomShape]) -> list[tuple[int, Any]]:
    """(room by index, polygon over (s, z) from its floor to its ceiling or roof) for every stretch that is cut."""
    found = []
    for index, room in enumerate(rooms):
        for part in shapely.get_parts(line.string.intersection(room.polygon)):
            if part.geom_type != "LineString" or part.length < 1e-3:
                continue
            low, high = np.sort(line.place(shapely.get_coordinates(part))[[0, -1], 0])
            s = np.array([low, high])
            if room.form is not None and room.form.pitched:
                a, b = room.form.place(line.at(s))
                if (a - room.form.ridge) * (b - room.form.ridge) < 0:
                    s = np.insert(s, 1, low + (room.form.ridge - a) / (b - a) * (high - low))
            top = room.top_at(line.at(s))
            upper = np.stack([s, top], axis=1)[::-1]
            found.append((index, shapely.Polygon([(low, room.floor), (high, room.floor), *upper])))
    return found


@dataclass(frozen=True)
class CutSheet:
    """A stretch of a sheet that is cut, from `start` to `end` (2,) over (s, z), `thick` (m) as the cut shows it."""

    sheet: Sheet
    start: Floats
    end: Floats
    thick: float


def cut_sheets(line: CutLine, sheets: Sequence[Sheet]) -> list[CutSheet]:
    """Every sheet that the plane crosses; one that lies in the plane is not met."""
    polygons, cuts, met = [], [], []
    beyond = np.array([*line.beyond, 0.0])
    along = np.array([*line.along, 0.0])
    for sheet in sheets:
        frame = sheet.frame
        slope = np.array([float(frame.u @ beyond), float(frame.v @ beyond)])
        steep = float(slope @ slope)
        if steep < 1e-8:
            continue
        offset = float((frame.origin[:2] - line.origin) @ line.beyond)
        foot = -offset * slope / steep
        x0, y0, x1, y1 = sheet.polygon.bounds
        reach = float(np.hypot(x1 - x0, y1 - y0) + np.linalg.norm(foot - [x0, y0])) + 1.0
        step = np.array([-slope[1], slope[0]]) / np.sqrt(steep) * reach
        polygons.append(sheet.polygon)
        cuts.append(shapely.LineString([foot - step, foot + step]))
        met.append(sheet)
    if not met:
        return []
    found = []
    parts, index = shapely.get_parts(shapely.intersection(polygons, cuts), return_index=True)
    for part, k in zip(parts, index, strict=True):
        if part.geom_type != "LineString" or part.length < _SHORTEST:
            continue
        sheet = met[int(k)]
        ends = sheet.frame.to_space(shapely.get_coordinates(part))[[0, -1]]
        flat = np.stack([line.place(ends)[:, 0], ends[:, 2]], axis=1)
        flat = flat[np.lexsort((flat[:, 1], flat[:, 0]))]
        inside = (flat[:, 0] >= -1e-6) & (flat[:, 0] <= line.length + 1e-6)
        if not inside.any():
            continue
        normal = sheet.frame.normal
        share = float(np.hypot(normal @ along, normal[2]))
        thick = sheet.construction.thickness_m * min(1 / max(share, 1e-9), _THICKEST)
        found.append(CutSheet(sheet, flat[0], flat[1], thick))
    return found


def cut_boxes(line: CutLine, boxes: Boxes) -> tuple[Ints, Floats]:
    """Boxes that the plane cuts (n,), and their oblongs (n, 4) over (s, z): s0, z0, s1, z1."""
    if not len(boxes):
        return np.zeros(0, np.intp), np.zeros((0, 4))
    cos, sin = np.cos(boxes.turn_rad), np.sin(boxes.turn_rad)
    offset = line.origin - boxes.centre[:, :2]
    low, high = np.full(len(boxes), 0.0), np.full(len(boxes), line.length)
    for axis, (a, b) in enumerate(((cos, sin), (-sin, cos))):
        start, step = offset[:, 0] * a + offset[:, 1] * b, line.along[0] * a + line.along[1] * b
        half = boxes.size[:, axis] / 2
        level = np.abs(step) < 1e-12
        with np.errstate(divide="ignore", invalid="ignore"):
            ends = np.sort(np.stack([(-half - start) / step, (half - start) / step]), axis=0)
        low = np.where(level, np.where(np.abs(start) < half, low, np.inf), np.maximum(low, ends[0]))
        high = np.where(level, high, np.minimum(high, ends[1]))
    met = np.flatnonzero(high - low > _SHORTEST)
    z, half = boxes.centre[met, 2], boxes.size[met, 2] / 2
    return met, np.stack([low[met], z - half, high[met], z + half], axis=1)


def boxes_beyond(line: CutLine, boxes: Boxes, depth: float) -> tuple[Ints, Floats, Floats]:
    """Boxes seen beyond the cut, no further than `depth` m: indices (n,), oblongs (n, 4), how far their near side."""
    if not len(boxes):
        return np.zeros(0, np.intp), np.zeros((0, 4)), np.zeros(0)
    plan = line.place(boxes.footprints())
    near = plan[..., 1].min(axis=1)
    low, high = plan[..., 0].min(axis=1), plan[..., 0].max(axis=1)
    met = np.flatnonzero((near > 1e-6) & (near <= depth) & (high > 0) & (low < line.length))
    z, half = boxes.centre[met, 2], boxes.size[met, 2] / 2
    return met, np.stack([low[met], z - half, high[met], z + half], axis=1), near[met]


def cut_objects(line: CutLine, objects: Sequence[MeshObject]) -> list[tuple[MeshObject, Any]]:
    """Imported objects that the plane cuts, with what it cuts of them (shapely, over (s, z))."""
    found = []
    for one in objects:
        # A turn: s, z and the way back toward the viewer are right-handed, so faces keep their outsides.
        turned = _turned(line, one)
        flat = section(turned, 0.0)
        if not flat.is_empty and shapely.box(0, -1e6, line.length, 1e6).intersects(flat):
            found.append((one, flat))
    return found


def objects_beyond(line: CutLine, objects: Sequence[MeshObject], depth: float) -> list[Floats]:
    """Edge lines (n, 2, 2) over (s, z) of imported objects whose nearest point lies beyond the cut."""
    found = []
    for one in objects:
        turned = _turned(line, one).triangles
        low, high = turned.min(axis=(0, 1)), turned.max(axis=(0, 1))
        near = -float(high[2])
        if 1e-6 < near <= depth and high[0] > 0 and low[0] < line.length:
            found.append(feature_edges(turned, 30.0)[..., :2])
    return found


def _turned(line: CutLine, one: MeshObject) -> MeshObject:
    flat = line.place(one.triangles)
    places = np.stack([flat[..., 0], one.triangles[..., 2], -flat[..., 1]], axis=-1)
    return replace(one, triangles=places)


def openings_beyond(line: CutLine, openings: Sequence[OpeningMark], depth: float) -> Floats:
    """Doors and windows seen face on beyond the cut: oblongs (n, 4) over (s, z)."""
    found = []
    for mark in openings:
        ends = line.place(np.array([mark.start, mark.end]))
        wide = abs(float(ends[1, 0] - ends[0, 0]))
        if wide < 0.7 * float(np.linalg.norm(ends[1] - ends[0])):
            continue
        if ends[:, 1].min() > 0.02 and ends[:, 1].max() <= depth and ends[:, 0].max() > 0:
            found.append((ends[:, 0].min(), mark.sill, ends[:, 0].max(), mark.top))
    return np.unique(np.round(np.array(found, float).reshape(-1, 4), 4), axis=0)


def stairs_along(line: CutLine, stairs: Sequence[StairShape], s: Floats) -> list[Floats]:
    """Heights (n,) of the steps that the line crosses at places (n,), one array a piece of a stair; NaN elsewhere."""
    found = []
    plan = line.at(s)
    for stair in stairs:
        for piece in stair.pieces:
            offset = plan - piece.origin[:2]
            a, b = offset @ piece.along[:2], offset @ piece.across[:2]
            on = (a >= 0) & (a <= piece.length) & (b >= 0) & (b <= piece.width)
            if on.any():
                found.append(np.where(on, piece.height(np.clip(a, 0, piece.length - 1e-9)), np.nan))
    return found


def extent(line: CutLine, building: Building) -> tuple[float, float, float, float]:
    """What a drawing of the cut must show (m): s0, z0, s1, z1 of the rooms that it crosses, else of the whole line."""
    profiles = [polygon for _, polygon in room_profiles(line, building.rooms)]
    if profiles:
        x0, z0, x1, z1 = shapely.total_bounds(np.array(profiles, object))
        return float(x0), float(z0), float(x1), float(z1)
    low, high = float(building.bounds[0, 2]), float(building.bounds[1, 2])
    return 0.0, min(low, building.ground), line.length, max(high, building.ground + 0.5)
