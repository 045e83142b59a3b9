"""Rooms, walls, sheets and boxes in absolute heights → the parts and comments of a scene file."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import shapely

from raycover.importing.imported import Report
from raycover.importing.plates import Box, FlatSheet, Room
from raycover.importing.walls import Wall, WallOpening

Loc = tuple[str | int, ...]
#: Larger buildings (m² of rooms) start with a coarser grid.
_LARGE_M2 = 1500.0
_FORBIDDEN = re.compile(r'[/\\:*?"<>|\x00-\x1f]')


@dataclass
class Parts:
    """What an importer has read, heights absolute."""

    title: str
    north_deg: float
    rooms: list[Room] = field(default_factory=list)
    walls: list[Wall] = field(default_factory=list)
    sheets: list[FlatSheet] = field(default_factory=list)
    boxes: list[Box] = field(default_factory=list)


@dataclass
class Written:
    """The scene's parts with what is said of them, as `write_scene` takes them."""

    scene: dict[str, Any]
    comments: dict[Loc, list[str]] = field(default_factory=dict)
    heads: dict[Loc, str] = field(default_factory=dict)
    _storey: dict[str | int, str] = field(default_factory=dict)

    def say(self, loc: Loc, *lines: str) -> None:
        self.comments.setdefault(loc, []).extend(lines)

    def begin(self, loc: Loc, storey: str) -> None:
        """A line over the first thing of each storey in a list."""
        if storey and storey != self._storey.get(loc[0]):
            self.heads[loc] = f"--- {storey} ---"
        self._storey[loc[0]] = storey


def assemble(parts: Parts, report: Report) -> Written:
    """The scene's keys and what to say of them. Counts what is written in the report."""
    written = Written({"title": parts.title})
    if parts.north_deg != 90.0:
        written.scene["north_deg"] = parts.north_deg
    area = sum(room.outline.area for room in parts.rooms)
    written.scene["grid"] = 0.1 if area <= _LARGE_M2 else 0.25
    grounds = Grounds(parts.rooms)
    for key, what, items in (
        ("storeys", "storeys", _storeys(parts.rooms)),
        ("rooms", "rooms", _rooms(parts.rooms, grounds, written)),
        ("partitions", "walls", _walls(parts.walls, grounds, written, report)),
        ("solids", "columns and beams", _solids(parts.boxes, grounds, written)),
        ("sheets", "sheets", _sheets(parts, written)),
    ):
        if items:
            written.scene[key] = items
            report.map(what, len(items))
    report.map("openings", sum(len(wall.get("openings", [])) for wall in written.scene.get("partitions", [])))
    written.scene["planes"] = [{"name": "floor", "height": 0}, {"name": "desk", "height": 0.75, "motion": "presence"}]
    return written


class Grounds:
    """Which floor heights count from, as the scene will tell it: rooms by name where they lie stacked."""

    def __init__(self, rooms: Sequence[Room]) -> None:
        names = _Names()
        self.names = [names.own(room.name, room.storey) for room in rooms]
        self._rooms = rooms
        self._tree = shapely.STRtree([room.outline for room in rooms])

    def under(self, x: float, y: float, z: float) -> tuple[str | None, float]:
        """(room to name, its floor) for a thing at (x, y) with its foot at z; no name where none is needed."""
        near = self._tree.query(shapely.Point(x, y), predicate="dwithin", distance=1e-4) if self._rooms else []
        holding = sorted(int(i) for i in near)
        if not holding:
            return None, 0.0
        floors = {_r(self._rooms[i].floor) for i in holding}
        if len(floors) == 1:
            return None, floors.pop()
        # The room whose floor is next at or below the foot; a floor above it only where there is no other.
        best = min(holding, key=lambda i: (self._rooms[i].floor > z + 0.25, abs(self._rooms[i].floor - z)))
        return self.names[best], _r(self._rooms[best].floor)


def _storeys(rooms: Sequence[Room]) -> list[dict[str, Any]]:
    """Storeys with rooms, where there are several; none where levels interlock, for rooms then group by themselves."""
    floors: dict[str, float] = {}
    for room in rooms:
        floors[room.storey] = min(floors.get(room.storey, room.floor), room.floor)
    ranked = sorted((floor, name) for name, floor in floors.items())
    if len(ranked) < 2 or "" in floors or len({_r(floor) for floor, _ in ranked}) < len(ranked):
        return []
    for room in rooms:
        level = max((row for row in ranked if row[0] <= room.floor + 1e-6), default=ranked[0])
        if level[1] != room.storey:
            return []
    names = _Names()
    return [{"name": names.own(name), "floor": _r(floor)} for floor, name in ranked]


def _rooms(rooms: Sequence[Room], grounds: Grounds, written: Written) -> list[dict[str, Any]]:
    items = []
    for index, room in enumerate(rooms):
        item = {
            "name": grounds.names[index],
            "outline": _ring(room.outline),
            "floor": _r(room.floor),
            "height": _r(room.height),
            "walls": "none",
            "ceiling": room.ceiling,
            "floor_construction": room.floor_construction,
        }
        if room.voids:
            item["voids"] = [{"outline": _ring(hole), "through": through} for hole, through in room.voids]
        written.begin(("rooms", index), room.storey)
        for key, notes in room.notes.items():
            mark = [note if note.startswith("guessed") else f"guessed: {note}" for note in notes]
            written.say(("rooms", index, key), *mark)
        written.say(("rooms", index, "name"), f"{room.net.area:.2f} m² inside its walls")
        items.append(item)
    if items:
        written.say(("rooms",), "outlines at the walls' centre lines; the walls themselves are the partitions below")
    return items


def _ring(polygon: Any) -> list[list[float]]:
    """Corner points anticlockwise, from the one farthest to the left (the lowest of those)."""
    points = [[_r(x), _r(y)] for x, y in shapely.get_coordinates(polygon.normalize().exterior)[::-1][:-1]]
    return [point for k, point in enumerate(points) if point != points[k - 1]]


def _walls(walls: Sequence[Wall], grounds: Grounds, written: Written, report: Report) -> list[dict[str, Any]]:
    names = _Names()
    items: list[dict[str, Any]] = []
    for wall in walls:
        index = len(items)
        line = np.round(wall.line, 4) + 0.0
        line = line[np.concatenate([[True], np.linalg.norm(np.diff(line, axis=0), axis=1) > 1e-4])]
        if len(line) < 2 or _r(wall.top - wall.base) <= 0:
            if not wall.gables:
                report.leave("walls without a length or height", wall.name)
            continue
        middle = shapely.LineString(line).interpolate(0.5, normalized=True)
        room, floor = grounds.under(middle.x, middle.y, wall.base)
        item: dict[str, Any] = {
            "name": names.own(wall.name, wall.storey),
            **({"room": room} if room else {}),
            "line": line.tolist(),
            "base": _r(wall.base - floor),
            "height": _r(wall.top - wall.base),
            "construction": wall.construction,
        }
        written.begin(("partitions", index), wall.storey)
        if wall.notes:
            written.say(("partitions", index), *(f"guessed: {note}" for note in wall.notes))
        if wall.made_of_notes:
            written.say(("partitions", index, "construction"), "guessed: " + "; ".join(wall.made_of_notes))
        openings: list[dict[str, Any]] = []
        for opening in _apart(wall, line, report):
            place = _place(opening, wall, line, floor)
            if place is None:
                report.leave("openings that lie outside their wall", opening.name)
                continue
            fill = {"fill": opening.fill, "state": "closed"} if opening.fill != "none" else {"fill": "none"}
            note = opening.name + (f"; guessed: {'; '.join(opening.notes)}" if opening.notes else "")
            written.say(("partitions", index, "openings", len(openings)), note)
            openings.append({**place, **fill})
        if openings:
            item["openings"] = openings
        items.append(item)
    return items


def _place(opening: WallOpening, wall: Wall, line: Any, floor: float) -> dict[str, float] | None:
    """Where an opening stands in its wall as written, cut to the wall where it overruns it."""
    path = shapely.LineString(line)
    stations = sorted(path.project(shapely.Point(p)) for p in (opening.start, opening.end))
    low, high = max(opening.low, wall.base, floor), min(opening.high, wall.top)
    # It stands in one straight piece of the line; rounding must not push it over that piece's ends.
    reached = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    piece = int(np.clip(np.searchsorted(reached, sum(stations) / 2) - 1, 0, len(line) - 2))
    first, last = np.ceil(reached[piece] * 1e4) / 1e4, np.floor(reached[piece + 1] * 1e4) / 1e4
    at, sill = max(_r(stations[0]), float(first)), _r(low - floor)
    width = min(_r(stations[1]), float(last)) - at
    height = min(_r(high - floor), _r(_r(wall.base - floor) + _r(wall.top - wall.base))) - sill
    if width < 0.01 or height < 0.01:
        return None
    return {"at": _r(at), "width": _r(width), "height": _r(height), **({"sill": sill} if sill else {})}


def _apart(wall: Wall, line: Any, report: Report) -> list[WallOpening]:
    """Openings along the wall, without those that overlap one before; a filled one goes before a plain gap."""
    path = shapely.LineString(line)
    kept: list[tuple[Any, WallOpening]] = []
    for opening in sorted(wall.openings, key=lambda o: (o.fill == "none", -(o.high - o.low))):
        ends = [path.project(shapely.Point(p)) for p in (opening.start, opening.end)]
        shape = shapely.box(min(ends), opening.low, max(ends), opening.high)
        if any(shape.intersection(other).area > 1e-6 for other, _ in kept):
            report.leave("openings that overlap another", opening.name)
            continue
        kept.append((shape, opening))
    return [opening for _, opening in sorted(kept, key=lambda pair: pair[0].bounds[0])]


def _solids(boxes: Sequence[Box], grounds: Grounds, written: Written) -> list[dict[str, Any]]:
    names = _Names()
    items = []
    for index, box in enumerate(boxes):
        centre = [_r(box.centre[0]), _r(box.centre[1])]
        room, floor = grounds.under(centre[0], centre[1], box.base)
        item = {
            "name": names.own(box.name, box.storey),
            **({"room": room} if room else {}),
            "centre": centre,
            "size": [_r(v) for v in box.size],
            "base": _r(box.base - floor),
            **({"turn_deg": _r(box.turn_deg)} if _r(box.turn_deg) else {}),
            "material": box.material,
        }
        written.begin(("solids", index), box.storey)
        if box.notes:
            written.say(("solids", index), "guessed: " + "; ".join(box.notes))
        items.append(item)
    return items


def _sheets(parts: Parts, written: Written) -> list[dict[str, Any]]:
    names = _Names()
    gables = [
        FlatSheet(f"{wall.name} above", _to_ends(piece, wall), wall.construction, [*wall.made_of_notes], wall.storey)
        for wall in parts.walls
        for piece in wall.gables
    ]
    items = []
    for index, sheet in enumerate([*parts.sheets, *gables]):
        items.append(
            {
                "name": names.own(sheet.name, sheet.storey),
                "corners": [[_r(v) for v in corner] for corner in sheet.corners],
                "construction": sheet.construction,
            }
        )
        written.begin(("sheets", index), sheet.storey)
        if sheet.notes:
            written.say(("sheets", index), "guessed: " + "; ".join(sheet.notes))
    return items


def _to_ends(piece: Any, wall: Wall) -> Any:
    """A gable with the corners at the ends of its wall's body brought to where the wall's line ends now."""
    moved = np.array(piece)
    for drawn, now in zip([] if wall.drawn is None else wall.drawn, wall.line[[0, -1]], strict=False):
        moved[np.linalg.norm(moved[:, :2] - drawn, axis=1) < 2e-3, :2] = now
    return moved


class _Names:
    """Names made fit for a scene, each used once: the storey tells those apart that are alike."""

    def __init__(self) -> None:
        self._used: set[str] = set()

    def own(self, name: str, storey: str = "") -> str:
        chosen = plain = _fit(name)
        if plain in self._used and storey:
            chosen = plain = _fit(f"{plain} - {storey}")
        n = 1
        while chosen in self._used:
            n += 1
            chosen = f"{plain} no. {n}"
        self._used.add(chosen)
        return chosen


def _fit(name: str) -> str:
    plain = "".join(c if c.isprintable() else " " for c in _FORBIDDEN.sub("-", name))
    return " ".join(plain.split()).lstrip(". ")[:70].strip() or "unnamed"


def _r(value: float) -> float:
    return round(float(value), 4) + 0.0
