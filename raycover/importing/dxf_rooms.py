"""Rooms from a drawing's outlines: closed, cleaned, cut where they overlap, named by the texts inside them."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from raycover.importing.dxf_faces import to_middle_of_walls
from raycover.importing.dxf_file import Drawing, Label
from raycover.importing.dxf_layers import Layers, is_room_like
from raycover.importing.imported import Report

#: Coordinates are kept to the millimetre; lines whose ends lie this near meet.
_GRID_M = 0.001
#: Outlines smaller than this (m²) are columns, symbols, shafts for pipes: no rooms.
SMALLEST_M2 = 0.5
#: What is left of a room no wider than this (m) is a slit between two lines of a wall.
_SLIT_M = 0.3
#: An outline whose inside is covered by others to this share is that of the whole, not a room.
_WHOLE = 0.8
_MOST_POINTS = 1900
_AREA = re.compile(r"^[\d.,\s]+\s*(m2|m²|sqm|sq\.?\s*m|qm|mm|cm|m|ft2|ft²|sq\.?\s*ft|sf)?\.?$", re.IGNORECASE)
_NUMBER = re.compile(r"^[A-Za-z]{0,3}[-. ]?\d[\w.\-/]{0,9}$")
_FORBIDDEN = re.compile(r'[/\\:*?"<>|\x00-\x1f]')


@dataclass
class Room:
    """A room as it will stand in the scene: polygon without holes (m), its name, and lines without a wall."""

    name: str
    outline: Any
    open_sides: tuple[Any, ...] = ()


def find_rooms(drawing: Drawing, layers: Layers, report: Report) -> list[Room]:
    """Rooms of the chosen layers, none overlapping another, in the order of their names."""
    outlines = _distinct(_outlines(drawing, layers, report), report)
    outlines = _apart(outlines, report)
    outlines = sorted(outlines, key=lambda p: (-round(p.bounds[3], 1), p.bounds[0]))  # as a page is read
    labelled = outlines
    if not any(outline.interiors for outline in outlines):
        outlines, n_grown = to_middle_of_walls(outlines)
        if n_grown:
            what = "rooms drawn to the faces of walls, grown to the middle of each wall between two rooms"
            report.guess(what, f"{n_grown} rooms")
            outlines = [_tidy(outline) for outline in outlines]
    rooms: list[Room] = []
    names, n_nameless = _names(labelled, drawing.labels)
    for outline, name in zip(outlines, names, strict=True):
        pieces, cuts = _without_holes(outline)
        if len(pieces) > 1:
            report.guess("rooms around others, cut into parts with nothing between them", name)
        for k, piece in enumerate(pieces, 1):
            rooms.append(Room(name if len(pieces) == 1 else f"{name} part {k}", piece, tuple(cuts)))
    report.map("rooms", len(rooms))
    if n_nameless:
        report.guess("names of rooms without a text inside", f"{n_nameless} rooms")
    return rooms


def _outlines(drawing: Drawing, layers: Layers, report: Report) -> list[Any]:
    """Polygons of the layers: closed lines, and what open lines enclose together."""
    shapes = [s for s in drawing.shapes if s.layer in layers.rooms]
    found: list[Any] = []
    small = 0
    for shape in shapes:
        if not shape.closed or layers.loops:
            continue
        polygon = shapely.Polygon(shape.points)
        if not polygon.is_valid:
            parts = [p for p in shapely.get_parts(shapely.make_valid(polygon)) if p.geom_type == "Polygon"]
            polygon = max(parts, key=lambda p: p.area, default=shapely.Polygon())
            report.guess("outlines that cross themselves, of which the largest part is kept", f"on {shape.layer}")
        polygon = _tidy(polygon)
        if polygon.area < SMALLEST_M2:
            small += 1
            continue
        found.append(polygon)
    if small:
        report.leave(f"outlines smaller than {SMALLEST_M2:g} m²", f"{small} on {', '.join(layers.rooms)}")
    lines = [_line(s.points, closed=s.closed) for s in shapes if layers.loops or not s.closed]
    loops = [_tidy(p) for p in _loops(lines)]
    loops = [p for p in loops if p.area >= SMALLEST_M2 and not p.buffer(-_SLIT_M / 2).is_empty]
    if loops and not layers.loops:
        report.guess("rooms that open lines enclose together", f"{len(loops)} on {', '.join(layers.rooms)}")
    return found + loops


def _line(points: Any, *, closed: bool) -> Any:
    return shapely.LineString(np.vstack([points, points[:1]]) if closed else points)


def _loops(lines: Sequence[Any]) -> list[Any]:
    if not lines:
        return []
    met = shapely.union_all(lines, grid_size=_GRID_M)
    return [p for p in shapely.get_parts(shapely.polygonize(list(shapely.get_parts(met)))) if p.area > 0]


def _tidy(polygon: Any) -> Any:
    """Millimetres, no points on straight edges, few enough points."""
    for tolerance in (_GRID_M, 0.01, 0.03, 0.1):
        tidied = shapely.set_precision(shapely.simplify(polygon, tolerance), _GRID_M)
        if tidied.geom_type == "MultiPolygon":
            tidied = max(tidied.geoms, key=lambda p: p.area)
        if len(shapely.get_coordinates(tidied)) <= _MOST_POINTS:
            break
    return tidied


def _distinct(outlines: Sequence[Any], report: Report) -> list[Any]:
    """Outlines without doubles and without those that stand for the whole of several others; largest first."""
    ordered = sorted(outlines, key=lambda p: (-p.area, p.bounds))
    kept: list[Any] = []
    n_doubles = 0
    for outline in ordered:
        if any(outline.symmetric_difference(k).area < 0.02 * outline.area for k in kept if k.intersects(outline)):
            n_doubles += 1
        else:
            kept.append(outline)
    if n_doubles:
        report.leave("outlines drawn twice", f"{n_doubles}")
    wholes = []
    tree = shapely.STRtree(kept)
    for index, outline in enumerate(kept):
        inside = [kept[k] for k in tree.query(outline, predicate="intersects") if k > index]
        inside = [o for o in inside if o.intersection(outline).area > 0.95 * o.area]
        if len(inside) > 1 and shapely.union_all(inside).area > _WHOLE * outline.area:
            wholes.append(index)
    for index in wholes:
        report.leave("outlines around several rooms", f"{kept[index].area:.1f} m²")
    return [o for index, o in enumerate(kept) if index not in wholes]


def _apart(outlines: Sequence[Any], report: Report) -> list[Any]:
    """Outlines less what smaller ones take of them: a room in a hall is cut out of the hall."""
    done: list[Any] = []
    for outline in sorted(outlines, key=lambda p: p.area):
        rest = outline
        for other in (o for o in done if o.intersects(outline)):
            shared = shapely.buffer(rest.intersection(other), -_GRID_M)
            if shared.area < 1e-4:
                continue
            report.guess("outlines cut back where they overlap", f"{outline.area:.1f} m² less {shared.area:.2f} m²")
            parts = [p for p in shapely.get_parts(rest.difference(other)) if p.geom_type == "Polygon"]
            parts = [p for p in parts if not p.buffer(-_SLIT_M / 2).is_empty]
            rest = _tidy(max(parts, key=lambda p: p.area, default=shapely.Polygon()))
        if rest.area >= SMALLEST_M2:
            done.append(rest)
    return done[::-1]


def _without_holes(polygon: Any) -> tuple[list[Any], list[Any]]:
    """Pieces without holes, and the upright cuts (lines) between them."""
    if polygon.geom_type != "Polygon" or not polygon.interiors:
        return [polygon], []
    x0, y0, x1, y1 = polygon.bounds
    x = round(shapely.Polygon(polygon.interiors[0]).centroid.x, 3)
    cuts = [shapely.LineString([(x, y0 - 1), (x, y1 + 1)])]
    pieces: list[Any] = []
    for half in (shapely.box(x0 - 1, y0 - 1, x, y1 + 1), shapely.box(x, y0 - 1, x1 + 1, y1 + 1)):
        for part in shapely.get_parts(polygon.intersection(half)):
            if part.geom_type == "Polygon" and part.area > 1e-3:
                more, further = _without_holes(_tidy(part))
                pieces, cuts = pieces + more, cuts + further
    return pieces, cuts


def _names(outlines: Sequence[Any], labels: Sequence[Label]) -> tuple[list[str], int]:
    """A name for each outline, none twice, and how many had no text: names alike are told apart by room numbers."""
    tree = shapely.STRtree([shapely.Point(label.at) for label in labels])
    found: list[tuple[str, str]] = []
    for outline in outlines:
        inside = [labels[i] for i in sorted(tree.query(outline, predicate="intersects"))]
        number = next((label.text for label in inside if _NUMBER.match(label.text)), "")
        words = [t for t in inside if not _NUMBER.match(t.text) and not _AREA.match(t.text) and _letters(t.text) > 1]
        best = max(words, key=_rank, default=None)
        found.append((best.text if best is not None else "", number))
    often = Counter(name for name, _ in found)
    names: list[str] = []
    for name, number in found:
        whole = name if often[name] == 1 and name else f"{name or 'Room'} {number}".strip()
        plain = " ".join(_FORBIDDEN.sub(" ", whole).split())[:70].strip(" .") or "Room"
        free, n = plain, 1
        while free in names or free == "Room":
            free, n = f"{plain} {n}", n + 1
        names.append(free)
    return names, sum(found_one == ("", "") for found_one in found)


def _letters(text: str) -> int:
    return sum(c.isalpha() for c in text)


def _rank(label: Label) -> tuple[int, float]:
    """Attributes called a name first, then texts on layers of rooms, then the largest."""
    return (2 if "NAM" in label.tag.upper() else 1 if is_room_like(label.layer) else 0), label.height
