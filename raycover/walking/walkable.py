"""Where somebody can stand on a surface, and how far a short walk about a cell can go."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from raycover.rays.ray_scene import RayScene
from raycover.solving.surfaces import Surface

Floats = NDArray[np.floating]
Bools = NDArray[np.bool_]
Ints = NDArray[np.intp]

#: Nobody walks where something hangs lower than this (m).
HEADROOM_M = 1.7
#: Walls, panels and racks are felt at this height (m).
_CHEST_M = 1.0
#: The way is followed in steps of this share of a cell.
_STEP_CELLS = 0.5


@dataclass(frozen=True, eq=False)
class Ground:
    """Cells of a flat surface that count: `rows`, `columns` (n,), `feet` (n, 3), `standing` (n,).

    `standing_map` (ny, nx) the same as a raster.
    """

    surface: Surface
    rows: Ints
    columns: Ints
    feet: Floats
    standing: Bools
    standing_map: Bools

    def moved(self, dx: Floats | float, dy: Floats | float, of: Ints) -> tuple[Ints, Ints, Bools]:
        """Rows and columns of the cells at (dx, dy) from the cells `of`, and which lie on the raster."""
        grid = self.surface.grid
        row = self.rows[of] + np.round(np.asarray(dy) / grid).astype(np.intp)
        column = self.columns[of] + np.round(np.asarray(dx) / grid).astype(np.intp)
        ny, nx = self.surface.shape
        on = (row >= 0) & (row < ny) & (column >= 0) & (column < nx)
        return np.clip(row, 0, ny - 1), np.clip(column, 0, nx - 1), on


def ground_of(surface: Surface, rays: RayScene) -> Ground:
    """The cells of a flat surface, at its floor. Raises ValueError for an unrolled stair."""
    if surface.stairs is not None:
        raise ValueError("a stair has no ground to walk in eight directions")
    rows, columns = np.nonzero(surface.inside)
    feet = surface.points(rows, columns, 0.0)
    above, _ = rays.first_above(feet + np.array([0, 0, 0.05]), HEADROOM_M)
    standing = np.isinf(above)
    whole = np.zeros(surface.shape, bool)
    whole[rows, columns] = standing
    return Ground(surface, rows, columns, feet, standing, whole)


def free_ahead_m(ground: Ground, heading_rad: float, reach_m: float, rays: RayScene) -> Floats:
    """How far (n,) in m the way from each cell's middle is free, up to `reach_m`; 0 where nobody stands."""
    direction = np.array([np.cos(heading_rad), np.sin(heading_rad), 0.0])
    everyone = np.arange(len(ground.rows))
    free = np.where(ground.standing, reach_m, 0.0)
    steps = np.arange(1, int(np.ceil(reach_m / ground.surface.grid / _STEP_CELLS)) + 1)
    for way in np.minimum(steps * _STEP_CELLS * ground.surface.grid, reach_m).tolist():
        row, column, on = ground.moved(way * direction[0], way * direction[1], everyone)
        stopped = ~(on & ground.standing_map[row, column])
        free = np.where(stopped, np.minimum(free, max(way - _STEP_CELLS * ground.surface.grid, 0.0)), free)
    live = np.flatnonzero(free > 0)
    chest = ground.feet[live] + np.array([0.0, 0.0, _CHEST_M])
    free[live] = np.minimum(free[live], rays.free_m(chest, direction, reach_m))
    return free
