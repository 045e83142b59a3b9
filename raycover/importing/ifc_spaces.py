"""IFC spaces → rooms; where a file has none, rooms from closed loops of walls. Columns and beams → boxes."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.importing import materials, outlines
from raycover.importing.ifc_shapes import Shapes, label, words
from raycover.importing.imported import Report
from raycover.importing.plates import Box, Room, facets
from raycover.importing.walls import Wall, footprint_of

Floats = NDArray[np.floating]

#: A space lower than this (m) is a void or a zone drawn on the floor.
_LOWEST = 0.5
#: Beams that climb more than this share of their length are no level boxes.
_STEEPEST = 0.05


def read_spaces(elements: Sequence[tuple[Any, str]], shapes: Shapes, report: Report) -> list[Room]:
    """Rooms with the spaces' own outlines (inside their walls): the largest space that takes in others is dropped."""
    rooms: list[Room] = []
    for element, storey in elements:
        name = _space_name(element)
        body = shapes.body(element)
        if body is None:
            report.leave("spaces without a body", name)
            continue
        low, high = float(body.vertices[:, 2].min()), float(body.vertices[:, 2].max())
        undersides = [plan for plane, plan in facets(body.vertices, body.faces) if abs(plane[2]) > 0.99]
        footprint = footprint_of(body.vertices, body.faces)
        if undersides:
            # Steps in a ceiling make several undersides only where the body is open below; the plan is the whole.
            footprint = max((shapely.union_all(undersides), footprint), key=lambda shape: shape.area)
        if high - low < _LOWEST or footprint.is_empty or footprint.geom_type != "Polygon":
            report.leave("spaces without a height or in several parts", name)
            continue
        pieces = outlines.without_holes(footprint)
        for k, piece in enumerate(pieces):
            title = name if len(pieces) == 1 else f"{name} part {k + 1}"
            room = Room(title, piece, low, high - low, piece, storey=storey)
            if len(pieces) > 1:
                room.note("outline", "guessed: cut in two, since an outline goes round once and this space has a hole")
                report.guess("spaces with a hole, cut in two rooms", name)
            if not _is_prism(body.volume, footprint.area * (high - low)):
                room.note("height", "guessed: its highest, since the space is not equally high everywhere")
                report.guess("heights of spaces that are not equally high everywhere", name)
            rooms.append(room)
    return _without_zones(rooms, report)


def _is_prism(volume: float, whole: float) -> bool:
    return volume > 0.97 * whole


def _space_name(element: Any) -> str:
    """Number and name of a space: `012 Kitchen`."""
    words_ = [" ".join(str(part).split()) for part in (element.Name, element.LongName) if part]
    return " ".join(dict.fromkeys(words_)) or label(element)


def _without_zones(rooms: list[Room], report: Report) -> list[Room]:
    """Rooms less those that are mostly made of others, such as the gross area of a storey."""
    kept = []
    tree = shapely.STRtree([room.net for room in rooms]) if rooms else None
    for index, room in enumerate(rooms):
        inside = []
        for other in tree.query(room.net) if tree is not None else ():
            one = rooms[other]
            level = min(one.floor + one.height, room.floor + room.height) - max(one.floor, room.floor)
            shared = room.net.intersection(one.net).area if other != index and level > 0.3 else 0.0
            smaller = one.net.area < room.net.area or (one.net.area == room.net.area and other < index)
            if shared > 0.5 * one.net.area and smaller:
                inside.append(one.name)
        if inside:
            report.leave("spaces that take in others", room.name)
        else:
            kept.append(room)
    return kept


def grow_to_walls(rooms: Sequence[Room], walls: Sequence[Wall], report: Report) -> None:
    """Bring outlines (in place) from the walls' faces to their centre lines."""
    sides = outlines.WallSides(walls)
    for room in rooms:
        room.outline = outlines.to_centre_lines(room.net, sides, room.floor, room.floor + room.height)
    levels = [(room.floor, room.floor + room.height) for room in rooms]
    for room, outline in zip(rooms, outlines.apart([room.outline for room in rooms], levels), strict=True):
        if outline is not room.outline:
            room.outline = outline
            room.note("outline", "guessed: cut back where it overlapped its neighbour")
            report.guess("outlines cut back where spaces overlap", room.name)


def rooms_from_walls(walls: Sequence[Wall], storeys: Sequence[str], report: Report) -> list[Room]:
    """Rooms where walls of a storey close a loop; floor and height from the walls around."""
    rooms: list[Room] = []
    by_storey: dict[str, list[Wall]] = defaultdict(list)
    for wall in walls:
        by_storey[wall.storey].append(wall)
    for storey in [*storeys, *(s for s in by_storey if s not in storeys)]:
        mine = by_storey.get(storey, [])
        for k, loop in enumerate(outlines.from_walls(mine) if mine else []):
            around = [wall for wall in mine if shapely.LineString(wall.line).distance(loop.exterior) < 0.01]
            floor = float(np.median([wall.base for wall in around]))
            height = float(np.median([wall.top for wall in around])) - floor
            if height < _LOWEST:
                continue
            name = f"{storey} room {k + 1}" if storey else f"Room {k + 1}"
            for piece in outlines.without_holes(loop):
                room = Room(name, piece, floor, height, piece.buffer(-0.05, join_style="mitre"), storey=storey)
                room.note("outline", "guessed: a closed loop of walls, the file has no space here")
                rooms.append(room)
            report.guess("rooms from closed loops of walls, since the file has no spaces", name)
    return rooms


def read_box(element: Any, shapes: Shapes, storey: str, report: Report) -> Box | None:
    """A column or level beam as the box around it."""
    name = label(element)
    body = shapes.body(element)
    if body is None:
        report.leave("columns and beams without a body", name)
        return None
    low, high = body.vertices.min(axis=0), body.vertices.max(axis=0)
    hull = shapely.convex_hull(shapely.multipoints(body.vertices[:, :2]))
    if hull.geom_type != "Polygon" or high[2] - low[2] < 1e-3:
        report.leave("columns and beams without a body", name)
        return None
    ring = shapely.get_coordinates(shapely.minimum_rotated_rectangle(hull))
    way, side = ring[1] - ring[0], ring[2] - ring[1]
    if element.is_a("IfcBeam") and _climbs(body.vertices, hull):
        report.leave("beams that climb", name)
        return None
    turn = float(np.degrees(np.arctan2(way[1], way[0])))
    lengths = float(np.linalg.norm(way)), float(np.linalg.norm(side))
    turn = (turn + 45.0) % 180.0 - 45.0  # the smallest turn that says the same
    if turn >= 45.0:
        turn, lengths = turn - 90.0, (lengths[1], lengths[0])
    if abs(turn) < 1e-4 or hull.area > 0.95 * shapely.minimum_bounding_circle(hull).area:
        turn = 0.0
    middle = ring[:4].mean(axis=0)
    material, guess = materials.solid(words(element))
    notes = []
    if guess:
        notes.append(guess)
        report.guess("what columns and beams are made of", name)
    if body.volume < 0.9 * lengths[0] * lengths[1] * float(high[2] - low[2]):
        notes.append("the box around it: it is round, hollow or profiled")
        report.guess("round, hollow and profiled columns and beams, written as boxes", name)
    size = (lengths[0], lengths[1], float(high[2] - low[2]))
    return Box(name, (float(middle[0]), float(middle[1])), size, float(low[2]), turn, material, notes, storey)


def _climbs(vertices: Floats, hull: Any) -> bool:
    """Whether the two ends of a beam lie at different heights."""
    ring = shapely.get_coordinates(shapely.minimum_rotated_rectangle(hull))
    sides = np.diff(ring, axis=0)[:2]
    way = sides[int(np.argmax(np.linalg.norm(sides, axis=1)))]
    length = float(np.linalg.norm(way))
    station = vertices[:, :2] @ way / length
    start, end = station < station.min() + 0.1 * length, station > station.max() - 0.1 * length
    return bool(abs(vertices[start, 2].mean() - vertices[end, 2].mean()) > _STEEPEST * length)
