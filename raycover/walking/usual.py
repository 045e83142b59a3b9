"""Ways for a scene without routes: from the nearest door to every seat, through each aisle, else into each room."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely

from raycover.building.aisles import find_aisles
from raycover.building.parts import Building, Floats, RoomShape
from raycover.errors import InputError, Problem
from raycover.scene.routes import WALKING_SPEED
from raycover.scene.schema import Scene
from raycover.walking.ground import Ground, TooLarge, make_ground
from raycover.walking.people import FIGURES
from raycover.walking.places import Goal, Places, find_places
from raycover.walking.wayfinding import Wayfinder
from raycover.walking.ways import Way, on_floor, storey_rooms

#: One walks in and out of an aisle by this far (m) where there is room.
_BEYOND = (1.5, 1.0, 0.5, 0.0)


def usual_ways(scene: Scene, building: Building) -> list[Way]:
    """Ways that everyone would ask for. Raises InputError where the scene has nothing to walk to or from."""
    places = find_places(scene, building)
    ways = [*_to_seats(building, places), *_aisles(building)]
    if not ways:
        ways = _into_rooms(building, places)
    if not ways:
        raise InputError(
            [
                Problem(
                    "nothing-to-walk",
                    "the scene has no routes, and no door that leads to a seat, an aisle or a room",
                    scene.position(),
                    "write routes: [{name: A, line: [[x, y], …]}], say",
                )
            ]
        )
    return ways


def _to_seats(building: Building, places: Places) -> list[Way]:
    return _ways_to(building, places, places.seats)


def _into_rooms(building: Building, places: Places) -> list[Way]:
    return _ways_to(building, places, tuple(places.rooms.values()))


def _ways_to(building: Building, places: Places, goals: Sequence[Goal]) -> list[Way]:
    """One way to each goal, from the nearest door outside, or of any room where none leads outside."""
    every = tuple({goal.at: goal for goals_ in places.doors.values() for goal in goals_}.values())
    doors = places.outer or _from_circulation(building, places, every) or every
    found: list[Way] = []
    for storey in building.storeys:
        mine = [g for g in goals if storey_rooms(building, g.at, g.floor) == storey.rooms]
        ins = [d for d in doors if storey_rooms(building, d.at, d.floor) == storey.rooms] or [
            d for d in every if storey_rooms(building, d.at, d.floor) == storey.rooms
        ]
        if not mine or not ins:
            continue
        try:
            ground = make_ground(building, storey.rooms, "adult")
        except TooLarge:
            continue
        finder = Wayfinder(ground, FIGURES["adult"].radius)
        best: dict[int, tuple[float, Goal, Floats]] = {}
        for door in ins:
            for k, line in enumerate(finder.ways(np.array(door.at), [np.array(g.at) for g in mine])):
                if isinstance(line, np.ndarray):
                    length = float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum())
                    if k not in best or length < best[k][0]:
                        best[k] = (length, door, line)
        for k in sorted(best):
            _, door, line = best[k]
            made = Way(f"{door.name} to {mine[k].name}", "usual", on_floor(building, line, storey.rooms), WALKING_SPEED)
            found.append(replace(made, heading_deg=mine[k].heading_deg, found=True, rooms=storey.rooms))
    return found


def _from_circulation(building: Building, places: Places, doors: tuple[Goal, ...]) -> tuple[Goal, ...]:
    """Doors between a room with seats and one without: those that people come in by where none leads outside."""
    seats = shapely.multipoints([seat.at for seat in places.seats]) if places.seats else shapely.MultiPoint()
    empty = [room for room in building.rooms if not room.polygon.intersects(seats)]
    busy = [room for room in building.rooms if room.polygon.intersects(seats)]

    def beside(rooms: list[RoomShape], door: Goal) -> bool:
        return any(abs(r.floor - door.floor) < 0.5 and r.holds(*door.at) for r in rooms)

    return tuple(door for door in doors if beside(empty, door) and beside(busy, door))


def _aisles(building: Building) -> list[Way]:
    """Along the middle between every two racks that face each other."""
    found: list[Way] = []
    grounds: dict[tuple[int, ...], Ground] = {}
    for aisle in find_aisles(building, walls=False):
        rooms = storey_rooms(building, tuple(aisle.middle.mean(axis=0)), aisle.bottom)
        try:
            if rooms not in grounds:
                grounds[rooms] = make_ground(building, rooms, "adult")
        except TooLarge:
            continue
        line = _extended(grounds[rooms], aisle.middle)
        if line is not None:
            name = f"Aisle {' to '.join(aisle.racks)}"
            found.append(Way(name, "usual", on_floor(building, line, rooms), WALKING_SPEED, rooms=rooms))
    return found


def _extended(ground: Ground, middle: Floats) -> Floats | None:
    """An aisle's middle line (2, 2), on beyond its ends where that is free; None where something stands in it."""
    ends = []
    half = middle.mean(axis=0)
    for at in middle:
        along = (at - half) / np.linalg.norm(at - half)
        for more in _BEYOND:
            end = at + along * more
            free = ground.clear_at(np.linspace(half, end, 200)).min() >= 0.2
            if free and (ground.walkable is None or ground.walkable.contains(shapely.Point(end))):
                ends.append(end)
                break
    return np.array(ends) if len(ends) == 2 else None
