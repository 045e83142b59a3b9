"""Doors: those that lead nowhere, and rooms that have none."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from raycover.building.parts import Boxes, Building, Floats, OpeningMark
from raycover.checking.uprights import Uprights, chosen, heights, millimetres
from raycover.errors import Problem
from raycover.scene.schema import Scene

#: A way through starts no higher above the floor, and is no lower (m). From memory, common practice.
_HIGHEST_SILL, _LOWEST_WAY = 0.3, 1.5
#: Clear depth (m) that one needs to step out of a door. From memory, common practice.
_STEP_OUT = 0.5
#: A step (m) higher than this needs stairs. From memory, common practice.
_HIGHEST_STEP = 0.25
#: To either side of a wall's centre line (m): clear of the line, within the wall.
_BESIDE = 0.05


@dataclass(frozen=True)
class Way:
    """An opening that a person passes: its middle (2,), the unit normal (2,), and the rooms on both sides, −1 none.

    `rooms` are indices at +normal and −normal.
    """

    mark: OpeningMark
    middle: Floats
    normal: Floats
    width: float
    rooms: tuple[int, int]


def ways_through(building: Building) -> list[Way]:
    """Doors and gaps, open or closed, that a person passes; one written by both its rooms once."""
    found: dict[tuple[float, ...], Way] = {}
    for mark in building.openings:
        if mark.kind == "window" or mark.top - mark.sill < _LOWEST_WAY:
            continue
        start, end = np.array(mark.start), np.array(mark.end)
        width = float(np.linalg.norm(end - start))
        along = (end - start) / width
        normal = np.array([-along[1], along[0]])
        middle = (start + end) / 2
        sides = np.array([middle + s * normal * _BESIDE for s in (1, -1)])
        # Chest high, or head high where the floor on one side lies above that.
        rooms, above = (
            building.rooms_at(np.column_stack([sides, [z, z]])) for z in (mark.sill + 1.0, mark.top - _BESIDE)
        )
        rooms = np.where(rooms >= 0, rooms, above)
        floors = [building.rooms[r].floor for r in rooms if r >= 0]
        if floors and mark.sill > max(floors) + _HIGHEST_SILL:
            continue
        key = (*np.round(middle, 2), round(mark.sill, 1))
        found.setdefault(key, Way(mark, middle, normal, width, (int(rooms[0]), int(rooms[1]))))
    return list(found.values())


def check_doors(scene: Scene, building: Building, uprights: Uprights) -> Iterator[Problem]:
    """Doors against something, doors over a drop, rooms without a door."""
    ways = ways_through(building)
    solid = chosen(building.boxes, [k for k, kind in enumerate(building.boxes.kinds) if kind == "solid"])
    boxes = Boxes.join([solid, building.envelopes])
    outlines = shapely.polygons(boxes.footprints()) if len(boxes) else np.array([], object)
    tree = shapely.STRtree(outlines)
    for way in ways:
        yield from _blocked(scene, way, uprights, boxes, tree)
        yield from _drop(scene, building, way)
    yield from _no_door(scene, building, ways)


def _blocked(scene: Scene, way: Way, uprights: Uprights, boxes: Boxes, tree: Any) -> Iterator[Problem]:
    """Whether something stands within a step of a door, over most of its width, on either side."""
    z = way.mark.sill + 1.0
    low, high = heights(boxes)
    along = np.array([way.normal[1], -way.normal[0]])
    for side in (1, -1):
        seen: list[tuple[float, str]] = []
        for shift in (-0.3, 0.0, 0.3):
            foot = way.middle + along * shift * way.width
            step = shapely.LineString([foot + side * way.normal * 0.02, foot + side * way.normal * _STEP_OUT])
            origin = shapely.Point(foot)
            hits = [
                (float(uprights.lines[k].intersection(step).distance(origin)), uprights.sheets[k].name)
                for k in uprights.near(step, 0.0)
                if uprights.low[k] < z < uprights.high[k]
            ]
            hits += [
                (float(tree.geometries[b].intersection(step).distance(origin)), boxes.names[b])
                for b in np.sort(tree.query(step, predicate="intersects"))
                if low[b] < z < high[b]
            ]
            if hits:
                seen.append(min(hits))
        if len(seen) >= 2:
            away, name = min(seen)
            yield Problem(
                "opening-blocked",
                f'"{way.mark.name}" leads against "{name}", {millimetres(away)} away',
                scene.position(*way.mark.loc),
                "move one of the two; rooms share the centre line of a wall, and one opening serves both",
                severity="warning",
            )
            return


def _drop(scene: Scene, building: Building, way: Way) -> Iterator[Problem]:
    if -1 in way.rooms or way.rooms[0] == way.rooms[1]:
        return
    one, two = (building.rooms[r] for r in way.rooms)
    step = abs(one.floor - two.floor)
    if step <= _HIGHEST_STEP:
        return
    low, high = (one, two) if one.floor < two.floor else (two, one)
    if any(
        shapely.Point(piece.origin[:2]).distance(shapely.Point(way.middle)) < 3.0 + piece.length
        for stairs in building.stairs
        for piece in stairs.pieces
    ):
        return
    yield Problem(
        "opening-drop",
        f'"{way.mark.name}" joins the floor of "{high.name}" to that of "{low.name}", {step:.2f} m lower',
        scene.position(*way.mark.loc),
        "set sill to the floor that it serves, or add stairs",
        severity="warning",
    )


def _no_door(scene: Scene, building: Building, ways: list[Way]) -> Iterator[Problem]:
    closed = closed_rooms(scene, building, ways)
    if len(closed) == len(building.rooms) and not ways:
        # Nobody drew doors: a study of a room needs none.
        return
    for index in closed:
        yield Problem(
            "room-without-door",
            f'room "{building.rooms[index].name}" has no door',
            scene.position("rooms", index, "name"),
            "give it an opening with sill 0, or one in the wall it shares; a gap is an opening with fill: none",
            severity="warning",
        )


def closed_rooms(scene: Scene, building: Building, ways: list[Way]) -> list[int]:
    """Indices of rooms that no door, no missing wall and no stair leads into."""
    entered = {room for way in ways for room in way.rooms}
    for stairs in building.stairs:
        points = [piece.origin + piece.across * piece.width / 2 + [0, 0, 0.1] for piece in stairs.pieces]
        entered |= set(building.rooms_at(np.array(points)).tolist())
    found = []
    for index, room in enumerate(scene.rooms):
        walls = room.walls if isinstance(room.walls, list) else [room.walls]
        if index not in entered and "none" not in walls and building.rooms[index].void is None:
            found.append(index)
    return found
