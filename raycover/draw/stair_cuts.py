"""A stair as a plan shows it: cut at plan height, what is seen below it, what lies above, and the ways up and down.

Seen from the cut, a flight hides what lies under it. What lies below the storey's own floor shows through its
voids only.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
import shapely
import shapely.ops
from numpy.typing import NDArray

from raycover.building.parts import StairPiece, StairShape
from raycover.draw.cuts import CUT_HEIGHT

Floats = NDArray[np.float64]
#: Levels nearer than this (m) are one.
_LEVEL = 0.06
#: The break line runs off square by this share of the flight's width to each side.
_SLANT = 0.22
#: An arrow ends this far (m) short of the break line; one shorter than `_SHORTEST` says nothing.
_SHORT, _SHORTEST = 0.1, 0.4
#: A way down ends this far (m) short of where an upper flight hides it.
_BEFORE_HIDDEN = 0.35


@dataclass(frozen=True)
class Arrow:
    """A line to walk along, (n, 2) in m, and what it leads to."""

    word: Literal["up", "down"]
    line: Floats


@dataclass
class StairCut:
    """One stair in plan, in metres: outlines seen and their lines, lines above the cut, break lines, arrows."""

    seen: list[Any] = field(default_factory=list)
    lines: list[Floats] = field(default_factory=list)
    above: list[Floats] = field(default_factory=list)
    breaks: list[Floats] = field(default_factory=list)
    arrows: list[Arrow] = field(default_factory=list)


def arrival(piece: StairPiece) -> float:
    """Height (m) of the floor or landing that a piece leads to."""
    return (
        float(piece.origin[2]) + (piece.n_treads + 1) * piece.rise if piece.kind == "flight" else float(piece.origin[2])
    )


def on_plan(piece: StairPiece, points: Sequence[tuple[float, float]] | Floats) -> Floats:
    """(n, 2) places (along, across) on a piece → (n, 2) in plan."""
    ab = np.asarray(points, np.float64).reshape(-1, 2)
    flat = piece.origin[:2] + ab[:, :1] * piece.along[:2] + ab[:, 1:] * piece.across[:2]
    return np.asarray(flat, np.float64)


def profile(piece: StairPiece, waist: float) -> Floats:
    """A piece from the side, (n, 2) place along and height: its steps, its end, its underside back to the foot."""
    z, end = float(piece.origin[2]), piece.length
    if piece.kind == "landing":
        return np.array([(0.0, z), (end, z), (end, z - waist), (0.0, z - waist)])
    steps = [(0.0, z)]
    for k in range(piece.n_treads):
        height = z + (k + 1) * piece.rise
        steps += [(k * piece.going, height), ((k + 1) * piece.going, height)]
    steps.append((end, arrival(piece)))
    drop = waist * float(np.hypot(piece.going, piece.rise)) / piece.going
    clear = min(drop * piece.going / piece.rise, end)
    return np.array([*steps, (end, arrival(piece) - piece.rise - drop), (clear, z)])


def outline(piece: StairPiece) -> Any:
    """A piece's outline in plan (shapely)."""
    a, b = piece.length, piece.width
    return shapely.Polygon(on_plan(piece, [(0, 0), (a, 0), (a, b), (0, b)]))


def edges(piece: StairPiece) -> list[Floats]:
    """A piece's lines in plan: its sides, and the edge of every tread."""
    a, b = piece.length, piece.width
    across = np.arange(piece.n_treads + 1) * piece.going if piece.kind == "flight" else np.array([0.0, a])
    return [on_plan(piece, [(0, s), (a, s)]) for s in (0.0, b)] + [on_plan(piece, [(t, 0), (t, b)]) for t in across]


def stair_cut(stairs: StairShape, level: float, top: float, opening: Any | None) -> StairCut:
    """A stair cut `CUT_HEIGHT` above a storey's floor at `level` (m); `top` is the next storey's level.

    `opening` (shapely) is what the floor leaves open, or None for nothing.
    """
    found = StairCut()
    cut = level + CUT_HEIGHT
    pieces = [p for p in stairs.pieces if float(p.origin[2]) < top - _LEVEL]
    parts: list[tuple[float, StairPiece, Any, Any]] = []  # height, piece, part below the cut, part above it
    stops: dict[int, float] = {}
    for index, piece in enumerate(pieces):
        whole, nothing = outline(piece), shapely.Polygon()
        if piece.kind == "landing" or piece.n_treads == 0:
            low = float(piece.origin[2]) < cut
            parts.append((float(piece.origin[2]), piece, whole if low else nothing, nothing if low else whole))
            continue
        at = ((cut - float(piece.origin[2])) / piece.rise - 0.5) * piece.going
        if at >= piece.length - 0.3 * piece.going:
            parts.append((arrival(piece), piece, whole, nothing))
        elif at <= 0.3 * piece.going:
            parts.append((arrival(piece), piece, nothing, whole))
        else:
            slant = min(_SLANT * piece.width, at * 0.6, (piece.length - at) * 0.6)
            stops[index] = at
            b = piece.width
            below = shapely.Polygon(on_plan(piece, [(0, 0), (at - slant, 0), (at + slant, b), (0, b)]))
            found.breaks.append(on_plan(piece, _zigzag(at, slant, b)))
            parts.append((cut, piece, below, shapely.difference(whole, below)))
    hidden: Any = shapely.Polygon()
    through = opening if opening is not None else shapely.Polygon()
    below_floor: list[Any] = []
    for _, piece, below, _ in sorted(parts, key=lambda part: -part[0]):
        if below.is_empty:
            continue
        visible = shapely.difference(below, hidden)
        hidden = shapely.union(hidden, below)
        if float(piece.origin[2]) < level - _LEVEL:
            visible = shapely.intersection(visible, through)
            below_floor.append(visible)
        found.seen += [p for p in shapely.get_parts(visible) if p.geom_type == "Polygon" and p.area > 1e-3]
        found.lines += _clipped(edges(piece), visible.buffer(1e-3))
    seen = shapely.union_all(found.seen)
    for _, piece, _, above in parts:
        free = shapely.difference(above, seen)
        if not free.is_empty and free.area > 1e-3:
            found.above += _clipped(edges(piece), free.buffer(1e-3).difference(seen.buffer(2e-3)))
    whole_below = {index for index, part in enumerate(parts) if part[3].is_empty}
    found.arrows = _arrows(pieces, stops, whole_below, level, shapely.union_all(below_floor))
    return found


def _zigzag(at: float, slant: float, width: float) -> list[tuple[float, float]]:
    """A break line across a flight, past both its sides, with its kink in the middle (along, across)."""
    lean = 2 * slant / width
    ends = [(at + (b - width / 2) * lean, b) for b in (-0.08, 0.42 * width, 0.58 * width, width + 0.08)]
    kink = 0.09 * width
    first, last = ends[1], ends[2]
    return [ends[0], first, (first[0] + 1.6 * kink, first[1] + kink * 0.2),
            (last[0] - 1.6 * kink, last[1] - kink * 0.2), last, ends[3]]  # fmt: skip


def _clipped(lines: Sequence[Floats], area: Any) -> list[Floats]:
    met = shapely.intersection(np.array([shapely.LineString(line) for line in lines], object), area)
    return [np.asarray(p.coords) for p in shapely.get_parts(met) if p.geom_type == "LineString" and p.length > 0.02]


def walking_line(pieces: Sequence[StairPiece]) -> list[Floats]:
    """The middle of the way up in plan, a polyline (n, 2) a piece; landings are crossed from flight to flight."""
    lines = []
    for index, piece in enumerate(pieces):
        if piece.kind == "flight":
            lines.append(on_plan(piece, [(0, piece.width / 2), (piece.length, piece.width / 2)]))
            continue
        before = pieces[index - 1] if index else None
        after = pieces[index + 1] if index + 1 < len(pieces) else None
        enter = _end(before) if before is not None else on_plan(piece, [(0, piece.width / 2)])[0]
        leave = on_plan(after, [(0, after.width / 2)])[0] if after is not None else enter
        ahead, depth = np.asarray(piece.along[:2], np.float64), piece.length / 2
        if after is None or abs(float(ahead @ after.along[:2])) > 0.5:
            bends = [enter + ahead * depth, leave + ahead * depth] if after is not None else [enter + ahead * depth]
        else:
            bends = [enter + ahead * float((leave - enter) @ ahead)]
        lines.append(np.array([enter, *bends, *([leave] if after is not None else [])]))
    return lines


def _end(piece: StairPiece) -> Floats:
    return np.asarray(on_plan(piece, [(piece.length, piece.width / 2)])[0], np.float64)


def _arrows(
    pieces: Sequence[StairPiece], stops: dict[int, float], whole_below: set[int], level: float, below_floor: Any
) -> list[Arrow]:
    """Up from the floor to the break line, and down from it as far as an upper flight lets it be seen."""
    lines = walking_line(pieces)
    arrows = []
    starts = [i for i, p in enumerate(pieces) if p.kind == "flight" and abs(float(p.origin[2]) - level) < _LEVEL]
    for first in starts[:1]:
        path: list[Floats] = []
        for index in range(first, len(pieces)):
            if index in stops:
                piece = pieces[index]
                path.append(on_plan(piece, [(0, piece.width / 2), (stops[index] - _SHORT, piece.width / 2)]))
                break
            if index not in whole_below:
                break
            path.append(lines[index])
        arrows += _arrow("up", path)
    ends = [i for i, p in enumerate(pieces) if p.kind == "flight" and abs(arrival(p) - level) < _LEVEL]
    for last in ends[-1:]:
        first = last  # down to the next floor: there flight follows on flight
        while first and not pieces[first - 1].kind == pieces[first].kind == "flight":
            first -= 1
        path = [line[::-1] for line in lines[first : last + 1][::-1]]
        whole = shapely.LineString(np.concatenate(path))
        shown = shapely.intersection(whole, below_floor.buffer(0.02)) if not below_floor.is_empty else None
        start = shapely.Point(path[0][0])
        parts = [] if shown is None else [p for p in shapely.get_parts(shapely.line_merge(shown)) if p.length > 0]
        parts = [p for p in parts if p.geom_type == "LineString" and p.distance(start) < 0.3]
        if parts:
            way = np.asarray(parts[0].coords)
            near = np.linalg.norm(way[[0, -1]] - path[0][0], axis=1)
            way = way if near[0] <= near[1] else way[::-1]
            hidden = float(np.linalg.norm(way[-1] - path[-1][-1])) > 0.1
            arrows += _arrow("down", [_shortened(way, _BEFORE_HIDDEN) if hidden else way])
    return arrows


def _shortened(line: Floats, by: float) -> Floats:
    """A line (n, 2) less its last stretch (m)."""
    whole = shapely.LineString(line)
    return np.asarray(shapely.ops.substring(whole, 0.0, max(whole.length - by, 0.3 * whole.length)).coords)


def _arrow(word: Literal["up", "down"], path: Sequence[Floats]) -> list[Arrow]:
    if not path:
        return []
    points = np.concatenate(path)
    kept = np.concatenate([[True], np.linalg.norm(np.diff(points, axis=0), axis=1) > 1e-6])
    line = points[kept]
    return [Arrow(word, line)] if len(line) > 1 and shapely.LineString(line).length > _SHORTEST else []
