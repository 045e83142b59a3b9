"""Floor that nobody can reach: a flood over what one can walk on, from doors and open edges that lead outside.

A storey is rastered at a decimetre or finer. Walls, screens, desks, solids and racking stop a person; doors do not,
open or closed. A person needs a way `2 · _BODY` wide.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image, ImageDraw
from scipy import ndimage
from shapely.geometry.polygon import orient

from raycover.building.parts import Building, Floats, Sheet, StoreyShape
from raycover.checking.doors import Way, closed_rooms, ways_through
from raycover.checking.uprights import chosen
from raycover.errors import Problem
from raycover.rays.enclosed import Enclosures
from raycover.scene.schema import Scene
from raycover.solving.surfaces import cells_in_boxes, cells_in_objects

Mask = NDArray[np.bool_]
#: Half the narrowest way (m) that a person squeezes through. From memory, common practice.
_BODY = 0.15
#: Heights (m) above the floor at which things stop a person: a low screen, a hanging panel.
_STOPS = (0.5, 1.2)
_BOX_STOPS = (0.4, 1.0, 1.5)
#: A table's top between these heights (m) stops a person.
_TABLE = (0.3, 1.4)
#: Cells: no coarser than the first (m) unless there were more than so many; no finer than the second.
_COARSE, _FINE, _MOST_CELLS, _USUAL_CELLS = 0.1, 0.05, 4_000_000, 200_000
#: Islands smaller than this (m²) are corners between furniture. From memory, common practice.
_LEAST_M2 = 0.5


def check_floors(scene: Scene, building: Building) -> Iterator[Problem]:
    """Islands of floor, storey by storey; rooms without any door are told by themselves."""
    ways = ways_through(building)
    closed = set(closed_rooms(scene, building, ways)) if ways else set()
    for storey in building.storeys:
        rooms = [r for r in storey.rooms if r not in closed]
        if rooms:
            yield from _storey(scene, building, rooms, [w for w in ways if set(w.rooms) & set(rooms)], storey)


class _Raster:
    """Cells of a storey: `x`, `y` their middles, `room` (ny, nx) whose floor, −1 none."""

    def __init__(self, building: Building, rooms: Sequence[int]) -> None:
        bounds = np.array([building.rooms[r].polygon.bounds for r in rooms])
        low, high = bounds[:, :2].min(axis=0), bounds[:, 2:].max(axis=0)
        area = float(np.prod(high - low))
        self.cell = float(np.clip(np.sqrt(area / _USUAL_CELLS), _FINE, _COARSE))
        self.cell = max(self.cell, float(np.sqrt(area / _MOST_CELLS)))
        self.low = low - 2 * self.cell
        n = np.ceil((high - self.low) / self.cell).astype(int) + 2
        self.shape = (int(n[1]), int(n[0]))
        self.x, self.y = (self.low[k] + (np.arange(n[k]) + 0.5) * self.cell for k in (0, 1))
        self.room = np.full(self.shape, -1, np.int32)
        for r in rooms:
            for polygon in shapely.get_parts(building.rooms[r].walkable):
                self.room[self.filled(polygon)] = r

    def filled(self, polygon: Any) -> Mask:
        """Cells whose middle lies in a polygon, its holes left out."""
        if polygon.geom_type != "Polygon" or polygon.is_empty:
            return np.zeros(self.shape, bool)
        image = Image.new("1", self.shape[::-1], 0)
        draw = ImageDraw.Draw(image)
        for ring, value in [(polygon.exterior, 1), *((hole, 0) for hole in polygon.interiors)]:
            places = (np.asarray(ring.coords)[:, :2] - self.low) / self.cell - 0.5
            draw.polygon([tuple(p) for p in places], fill=value)
        return np.asarray(image, bool)

    def index(self, points: Floats) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Rows and columns of points (n, 2), held within the raster."""
        place = np.floor((np.asarray(points, float).reshape(-1, 2) - self.low) / self.cell).astype(np.intp)
        return np.clip(place[:, 1], 0, self.shape[0] - 1), np.clip(place[:, 0], 0, self.shape[1] - 1)

    def line(self, mask: Mask, start: Floats, end: Floats, *, value: bool = True) -> None:
        """Set the cells that a line runs through."""
        n = int(np.ceil(float(np.linalg.norm(np.subtract(end, start))) / self.cell * 2)) + 1
        mask[self.index(np.linspace(start, end, n))] = value


def _storey(
    scene: Scene, building: Building, rooms: Sequence[int], ways: Sequence[Way], storey: StoreyShape
) -> Iterator[Problem]:
    raster = _Raster(building, rooms)
    walls, things = _obstacles(building, rooms, raster)
    floor = raster.room >= 0
    reach = max(_BODY, 1.5 * raster.cell) / raster.cell
    by_wall = ndimage.distance_transform_edt(~walls) <= reach
    for way in ways:
        _open(raster, by_wall, way, reach)
    by_thing = ndimage.distance_transform_edt(~things) <= reach if things.any() else things
    labels, n = ndimage.label(floor & ~by_wall & ~by_thing)
    if n < 2:
        return
    reached = _reached(building, rooms, raster, labels, ways, n) | _from_open_edges(
        building, rooms, raster, walls, labels
    )
    free = floor & ~walls & ~things
    away, nearest = ndimage.distance_transform_edt(labels == 0, return_indices=True)
    whole = np.where(free & (away <= reach + 1.5), labels[nearest[0], nearest[1]], 0)
    areas = np.bincount(whole.ravel(), minlength=n + 1) * raster.cell**2
    depth = ndimage.distance_transform_edt(labels > 0)
    islands = [k for k in range(1, n + 1) if k not in reached and areas[k] >= _LEAST_M2]
    for k in sorted(islands, key=lambda k: -areas[k]):
        row, column = np.unravel_index(int(np.where(labels == k, depth, -1.0).argmax()), labels.shape)
        room = int(raster.room[row, column])
        yield Problem(
            "unreachable-floor",
            f'about {areas[k]:.1f} m² of "{building.rooms[room].name}" around '
            f"({raster.x[column]:.1f}, {raster.y[row]:.1f}) cannot be reached from a door",
            scene.position("rooms", room, "outline"),
            f"leave a way at least {2 * _BODY:g} m wide to it, or add a door",
            severity="warning",
        )


def _obstacles(building: Building, rooms: Sequence[int], raster: _Raster) -> tuple[Mask, Mask]:
    """Cells with a wall or screen, and cells with a thing on them."""
    walls, things = np.zeros(raster.shape, bool), np.zeros(raster.shape, bool)
    upright = [s for s in building.sheets if s.vertical and s.kind in ("wall", "window", "partition", "panel", "sheet")]
    level = [s for s in building.sheets if s.kind in ("desk", "sheet") and not s.vertical]
    solid = chosen(building.boxes, [k for k, kind in enumerate(building.boxes.kinds) if kind in ("solid", "fixture")])
    enclosures = Enclosures(building)
    for floor in sorted({building.rooms[r].floor for r in rooms}):
        for stop in _STOPS:
            for start, end in _cut(upright, floor + stop):
                raster.line(walls, start, end)
        for sheet in level:
            corners = sheet.frame.to_space(shapely.get_coordinates(sheet.polygon))
            if floor + _TABLE[0] <= corners[:, 2].min() and corners[:, 2].max() <= floor + _TABLE[1]:
                things |= raster.filled(shapely.Polygon(corners[:, :2]))
        for stop in _BOX_STOPS:
            for boxes in (solid, building.envelopes):
                things |= cells_in_boxes(boxes, raster.x, raster.y, np.asarray(floor + stop), raster.cell)
            things |= cells_in_objects(enclosures, raster.x, raster.y, np.asarray(floor + stop))
    return walls, things


def _cut(sheets: Sequence[Sheet], z: float) -> Iterator[tuple[Floats, Floats]]:
    """Where upright sheets are met at a height: both ends in plan of each stretch."""
    lines, polygons, cut = [], [], []
    for sheet in sheets:
        frame = sheet.frame
        slope = np.array([frame.u[2], frame.v[2]])
        foot = slope * (z - frame.origin[2]) / float(slope @ slope)
        along = np.array([-slope[1], slope[0]])
        x0, y0, x1, y1 = sheet.polygon.bounds
        far = float(np.hypot(x1 - x0, y1 - y0) + np.linalg.norm(foot - [x0, y0])) + 1.0
        lines.append(shapely.LineString([foot - along * far, foot + along * far]))
        polygons.append(sheet.polygon)
        cut.append(sheet)
    if not cut:
        return
    met = shapely.intersection(np.array(polygons, object), np.array(lines, object))
    parts, index = shapely.get_parts(met, return_index=True)
    for part, k in zip(parts, index, strict=True):
        if part.geom_type == "LineString" and part.length > 0:
            ends = cut[k].frame.to_space(shapely.get_coordinates(part))[:, :2]
            yield ends[0], ends[-1]


def _open(raster: _Raster, by_wall: Mask, way: Way, reach: float) -> None:
    """Free the way through a door of what its own wall takes of it."""
    along = np.array([way.normal[1], -way.normal[0]])
    half = max(way.width / 2 - _BODY, 0.0)
    step = (reach + 1.5) * raster.cell * way.normal
    for shift in np.arange(-half, half + 1e-9, raster.cell / 2) if half else [0.0]:
        foot = way.middle + along * shift
        raster.line(by_wall, foot - step, foot + step, value=False)


def _from_open_edges(
    building: Building, rooms: Sequence[int], raster: _Raster, walls: Mask, labels: NDArray[np.int32]
) -> set[int]:
    """Labels of floor at an edge without a wall beyond which no room lies: a deck, a canopy, a yard."""
    inside = shapely.union_all([building.rooms[r].polygon for r in rooms])
    found: set[int] = set()
    for r in rooms:
        ring = shapely.get_coordinates(orient(building.rooms[r].polygon).exterior)
        for start, end in pairwise(ring):
            length = float(np.linalg.norm(end - start))
            along = (end - start) / max(length, 1e-9)
            inward = np.array([-along[1], along[0]])
            places = start + np.arange(2 * _BODY, length - 2 * _BODY, _BODY)[:, None] * along
            outside = ~shapely.intersects_xy(inside, *(places - 0.05 * inward).T)
            walled = np.any([walls[raster.index(places + k * raster.cell * inward)] for k in (-1, 0, 1)], axis=0)
            free = places[outside & ~walled] + (_BODY + raster.cell) * inward
            found |= set(labels[raster.index(free)].tolist())
    return found - {0}


def _reached(
    building: Building,
    rooms: Sequence[int],
    raster: _Raster,
    labels: NDArray[np.int32],
    ways: Sequence[Way],
    n: int,
) -> set[int]:
    """Labels of what a door from outside, or a stair, leads to; the largest piece of floor where neither does."""
    seeds = [way.middle + s * way.normal * 0.4 for way in ways for s, r in zip((1, -1), way.rooms, strict=True)
             if r in rooms and not set(way.rooms) <= set(rooms)]  # fmt: skip
    floors = np.array([building.rooms[r].floor for r in rooms])
    for stairs in building.stairs:
        for piece in stairs.pieces:
            rise = float(piece.height(np.array([piece.length - 1e-6]))[0]) - float(piece.origin[2])
            side = piece.across[:2] * piece.width / 2
            for z, ahead in ((piece.origin[2], -0.3), (piece.origin[2] + rise, piece.length + 0.3)):
                if np.abs(floors - z).min() < 0.25:
                    seeds.append(piece.origin[:2] + side + piece.along[:2] * ahead)
    found: set[int] = set()
    for seed in seeds:
        row, column = (int(v[0]) for v in raster.index(seed))
        r = round(0.6 / raster.cell)
        window = labels[max(row - r, 0) : row + r + 1, max(column - r, 0) : column + r + 1]
        found |= set(np.unique(window[window > 0]).tolist())
    if found:
        return found
    sizes = np.bincount(labels.ravel(), minlength=n + 1)
    sizes[0] = 0
    if ways:
        return {int(sizes.argmax())}
    # No doors at all: each room is a study by itself, its largest piece is where people are.
    largest: set[int] = set()
    for r in rooms:
        mine = np.bincount(labels[raster.room == r], minlength=n + 1)
        mine[0] = 0
        if mine.max():
            largest.add(int(mine.argmax()))
    return largest
