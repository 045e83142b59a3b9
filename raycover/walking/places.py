"""Where a route may begin and end, by name: seats and desks, doors, rooms."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from raycover.building.faces import Placing
from raycover.building.parts import Building, Floats
from raycover.building.storeys import Floors
from raycover.checking.doors import Way as Door
from raycover.checking.doors import ways_through
from raycover.scene.schema import Scene
from raycover.scene.seating import Place as Spot
from raycover.scene.seating import desk_places, table_places
from raycover.walking.obstacles import Obstacles, obstacles
from raycover.walking.people import FIGURES


@dataclass(frozen=True)
class Goal:
    """A place to walk to or from: `at` (x, y), the floor (m) there, where one looks (degrees) if anywhere.

    `owner` is the row of desks or the table that a seat belongs to; `seat` whether one can sit there.
    """

    name: str
    owner: str
    at: tuple[float, float]
    floor: float
    heading_deg: float | None = None
    seat: bool = False


@dataclass(frozen=True)
class Places:
    """Everything that a route may name. `doors` are keyed by each of their names."""

    seats: tuple[Goal, ...]
    doors: dict[str, tuple[Goal, ...]]
    rooms: dict[str, Goal]
    outer: tuple[Goal, ...]

    @property
    def names(self) -> list[str]:
        """Every name that means a place."""
        owners = [seat.owner for seat in self.seats]
        return list(dict.fromkeys([*owners, *(s.name for s in self.seats), *self.doors, *self.rooms]))

    def named(self, name: str) -> tuple[Goal, ...]:
        """The places a name may mean: one, the seats of a row, the doors of an edge; empty for a name nobody has."""
        for exact in (seat for seat in self.seats if seat.name == name):
            return (exact,)
        if own := tuple(seat for seat in self.seats if seat.owner == name):
            return own
        if name in self.doors:
            return self.doors[name]
        return (self.rooms[name],) if name in self.rooms else ()


def find_places(scene: Scene, building: Building) -> Places:
    """The places of a scene."""
    doors, outer = _doors(scene, building)
    rooms = {}
    for room in building.rooms:
        middle = shapely.maximum_inscribed_circle(room.walkable, tolerance=0.1).coords[0]
        rooms[room.name] = Goal(room.name, room.name, (float(middle[0]), float(middle[1])), room.floor)
    return Places(tuple(_seats(scene, building)), doors, rooms, outer)


def _seats(scene: Scene, building: Building) -> list[Goal]:
    """A place at every desk, drawn with a seat or not, and at every table's seats."""
    floors = Floors(scene, building.rooms)
    found: list[Goal] = []
    things = _Standing(building)
    for index, row in enumerate(scene.desks):
        placing = Placing(row.at, row.turn_deg)
        spots = desk_places(row.model_copy(update={"seat": True}))
        middle = placing.points(np.array([[row.count * (row.size[0] + row.gap) / 2, row.size[1] / 2]]))[0]
        floor = floors.under("desks", index, row)(*(float(v) for v in middle))
        goals = _goals(row.name, placing, spots, floor)
        if not row.seat and any(things.holds(goal) for goal in goals):
            # Drawn without seats, two rows may stand back to front: one sits where there is room.
            over = [(x, row.size[1] - y, -turn) for x, y, turn in spots]
            other = _goals(row.name, placing, over, floor)
            goals = [two if things.holds(one) else one for one, two in zip(goals, other, strict=True)]
        found += goals
    for index, table in enumerate(scene.tables):
        placing = Placing(table.centre, table.turn_deg)
        floor = floors.under("tables", index, table)(*table.centre)
        found += _goals(table.name, placing, table_places(table), floor)
    return found


class _Standing:
    """What stands on each storey, made when first asked for."""

    def __init__(self, building: Building) -> None:
        self._building = building
        self._known: dict[float, Obstacles] = {}

    def holds(self, goal: Goal) -> bool:
        """Whether a place lies in a thing."""
        building = self._building
        storey = max((s for s in building.storeys if s.level <= goal.floor + 1e-6), key=lambda s: s.level, default=None)
        level, rooms = (0.0, ()) if storey is None else (storey.level, storey.rooms)
        if level not in self._known:
            self._known[level] = obstacles(building, rooms, FIGURES["adult"].tall)
        return bool(len(self._known[level].tree.query(shapely.Point(goal.at), predicate="within")))


def _goals(owner: str, placing: Placing, spots: list[Spot], floor: float) -> list[Goal]:
    if not spots:
        return []
    local = np.array(spots)
    plan = placing.points(local[:, :2])
    return [
        Goal(f"{owner}/seat {k}", owner, (float(x), float(y)), floor, (float(turn) + placing.turn_deg) % 360, True)
        for k, ((x, y), turn) in enumerate(zip(plan, local[:, 2], strict=True), 1)
    ]


def _doors(scene: Scene, building: Building) -> tuple[dict[str, tuple[Goal, ...]], tuple[Goal, ...]]:
    """Doors by their own name, as OWNER/opening N, and as ROOM/edge N; those that lead outside."""
    ways = ways_through(building)
    found: dict[str, list[Goal]] = {}
    outer: list[Goal] = []
    seen: dict[tuple[float, float], Goal] = {}
    for way in ways:
        goal = _goal_of(building, way)
        seen[_key(way.middle)] = goal
        if sum(r >= 0 for r in way.rooms) == 1:
            outer.append(goal)
    for kind in ("rooms", "partitions"):
        for i, owner in enumerate(getattr(scene, kind)):
            for k, opening in enumerate(owner.openings):
                mark = next((m for m in building.openings if m.loc == (kind, i, "openings", k)), None)
                if mark is None:
                    continue
                middle = (np.array(mark.start) + np.array(mark.end)) / 2
                goal_ = seen.get(_key(middle))
                if goal_ is None:
                    continue
                names = [f"{owner.name}/opening {k}"]
                names += [opening.name, f"{owner.name}/{opening.name}"] if opening.name is not None else []
                names += [f"{owner.name}/edge {opening.edge}"] if kind == "rooms" else []
                for name in names:
                    found.setdefault(name, []).append(goal_)
    return {name: tuple(goals) for name, goals in found.items()}, tuple(outer)


def _key(point: Floats) -> tuple[float, float]:
    return round(float(point[0]), 2), round(float(point[1]), 2)


def _goal_of(building: Building, way: Door) -> Goal:
    floors = [building.rooms[r].floor for r in way.rooms if r >= 0]
    floor = min(floors, default=building.ground, key=lambda f: abs(f - way.mark.sill))
    return Goal(way.mark.name, way.mark.owner, (float(way.middle[0]), float(way.middle[1])), floor)
