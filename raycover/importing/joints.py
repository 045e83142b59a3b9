"""Wall ends brought to each other's centre lines.

Bodies of walls meet at their faces, so their centre lines end half a thickness short of each other, or beyond.
A scene's walls meet at centre lines: each end is moved along its own line onto its neighbour's.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.importing.walls import Wall

Floats = NDArray[np.floating]

#: Walls drawn this much (m) short of each other were meant to meet.
SLACK = 0.03
#: Lines that cross at less than this are parallel for our purpose.
_PARALLEL = np.sin(np.radians(8.0))
#: Walls that share less height (m) than this do not meet.
_SHARED_HEIGHT = 0.3
#: An end is never moved by more than this (m).
_FARTHEST = 1.5
#: In walls askew to the axes, ends run this far (m) into the other wall, so that rounded numbers leave no slit.
_OVERRUN = 0.0005


@dataclass(frozen=True)
class _Piece:
    """A straight piece of a wall; `ends` tells which of its ends are ends of the whole wall."""

    wall: int
    start: Floats
    end: Floats
    ends: tuple[bool, bool]


def join(walls: Sequence[Wall]) -> int:
    """Move the ends of walls (in place) onto the lines of those they meet; returns how many ends moved."""
    pieces = [
        _Piece(index, start, end, (k == 0, k == len(wall.line) - 2))
        for index, wall in enumerate(walls)
        for k, (start, end) in enumerate(pairwise(wall.line))
    ]
    if not pieces:
        return 0
    tree = shapely.STRtree([shapely.LineString([piece.start, piece.end]) for piece in pieces])
    thickest = max(wall.thickness for wall in walls)
    moves: dict[tuple[int, int], Floats] = {}
    for index, wall in enumerate(walls):
        if np.linalg.norm(wall.line[0] - wall.line[-1]) < 1e-6:
            continue
        for end in (0, -1):
            near = tree.query(shapely.Point(wall.line[end]).buffer(2 * thickest + SLACK))
            others = [pieces[i] for i in sorted(near) if pieces[i].wall != index]
            others = [piece for piece in others if _share_height(wall, walls[piece.wall])]
            met = _meeting(wall, end, others, walls)
            if met is not None:
                moves[index, end] = met
    for (index, end), met in moves.items():
        line = walls[index].line.copy()
        line[end] = met
        if np.linalg.norm(line[end] - line[1 if end == 0 else -2]) > 1e-3:
            walls[index].line = line
    return len(moves) + _step_across(walls, moves)


def _share_height(one: Wall, other: Wall) -> bool:
    shared = min(one.top, other.top) - max(one.base, other.base)
    return shared > min(_SHARED_HEIGHT, 0.5 * (one.top - one.base), 0.5 * (other.top - other.base))


def _meeting(wall: Wall, end: int, others: Sequence[_Piece], walls: Sequence[Wall]) -> Floats | None:
    """Where the end's line meets a neighbour's, nearest to where it ends now."""
    tip, inner = wall.line[end], wall.line[1 if end == 0 else -2]
    out = (tip - inner) / np.linalg.norm(tip - inner)
    half = wall.thickness / 2
    best: tuple[float, Floats] | None = None
    for piece in others:
        way = piece.end - piece.start
        length = float(np.linalg.norm(way))
        way = way / length
        sine = out[0] * way[1] - out[1] * way[0]
        if abs(sine) < _PARALLEL:
            continue
        cosine = abs(float(out @ way))
        offset = piece.start - tip
        forward = float(offset[0] * way[1] - offset[1] * way[0]) / sine
        station = float(offset[0] * out[1] - offset[1] * out[0]) / sine
        other_half = walls[piece.wall].thickness / 2
        reach = (other_half + half * cosine) / abs(sine) + SLACK
        beyond = (half + other_half * cosine) / abs(sine) + SLACK
        before_start = beyond if piece.ends[0] else 1e-3
        past_end = beyond if piece.ends[1] else 1e-3
        if abs(forward) > min(reach, _FARTHEST) or not -before_start <= station <= length + past_end:
            continue
        if best is None or abs(forward) < best[0]:
            inside = 2 * beyond < station < length - 2 * beyond
            askew = min(abs(out[0]), abs(out[1])) > 1e-9
            best = abs(forward), tip + out * (forward + (_OVERRUN if inside and askew else 0.0))
    return None if best is None else best[1]


def _step_across(walls: Sequence[Wall], moved: dict[tuple[int, int], Floats]) -> int:
    """Where a wall goes on as another, side by side with it (flush on one face), a short piece across closes it."""
    ends = [(i, end) for i in range(len(walls)) for end in (0, -1) if (i, end) not in moved]
    if len(ends) < 2:
        return 0
    tips = shapely.points([walls[i].line[end] for i, end in ends])
    tree = shapely.STRtree(tips)
    done: set[tuple[int, int]] = set()
    thickest = max(wall.thickness for wall in walls)
    for one, two in sorted(map(tuple, tree.query(tips, predicate="dwithin", distance=thickest + SLACK).T.tolist())):
        (i, end), (k, other_end) = ends[one], ends[two]
        if i >= k or (i, end) in done or (k, other_end) in done or not _share_height(walls[i], walls[k]):
            continue
        tip, other_tip = walls[i].line[end], walls[k].line[other_end]
        out = _outward(walls[i].line, end)
        if out @ _outward(walls[k].line, other_end) > -0.99:
            continue
        gap = other_tip - tip
        sideways = abs(float(out[0] * gap[1] - out[1] * gap[0]))
        if abs(float(out @ gap)) > SLACK or sideways > (walls[i].thickness + walls[k].thickness) / 2:
            continue
        if np.linalg.norm(gap) > 1e-6:
            line = walls[i].line
            if sideways < 1e-3:
                line = line.copy()
                line[end] = other_tip
            else:
                line = np.vstack([other_tip, line]) if end == 0 else np.vstack([line, other_tip])
            walls[i].line = line
        done |= {(i, end), (k, other_end)}
    return len(done)


def _outward(line: Floats, end: int) -> Floats:
    way = line[end] - line[1 if end == 0 else -2]
    unit: Floats = way / np.linalg.norm(way)
    return unit


def part_coincident(walls: list[Wall]) -> tuple[list[Wall], list[tuple[str, str]]]:
    """Walls without doubles: (those kept, [(name, what was done)]).

    A wall inside another in the same plane is dropped; one that overlaps in part moves 2 mm aside, since two
    sheets in one plane would be one thing.
    """
    kept: list[Wall] = []
    said: list[tuple[str, str]] = []
    tree = shapely.STRtree([shapely.LineString(wall.line) for wall in walls])
    dropped: set[int] = set()
    for index, wall in enumerate(walls):
        for other in sorted(int(i) for i in tree.query(shapely.LineString(wall.line))):
            if other >= index or other in dropped or len(wall.line) != 2 or len(walls[other].line) != 2:
                continue
            held = _overlap(wall, walls[other])
            if held is None:
                continue
            if held and not wall.openings:
                dropped.add(index)
                said.append((wall.name, f"inside {walls[other].name}"))
                break
            if wall.construction == walls[other].construction and not wall.openings and not walls[other].openings:
                continue  # they merge
            out = _outward(wall.line, -1)
            wall.line = wall.line + 0.002 * np.array([-out[1], out[0]])
            wall.notes.append(f"moved 2 mm aside: it overlaps {walls[other].name}")
            said.append((wall.name, f"overlaps {walls[other].name}"))
        if index not in dropped:
            kept.append(wall)
    return kept, said


def _overlap(wall: Wall, other: Wall) -> bool | None:
    """None where two straight walls share no area of one plane; else whether the first lies inside the second."""
    start, end = other.line
    length = float(np.linalg.norm(end - start))
    way = (end - start) / length
    offset = wall.line - start
    if np.abs(offset[:, 0] * way[1] - offset[:, 1] * way[0]).max() > 1e-3:
        return None
    low, high = np.sort(offset @ way)
    shared = min(high, length) - max(low, 0.0)
    shared_height = min(wall.top, other.top) - max(wall.base, other.base)
    if shared < 1e-3 or shared_height < 1e-3:
        return None
    inside: bool = (
        low > -0.01 and high < length + 0.01 and wall.base > other.base - 0.01 and wall.top < other.top + 0.01
    )
    return inside
