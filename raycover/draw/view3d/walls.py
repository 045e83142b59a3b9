"""Walls with their thickness: pieces of sheets → bodies without seams at joints, and ink on what is cut.

Between two heights at which anything begins or ends, walls are strips in plan; their union is raised, so a
joint is one outline however many walls meet there. Lids and undersides are where the strip above or below ends.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.draw.view3d.cutaway import UprightPiece
from raycover.draw.view3d.meshes import NOTHING, Body, join, level, sides

Floats = NDArray[np.floating[Any]]

#: Nothing is drawn thinner than this (m).
THINNEST_M = 0.04
#: Heights and plan coordinates are rounded to this (m) before they are compared.
_GRAIN_M = 1e-3


def wall_bodies(pieces: Sequence[UprightPiece], cap_m: float) -> tuple[Body, Body]:
    """(walls, ink caps): the caps, `cap_m` thick, lie on every top except under an opening."""
    bands = _bands(pieces, _thickness)
    cuts = {round(p.cut / _GRAIN_M) for p in pieces}
    tops = cuts | {round(p.polygon.bounds[3] / _GRAIN_M) for p in pieces}
    walls: list[Body] = []
    caps: list[Body] = []
    below: Any = shapely.MultiPolygon()
    for k, (bottom, top, strip) in enumerate(bands):
        above = bands[k + 1][2] if k + 1 < len(bands) and bands[k + 1][0] == top else shapely.MultiPolygon()
        walls.append(sides(strip, bottom, top))
        walls.append(level(_less(strip, below), bottom, facing_up=False))
        lid = _less(strip, above)
        if not lid.is_empty:
            if round(top / _GRAIN_M) in tops:
                proud = lid.buffer(0.003, join_style="mitre")
                caps.append(level(proud, top + 0.002, outlined=False))
                caps.append(Body(sides(proud, top - cap_m, top + 0.002).triangles, NOTHING.edges))
            else:
                walls.append(level(lid, top))
        gap = k + 1 < len(bands) and bands[k + 1][0] > top
        below = shapely.MultiPolygon() if gap else strip
    return join(walls), join(caps)


def panel_bodies(pieces: Sequence[UprightPiece]) -> Body:
    """Doors, cubicle panels and the like as plates, each by itself."""
    return join([body for piece in pieces for body in _plates(piece, _thickness(piece))])


def glass_bodies(pieces: Sequence[UprightPiece]) -> tuple[Body, Floats]:
    """(panes as thin plates, mullion and frame lines (n, 2, 3)), mullions about 1.6 m apart."""
    panes = join([body for piece in pieces for body in _plates(piece, 0.02)])
    lines: list[Floats] = []
    for piece in pieces:
        for part in shapely.get_parts(piece.polygon):
            a0, z0, a1, z1 = part.bounds
            n = max(round((a1 - a0) / 1.6), 1)
            for a in np.linspace(a0, a1, n + 1):
                place = piece.origin + piece.along * a
                lines.append(np.array([[*place, z0], [*place, z1]]))
            for z in (z0, z1):
                start, end = piece.origin + piece.along * a0, piece.origin + piece.along * a1
                lines.append(np.array([[*start, z], [*end, z]]))
    return panes, np.array(lines).reshape(-1, 2, 3)


def _thickness(piece: UprightPiece) -> float:
    return max(piece.sheet.construction.thickness_m, THINNEST_M)


def _plates(piece: UprightPiece, thickness: float) -> list[Body]:
    """The parts of a piece, each a plate of some thickness about the sheet."""
    across = np.array([-piece.along[1], piece.along[0]]) * thickness / 2
    bodies = []
    for part in shapely.get_parts(piece.polygon):
        if part.geom_type != "Polygon":
            continue
        heights = sorted({round(z, 4) for z in shapely.get_coordinates(part)[:, 1]})
        for bottom, top in pairwise(heights):
            spans = [_rectangle(piece, a0, a1, across) for a0, a1 in _spans(part, (bottom + top) / 2)]
            strip = shapely.union_all(spans)
            bodies += [sides(strip, bottom, top), level(strip, top, outlined=top == heights[-1])]
    return bodies


def _bands(
    pieces: Sequence[UprightPiece], thickness: Callable[[UprightPiece], float]
) -> list[tuple[float, float, Any]]:
    """(bottom, top, plan area of the walls between), from the lowest up, bands without walls left out."""
    if not pieces:
        return []
    every = np.concatenate([shapely.get_coordinates(p.polygon)[:, 1] for p in pieces])
    heights = np.unique(np.round(every / _GRAIN_M)) * _GRAIN_M
    ranges = np.array([[p.polygon.bounds[1], p.polygon.bounds[3]] for p in pieces])
    ends = [(p.sheet, *p.polygon.bounds[::2]) for p in pieces]
    found = []
    for bottom, top in pairwise(heights):
        middle = (bottom + top) / 2
        strips = []
        for k in np.flatnonzero((ranges[:, 0] < middle) & (ranges[:, 1] > middle)):
            piece, (_, a_min, a_max) = pieces[int(k)], ends[k]
            half = thickness(piece) / 2
            across = np.array([-piece.along[1], piece.along[0]]) * half
            for a0, a1 in _spans(piece.polygon, middle):
                # Ends of the wall itself reach half a thickness on, into the corner; an opening's don't.
                first = a0 - half if a0 - a_min < _GRAIN_M else a0
                last = a1 + half if a_max - a1 < _GRAIN_M else a1
                strips.append(_rectangle(piece, first, last, across))
        if strips:
            merged = shapely.union_all(shapely.set_precision(np.array(strips), _GRAIN_M / 10), grid_size=_GRAIN_M / 10)
            found.append((float(bottom), float(top), merged))
    return found


def _spans(polygon: Any, height: float) -> list[tuple[float, float]]:
    """Where a level line at some height runs inside a polygon over (along, height)."""
    a0, _, a1, _ = polygon.bounds
    crossing = shapely.intersection(polygon, shapely.LineString([(a0 - 1, height), (a1 + 1, height)]))
    parts = [p for p in shapely.get_parts(crossing) if p.geom_type == "LineString" and p.length > _GRAIN_M]
    return [(p.bounds[0], p.bounds[2]) for p in parts]


def _rectangle(piece: UprightPiece, first: float, last: float, across: Floats) -> Any:
    start, end = piece.origin + piece.along * first, piece.origin + piece.along * last
    return shapely.Polygon([start - across, end - across, end + across, start + across])


def _less(area: Any, other: Any) -> Any:
    """A difference without the slivers that rounding leaves."""
    rest = shapely.difference(area, other, grid_size=_GRAIN_M / 10)
    return shapely.MultiPolygon([p for p in shapely.get_parts(rest) if p.geom_type == "Polygon" and p.area > 1e-5])
