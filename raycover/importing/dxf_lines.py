"""Partitions from a drawing's lines: joined end to end, bodies of walls as one line, only where rooms are."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.importing.dxf_file import Drawing, Shape
from raycover.importing.dxf_layers import Layers
from raycover.importing.dxf_rooms import Room
from raycover.importing.imported import Report

Floats = NDArray[np.float64]
#: A closed outline this narrow (m) and this many times longer than wide is the body of one wall.
_THICKEST_M, _SLENDER = 0.5, 3.0
#: Lines along a room's edge and this near to it (m) are faces of its own wall.
_FACE_M = 0.25
#: Lines within this angle (sine) of an edge run along it.
_ALIKE = 0.05
#: Shorter partitions (m) are left out.
_SHORTEST_M = 0.05
#: Parallel lines this far apart (m) look like the two faces of one wall.
_FACES_APART_M = (0.03, 0.4)


def find_partitions(
    drawing: Drawing, layers: Layers, rooms: Sequence[Room], report: Report
) -> list[tuple[str, Floats]]:
    """(name, line (n, 2) in m) of every partition inside a room, or of all where there is no room."""
    found: list[tuple[str, Floats]] = []
    n_outside, outside_m, n_faces = 0, 0.0, 0
    floor = shapely.union_all([room.outline for room in rooms]) if rooms else None
    faces = _Faces(rooms)
    for layer in layers.partitions:
        lines = [_as_line(s, report) for s in drawing.shapes if s.layer == layer]
        pieces = _joined(lines)
        if floor is not None:
            cleared = [faces.off(line) for line in pieces]
            clear = [piece for some, _ in cleared for piece in some]
            n_faces += sum(n for _, n in cleared)
            pieces = [p for line in clear for p in _lines_in(shapely.intersection(line, floor))]
            lost = sum(line.length for line in clear) - sum(line.length for line in pieces)
            n_outside, outside_m = n_outside + (lost > 0.01), outside_m + lost
        pieces = [shapely.simplify(p, 1e-3) for p in _joined(pieces) if p.length >= _SHORTEST_M]
        for k, line in enumerate(pieces, 1):
            points = np.round(shapely.get_coordinates(line), 3)
            points = points[np.concatenate([[True], np.linalg.norm(np.diff(points, axis=0), axis=1) > 1e-6])]
            if len(points) > 1:
                found.append((f"{_name(layer)} {k}", points))
    report.map("partitions", len(found))
    if n_faces:
        report.leave("lines along the walls of rooms, taken for faces of those walls", f"{n_faces} pieces")
    if n_outside:
        report.leave("lines outside every room", f"{outside_m:.1f} m on {', '.join(layers.partitions)}")
    if n_pairs := _facing_pairs([points for _, points in found]):
        what = "pairs of parallel lines that may be two faces of one wall: each is a partition of its own, keep one"
        report.guess(what, f"{n_pairs} pairs")
    return found


def _name(layer: str) -> str:
    return " ".join("".join(" " if c in '/\\:*?"<>|' or not c.isprintable() else c for c in layer).split())[:60] or "0"


def _as_line(shape: Shape, report: Report) -> Any:
    """A shape as a line: a wall's slender body as its middle, other closed shapes as rings."""
    if not shape.closed:
        return shapely.LineString(shape.points)
    ring = shapely.LineString(np.vstack([shape.points, shape.points[:1]]))
    body = shapely.get_coordinates(shapely.minimum_rotated_rectangle(shapely.Polygon(shape.points)))
    if len(body) < 5:
        return ring
    sides = np.linalg.norm(np.diff(body[:3], axis=0), axis=1)
    fills = shapely.Polygon(shape.points).area > 0.9 * sides.prod()
    if not fills or sides.min() > _THICKEST_M or sides.max() < _SLENDER * sides.min():
        return ring
    report.guess("slender outlines read as walls along their middle", f"on {shape.layer}")
    first = 0 if sides[0] < sides[1] else 1  # a short side
    ends = [(body[first] + body[first + 1]) / 2, (body[first + 2] + body[(first + 3) % 4]) / 2]
    return shapely.LineString(ends)


def _joined(lines: Sequence[Any]) -> list[Any]:
    """Lines that meet end to end, two at a point, as one; millimetres."""
    rounded = [shapely.set_precision(line, 1e-3) for line in lines]
    parts = [part for line in rounded for part in _lines_in(line)]
    if not parts:
        return []
    merged = shapely.get_parts(shapely.line_merge(shapely.MultiLineString(parts)))
    distinct: dict[bytes, Any] = {}
    for line in merged:
        distinct.setdefault(shapely.normalize(line).wkb, line)
    return sorted(distinct.values(), key=lambda line: (line.bounds, line.length))


def _lines_in(shape: Any) -> list[Any]:
    return [p for p in shapely.get_parts(shape) if p.geom_type == "LineString" and p.length > 0]


class _Faces:
    """Strips along the edges of rooms, as far as a wall's face may stand off its line."""

    def __init__(self, rooms: Sequence[Room]) -> None:
        edges = [
            np.array(pair)
            for room in rooms
            for pair in pairwise(shapely.get_coordinates(room.outline.exterior))
            if np.linalg.norm(pair[1] - pair[0]) > 1e-6
        ]
        self._ways = np.array([(e[1] - e[0]) / np.linalg.norm(e[1] - e[0]) for e in edges]).reshape(-1, 2)
        self._strips = [shapely.buffer(shapely.LineString(e), _FACE_M, cap_style="square") for e in edges]
        self._tree = shapely.STRtree(self._strips)

    def off(self, line: Any) -> tuple[list[Any], int]:
        """A line without the stretches that run along an edge of a room, and how many pieces those were."""
        kept: list[Any] = []
        n_dropped = 0
        for pair in pairwise(shapely.get_coordinates(line)):
            piece = shapely.LineString(pair)
            way = (pair[1] - pair[0]) / max(float(np.linalg.norm(pair[1] - pair[0])), 1e-9)
            near = self._tree.query(piece)
            sines = np.abs(self._ways[near] @ np.array([-way[1], way[0]]))
            alike = [self._strips[i] for i in near[sines < _ALIKE]]
            rest = piece.difference(shapely.union_all(alike)) if alike else piece
            n_dropped += rest.length < piece.length - 1e-6
            kept += [p for p in _lines_in(rest) if p.length >= _SHORTEST_M]
        return kept, n_dropped


def _facing_pairs(lines: Sequence[Floats]) -> int:
    """How many pairs of straight pieces run side by side like the two faces of a wall."""
    pieces = [np.array(pair) for line in lines for pair in pairwise(line) if np.linalg.norm(pair[1] - pair[0]) > 0.3]
    if len(pieces) < 2:
        return 0
    tree = shapely.STRtree([shapely.LineString(piece) for piece in pieces])
    n = 0
    for index, piece in enumerate(pieces):
        way = (piece[1] - piece[0]) / np.linalg.norm(piece[1] - piece[0])
        for other in tree.query(shapely.LineString(piece).buffer(_FACES_APART_M[1])):
            if other <= index:
                continue
            offset = pieces[other] - piece[0]
            across, along = offset @ np.array([-way[1], way[0]]), np.sort(offset @ way)
            shared = min(along[1], np.linalg.norm(piece[1] - piece[0])) - max(along[0], 0.0)
            apart = abs(across.mean())
            n += bool(np.ptp(across) < 0.01 and _FACES_APART_M[0] <= apart <= _FACES_APART_M[1] and shared > 0.3)
    return n
