"""A map's cells as flat pieces in space, each of its own colour: no picture, and nothing between cells made up."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from raycover.building.parts import Building
from raycover.draw.view3d.floor_map import ABOVE_M, map_level_m, mapped_area
from raycover.solving.coverage import PlaneCoverage
from raycover.solving.surfaces import cell_corners

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class MapCells:
    """Cells that count: corners (n, 4, 3) anticlockwise from above, and their `rows` and `columns` (n,)."""

    corners: Floats
    rows: NDArray[np.intp]
    columns: NDArray[np.intp]

    @property
    def triangles(self) -> Floats:
        """(2n, 3, 3), two a cell, one after the other."""
        return halves(self.corners)

    def where(self, chosen: NDArray[np.bool_]) -> MapCells:
        """The chosen ones (n,)."""
        return MapCells(self.corners[chosen], self.rows[chosen], self.columns[chosen])

    def strips(self, rgb: NDArray[np.uint8]) -> tuple[Floats, NDArray[np.uint8]]:
        """Neighbours in a row of one colour (n, 3) as one piece: corners (m, 4, 3) and their colours (m, 3)."""
        if not len(self.rows):
            return self.corners, rgb
        same = (np.diff(self.rows) == 0) & (np.diff(self.columns) == 1) & (np.diff(rgb.astype(int), axis=0) == 0).all(1)
        # Side by side, and as deep: the right side of the one is the left side of the next.
        same &= np.abs(self.corners[:-1, [1, 2]] - self.corners[1:, [0, 3]]).max(axis=(1, 2)) < 1e-9
        first = np.flatnonzero(np.concatenate([[True], ~same]))
        last = np.append(first[1:], len(rgb)) - 1
        corners = self.corners[first].copy()
        corners[:, [1, 2]] = self.corners[last][:, [1, 2]]
        return corners, rgb[first]


def halves(corners: Floats) -> Floats:
    """(2n, 3, 3) triangles of quadrilaterals (n, 4, 3)."""
    return corners[:, [[0, 1, 2], [0, 2, 3]]].reshape(-1, 3, 3)


def map_cells(plane: PlaneCoverage, building: Building) -> MapCells:
    """Every cell of a map where it lies, a hair above its plane, on floors and on stairs.

    A cell next to the outermost side of its room ends there, so that square rooms are covered to the wall and no
    farther; along other walls cells keep their square.
    """
    surface = plane.surface
    if surface.stairs is not None:
        stairs = next(s for s in building.stairs if s.name == surface.stairs)
        corners, rows, columns = cell_corners(surface, stairs)
        level = map_level_m(plane) - surface.heights[0]
        return MapCells(corners + np.array([0.0, 0.0, level + ABOVE_M]), rows, columns)
    rows, columns = np.nonzero(surface.inside)
    half = surface.grid / 2
    bounds = np.array([polygon.bounds for polygon, _ in mapped_area(plane, building)])
    mine = bounds[np.minimum(surface.room[rows, columns], len(bounds) - 1)]
    x0, x1 = surface.x[columns] - half, surface.x[columns] + half
    y0, y1 = surface.y[rows] - half, surface.y[rows] + half
    near = half + 1e-9
    x0, y0 = (np.where(np.abs(v - mine[:, k]) <= near, mine[:, k], v) for k, v in ((0, x0), (1, y0)))
    x1, y1 = (np.where(np.abs(v - mine[:, k]) <= near, mine[:, k], v) for k, v in ((2, x1), (3, y1)))
    z = np.broadcast_to(np.asarray(surface.floor_at(rows, columns)) + map_level_m(plane) + ABOVE_M, rows.shape)
    flat = np.stack([np.stack(p, axis=-1) for p in ((x0, y0), (x1, y0), (x1, y1), (x0, y1))], axis=1)
    return MapCells(np.concatenate([flat, np.broadcast_to(z[:, None, None], (len(z), 4, 1))], axis=-1), rows, columns)
