"""What stops a person on a storey, in plan: walls, screens, desks, solids, racks, machines. Doors do not.

A door is walked through whether closed or open: whoever walks opens it. For the detectors' rays it stays as the
scene's state has it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import shapely

from raycover.building.parts import Boxes, Building, Floats, Sheet
from raycover.building.sections import section
from raycover.scene.parts import LOWEST_DOOR_M

#: What ends no higher than this (m) above the floor is stepped over: a threshold, a mat.
STEP_OVER = 0.05
#: Heights (m) above the floor at which imported objects are cut.
_CUTS = (0.15, 0.45, 0.8, 1.15, 1.5)


@dataclass(frozen=True)
class Obstacles:
    """Shapes (shapely) in plan with the names of the things they belong to."""

    shapes: tuple[Any, ...]
    names: tuple[str, ...]

    @cached_property
    def tree(self) -> Any:
        return shapely.STRtree(list(self.shapes))

    def met(self, start: Floats, end: Floats, inset: float = 0.0) -> list[tuple[float, str]]:
        """(distance from start, name) of what a straight step meets, nearest first; `inset` m less at its end."""
        length = float(np.linalg.norm(np.subtract(end, start)))
        if length <= inset:
            return []
        line = shapely.LineString([start, np.add(start, np.subtract(end, start) * (1 - inset / length))])
        found = self.tree.query(line, predicate="intersects")
        origin = shapely.Point(start)
        at = [(float(self.shapes[k].intersection(line).distance(origin)), self.names[k]) for k in found]
        return sorted(at)


def obstacles(building: Building, rooms: Sequence[int], tall: float) -> Obstacles:
    """What stands between ankle and head of someone `tall` (m) in the rooms (indices) of one storey."""
    level = min((building.rooms[r].floor for r in rooms), default=building.ground)
    shapes: list[Any] = []
    names: list[str] = []
    parts = (_sheets(building, rooms, level, tall), _boxes(building, rooms, level, tall),
             _objects(building, rooms, level, tall))  # fmt: skip
    for some in parts:
        for shape, name in some:
            shapes.append(shape)
            names.append(name)
    return Obstacles(tuple(shapes), tuple(names))


def _floors(building: Building, rooms: Sequence[int], points: Floats, level: float) -> Floats:
    """Floor (n,) under places (n, 2) in the rooms of one storey, its level where none holds them."""
    floors = np.full(len(points), level)
    for r in rooms:
        room = building.rooms[r]
        if room.floor != level:
            floors[shapely.intersects_xy(room.polygon, points[:, 0], points[:, 1])] = room.floor
    return floors


def _sheets(building: Building, rooms: Sequence[int], level: float, tall: float) -> Iterator[tuple[Any, str]]:
    some = [s for s in building.sheets if s.kind not in ("floor", "ceiling", "leaf", "deck") and not _is_door(s)]
    if not some:
        return
    corners = [s.frame.to_space(shapely.get_coordinates(s.polygon)) for s in some]
    middles = np.array([c[:, :2].mean(axis=0) for c in corners])
    for sheet, points, floor in zip(some, corners, _floors(building, rooms, middles, level), strict=True):
        low, high = floor + STEP_OVER, floor + tall
        if points[:, 2].max() <= low or points[:, 2].min() >= high:
            continue
        if sheet.vertical:
            yield from _upright(sheet, low, high)
        else:
            flat = shapely.convex_hull(shapely.multipoints(points[:, :2]))
            yield (shapely.Polygon(points[:, :2]).buffer(0) if len(points) > 3 else flat), sheet.owner


def _is_door(sheet: Sheet) -> bool:
    _x0, y0, _x1, y1 = sheet.polygon.bounds
    return sheet.kind == "door" and y1 - y0 >= LOWEST_DOOR_M


def _upright(sheet: Sheet, low: float, high: float) -> Iterator[tuple[Any, str]]:
    """The stretches of an upright sheet between two heights, at its thickness."""
    frame = sheet.frame
    if abs(float(frame.v[2])) > 0.999:
        z0 = float(frame.origin[2])
        sign = float(np.sign(frame.v[2]))
        ends = sorted(((low - z0) * sign, (high - z0) * sign))
        x0, _, x1, _ = sheet.polygon.bounds
        pieces = shapely.get_parts(sheet.polygon.intersection(shapely.box(x0 - 1, ends[0], x1 + 1, ends[1])))
    else:  # a sheet in a frame of its own, by corners: all of it
        pieces = shapely.get_parts(sheet.polygon)
    half = max(sheet.construction.thickness_m / 2, 1e-3)
    for piece in pieces:
        if piece.geom_type != "Polygon":
            continue
        plan = frame.to_space(shapely.get_coordinates(piece))[:, :2]
        along = plan[np.argmax(np.linalg.norm(plan - plan[0], axis=1))] - plan[0]
        place = (plan - plan[0]) @ along
        ends_at = plan[[int(place.argmin()), int(place.argmax())]]
        if np.linalg.norm(ends_at[1] - ends_at[0]) > 1e-6:
            yield shapely.LineString(ends_at).buffer(half, cap_style="flat"), sheet.owner


def _boxes(building: Building, rooms: Sequence[int], level: float, tall: float) -> Iterator[tuple[Any, str]]:
    racks = {rack.owner for rack in building.racks}
    for boxes, whole in ((building.boxes, False), (building.envelopes, True)):
        chosen = np.flatnonzero(_in_band(building, boxes, rooms, level, tall))
        if len(chosen):
            shapes = shapely.polygons(boxes.footprints(chosen))
            for shape, k in zip(shapes, chosen.tolist(), strict=True):
                if whole or boxes.owners[k] not in racks:
                    yield shape, boxes.owners[k]


def _in_band(building: Building, boxes: Boxes, rooms: Sequence[int], level: float, tall: float) -> Any:
    floors = _floors(building, rooms, boxes.centre[:, :2], level)
    half = boxes.size[:, 2] / 2
    bottom, top = boxes.centre[:, 2] - half, boxes.centre[:, 2] + half
    return (bottom < floors + tall) & (top > floors + STEP_OVER)


def _objects(building: Building, rooms: Sequence[int], level: float, tall: float) -> Iterator[tuple[Any, str]]:
    for one in building.objects:
        low, high = one.bounds
        floor = float(_floors(building, rooms, (low[None, :2] + high[None, :2]) / 2, level)[0])
        if high[2] <= floor + STEP_OVER or low[2] >= floor + tall:
            continue
        cuts = [section(one, floor + z) for z in _CUTS if z < tall and low[2] < floor + z < high[2]]
        if not cuts:  # lower than the lowest cut, or between two: what it covers
            cuts = [one.footprint]
        for shape in cuts:
            for part in shapely.get_parts(shape):
                if not part.is_empty:
                    yield part, one.owner
