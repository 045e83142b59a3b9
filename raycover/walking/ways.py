"""The ways that a scene's routes mean: lines on the floor, checked, with everything wrong told at once."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Any

import numpy as np
import shapely

from raycover.building.parts import Building, Floats
from raycover.errors import InputError, Problem, did_you_mean
from raycover.scene.routes import EVERY_DESK, WALKING_SPEED, Person, Place, Route
from raycover.scene.schema import Scene
from raycover.walking.ground import Ground, TooLarge, make_ground
from raycover.walking.obstacles import Obstacles, obstacles
from raycover.walking.people import FIGURES
from raycover.walking.places import Goal, Places, find_places
from raycover.walking.wayfinding import Blocked, Wayfinder

Loc = tuple[str | int, ...]
#: People come to a stair by the floor: its way begins so far (m) ahead of it, less where that is not free.
_AHEAD = (1.0, 0.7, 0.4)
#: A stair's end lies on a floor that differs by less than this (m).
_LEVEL = 0.05
#: A pause that is given by its place lies no further than this (m) from the way.
_BESIDE_WAY = 0.6
#: A way found shorter than this (m) leads nowhere.
_SHORTEST = 0.05


@dataclass(frozen=True)
class Way:
    """A way to walk: `line` (n, 3) on the floor, in m, and how it is walked.

    `route` is the name of the scene's route it comes from, `pauses` are (metres walked, seconds), `heading_deg`
    where one looks who arrives, `found` whether the line was looked for rather than drawn, `rooms` those of its storey.
    The first `ahead` (metres, m/s) of a stair's way lie on the floor and are walked as floors are.
    """

    name: str
    route: str
    line: Floats
    speed: float
    person: Person = "adult"
    pauses: tuple[tuple[float, float], ...] = ()
    seated_s: float = 0.0
    heading_deg: float | None = None
    found: bool = False
    rooms: tuple[int, ...] = ()
    ahead: tuple[float, float] = (0.0, WALKING_SPEED)
    loc: Loc = field(default=())

    @property
    def length(self) -> float:
        """Length (m) in plan: on a stair that of the going."""
        return float(np.linalg.norm(np.diff(self.line[:, :2], axis=0), axis=1).sum())


def make_ways(scene: Scene, building: Building, only: str | None = None) -> list[Way]:
    """The ways of the scene's routes, in their order; those of the one named `only`.

    Raises InputError with everything wrong in any of them.
    """
    maker = _Maker(scene, building)
    ways = [way for index, route in enumerate(scene.routes) for way in maker.ways(index, route)]
    if maker.problems:
        raise InputError(maker.problems)
    return [way for way in ways if only is None or only in (way.name, way.route)]


def route_problems(scene: Scene, building: Building) -> list[Problem]:
    """What is wrong with the scene's routes."""
    try:
        make_ways(scene, building)
    except InputError as error:
        return list(error.problems)
    return []


def storey_rooms(building: Building, at: Sequence[float], floor: float) -> tuple[int, ...]:
    """Rooms (indices) of the storey with this floor (m) at a place (x, y)."""
    if not building.rooms:
        return ()
    point = shapely.Point(at)
    for storey in building.storeys:
        shapes = [building.rooms[r] for r in storey.rooms]
        if any(abs(room.floor - floor) < 0.5 and room.polygon.distance(point) < 1e-6 for room in shapes):
            return storey.rooms
    return building.storeys[0].rooms


def on_floor(building: Building, line: Floats, rooms: tuple[int, ...]) -> Floats:
    """(n, 3): a line (n, 2) with the floor of its storey under each point, finer where floors differ."""
    shapes = [building.rooms[r] for r in rooms]
    level = min((room.floor for room in shapes), default=building.ground)
    if len({room.floor for room in shapes}) < 2:
        return np.column_stack([line, np.full(len(line), level)])
    pieces = []
    for start, end in pairwise(line):
        cuts = np.linspace(0, 1, max(int(np.linalg.norm(end - start) / 0.1), 1) + 1)[:-1]
        pieces.append(start + cuts[:, None] * (end - start))
    fine = np.concatenate([*pieces, line[-1:]])
    floor = np.full(len(fine), level)
    for room in shapes:
        floor[shapely.intersects_xy(room.polygon, fine[:, 0], fine[:, 1])] = room.floor
    return np.column_stack([fine, floor])


class _Maker:
    def __init__(self, scene: Scene, building: Building) -> None:
        self.scene, self.building = scene, building
        self.problems: list[Problem] = []
        self._places: Places | None = None
        self._grounds: dict[tuple[tuple[int, ...], Person], Ground] = {}

    @property
    def places(self) -> Places:
        if self._places is None:
            self._places = find_places(self.scene, self.building)
        return self._places

    def ground(self, rooms: tuple[int, ...], person: Person) -> Ground:
        if (rooms, person) not in self._grounds:
            self._grounds[rooms, person] = make_ground(self.building, rooms, person)
        return self._grounds[rooms, person]

    def complain(self, loc: Loc, code: str, message: str, help_: str) -> None:
        self.problems.append(Problem(code, message, self.scene.position(*loc), help_))

    def ways(self, index: int, route: Route) -> list[Way]:
        loc: Loc = ("routes", index)
        made = Way(
            route.name, route.name, np.zeros((0, 3)), route.walking_speed, route.person, (), route.seated_s, loc=loc
        )  # fmt: skip
        if route.stairs is not None:
            ways = self._stairs(index, route, made)
        elif route.line is not None:
            ways = self._drawn(index, route, made)
        else:
            ways = self._looked_for(index, route, made)
        return [replace(way, pauses=pauses) for way in ways if (pauses := self._pauses(index, route, way)) is not None]

    # ---- drawn

    def _drawn(self, index: int, route: Route, made: Way) -> list[Way]:
        assert route.line is not None
        loc: Loc = ("routes", index, "line")
        line = np.asarray(route.line, float)
        step = np.linalg.norm(np.diff(line, axis=0), axis=1)
        if (step < 1e-3).any():
            k = int((step < 1e-3).argmax()) + 1
            self.complain(
                (*loc, k), "repeated-point", f'route "{route.name}" repeats a point', "take one of the two out"
            )
            return []
        rooms = self._storey(index, route, line)
        if rooms is None:
            return []
        things = self._things(rooms, route.person)
        walkable = self._walkable(rooms)
        sound = True
        for k, (start, end) in enumerate(itertools.pairwise(line)):
            if walkable is not None and not shapely.covers(walkable, shapely.LineString([start, end])):
                outside = next((p for p in (start, end) if not shapely.covers(walkable, shapely.Point(p))), None)
                if outside is None:
                    off = shapely.LineString([start, end]).difference(walkable)
                    outside = np.array(off.centroid.coords[0])
                what = "outside every room" if self._inside_nothing(outside) else "over a void or on another storey"
                self.complain(
                    (*loc, k + 1),
                    "route-outside",
                    f'route "{route.name}" leaves the floor near ({outside[0]:.1f}, {outside[1]:.1f}), {what}',
                    "keep its points inside rooms of one storey; a door's threshold still is inside",
                )
                sound = False
                continue
            met = _really_met(things, start, end)
            if met is not None:
                at, by = met
                self.complain(
                    (*loc, k + 1),
                    "route-blocked",
                    f'route "{route.name}" runs through "{by}" near ({at[0]:.1f}, {at[1]:.1f})',
                    "lead it around, or through a door; from and to find a way by themselves",
                )
                sound = False
        return [replace(made, line=on_floor(self.building, line, rooms), rooms=rooms)] if sound else []

    def _storey(self, index: int, route: Route, line: Floats) -> tuple[int, ...] | None:
        """Rooms (indices) of the storey that a drawn line lies on; complains where that is open."""
        building = self.building
        if not building.rooms:
            return ()
        if route.room is not None:
            return self._storey_of(route.room)
        if len(building.storeys) == 1:
            return building.storeys[0].rooms
        start = shapely.Point(line[0])
        on = [s for s in building.storeys if any(building.rooms[r].walkable.distance(start) < 1e-6 for r in s.rooms)]
        if len(on) > 1:
            names = ", ".join(f'"{s.name}"' for s in on)
            self.complain(
                ("routes", index, "name"),
                "which-room",
                f'route "{route.name}" begins where storeys lie one above another: {names}',
                "say on which it lies by one of its rooms: room: NAME",
            )
            return None
        return on[0].rooms if on else building.storeys[0].rooms

    def _storey_of(self, room: str) -> tuple[int, ...]:
        number = next(k for k, r in enumerate(self.building.rooms) if r.name == room)
        return next(s.rooms for s in self.building.storeys if number in s.rooms)

    def _walkable(self, rooms: tuple[int, ...]) -> Any:
        if not rooms:
            return None
        walkable = shapely.union_all([self.building.rooms[r].walkable.buffer(1e-6) for r in rooms])
        shapely.prepare(walkable)
        return walkable

    def _things(self, rooms: tuple[int, ...], person: Person) -> Obstacles:
        return obstacles(self.building, rooms, FIGURES[person].tall)

    def _inside_nothing(self, point: Floats) -> bool:
        return all(not room.holds(float(point[0]), float(point[1])) for room in self.building.rooms)

    # ---- looked for

    def _looked_for(self, index: int, route: Route, made: Way) -> list[Way]:
        assert route.from_ is not None
        assert route.to is not None
        starts = self._goals(index, route, "from", route.from_)
        several = isinstance(route.to, str) and route.to.casefold() in EVERY_DESK
        ends = self.places.seats if several else self._goals(index, route, "to", route.to)
        if several and not ends:
            self.complain(
                ("routes", index, "to"), "no-desks", "the scene has no desk and no seat", "name a place: [x, y]"
            )
        if not starts or not ends:
            return []
        begin = starts[0]
        rooms = storey_rooms(self.building, begin.at, begin.floor)
        if several:  # desks of other storeys have other doors
            ends = tuple(goal for goal in ends if set(storey_rooms(self.building, goal.at, goal.floor)) == set(rooms))
        elif all(set(storey_rooms(self.building, goal.at, goal.floor)) != set(rooms) for goal in ends):
            self.complain(
                ("routes", index, "to"),
                "other-storey",
                f'route "{route.name}" would lead to another storey',
                "give each storey a route of its own, and the stair one: stairs: NAME",
            )
            return []
        try:
            ground = self.ground(rooms, route.person)
        except TooLarge:
            self.complain(
                ("routes", index), "floor-too-large",
                f'the floor is too large to look for the way of "{route.name}" on it',
                "draw it: line: [[x, y], …]",
            )  # fmt: skip
            return []
        finder = Wayfinder(ground, FIGURES[route.person].radius)
        return self._found(index, route, made, finder, starts, ends, several=several)

    def _found(
        self,
        index: int,
        route: Route,
        made: Way,
        finder: Wayfinder,
        starts: tuple[Goal, ...],
        ends: tuple[Goal, ...],
        *,
        several: bool,
    ) -> list[Way]:
        best: dict[int, tuple[float, Floats]] = {}
        blocked: dict[int, Blocked] = {}
        for start in starts:
            for k, line in enumerate(finder.ways(np.array(start.at), [np.array(end.at) for end in ends])):
                if isinstance(line, Blocked):
                    blocked.setdefault(k, line)
                    continue
                length = float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum())
                if k not in best or length < best[k][0]:
                    best[k] = (length, line)
        if not several and best and min(length for length, _ in best.values()) < _SHORTEST:
            self.complain(
                ("routes", index, "to"),
                "route-nowhere",
                f'route "{route.name}" ends where it begins',
                "name another place in to",
            )
            return []
        wanted = range(len(ends)) if several else [min(best, key=lambda k: best[k][0])] if best else [0]
        ways = []
        for k in wanted:
            if k not in best:
                self._unreachable(index, route, ends[k], blocked[k], finder.radius)
                continue
            goal = ends[k]
            ways.append(
                replace(
                    made,
                    name=f"{route.name}, {goal.name}" if several else route.name,
                    line=on_floor(self.building, best[k][1], finder.ground.rooms),
                    heading_deg=goal.heading_deg,
                    found=True,
                    rooms=finder.ground.rooms,
                )
            )
        return ways

    def _unreachable(self, index: int, route: Route, goal: Goal, blocked: Blocked, radius: float) -> None:
        x, y = blocked.at
        by = f'by "{blocked.by}" ' if blocked.by is not None else ""
        gap = f", where {blocked.gap_m:.2f} m are left" if blocked.gap_m is not None else ""
        who = {"adult": "a person", "child": "a child", "wheelchair": "a wheelchair"}[route.person]
        self.complain(
            ("routes", index, "to"),
            "unreachable",
            f'route "{route.name}" cannot reach "{goal.name}": the way is shut {by}near ({x:.1f}, {y:.1f}){gap}',
            f"{who} needs {2 * radius:g} m: make room there, add a door, or draw the line yourself",
        )

    def _goals(self, index: int, route: Route, key: str, place: Place) -> tuple[Goal, ...]:
        """What `from` or `to` means; complains where that is nothing."""
        loc: Loc = ("routes", index, key)
        if not isinstance(place, str):
            at = (float(place[0]), float(place[1]))
            rooms = [r for r in self.building.rooms if r.walkable.distance(shapely.Point(at)) < 1e-6]
            if route.room is not None:
                members = self._storey_of(route.room)
                rooms = [r for r in rooms if r.name in {self.building.rooms[m].name for m in members}]
            if self.building.rooms and not rooms:
                self.complain(
                    loc, "route-outside", f"({at[0]:g}, {at[1]:g}) lies outside every room", "choose a place on a floor"
                )
                return ()
            if len({r.floor for r in rooms}) > 1:
                names = ", ".join(f'"{r.name}"' for r in rooms)
                self.complain(
                    loc, "which-room", f"({at[0]:g}, {at[1]:g}) lies in rooms one above another: {names}",
                    "say which: room: NAME",
                )  # fmt: skip
                return ()
            return (Goal(f"({at[0]:g}, {at[1]:g})", "", at, rooms[0].floor if rooms else self.building.ground),)
        found = self.places.named(place)
        if not found:
            known = [*EVERY_DESK[:1], *self.places.names] if key == "to" else self.places.names
            what = "place" if key == "to" else "door, room or seat"
            self.complain(loc, "unknown-place", f'unknown {what} "{place}"', did_you_mean(place, known))
        return found

    # ---- stairs

    def _stairs(self, index: int, route: Route, made: Way) -> list[Way]:
        stairs = next((s for s in self.building.stairs if s.name == route.stairs), None)
        if stairs is None:
            names = sorted(s.name for s in self.building.stairs)
            self.complain(
                ("routes", index, "stairs"),
                "unknown-stair",
                f'unknown stair "{route.stairs}"',
                did_you_mean(route.stairs or "", names) if names else "the scene has no stairs",
            )
            return []
        points: list[Floats] = []
        for piece in stairs.pieces:
            middle = piece.origin + piece.across * piece.width / 2
            if piece.kind == "landing":
                points.append((middle + piece.along * piece.length / 2)[None])
                continue
            # The tread's middle is where one steps; the slope between them is what a body's middle follows.
            top = middle + piece.along * piece.length
            top[2] = piece.origin[2] + (piece.n_treads + 1) * piece.rise
            points.append(np.stack([middle, top]))
        line = np.concatenate(points)
        step = np.linalg.norm(np.diff(line[:, :2], axis=0), axis=1)
        line = line[np.concatenate([[True], step > 1e-3])]
        line = line if route.direction == "up" else line[::-1]
        begin = self._ahead(line, route.person)
        far = float(np.linalg.norm((line[0] - begin[0])[:2])) if len(begin) else 0.0
        return [replace(made, line=np.concatenate([begin, line]), ahead=(far, route.floor_speed))]

    def _ahead(self, line: Floats, person: Person) -> Floats:
        """(n, 3), n 0 or 1: where one comes from to the first of a stair's points, straight on by the floor there.

        Whoever walks was walking before: a signal that began with the first tread would have no history.
        """
        begin = line[0]
        back = (begin - line[1])[:2] / np.linalg.norm((begin - line[1])[:2])
        at = (float(begin[0]), float(begin[1]))
        for storey in self.building.storeys:
            floors = [self.building.rooms[r].floor for r in storey.rooms]
            if not any(abs(floor - begin[2]) < _LEVEL for floor in floors):
                continue
            walkable, things = self._walkable(storey.rooms), self._things(storey.rooms, person)
            for far in _AHEAD:
                near, start = np.add(at, back * 0.02), np.add(at, back * far)
                body = back * FIGURES[person].radius
                if not shapely.covers(walkable, shapely.LineString([near, start])):
                    continue
                if _really_met(things, start + body, near):
                    continue
                placed = on_floor(self.building, np.array([start, at]), storey.rooms)
                if abs(placed[0, 2] - begin[2]) < _LEVEL:
                    return np.array([[*start, begin[2]]])
        return np.zeros((0, 3))

    # ---- pauses

    def _pauses(self, index: int, route: Route, way: Way) -> tuple[tuple[float, float], ...] | None:
        found, sound = [], True
        line = shapely.LineString(way.line[:, :2])
        for k, pause in enumerate(route.pauses):
            loc: Loc = ("routes", index, "pauses", k, "at")
            if isinstance(pause.at, float | int):
                if pause.at > way.length + 1e-6:
                    self.complain(
                        loc,
                        "pause-beyond",
                        f'"{way.name}" is {way.length:.1f} m long: nobody pauses at {pause.at:g} m',
                        "count metres walked from its start",
                    )  # fmt: skip
                    sound = False
                found.append((float(pause.at), pause.seconds))
                continue
            point = shapely.Point(pause.at)
            away = float(line.distance(point))
            if away > _BESIDE_WAY:
                self.complain(
                    loc, "pause-beside", f'"{way.name}" passes ({pause.at[0]:g}, {pause.at[1]:g}) {away:.1f} m away',
                    "pause at a place on the way, or after so many metres",
                )  # fmt: skip
                sound = False
            found.append((float(line.project(point)), pause.seconds))
        return tuple(sorted(found)) if sound else None


def _really_met(things: Obstacles, start: Floats, end: Floats) -> tuple[Floats, str] | None:
    """The first thing that a drawn stretch runs through by more than a graze, and where."""
    line = shapely.LineString([start, end])
    best: tuple[float, Floats, str] | None = None
    for k in things.tree.query(line, predicate="intersects"):
        part = things.shapes[k].intersection(line)
        if part.length < 1e-3 and things.shapes[k].area > 0:
            continue
        at = np.array(part.centroid.coords[0])
        away = float(np.linalg.norm(at - start))
        if best is None or away < best[0]:
            best = (away, at, things.names[k])
    return None if best is None else (best[1], best[2])
