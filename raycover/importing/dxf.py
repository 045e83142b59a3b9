"""DXF → scene: rooms and partitions by layer, names from texts, units from the file or as told."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from raycover.building.build import build
from raycover.catalogue import load_catalogue, unknown_name
from raycover.errors import InputError, Position, Problem, did_you_mean, option_error
from raycover.importing.dxf_file import Drawing, read_dxf
from raycover.importing.dxf_layers import Layers, choose_layers, nothing_found
from raycover.importing.dxf_lines import find_partitions
from raycover.importing.dxf_options import DxfOptions
from raycover.importing.dxf_rooms import Room, find_rooms
from raycover.importing.imported import Imported, Progress, Report
from raycover.importing.scene_text import write_scene
from raycover.loading import load_text
from raycover.scene.received import UNITS_M

#: A room longer than this (m) comes of wrong units, and so does a plan whose longest room is shorter than this.
LONGEST_M, SHORTEST_M = 1000.0, 1.0
#: Farther from (0, 0) than this (m) a plan is moved: survey coordinates.
_FAR_M = 5000.0
#: Below this area (m²) of all rooms a finer grid costs nothing.
_SMALL_M2 = 600.0


#: From memory, common practice: offices are 2.6 to 3 m high, and stud walls part them.
_HEIGHT_M, _WALLS = 2.8, "stud-wall-100"


def import_dxf(
    path: Path,
    options: DxfOptions,
    *,
    progress: Progress = lambda done, everything: None,
    folder: Path | None = None,
) -> Imported:
    """The plan of a DXF as a scene that will stand in `folder`. Raises InputError for a file or layer that won't do."""
    folder = path.parent if folder is None else folder
    _check(options, folder)
    report = Report()
    drawing = read_dxf(path, options.units, progress)
    layers = choose_layers(drawing, path, options.rooms, options.partitions, report)
    rooms = find_rooms(drawing, layers, report)
    _refuse_sizes(rooms, drawing, layers, path)
    if not rooms:
        raise nothing_found(drawing, path, f"no closed outline on {', '.join(layers.rooms)}")
    partitions = find_partitions(drawing, layers, rooms, report)
    _leave_the_rest(drawing, {*layers.rooms, *layers.partitions}, report)
    return _written(path, folder, drawing, rooms, partitions, options, report)


def _check(options: DxfOptions, folder: Path) -> None:
    if options.units is not None and options.units not in UNITS_M:
        raise option_error("--units", f'unknown units "{options.units}"', did_you_mean(options.units, list(UNITS_M)))
    if options.height is not None and not 0.1 <= options.height <= 200:
        raise option_error("--height", f"{options.height:g} m is no height of a room", "write --height 2.8 (metres)")
    known = load_catalogue(folder).constructions if options.walls is not None else {}
    if options.walls is not None and options.walls not in (*known, "none"):
        raise InputError([unknown_name("construction", options.walls, known, Position("--walls"))])


def _refuse_sizes(rooms: Sequence[Room], drawing: Drawing, layers: Layers, path: Path) -> None:
    """Rooms kilometres or millimetres long: the units are wrong."""
    sizes = [(_length(room.outline.bounds), f'room "{room.name}"') for room in rooms]
    outlines = [shapely.LineString(s.points).bounds for s in drawing.shapes if s.closed and s.layer in layers.rooms]
    longest, what = max(sizes or [(_length(bounds), "the largest outline") for bounds in outlines], default=(1.0, ""))
    if SHORTEST_M <= longest <= LONGEST_M:
        return
    raw = longest / UNITS_M[drawing.units]
    likely = [f"--units {u} ({raw * m:.4g} m)" for u, m in UNITS_M.items() if 3 <= raw * m <= 300]
    size = f"{longest / 1000:.4g} km" if longest > LONGEST_M else f"{longest * 1000:.4g} mm"
    message = f"check units: {what} would be {size} long in {drawing.units}, by {drawing.units_from}"
    hint = "write " + (" or ".join(likely) if likely else "--units mm, cm, m, in or ft, as the plan was drawn")
    raise InputError([Problem("wrong-units", message, Position(str(path)), hint)])


def _length(bounds: tuple[float, float, float, float]) -> float:
    return max(bounds[2] - bounds[0], bounds[3] - bounds[1])


def _leave_the_rest(drawing: Drawing, used: set[str], report: Report) -> None:
    counts: dict[str, int] = defaultdict(int)
    for shape in drawing.shapes:
        if shape.layer not in used:
            counts[shape.layer] += 1
    for layer, n in sorted(counts.items(), key=lambda item: -item[1]):
        report.leave("lines on other layers", f"{layer} ({n})")
    kinds: dict[str, int] = defaultdict(int)
    for (_, kind), n in drawing.unread.items():
        kinds[kind] += n
    for kind, n in sorted(kinds.items(), key=lambda item: -item[1]):
        report.leave("entities that hold no lines", f"{kind} ({n})")
    report.leave("what a plan's lines do not tell", "doors, windows, heights, constructions")
    if drawing.n_mended:
        report.guess("faults of the file, mended while reading", f"{drawing.n_mended}")


def _written(
    path: Path,
    folder: Path,
    drawing: Drawing,
    rooms: Sequence[Room],
    partitions: Sequence[tuple[str, Any]],
    options: DxfOptions,
    report: Report,
) -> Imported:
    height = options.height if options.height is not None else _HEIGHT_M
    walls = options.walls if options.walls is not None else _WALLS
    if options.height is None:
        report.guess(f"heights, {height:g} m", "all (--height says another)")
    if options.walls is None:
        report.guess(f"walls, {walls}", "all (--walls says another)")
    report.map(f"plan in {drawing.units}, by {drawing.units_from}")
    away = _origin(rooms)
    metres = UNITS_M[drawing.units]
    parts: dict[str, Any] = {"title": path.stem[:120] or "Untitled"}
    if drawing.units != "m" or away.any():
        parts["plan"] = {"units": drawing.units, "origin": [round(float(v) / metres, 6) for v in away]}
    parts["grid"] = 0.1 if sum(room.outline.area for room in rooms) < _SMALL_M2 else 0.25
    parts["rooms"] = [_room(room, away, height, walls) for room in rooms]
    if partitions:
        parts["partitions"] = [
            {"name": name, "line": (line - away).round(3).tolist(), "height": height, "construction": walls}
            for name, line in partitions
        ]
    comments: dict[tuple[str | int, ...], str | list[str]] = {("rooms",): "corners as drawn, lengths in metres"}
    if "plan" in parts:
        comments["plan",] = "units of the drawing, and where this scene's (0, 0) lies in it: for raycover export"
    text = write_scene(parts, {**comments, (): _head(path, report)})
    try:
        build(load_text(text, folder=folder))
    except InputError as error:
        for problem in error.problems:
            report.guess("what raycover check finds: mend it first", problem.message)
        text = write_scene(parts, {**comments, (): _head(path, report)})
    return Imported(text, report)


def _head(path: Path, report: Report) -> list[str]:
    lead = f"From {path.name}, read by raycover import. Look over what was guessed, then add detectors and openings."
    return [lead, *report.lines()]


def _origin(rooms: Sequence[Room]) -> Any:
    """Where the scene's (0, 0) lies in the plan (2,), m: the plan's own, unless its coordinates are a survey's."""
    bounds = np.array([room.outline.bounds for room in rooms])
    if np.abs(bounds).max() <= _FAR_M:
        return np.zeros(2)
    return np.floor(bounds[:, :2].min(axis=0))


def _room(room: Room, away: Any, height: float, walls: str) -> dict[str, Any]:
    ring = room.outline.exterior if room.outline.exterior.is_ccw else room.outline.exterior.reverse()
    points = shapely.get_coordinates(ring)
    item: dict[str, Any] = {"name": room.name, "outline": (points[:-1] - away).round(3).tolist(), "height": height}
    edges = [shapely.LineString(pair) for pair in pairwise(points.tolist())]
    opened = [any(cut.buffer(1e-3).covers(edge) for cut in room.open_sides) for edge in edges]
    item["walls"] = ["none" if is_open else walls for is_open in opened] if any(opened) else walls
    return item
