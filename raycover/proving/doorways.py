"""Doors that people come in by, and the lines that they then walk: square to the wall, and at 45° to either side.

Into an aisle people walk by its ends, half way across, straight on: there is no other way between the racks.

Nothing here is a second walk test: a line is a `Track` of `walking.kinematics`, asked by `walking.declared` (declared
footprints, the person at 0.3, 1.0 and 1.6 m, by the direction walked). Simulated lenses are left to `walk`: they answer
after zones are crossed, so to metres they add the chance of where a zone begins. Lines are straight, since where
somebody turns next nobody knows; metres count from the threshold, the door leaf as the scene has it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import shapely

from raycover.building.aisles import Aisle
from raycover.building.parts import Building, Floats, RoomShape
from raycover.checking.doors import Way as Door
from raycover.checking.doors import ways_through
from raycover.detectors import Unit
from raycover.errors import Problem, did_you_mean
from raycover.scene.needs import NeedSpec
from raycover.scene.routes import WALKING_SPEED, Person
from raycover.scene.schema import Scene
from raycover.walking.kinematics import Track, make_track
from raycover.walking.obstacles import Obstacles, obstacles
from raycover.walking.people import FIGURES
from raycover.walking.places import find_places
from raycover.walking.ways import Way, storey_rooms

#: Directions walked from the threshold (degrees from square to the wall), with their names.
DIRECTIONS = ((0.0, "straight on"), (45.0, "45° to the left"), (-45.0, "45° to the right"))
#: A line goes on this far (m) past what is asked, so that a miss can say when somebody is noticed at last.
_FURTHER = 6.0
#: A body's axis keeps this far (m) from what it walks towards.
_BODY = FIGURES["adult"].radius
#: The room at an aisle's end is looked up this far (m) above the feet of its racks.
_ABOVE = 0.1
#: At this time step (s) lines are told to 12 mm.
_STEP_S = 0.01


@dataclass(frozen=True)
class Line:
    """One way in: `words` of its direction, its `track` from the threshold; `free_m` until something stands there."""

    words: str
    track: Track
    free_m: float
    person: Person = "adult"

    def asked(self, within: float) -> Floats:
        """(2, 2): from the threshold so many metres on, no further than is free."""
        start, end = self.track.position[0, :2], self.track.position[-1, :2]
        length = float(np.linalg.norm(end - start))
        return np.stack([start, start + (end - start) * min(within / length, 1.0)])


@dataclass(frozen=True)
class Entrance:
    """A door, or an aisle's end, as a way into one room. `lines` are the ways walked, straight on first.

    `floor` (shapely): the aisle's own, in plan; None of a door.
    """

    name: str
    names: tuple[str, ...]
    room: RoomShape
    lines: tuple[Line, ...]
    floor: Any = None

    def is_under(self, unit: Unit) -> bool:
        """Whether a unit hangs over the aisle that it leads into."""
        return self.floor is not None and hangs_over(self.floor, unit)


class Entrances:
    """The doors of one state of a scene."""

    def __init__(self, scene: Scene, building: Building) -> None:
        self._scene, self._building = scene, building
        self._things: dict[tuple[int, ...], Obstacles] = {}

    @cached_property
    def _doors(self) -> list[tuple[Door, tuple[str, ...]]]:
        """Each door once, with everything it may be called: its own name, OWNER/opening N, ROOM/edge N."""
        names: dict[tuple[float, float], list[str]] = {}
        for name, goals in find_places(self._scene, self._building).doors.items():
            for goal in goals:
                names.setdefault(_key(goal.at), []).append(name)
        return [(door, tuple(names.get(_key(door.middle), (door.mark.name,)))) for door in ways_through(self._building)]

    @property
    def names(self) -> list[str]:
        """Every name that means a door."""
        return list(dict.fromkeys(name for _, names in self._doors for name in names))

    def into(self, rooms: Sequence[str], within: float) -> list[Entrance]:
        """Every door of some rooms, as a way in."""
        return [
            entrance
            for door, names in self._doors
            for side in (0, 1)
            if (entrance := self._made(door, names, side, within)) is not None and entrance.room.name in rooms
        ]

    def named(self, name: str, within: float) -> list[Entrance]:
        """The ways in that a door's name means.

        A door of a room leads into that room where its name says so (`ROOM/opening 0`), one from outside to inside;
        any other into both rooms beside it.
        """
        found = [
            entrance
            for door, names in self._doors
            for side in (0, 1)
            if name in names and (entrance := self._made(door, names, side, within)) is not None
        ]
        owned = [entrance for entrance in found if name.startswith(f"{entrance.room.name}/")]
        return owned or found

    def at_ends(self, aisles: Sequence[Aisle], within: float) -> list[Entrance]:
        """Both ends of aisles as ways into them, but for those that a wall or something else shuts."""
        found = []
        for aisle in aisles:
            ends = [entrance for k in (0, 1) if (entrance := self._at_end(aisle, k, within)) is not None]
            found += sorted(ends, key=lambda entrance: entrance.name)  # left before right, lower before upper
        return found

    def _at_end(self, aisle: Aisle, end: int, within: float) -> Entrance | None:
        start, other = aisle.middle[end], aisle.middle[1 - end]
        length = float(np.linalg.norm(other - start))
        inward = (other - start) / length
        room = self._building.room_at(float(start[0]), float(start[1]), aisle.bottom + _ABOVE)
        outside = start - inward * 2 * _BODY
        if room is None or not room.walkable.covers(shapely.LineString([outside, start + inward * _BODY])):
            return None
        if self._obstacles(start, room).met(outside, start + inward * _BODY):
            return None
        line = self._line(start, room, inward, "straight on", min(within + _FURTHER, length))
        across = abs(inward[0]) < abs(inward[1])
        side = ("lower", "upper") if across else ("left", "right")
        name = f"{aisle.name}, {side[int(inward[int(across)] < 0)]} end"
        return None if line is None else Entrance(name, (name,), room, (line,), shapely.Polygon(aisle.corners))

    def unknown(self, need: NeedSpec, index: int) -> list[Problem]:
        """What is wrong where the door of a need, number `index` among the scene's, is none."""
        if need.door is None or need.door in self.names:
            return []
        help_ = did_you_mean(need.door, self.names) if self.names else "the scene has no doors to walk in by"
        where = self._scene.position("needs", index, "door")
        return [Problem("unknown-door", f'unknown door "{need.door}"', where, help_)]

    def _made(self, door: Door, names: tuple[str, ...], side: int, within: float) -> Entrance | None:
        """The door as a way into the room on its +normal (0) or −normal (1) side, None where there is none."""
        if door.rooms[side] < 0 or door.rooms[0] == door.rooms[1]:
            return None
        room = self._building.rooms[door.rooms[side]]
        inward = door.normal * (1.0 if side == 0 else -1.0)
        made = [
            self._line(door.middle, room, _turned(inward, angle), words, within + _FURTHER)
            for angle, words in DIRECTIONS
        ]
        # an oblique way that is shut before what is asked tells nothing: nobody walks into the wall beside the door
        lines = [line for k, line in enumerate(made) if line is not None and (not k or line.free_m >= within - 1e-6)]
        # its own name, or the one that says the room; a door that two rooms share says which
        ranked = sorted(names, key=lambda name: ("/" in name, not name.startswith(f"{room.name}/"), "/edge " in name))
        shown = ranked[0]
        if not shown.startswith(f"{room.name}/") and -1 not in door.rooms:
            shown = f"{shown} into {room.name}"
        return Entrance(shown, names, room, tuple(lines)) if lines else None

    def _line(self, start: Floats, room: RoomShape, along: Floats, words: str, farthest: float) -> Line | None:
        end = start + along * farthest
        inside = shapely.LineString([start + along * 1e-3, end]).intersection(room.walkable.buffer(1e-6))
        parts = [part for part in shapely.get_parts(inside) if part.distance(shapely.Point(start)) < 0.1]
        if not parts:
            return None
        reach = float(parts[0].length)
        met = self._obstacles(start, room).met(start + along * 0.15, start + along * reach)
        free = max(min([reach, *(at + 0.15 for at, _ in met)]) - _BODY, 0.1)
        corners = np.stack([start, start + along * free])
        way = Way(words, "door", np.column_stack([corners, np.full(2, room.floor)]), WALKING_SPEED)
        return Line(words, make_track(way, _STEP_S), free)

    def _obstacles(self, at: Floats, room: RoomShape) -> Obstacles:
        rooms = storey_rooms(self._building, (float(at[0]), float(at[1])), room.floor)
        if rooms not in self._things:
            self._things[rooms] = obstacles(self._building, rooms, FIGURES["adult"].tall)
        return self._things[rooms]


def hangs_over(floor: Any, unit: Unit) -> bool:
    """Whether a unit hangs over an aisle's floor (shapely), in plan."""
    return bool(shapely.dwithin(floor, shapely.Point(unit.position[:2]), 1e-6))


def _turned(direction: Floats, angle_deg: float) -> Floats:
    """A direction (2,) turned anticlockwise."""
    cos, sin = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    return np.array([cos * direction[0] - sin * direction[1], sin * direction[0] + cos * direction[1]])


def _key(point: Any) -> tuple[float, float]:
    return round(float(point[0]), 2), round(float(point[1]), 2)
