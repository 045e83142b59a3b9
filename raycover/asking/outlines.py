"""Outlines of what is seen and of the gaps: a plane's cells as areas with smooth edges, for drawing programs.

Between cell centres the margin is interpolated where it changes gently; a jump lies half-way between two cells.
Areas end at rooms' outlines and at what stands in the way. They agree with the sums over cells to within the
grid's error: less than half a cell along their edges.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from contourpy import FillType, contour_generator
from numpy.typing import NDArray
from scipy import ndimage

from raycover.building.parts import Building
from raycover.solving.coverage import LOWEST_DB, PlaneCoverage
from raycover.solving.gaps import Gap

#: Margins are held within this (dB) before they are interpolated; neighbours that differ by more than the second
#: figure lie on two sides of a jump, and count by their sign alone.
_HELD_DB, _JUMP_DB = 1.0, 3.0
#: Edges are straightened by up to this share of a cell; specks smaller than this share of its area are dropped.
_STRAIGHTENED, _SPECK = 0.1, 0.1
#: What divides two gaps is cut out of their areas so wide (m) on both sides of its line.
_CUT_M = 5e-4


@dataclass(frozen=True)
class GapOutline:
    """A gap with its area in plan: shapely polygons, holes and all."""

    gap: Gap
    areas: tuple[Any, ...]


def mapped_areas(plane: PlaneCoverage, building: Building) -> list[Any]:
    """What a plane's map covers (shapely, m) by its room numbers, less the solids and racks that stand there."""
    surface = plane.surface
    if surface.stairs is not None:
        return []
    rooms = {room.name: room for room in building.rooms}
    if all(name in rooms for name in surface.room_names):
        floors = [(rooms[name].walkable, rooms[name].floor) for name in surface.room_names]
    else:
        x0, x1, y0, y1 = surface.edges
        floors = [(shapely.box(x0, y0, x1, y1), float(np.min(surface.floor)))]
    return [_free(area, floor, plane, building) for area, floor in floors]


def _free(area: Any, floor: float, plane: PlaneCoverage, building: Building) -> Any:
    """An area without the boxes that reach the heights looked at."""
    taken = []
    for boxes in (building.boxes, building.envelopes):
        if not len(boxes):
            continue
        half = boxes.size[:, 2] / 2
        low, high = boxes.centre[:, 2] - half, boxes.centre[:, 2] + half
        hit = np.zeros(len(boxes), bool)
        for height in plane.surface.heights:
            hit |= (low <= floor + height + 1e-9) & (high >= floor + height - 1e-9)
        taken += [shapely.Polygon(corners) for corners in boxes.footprints(np.flatnonzero(hit))]
    return area.difference(shapely.union_all(taken)) if taken else area


def seen_areas(plane: PlaneCoverage, building: Building) -> list[Any]:
    """Polygons (shapely, m) where the margin is at least 0 dB, room by room."""
    return [part for area in _seen(plane, building) for part in area[1]]


def gap_outlines(plane: PlaneCoverage, building: Building) -> list[GapOutline]:
    """The gaps in their order, largest first, each with its areas; one too small to have any has its cells."""
    found: dict[int, list[Any]] = {gap.label: [] for gap in plane.gaps}
    labels = plane.gap
    for free, seen in _seen(plane, building):
        missed = free.difference(shapely.union_all(seen)) if seen else free
        for part in _divided(_polygons(missed, _SPECK * plane.surface.grid**2), plane, labels):
            label = _label_of(part, plane, labels)
            if label:
                found[label].append(part)
    return [GapOutline(g, tuple(found[g.label]) or _cells(plane, labels, g.label)) for g in plane.gaps]


def _divided(parts: list[Any], plane: PlaneCoverage, labels: NDArray[np.int32]) -> list[Any]:
    """Areas, those over several gaps cut along what stands between."""
    standing = [ends for _, ends in plane.surface.standing]
    if not standing:
        return parts
    lines = shapely.union_all(shapely.linestrings(np.concatenate(standing))).buffer(_CUT_M, cap_style="square")
    found = []
    for part in parts:
        several = len(np.unique(_under(part, plane, labels))) > 1
        found += _polygons(part.difference(lines), _SPECK * plane.surface.grid**2) if several else [part]
    return found


def _seen(plane: PlaneCoverage, building: Building) -> list[tuple[Any, list[Any]]]:
    """(free area, its seen polygons) of each room."""
    return [
        (free, _contoured(plane, room, free))
        for room, free in enumerate(mapped_areas(plane, building))
        if not free.is_empty
    ]


def _contoured(plane: PlaneCoverage, room: int, free: Any) -> list[Any]:
    surface = plane.surface
    rows, columns = _window(free.bounds, plane)
    mine = surface.inside[rows, columns] & (surface.room[rows, columns] == room)
    if not mine.any():
        return []
    margin = np.maximum(plane.margin_db[rows, columns], LOWEST_DB).astype(float)
    if not mine.all():
        near = ndimage.distance_transform_edt(~mine, return_distances=False, return_indices=True)
        margin = margin[near[0], near[1]]
    torn = ndimage.maximum_filter(margin, 3) - ndimage.minimum_filter(margin, 3) > _JUMP_DB
    held = np.where(torn, np.where(margin >= 0, _HELD_DB, -_HELD_DB), np.clip(margin, -_HELD_DB, _HELD_DB))
    # Two more cells on every side: what is seen up to a wall is drawn past it, then cut there.
    held = np.pad(held, 2, mode="edge")
    grid = surface.grid
    x = surface.x[columns][0] + grid * (np.arange(held.shape[1]) - 2)
    y = surface.y[rows][0] + grid * (np.arange(held.shape[0]) - 2)
    lines = contour_generator(x, y, held, fill_type=FillType.OuterOffset).filled(0.0, 2 * _HELD_DB)
    areas = []
    for points, offsets in zip(*lines, strict=True):
        outer, *holes = (points[a:b] for a, b in pairwise(offsets))
        areas.append(shapely.make_valid(shapely.Polygon(outer, holes)))
    if not areas:
        return []
    smooth = shapely.simplify(shapely.union_all(areas), _STRAIGHTENED * grid)
    return _polygons(smooth.intersection(free), _SPECK * grid**2)


def _window(bounds: Sequence[float], plane: PlaneCoverage) -> tuple[slice, slice]:
    """Rows and columns of the cells about some bounds."""
    spans = []
    for centres, low, high in ((plane.y, bounds[1], bounds[3]), (plane.x, bounds[0], bounds[2])):
        first, last = np.searchsorted(centres, [low - plane.surface.grid, high + plane.surface.grid])
        spans.append(slice(int(first), max(int(last), int(first) + 1)))
    return spans[0], spans[1]


def _polygons(shape: Any, least_m2: float) -> list[Any]:
    return [p for p in shapely.get_parts(shape) if p.geom_type == "Polygon" and p.area >= least_m2]


def _label_of(part: Any, plane: PlaneCoverage, labels: NDArray[np.int32]) -> int:
    """The gap that most cells under an area belong to, or that of the cell nearest to its middle; 0 none."""
    under = _under(part, plane, labels)
    if len(under):
        return int(np.bincount(under).argmax())
    rows, columns = _window(part.bounds, plane)
    yy, xx = np.meshgrid(plane.y[rows], plane.x[columns], indexing="ij")
    near = labels[rows, columns]
    if not (near > 0).any():
        return 0
    spot = shapely.point_on_surface(part)
    away = np.where(near > 0, np.hypot(xx - spot.x, yy - spot.y), np.inf)
    return int(near.ravel()[int(away.argmin())]) if away.min() < plane.surface.grid else 0


def _under(part: Any, plane: PlaneCoverage, labels: NDArray[np.int32]) -> NDArray[np.int32]:
    """The gaps (n,) that cells under an area belong to, those of none left out."""
    rows, columns = _window(part.bounds, plane)
    yy, xx = np.meshgrid(plane.y[rows], plane.x[columns], indexing="ij")
    under = labels[rows, columns][shapely.contains_xy(part, xx, yy)]
    return under[under > 0]


def _cells(plane: PlaneCoverage, labels: NDArray[np.int32], label: int) -> tuple[Any, ...]:
    rows, columns = np.nonzero(labels == label)
    x, y, half = plane.x[columns], plane.y[rows], plane.surface.grid / 2
    return tuple(_polygons(shapely.union_all(shapely.box(x - half, y - half, x + half, y + half)), 0.0))
