"""Which layers of a drawing hold rooms and which partitions: as asked, or by their names."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from fnmatch import fnmatchcase
from pathlib import Path

import numpy as np
import shapely

from raycover.errors import InputError, Position, Problem, did_you_mean
from raycover.importing.dxf_file import Drawing
from raycover.importing.imported import Report

#: Beginnings of words in layer names, from memory of common practice in several languages: no standard names all.
_ROOMS = ("room", "space", "area", "zone", "raum", "räum", "raeum", "pièce", "piece", "local", "ruimte", "ambient")
_WALLS = ("wall", "partition", "screen", "stud", "wand", "wänd", "waend", "trennw", "cloison", "mur", "tabique", "muro")
#: An outline at least this large (m²) may be a room.
_ROOM_M2 = 1.0
_MOST_LISTED = 30


@dataclass(frozen=True)
class Layers:
    """Names of layers with rooms and with partitions; `loops` where rooms are what lines of walls enclose."""

    rooms: tuple[str, ...]
    partitions: tuple[str, ...]
    loops: bool = False


def choose_layers(
    drawing: Drawing, path: Path, rooms: Sequence[str], partitions: Sequence[str], report: Report
) -> Layers:
    """The layers to read. `rooms` and `partitions` are names or patterns (*) in any case, empty to guess.

    Raises InputError for a layer that is not there, and where no layer looks like rooms: it lists them all.
    """
    names = sorted({s.layer for s in drawing.shapes})
    asked_rooms = _asked("--rooms", rooms, names, drawing, path)
    asked_walls = _asked("--partitions", partitions, names, drawing, path)
    seen = [name for name in names if name not in drawing.hidden]
    walls = asked_walls or [name for name in seen if _like(name, _WALLS) and name not in asked_rooms]
    if walls and not asked_walls:
        report.guess("partitions from layers, by their names", ", ".join(walls))
    if asked_rooms:
        return Layers(tuple(asked_rooms), tuple(walls))
    largest = _largest_m2(drawing)
    guessed = [name for name in seen if _like(name, _ROOMS) and largest.get(name, 0.0) >= _ROOM_M2]
    if not guessed:  # drawn as lines that meet, or in other units than the file says
        guessed = [name for name in seen if _like(name, _ROOMS)]
    if guessed:
        report.guess("rooms from layers, by their names", ", ".join(guessed))
        return Layers(tuple(guessed), tuple(w for w in walls if w not in guessed))
    closed = [name for name in seen if largest.get(name, 0.0) >= _ROOM_M2 and name not in asked_walls]
    if len(closed) == 1:
        report.guess("rooms from the only layer with outlines", closed[0])
        return Layers(tuple(closed), tuple(w for w in walls if w not in closed))
    if walls:
        report.guess("rooms from what these layers' lines enclose", ", ".join(walls))
        return Layers(tuple(walls), tuple(walls), loops=True)
    raise nothing_found(drawing, path, "no layer looks like rooms")


def nothing_found(drawing: Drawing, path: Path, message: str) -> InputError:
    """An error that lists every layer with what is on it."""
    hint = "choose with --rooms LAYER and --partitions LAYER; layers of the file:\n" + "\n".join(listing(drawing))
    return InputError([Problem("no-rooms", message, Position(str(path)), hint)])


def listing(drawing: Drawing) -> list[str]:
    """A line for each layer: outlines with the largest, lines with their length, texts, the rest by type."""
    largest = _largest_m2(drawing)
    lines = []
    names = {s.layer for s in drawing.shapes} | {t.layer for t in drawing.labels} | {key[0] for key in drawing.unread}
    for name in sorted(names, key=lambda n: (-largest.get(n, 0.0), n)):
        shapes = [s for s in drawing.shapes if s.layer == name]
        n_closed = sum(s.closed for s in shapes)
        n_texts = sum(t.layer == name for t in drawing.labels)
        long_m = sum(float(np.linalg.norm(np.diff(s.points, axis=0), axis=1).sum()) for s in shapes if not s.closed)
        parts = [f"{n_closed} outlines, the largest {largest[name]:.4g} m²"] if n_closed else []
        parts += [f"{len(shapes) - n_closed} lines, {long_m:.4g} m"] if n_closed < len(shapes) else []
        parts += [f"{n_texts} texts"] if n_texts else []
        parts += [f"{n} {kind}" for (layer, kind), n in sorted(drawing.unread.items()) if layer == name]
        lines.append(f"    {name}{' (switched off)' if name in drawing.hidden else ''}: {'; '.join(parts)}")
    more = len(lines) - _MOST_LISTED
    return [*lines[:_MOST_LISTED], f"    and {more} more"] if more > 0 else lines


def _asked(option: str, patterns: Sequence[str], names: Sequence[str], drawing: Drawing, path: Path) -> list[str]:
    found: list[str] = []
    for pattern in patterns:
        hits = [name for name in names if fnmatchcase(name.casefold(), pattern.casefold())]
        if not hits:
            message = f'no layer "{pattern}" with lines in {path.name}'
            hint = did_you_mean(pattern, names) + "; layers of the file:\n" + "\n".join(listing(drawing))
            raise InputError([Problem("no-layer", message, Position(option), hint)])
        found += [hit for hit in hits if hit not in found]
    return found


def _like(name: str, beginnings: Sequence[str]) -> bool:
    words = re.split(r"[\W\d_]+", name.casefold())
    return any(word.startswith(tuple(beginnings)) for word in words if word)


def is_room_like(layer: str) -> bool:
    """Whether a layer's name speaks of rooms: labels on it are names of rooms sooner than others."""
    return _like(layer, _ROOMS)


def _largest_m2(drawing: Drawing) -> dict[str, float]:
    largest: dict[str, float] = {}
    for shape in drawing.shapes:
        if shape.closed:
            area = float(shapely.Polygon(shape.points).area)
            largest[shape.layer] = max(largest.get(shape.layer, 0.0), area)
    return largest
