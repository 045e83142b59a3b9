"""The floor that people walk on: a raster of clear distances to whatever stops them, storey by storey."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage

from raycover.building.parts import Building, Floats
from raycover.walking.obstacles import Obstacles, obstacles
from raycover.walking.people import FIGURES

#: Cells (m): as fine as the first, coarser up to the second so that there are no more than so many.
_FINE, _COARSE, _USUAL_CELLS, _MOST_CELLS = 0.1, 0.16, 400_000, 2_000_000
#: Clear distances beyond this (m) are all the same to a walker.
FAR = 1.5


class TooLarge(ValueError):
    """The floor has more cells than a way is looked for on."""


@dataclass(frozen=True)
class Ground:
    """Floor of one storey. Arrays are (ny, nx), row 0 at the lowest y.

    `clear`: distance (m) from a cell's middle to the nearest obstacle, at most `FAR`, 0 inside one and off the
    floor; `nearest`: which obstacle that is, −1 none near. `walkable`: the floor's outline (shapely), or None where
    the scene has no rooms and so no outside.
    """

    cell: float
    low: Floats
    clear: Floats
    nearest: NDArray[np.int32]
    obstacles: Obstacles
    walkable: Any
    rooms: tuple[int, ...]

    @property
    def shape(self) -> tuple[int, int]:
        return self.clear.shape

    def middle(self, cells: NDArray[np.integer]) -> Floats:
        """(n, 2) m of cells by their flat index."""
        row, column = np.divmod(cells, self.shape[1])
        return self.low + (np.stack([column, row], axis=-1) + 0.5) * self.cell

    def index(self, points: Floats) -> NDArray[np.intp]:
        """Flat index (n,) of the cells that hold points (n, 2), kept within the raster."""
        place = np.floor((np.asarray(points, float).reshape(-1, 2) - self.low) / self.cell).astype(np.intp)
        row = np.clip(place[:, 1], 0, self.shape[0] - 1)
        return np.asarray(row * self.shape[1] + np.clip(place[:, 0], 0, self.shape[1] - 1))

    def clear_at(self, points: Floats) -> Floats:
        """Clear distance (n,) at points (n, 2), between the cells' middles."""
        place = (np.asarray(points, float).reshape(-1, 2) - self.low) / self.cell - 0.5
        return np.asarray(ndimage.map_coordinates(self.clear, place[:, ::-1].T, order=1, mode="nearest"))

    def holds(self, points: Floats) -> NDArray[np.bool_]:
        """Which points (n, 2) lie on the floor, its edge included."""
        if self.walkable is None:
            return np.ones(len(points), bool)
        return np.asarray(shapely.dwithin(shapely.points(points), self.walkable, 1e-6))


def make_ground(building: Building, rooms: Sequence[int], person: str) -> Ground:
    """The floor of the rooms (indices) of one storey for a person (a name in `FIGURES`).

    Raises TooLarge.
    """
    things = obstacles(building, rooms, FIGURES[person].tall)
    if rooms:
        walkable = shapely.union_all([building.rooms[r].walkable.buffer(1e-6) for r in rooms])
        bounds = walkable.bounds
    else:
        walkable = None
        x0, y0 = building.bounds[0, :2] - 3.0
        x1, y1 = building.bounds[1, :2] + 3.0
        bounds = (x0, y0, x1, y1)
    low, high = np.array(bounds[:2]), np.array(bounds[2:])
    cell = float(np.clip(np.sqrt(np.prod(high - low) / _USUAL_CELLS), _FINE, _COARSE))
    nx, ny = (max(int(np.ceil(v / cell)), 1) for v in high - low)
    if nx * ny > _MOST_CELLS:
        raise TooLarge
    xx, yy = np.meshgrid(low[0] + (np.arange(nx) + 0.5) * cell, low[1] + (np.arange(ny) + 0.5) * cell)
    points = shapely.points(xx.ravel(), yy.ravel())
    clear = np.full(nx * ny, FAR)
    nearest = np.full(nx * ny, -1, np.int32)
    inside = np.ones(nx * ny, bool)
    if walkable is not None:
        shapely.prepare(walkable)
        inside = shapely.intersects_xy(walkable, xx.ravel(), yy.ravel())
    if things.shapes:
        on = np.flatnonzero(inside)
        (which, thing), distance = things.tree.query_nearest(
            points[on], max_distance=FAR, return_distance=True, all_matches=False
        )
        clear[on[which]], nearest[on[which]] = distance, thing
    clear[~inside] = 0.0
    return Ground(cell, low, clear.reshape(ny, nx), nearest.reshape(ny, nx), things, walkable, tuple(rooms))
