"""Cubicles, fixtures, tables, stairs and partitions through walls, beside every room, or too high for theirs."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

import numpy as np
import shapely

from raycover.building.parts import Building, RoomShape, Sheet
from raycover.checking.standing import stands_through
from raycover.checking.uprights import Uprights, heights
from raycover.errors import Problem
from raycover.scene.schema import Scene

#: What reaches less far (m) beyond the walls' centre lines, or less far above a ceiling, is a rounding of plans.
_BEYOND, _ABOVE = 0.15, 0.3
#: A floor this far (m) above or below what stands on it is still its floor: plinths, steps.
_STEP = 0.6
#: Half a tread's thickness (m), as far as it can stand in a wall.
_TREAD = 0.02


@dataclass(frozen=True)
class _Thing:
    """One thing of a scene: `kind` of list, `index` in it, its outline in plan (shapely), and its height range (m)."""

    kind: str
    index: int
    name: str
    outline: Any
    low: float
    high: float

    def at(self, scene: Scene) -> Any:
        return scene.position(self.kind, self.index, "centre" if self.kind == "tables" else "at")


def check_placed(scene: Scene, building: Building, uprights: Uprights) -> Iterator[Problem]:
    """Problems of what is typed by its corner or its line."""
    rooms = _Rooms(building)
    told: set[tuple[str, str, int]] = set()
    for thing in _things(building):
        for problem in (*_through_walls(scene, thing, uprights), *_outside(scene, thing, rooms)):
            # The first of a row stands for all of it.
            if (problem.code, thing.kind, thing.index) not in told:
                told.add((problem.code, thing.kind, thing.index))
                yield problem
    yield from _stairs(scene, building, uprights)
    yield from _partitions(scene, building, rooms)


class _Rooms:
    """Rooms by what stands on their floors, grown to their walls' far faces."""

    def __init__(self, building: Building) -> None:
        self.rooms = building.rooms
        self.grown = [room.polygon.buffer(_BEYOND, join_style="mitre") for room in building.rooms]

    def round(self, low: float) -> Any | None:
        """What all rooms cover on whose floors something at `low` (m) may stand; None where there is none."""
        near = [g for g, r in zip(self.grown, self.rooms, strict=True) if r.floor - _STEP <= low <= r.floor + r.height]
        return shapely.union_all(near) if near else None

    def holding(self, x: float, y: float, z: float) -> RoomShape | None:
        return next((room for room in self.rooms if room.holds(x, y, z)), None)


def _things(building: Building) -> Iterator[_Thing]:
    """Rows of cubicles and desks, each fixture and table, with what it covers in plan."""
    corners: dict[tuple[str, int, str], list[Any]] = {}
    for sheet in building.sheets:
        # A leaf that stands open reaches over another's floor; screens hang on their desks.
        if sheet.loc[0] in _TYPED and sheet.kind not in ("leaf", "partition"):
            name = sheet.name if sheet.loc[0] == "fixtures" else sheet.owner
            corners.setdefault((str(sheet.loc[0]), int(sheet.loc[1]), name), []).append(_corners(sheet))
    boxes = building.boxes
    low, high = heights(boxes)
    plan = boxes.footprints()
    for k, kind in enumerate(boxes.kinds):
        if kind == "fixture":
            mine = corners.setdefault(("fixtures", int(boxes.locs[k][1]), boxes.names[k]), [])
            mine += [np.column_stack([plan[k], np.full(4, z)]) for z in (low[k], high[k])]
    for (list_name, index, name), found in corners.items():
        points = np.concatenate(found)
        outline = shapely.MultiPoint(points[:, :2]).convex_hull
        yield _Thing(list_name, index, name, outline, float(points[:, 2].min()), float(points[:, 2].max()))


def _corners(sheet: Sheet) -> Any:
    return sheet.frame.to_space(shapely.get_coordinates(sheet.polygon))


def _through_walls(scene: Scene, thing: _Thing, uprights: Uprights) -> Iterator[Problem]:
    """The tops of desks and tables are told elsewhere, one by one."""
    if thing.kind in ("desks", "tables") or thing.outline.geom_type != "Polygon":
        return
    found = stands_through(uprights, thing.outline, thing.low, thing.high, thing.name)
    if found is None:
        return
    hard = thing.kind == "cubicles"
    yield Problem(
        "cubicles-through-wall" if hard else "thing-through-wall",
        f'"{thing.name}" stands through "{found[0]}", along {found[1]:.2f} m of it',
        thing.at(scene),
        _TYPED[thing.kind],
        severity="error" if hard else "warning",
    )


#: How each is typed, for those who turned it about the wrong corner.
_TYPED = {
    "cubicles": "move or turn the row: at is its rear left corner looking out of the doors, which face +y before it is "
    "turned",
    "fixtures": "move or turn the row: at is its rear left corner on the wall's face; it stands out along +y before it "
    "is turned",
    "desks": "move or turn the row: at is its near left corner, where people sit; it runs along +x before it is turned",
    "tables": "move or turn the table about its centre",
}


def _outside(scene: Scene, thing: _Thing, rooms: _Rooms) -> Iterator[Problem]:
    floor = rooms.round(thing.low)
    if floor is None or thing.outline.length == 0:
        return
    measure: Callable[[Any], float] = (lambda g: g.area) if thing.outline.area > 0 else (lambda g: g.length)
    share = measure(thing.outline.difference(floor)) / measure(thing.outline)
    if share < 0.02:
        return
    much = "wholly" if share > 0.98 else f"with {100 * share:.0f} % of it"
    yield Problem(
        "outside-rooms",
        f'"{thing.name}" stands outside every room, {much}',
        thing.at(scene),
        _TYPED[thing.kind],
        severity="warning",
    )


def _stairs(scene: Scene, building: Building, uprights: Uprights) -> Iterator[Problem]:
    """Treads and landings in walls, the worst wall of each stair."""
    treads = [s for s in building.sheets if s.kind == "tread" and s.loc[0] == "stairs"]
    for index, group in groupby(treads, key=lambda s: int(s.loc[1])):
        worst: tuple[str, float] | None = None
        owner = ""
        for tread in group:
            corners, owner = _corners(tread), tread.owner
            z = float(corners[:, 2].mean())
            outline = shapely.Polygon(corners[:-1, :2])
            found = stands_through(uprights, outline, z - _TREAD, z + _TREAD, owner)
            if found is not None and (worst is None or found[1] > worst[1]):
                worst = found
        if worst is not None:
            yield Problem(
                "stair-through-wall",
                f'stair "{owner}" runs through "{worst[0]}"',
                scene.position("stairs", index, "at"),
                "move or turn it: at is the left corner of its foot, looking up; it climbs along +y before it is "
                "turned; or cut an opening where it passes",
                severity="warning",
            )


def _partitions(scene: Scene, building: Building, rooms: _Rooms) -> Iterator[Problem]:
    parts: Sequence[Sheet] = [s for s in building.sheets if s.kind == "partition" and s.loc[0] == "partitions"]
    for index, group in groupby(parts, key=lambda s: int(s.loc[1])):
        corners = np.concatenate([_corners(sheet) for sheet in group])
        partition = scene.partitions[index]
        line = shapely.LineString(partition.line)
        low, high = float(corners[:, 2].min()), float(corners[:, 2].max())
        floor = rooms.round(low)
        outside = 0.0 if floor is None else line.difference(floor).length
        if outside > _BEYOND:
            of_it = f"{outside:.2f} m of its {line.length:.2f} m"
            yield Problem(
                "outside-rooms",
                f'partition "{partition.name}" stands outside every room over {of_it}',
                scene.position("partitions", index, "line"),
                "end it at the wall, or say where the room is",
                severity="warning",
            )
        middle = line.interpolate(0.5, normalized=True)
        room = rooms.holding(middle.x, middle.y, low + _TREAD)
        if room is None or any(v.through != "floor" for r in scene.rooms if r.name == room.name for v in r.voids):
            continue
        ceiling = float(room.top_at(np.array([[middle.x, middle.y]]))[0])
        if high > ceiling + _ABOVE:
            yield Problem(
                "partition-above-ceiling",
                f'partition "{partition.name}" rises to {high - room.floor:.4g} m in "{room.name}", which is '
                f"{ceiling - room.floor:.3g} m high there",
                scene.position("partitions", index, "height"),
                "lower it; lengths are metres, millimetres are written with their unit (1400 mm)",
            )
