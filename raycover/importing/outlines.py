"""Rooms' outlines: from the inside of a space to the centre lines of its walls, or from walls alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.importing.walls import Wall, polygons

Floats = NDArray[np.floating]

#: A wall's face and the space's edge may stand this far (m) apart: linings, skirtings, rounding.
_FACE_SLACK = 0.06
#: Edges and walls within this angle (rad) run alike.
_ALIKE = 0.02
#: A room made from walls has at least this area (m²).
SMALLEST_ROOM = 0.5


@dataclass(frozen=True)
class _Side:
    """One straight piece of a wall: unit way, outward offset comes from the edge that looks at it."""

    start: Floats
    way: Floats
    length: float
    half: float
    base: float
    top: float


class WallSides:
    """The straight pieces of walls, to be asked which one an edge of a space looks at."""

    def __init__(self, walls: Sequence[Wall]) -> None:
        self._sides: list[_Side] = []
        lines = []
        for wall in walls:
            for start, end in pairwise(wall.line):
                length = float(np.linalg.norm(end - start))
                if length < 1e-6:
                    continue
                way = (end - start) / length
                self._sides.append(_Side(start, way, length, wall.thickness / 2, wall.base, wall.top))
                lines.append(shapely.LineString([start, end]))
        self._tree = shapely.STRtree(lines) if lines else None

    def pieces(self, start: Floats, end: Floats, floor: float, top: float) -> list[tuple[float, float, float]]:
        """An edge cut where the wall behind it changes: (from, to, outward distance to the centre line), metres.

        The outside is on the right of the way from `start` to `end`, as round an outline anticlockwise.
        """
        length = float(np.linalg.norm(end - start))
        way = (end - start) / length
        outward = np.array([way[1], -way[0]])
        found: list[tuple[float, float, float]] = []
        for side in self._near(start, end):
            if abs(way[0] * side.way[1] - way[1] * side.way[0]) > _ALIKE:
                continue
            if min(top, side.top) - max(floor, side.base) < min(0.3, 0.5 * (top - floor)):
                continue
            ends = np.array([side.start, side.start + side.way * side.length])
            distance = float(((ends - start) @ outward).mean())
            if not -0.005 <= distance <= side.half + _FACE_SLACK:
                continue
            low, high = np.sort((ends - start) @ way)
            # A wall ends where its neighbour's centre line is: the edge in the corner between belongs to it too.
            low, high = max(0.0, low - side.half), min(length, high + side.half)
            if high - low > min(0.05, 0.5 * length):
                found.append((float(low), float(high), distance))
        return _cover(found, length)

    def _near(self, start: Floats, end: Floats) -> list[_Side]:
        if self._tree is None:
            return []
        reach = max(side.half for side in self._sides) + _FACE_SLACK
        near = self._tree.query(shapely.LineString([start, end]).buffer(reach))
        return [self._sides[i] for i in sorted(near)]


def _cover(found: list[tuple[float, float, float]], length: float) -> list[tuple[float, float, float]]:
    """Spans that cover an edge without overlap, the longest spans first; what no wall backs has distance 0."""
    stations = np.unique(np.concatenate([[0.0, length], *[[low, high] for low, high, _ in found]]))
    stations = stations[np.concatenate([[True], np.diff(stations) > 0.005])]
    stations[-1] = length
    ranked = sorted(found, key=lambda span: (-(span[1] - span[0]), span[2]))
    pieces: list[tuple[float, float, float]] = []
    for low, high in pairwise(stations.tolist()):
        middle = (low + high) / 2
        distance = next((d for a, b, d in ranked if a - 1e-9 <= middle <= b + 1e-9), None)
        if distance is None:
            # A short stretch without a wall, as behind a column or in a joint, follows its neighbour.
            distance = pieces[-1][2] if pieces and high - low < 0.1 else 0.0
        if pieces and abs(pieces[-1][2] - distance) < 1e-3:
            pieces[-1] = (pieces[-1][0], high, pieces[-1][2])
        else:
            pieces.append((low, high, distance))
    return pieces


def to_centre_lines(outline: Any, sides: WallSides, floor: float, top: float) -> Any:
    """A space's inside (polygon without holes) grown to the centre lines of its walls; as it was where that fails."""
    ring = shapely.get_coordinates(shapely.Polygon(outline.exterior).simplify(2e-3).exterior)[:-1]
    if len(ring) < 3:
        return outline
    if not shapely.LinearRing(ring).is_ccw:
        ring = ring[::-1]
    corners: list[Floats] = []
    moved: list[tuple[Floats, Floats, Floats]] = []
    farthest = 0.0
    for start, end in zip(ring, np.roll(ring, -1, axis=0), strict=True):
        way = (end - start) / np.linalg.norm(end - start)
        outward = np.array([way[1], -way[0]])
        for low, high, distance in sides.pieces(start, end, floor, top):
            farthest = max(farthest, distance)
            moved.append((start + way * low + outward * distance, start + way * high + outward * distance, way))
    for before, after in zip([moved[-1], *moved[:-1]], moved, strict=True):
        sine = before[2][0] * after[2][1] - before[2][1] * after[2][0]
        if abs(sine) < 0.05:  # the same edge goes on: a step across, or nothing
            corners += [before[1], after[0]]
            continue
        offset = after[0] - before[1]
        forward = (offset[0] * after[2][1] - offset[1] * after[2][0]) / sine
        corners.append(before[1] + before[2] * forward)
    points = _without_repeats(np.array(corners))
    if len(points) < 3:
        return outline
    grown = shapely.Polygon(points)
    most = outline.area + outline.exterior.length * farthest * 1.5 + 8 * farthest**2
    if not grown.is_valid or not outline.area - 1e-6 <= grown.area <= most:
        return outline
    return grown


def _without_repeats(points: Floats) -> Floats:
    """Points without those nearer than a millimetre to the one before, or on the line through their neighbours."""
    kept = points[np.linalg.norm(points - np.roll(points, 1, axis=0), axis=1) > 1e-3]
    if len(kept) < 4:
        return kept
    before, after = kept - np.roll(kept, 1, axis=0), np.roll(kept, -1, axis=0) - kept
    cross = np.abs(before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0])
    lengths = np.linalg.norm(before, axis=1) * np.linalg.norm(after, axis=1)
    bent: Floats = kept[cross > 1e-5 * lengths]
    return bent


def from_walls(walls: Sequence[Wall]) -> list[Any]:
    """Polygons that closed loops of walls' centre lines enclose, the largest first."""
    lines = shapely.union_all([shapely.LineString(wall.line) for wall in walls], grid_size=1e-4)
    loops = shapely.polygonize([lines] if lines.geom_type == "LineString" else list(lines.geoms))
    found = [part for part in polygons(loops) if part.area >= SMALLEST_ROOM]
    # A slit between two leaves of a cavity wall is no room.
    found = [part for part in found if not part.buffer(-0.25).is_empty]
    return sorted(found, key=lambda part: -part.area)


def without_holes(polygon: Any) -> list[Any]:
    """A polygon cut into pieces that have no holes, by upright cuts through each hole."""
    if not len(polygon.interiors):
        return [polygon]
    x0, y0, x1, y1 = polygon.bounds
    x = shapely.Polygon(polygon.interiors[0]).centroid.x
    halves = (shapely.box(x0 - 1, y0 - 1, x, y1 + 1), shapely.box(x, y0 - 1, x1 + 1, y1 + 1))
    parts = [part for half in halves for part in polygons(polygon.intersection(half)) if part.area > 1e-4]
    return [piece for part in parts for piece in without_holes(part)]


def apart(outlines: Sequence[Any], floors: Sequence[tuple[float, float]]) -> list[Any]:
    """Outlines without the parts that an earlier one of the same height takes already."""
    done: list[Any] = []
    for index, outline in enumerate(outlines):
        rest = outline
        for other, (low, high) in zip(done, floors, strict=False):
            if min(high, floors[index][1]) - max(low, floors[index][0]) < 0.01 or other.is_empty:
                continue
            if shapely.buffer(rest.intersection(other), -1e-3).area > 1e-4:
                parts = polygons(rest.difference(other).buffer(-2e-3, join_style="mitre"))
                biggest = max(parts, key=lambda part: part.area, default=shapely.Polygon())
                rest = biggest.buffer(2e-3, join_style="mitre")
        done.append(rest)
    return done
