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


def assemble(parts: Parts, report: Report) -> tuple[dict[str, Any], dict[Loc, list[str]]]:
    """The scene's keys and what to say of them. Counts what is written in the report."""
    said: dict[Loc, list[str]] = {}
    area = sum(room.outline.area for room in parts.rooms)
    scene: dict[str, Any] = {"title": parts.title}
    if parts.north_deg != 90.0:
        scene["north_deg"] = parts.north_deg
    scene["grid"] = 0.1 if area <= _LARGE_M2 else 0.25
    writers = (
        ("rooms", "rooms", _rooms(parts.rooms, said)),
        ("partitions", "walls", _walls(parts, said, report)),
        ("solids", "columns and beams", _solids(parts, said)),
        ("sheets", "sheets", _sheets(parts, said)),
    )
    for key, what, items in writers:
        if items:
            scene[key] = items
            report.map(what, len(items))
    fills = [opening["fill"] for wall in scene.get("partitions", []) for opening in wall.get("openings", [])]
    report.map("openings", len(fills))
    scene["planes"] = [{"name": "floor", "height": 0}, {"name": "desk", "height": 0.75, "motion": "presence"}]
    return scene, said


def floor_under(rooms: Sequence[Room], x: float, y: float) -> float:
    """What `base`, `sill` and `mounting` count from: the floor of the first room that holds the place, else 0."""
    point = shapely.Point(x, y)
    return next((_r(room.floor) for room in rooms if room.outline.distance(point) < 1e-6), 0.0)


def _rooms(rooms: Sequence[Room], said: dict[Loc, list[str]]) -> list[dict[str, Any]]:
    names = _Names()
    items = []
    storey = ""
    for index, room in enumerate(rooms):
        ring = shapely.get_coordinates(room.outline.normalize().exterior)[::-1][:-1]
        item = {
            "name": names.own(room.name),
            "outline": [[_r(x), _r(y)] for x, y in ring],
            "floor": _r(room.floor),
            "height": _r(room.height),
            "walls": "none",
            "ceiling": room.ceiling,
            "floor_construction": room.floor_construction,
        }
        storey = _head(said, ("rooms", index), storey, room.storey)
        for key, notes in room.notes.items():
            mark = [note if note.startswith("guessed") else f"guessed: {note}" for note in notes]
            said.setdefault(("rooms", index, key), []).extend(mark)
        said.setdefault(("rooms", index, "name"), []).append(f"{room.net.area:.2f} m² inside its walls")
        items.append(item)
    if items:
        said["rooms",] = ["outlines at the walls' centre lines; the walls themselves are the partitions below"]
    return items


def _walls(parts: Parts, said: dict[Loc, list[str]], report: Report) -> list[dict[str, Any]]:
    names = _Names()
    items: list[dict[str, Any]] = []
    storey = ""
    for wall in parts.walls:
        index = len(items)
        line = np.round(wall.line, 4) + 0.0
        line = line[np.concatenate([[True], np.linalg.norm(np.diff(line, axis=0), axis=1) > 1e-4])]
        if len(line) < 2 or _r(wall.top - wall.base) <= 0:
            if not wall.gables:
                report.leave("walls without a length or height", wall.name)
            continue
        middle = shapely.LineString(line).interpolate(0.5, normalized=True)
        floor = floor_under(parts.rooms, middle.x, middle.y)
        item: dict[str, Any] = {
            "name": names.own(wall.name),
            "line": line.tolist(),
            "base": _r(wall.base - floor),
            "height": _r(wall.top - wall.base),
            "construction": wall.construction,
        }
        storey = _head(said, ("partitions", index), storey, wall.storey)
        if wall.notes:
            said.setdefault(("partitions", index), []).extend(f"guessed: {note}" for note in wall.notes)
        if wall.made_of_notes:
            text = "guessed: " + "; ".join(wall.made_of_notes)
            said["partitions", index, "construction"] = [text]
        openings: list[dict[str, Any]] = []
        for opening in _apart(wall, line, report):
            place = _place(opening, wall, line, floor)
            if place is None:
                report.leave("openings that lie outside their wall", opening.name)
                continue
            fill = {"fill": opening.fill, "state": "closed"} if opening.fill != "none" else {"fill": "none"}
            note = opening.name + (f"; guessed: {'; '.join(opening.notes)}" if opening.notes else "")
            said["partitions", index, "openings", len(openings)] = [note]
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
    length = path.length
    at, sill = _r(stations[0]), _r(low - floor)
    width, height = _r(min(stations[1], length) - at), _r(high - floor - sill)
    # Rounding must not push it over the edge.
    width = min(width, float(np.floor((length - at) * 1e4) / 1e4))
    height = min(height, _r(_r(wall.base - floor) + _r(wall.top - wall.base) - sill))
    if width < 0.01 or height < 0.01:
        return None
    return {"at": at, "width": _r(width), "height": _r(height), "sill": sill}


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


def _solids(parts: Parts, said: dict[Loc, list[str]]) -> list[dict[str, Any]]:
    names = _Names()
    items = []
    storey = ""
    for index, box in enumerate(parts.boxes):
        centre = [_r(box.centre[0]), _r(box.centre[1])]
        item = {
            "name": names.own(box.name),
            "centre": centre,
            "size": [_r(v) for v in box.size],
            "base": _r(box.base - floor_under(parts.rooms, *centre)),
            **({"turn_deg": _r(box.turn_deg)} if _r(box.turn_deg) else {}),
            "material": box.material,
        }
        storey = _head(said, ("solids", index), storey, box.storey)
        if box.notes:
            said.setdefault(("solids", index), []).append("guessed: " + "; ".join(box.notes))
        items.append(item)
    return items


def _sheets(parts: Parts, said: dict[Loc, list[str]]) -> list[dict[str, Any]]:
    names = _Names()
    gables = [
        FlatSheet(f"{wall.name} gable {k + 1}" if len(wall.gables) > 1 else f"{wall.name} gable", piece,
                  wall.construction, [*wall.made_of_notes], wall.storey)
        for wall in parts.walls
        for k, piece in enumerate(wall.gables)
    ]  # fmt: skip
    items = []
    storey = ""
    for index, sheet in enumerate([*parts.sheets, *gables]):
        items.append(
            {
                "name": names.own(sheet.name),
                "corners": [[_r(v) for v in corner] for corner in sheet.corners],
                "construction": sheet.construction,
            }
        )
        storey = _head(said, ("sheets", index), storey, sheet.storey)
        if sheet.notes:
            said.setdefault(("sheets", index), []).append("guessed: " + "; ".join(sheet.notes))
    return items


def _head(said: dict[Loc, list[str]], loc: Loc, before: str, now: str) -> str:
    """A line over the first thing of each storey."""
    if now and now != before:
        said.setdefault(loc, []).insert(0, f"--- {now} ---")
    return now


class _Names:
    """Names made fit for a scene, each used once."""

    def __init__(self) -> None:
        self._used: set[str] = set()

    def own(self, name: str) -> str:
        plain = "".join(c if c.isprintable() else " " for c in _FORBIDDEN.sub("-", name))
        plain = " ".join(plain.split()).lstrip(".")[:70].strip() or "unnamed"
        chosen, n = plain, 1
        while chosen in self._used:
            n += 1
            chosen = f"{plain} ({n})"
        self._used.add(chosen)
        return chosen


def _r(value: float) -> float:
    return round(float(value), 4) + 0.0
