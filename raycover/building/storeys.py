"""Storeys: which rooms share a level, and which floor a thing's heights count from where rooms lie stacked."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import shapely

from raycover.building.parts import RoomShape, StoreyShape
from raycover.errors import Problem
from raycover.scene.schema import Scene

#: Overlaps in plan narrower than this (m) are what coordinates typed to the millimetre leave of a shared wall.
_STRIP = 1e-3


def overlap(one: Any, other: Any) -> bool:
    """Whether two outlines overlap in plan by more than a strip a millimetre wide."""
    shared = one.intersection(other)
    return bool(shared.area > 1e-4 and shapely.buffer(shared, -_STRIP).area > 1e-4)


def storeys_of(scene: Scene, rooms: Sequence[RoomShape]) -> tuple[tuple[StoreyShape, ...], list[Problem]]:
    """The storeys of a scene, lowest first, and rooms that lie one above another within one.

    As the scene names them: a room belongs to the highest whose level is not above its floor. Where it names
    none, rooms share a storey until one lies above another; each is then named by its level.
    """
    if not rooms:
        return (), []
    if scene.storeys:
        named = sorted((storey.floor, storey.name) for storey in scene.storeys)
        levels = np.array([level for level, _ in named])
        place = np.maximum(np.searchsorted(levels, [room.floor + 1e-6 for room in rooms], side="right") - 1, 0)
        groups = [(named[i][1], named[i][0], np.flatnonzero(place == i).tolist()) for i in range(len(named))]
    else:
        groups = [("", *group) for group in _by_level(rooms)]
        if len(groups) > 1:
            groups = [(f"{level:+.2f}", level, members) for _, level, members in groups]
    shapes = tuple(StoreyShape(name, float(level), tuple(members)) for name, level, members in groups if members)
    return shapes, [p for shape in shapes for p in _stacked(scene, rooms, shape)]


def _by_level(rooms: Sequence[RoomShape]) -> list[tuple[float, list[int]]]:
    groups: list[tuple[float, list[int]]] = []
    for index in sorted(range(len(rooms)), key=lambda i: rooms[i].floor):
        room = rooms[index]
        # Rooms of a split level stand beside each other; one that lies above another opens the next storey.
        if groups and not any(overlap(room.polygon, rooms[i].polygon) for i in groups[-1][1]):
            groups[-1][1].append(index)
        else:
            groups.append((room.floor, [index]))
    return groups


def _stacked(scene: Scene, rooms: Sequence[RoomShape], storey: StoreyShape) -> list[Problem]:
    tree = shapely.STRtree([rooms[i].polygon for i in storey.rooms])
    problems = []
    for here, index in enumerate(storey.rooms):
        for other in tree.query(rooms[index].polygon):
            if other < here and overlap(rooms[index].polygon, rooms[storey.rooms[other]].polygon):
                problems.append(
                    Problem(
                        "stacked-in-storey",
                        f'"{rooms[index].name}" lies above or below "{rooms[storey.rooms[other]].name}", '
                        f'both in storey "{storey.name}"',
                        scene.position("rooms", index),
                        "give the scene one entry of storeys a level, each with the floor it starts from",
                    )
                )
    return problems


class Floors:
    """Which floor things stand on. `problems` collects those that leave it open."""

    def __init__(self, scene: Scene, rooms: Sequence[RoomShape]) -> None:
        self._scene = scene
        self._rooms = rooms
        self._index = {room.name: i for i, room in enumerate(rooms)}
        self._tree = shapely.STRtree([room.polygon for room in rooms])
        self.problems: list[Problem] = []

    def under(self, kind: str, index: int, item: Any) -> Callable[[float, float], float]:
        """The floor (m) under a place (x, y) for item `index` of the scene's list `kind`."""

        def floor_at(x: float, y: float) -> float:
            room = self.room(kind, index, item, x, y)
            return self._rooms[room].floor if room is not None else 0.0

        return floor_at

    def holder(self, kind: str, index: int, item: Any) -> Callable[[float, float], RoomShape | None]:
        """The room that holds item `index` of the scene's list `kind` at a place (x, y), if any."""

        def room_at(x: float, y: float) -> RoomShape | None:
            room = self.room(kind, index, item, x, y)
            return None if room is None else self._rooms[room]

        return room_at

    def room(self, kind: str, index: int, item: Any, x: float, y: float) -> int | None:
        """The room (by index) that an item at (x, y) stands in: the one it names, or the one that holds it."""
        named = getattr(item, "room", None)
        if named is not None:
            return self._index[named]
        if not self._rooms:
            return None
        point = shapely.Point(x, y)
        holding = sorted(int(i) for i in self._tree.query(point, predicate="dwithin", distance=1e-6))
        if len(holding) > 1:
            within = [i for i in holding if self._rooms[i].polygon.exterior.distance(point) > 1e-6]
            if len({self._rooms[i].floor for i in within}) > 1:
                names = ", ".join(f'"{self._rooms[i].name}"' for i in within)
                self.problems.append(
                    Problem(
                        "which-room",
                        f'"{item.name}" stands where rooms lie one above another: {names}',
                        self._scene.position(kind, index, "name"),
                        "say which one its heights count from: room: NAME",
                    )
                )
            holding = within if within else holding
        return holding[0] if holding else None
