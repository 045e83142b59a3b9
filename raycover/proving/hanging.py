"""Where a unit can hang: near where it hangs now, over a room, along its walls; never in a solid or a rack."""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.polygon import orient

from raycover.building.aisles import Aisle, find_aisles
from raycover.building.parts import Building, RoomShape
from raycover.detectors import Unit
from raycover.rays.enclosed import Enclosures
from raycover.scene.schema import Scene
from raycover.solving.coverage import inside_boxes

Floats = NDArray[np.floating]
Bools = NDArray[np.bool_]
#: A unit on a ceiling keeps this far (m) from walls; one on a wall stands so far off the wall's centre line.
FROM_WALL_M, OFF_WALL_M = 0.3, 0.1
#: Where the wall bends by less than this (degrees) there is no corner to hang in.
_BENDS_DEG = 30.0
#: In the open, a unit hangs no farther (m) than so beyond what it shall see.
_ABOUT_M = 2.0
#: Units on a ceiling hang no more than so (m) below it: lower, trucks, ladders and balls come by.
BELOW_CEILING_M = 1.0
#: A new place lies on whole steps (m) of this.
ROUND_M = 0.05


class HangingPlaces:
    """Places for units in one state of a building."""

    def __init__(self, scene: Scene, building: Building) -> None:
        self.building = building
        self._specs = {room.name: room for room in scene.rooms}
        self._racks = replace(building, boxes=building.envelopes)

    @cached_property
    def _enclosures(self) -> Enclosures:
        return Enclosures(self.building)

    @cached_property
    def aisles(self) -> tuple[Aisle, ...]:
        """Every aisle of the building."""
        return find_aisles(self.building)

    def room_of(self, unit: Unit) -> RoomShape | None:
        return self.building.room_at(*(float(v) for v in unit.position))

    def open_ground(self, points: Floats) -> RoomShape:
        """The open about points (n, 2) outside every room, as a room without walls, name or ceiling; heights from 0."""
        about = shapely.box(*points.min(axis=0) - _ABOUT_M, *points.max(axis=0) + _ABOUT_M)
        return RoomShape("", about, 0.0, np.inf)

    def free(self, points: Floats) -> Bools:
        """Which points (n, 3) lie in no solid, no imported body and no rack's row."""
        found = np.ones(len(points), bool)
        for building in (self.building, self._racks):
            found[list(inside_boxes(building, points))] = False
        for index in range(len(self.building.objects)):
            found &= ~self._enclosures.holds(index, points)
        return found

    @cached_property
    def _upright(self) -> tuple[shapely.STRtree, Floats]:
        """Upright sheets in plan, and the heights (n, 2) between which each stands."""
        upright = self.building.upright
        begin, low, end, high = upright.bounds.T
        return shapely.STRtree(shapely.linestrings(upright.ends(begin, end))), np.stack([low, high], axis=1)

    def off_partitions(self, points: Floats, away: float) -> Bools:
        """Which points (n, 3) keep so far (m) from walls, partitions and curtains that come up to their height."""
        tree, spans = self._upright
        found = np.ones(len(points), bool)
        which, sheet = tree.query(shapely.points(points[:, :2]), predicate="dwithin", distance=away - 1e-6)
        z = points[which, 2]
        found[which[(spans[sheet, 0] - away < z) & (z < spans[sheet, 1] + away)]] = False
        return found

    def top(self, room: RoomShape, places: Floats) -> Floats:
        """Height (n,) above a room's floor of what hangs over places (n, 2): tiles, ceiling or roof.

        NaN under a hole in its ceiling, where there is nothing to hang from.
        """
        top = room.top_at(places) - room.floor
        if room.tiles is not None:
            top = np.minimum(top, room.tiles)
        spec = self._specs.get(room.name)
        for void in () if spec is None else spec.voids:
            if void.through in ("ceiling", "both"):
                top[shapely.intersects_xy(shapely.Polygon(void.outline), places[:, 0], places[:, 1])] = np.nan
        return top

    def near(self, unit: Unit, offsets: Floats) -> Floats:
        """Of the unit's place moved by offsets (n, 2), those (m, 2) where it can hang: in its room, at its height.

        One on a ceiling keeps off the walls; one on a wall stays on it.
        """
        places = unit.position[:2] + offsets
        room = self.room_of(unit)
        good = self.free(np.column_stack([places, np.full(len(places), unit.position[2])]))
        if room is not None:
            edge = room.polygon.exterior
            away = shapely.distance(edge, shapely.points(places))
            now = float(edge.distance(shapely.Point(unit.position[:2])))
            good &= shapely.contains_xy(room.polygon, places[:, 0], places[:, 1])
            good &= np.abs(away - now) <= 1e-3 if now < FROM_WALL_M else away >= FROM_WALL_M
            if now >= FROM_WALL_M and self.off_partitions(unit.position[None], FROM_WALL_M)[0]:
                high = np.full(len(places), unit.position[2])
                good &= self.off_partitions(np.column_stack([places, high]), FROM_WALL_M)
            good &= unit.mounting <= room.top_at(places) - room.floor + 1e-6
            if np.isfinite(self.top(room, unit.position[None, :2])[0]):
                good &= np.isfinite(self.top(room, places))
        return np.asarray(places[good])

    def over(self, room: RoomShape, step: float) -> Floats:
        """Places (n, 2) over a room, a step (m) or less apart, off its walls; its middle where it is small."""
        x0, y0, x1, y1 = room.polygon.bounds
        spans = []
        for low, high in ((x0, x1), (y0, y1)):
            n = max(int(np.ceil((high - low) / step)), 1)
            spans.append(low + (np.arange(n) + 0.5) * (high - low) / n)
        grid = np.stack(np.meshgrid(*spans), axis=-1).reshape(-1, 2)
        return self.off_walls(room, np.round(grid / ROUND_M) * ROUND_M)

    def off_walls(self, room: RoomShape, places: Floats) -> Floats:
        """Those of places (n, 2) that lie in a room and off its walls."""
        away = shapely.distance(room.polygon.exterior, shapely.points(places))
        inside = shapely.contains_xy(room.polygon, places[:, 0], places[:, 1])
        return np.asarray(places[inside & (away >= FROM_WALL_M)])

    def along_walls(self, room: RoomShape, step: float) -> tuple[Floats, Floats]:
        """Places (n, 2) along a room's walls and the turn (n,), degrees, that looks square off the wall."""
        ring = orient(room.polygon).exterior
        corners = np.asarray(ring.coords)
        places, turns = [], []
        for start, end in pairwise(corners):
            along = end - start
            length = float(np.hypot(*along))
            if length < 2 * FROM_WALL_M:
                continue
            n = max(int(np.ceil(length / step)), 1)
            inward = np.array([-along[1], along[0]]) / length
            share = (np.arange(n) + 0.5) / n
            places.append(np.round(start + share[:, None] * along + OFF_WALL_M * inward, 3))
            turns.append(np.full(n, np.degrees(np.arctan2(inward[1], inward[0])) % 360))
        if not places:
            return np.zeros((0, 2)), np.zeros(0)
        found, turned = np.concatenate(places), np.concatenate(turns)
        inside = shapely.contains_xy(room.polygon, found[:, 0], found[:, 1])
        return found[inside], turned[inside]

    def in_corners(self, room: RoomShape) -> tuple[Floats, Floats]:
        """Places (n, 2) in a room's inner corners, off both walls, and the turn (n,), degrees, between the two."""
        corners = np.asarray(orient(room.polygon).exterior.coords)[:-1]
        before, after = corners - np.roll(corners, 1, axis=0), np.roll(corners, -1, axis=0) - corners
        before /= np.linalg.norm(before, axis=1, keepdims=True)
        after /= np.linalg.norm(after, axis=1, keepdims=True)
        left = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
        inner = np.degrees(np.arctan2(left, (before * after).sum(axis=1)))  # how far the wall bends inward
        between = after - before
        turns = np.degrees(np.arctan2(between[:, 1], between[:, 0])) % 360
        some = inner > _BENDS_DEG
        away = OFF_WALL_M / np.cos(np.radians(inner[some]) / 2)
        heading = np.radians(turns[some])
        found = np.round(corners[some] + away[:, None] * np.column_stack([np.cos(heading), np.sin(heading)]), 3)
        inside = shapely.contains_xy(room.polygon, found[:, 0], found[:, 1])
        return found[inside], turns[some][inside]
