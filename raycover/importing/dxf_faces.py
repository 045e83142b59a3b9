"""Rooms drawn to the faces of their walls: where two look at each other across a wall, both grow to its middle."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.importing.outlines import WallSides, to_centre_lines
from raycover.importing.walls import Wall

Floats = NDArray[np.float64]
#: Edges of two rooms this far apart (m) may be the two faces of one wall, from memory: common practice.
_THINNEST_M, _THICKEST_M = 0.02, 0.6
#: They run alike to within this (sine of the angle), side by side for at least this long (m).
_ALIKE, _SHORTEST_M = 0.02, 0.1
#: One height for all: a plan has none.
_BASE, _TOP = 0.0, 3.0


def to_middle_of_walls(outlines: Sequence[Any]) -> tuple[list[Any], int]:
    """Outlines (polygons without holes, m) grown to the middle of the walls between them, and how many grew."""
    walls = _walls_between(outlines)
    if not walls:
        return list(outlines), 0
    sides = WallSides(walls)
    grown = [to_centre_lines(outline, sides, _BASE, _TOP) for outline in outlines]
    return grown, sum(after.area > before.area + 1e-6 for before, after in zip(outlines, grown, strict=True))


def _walls_between(outlines: Sequence[Any]) -> list[Wall]:
    """A wall along the middle between each two edges that face each other with no room between."""
    edges: list[Floats] = []
    owner: list[int] = []
    for index, outline in enumerate(outlines):
        ring = outline.exterior if outline.exterior.is_ccw else outline.exterior.reverse()
        for pair in pairwise(shapely.get_coordinates(ring)):
            edges.append(np.array(pair))
            owner.append(index)
    lines = [shapely.LineString(edge) for edge in edges]
    one, other = shapely.STRtree(lines).query(lines, predicate="dwithin", distance=_THICKEST_M)
    rooms = shapely.STRtree(outlines)
    walls: list[Wall] = []
    for i, k in zip(one.tolist(), other.tolist(), strict=True):
        if i < k and owner[i] != owner[k] and (found := _between(edges[i], edges[k])) is not None:
            middle, thickness = found
            # A room in between means that these are faces of two walls, not of one.
            if not any(outlines[r].intersection(middle).length > 1e-3 for r in rooms.query(middle)):
                line = shapely.get_coordinates(middle)
                walls.append(Wall(f"wall {len(walls) + 1}", line, _BASE, _TOP, thickness))
    return walls


def _between(edge: Floats, other: Floats) -> tuple[Any, float] | None:
    """The middle line between two facing edges, where they run side by side, and their distance."""
    length = float(np.linalg.norm(edge[1] - edge[0]))
    way = (edge[1] - edge[0]) / length
    outward = np.array([way[1], -way[0]])  # outlines run anticlockwise: the outside is on the right
    offset = other - edge[0]
    across, along = offset @ outward, offset @ way
    turned = (other[1] - other[0]) / np.linalg.norm(other[1] - other[0])
    if float(way @ turned) > -1 + _ALIKE**2 or not _THINNEST_M <= float(across.mean()) <= _THICKEST_M:
        return None
    low, high = max(0.0, float(along.min())), min(length, float(along.max()))
    if high - low < _SHORTEST_M:
        return None
    distance = float(across.mean())
    ends = [edge[0] + way * t + outward * distance / 2 for t in (low, high)]
    return shapely.LineString(ends), distance
