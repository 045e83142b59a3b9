"""Upright sheets as arrays: each as a shape in its own plane, along it in plan and up; cut level in one go."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

Floats = NDArray[np.floating]


@dataclass(frozen=True)
class UprightSheets:
    """`shapes` (n,) shapely in metres along `along` (n, 2) from `origin` (n, 2) and in height; `kinds` and
    `owners` (n,) as the sheets'."""

    shapes: Any
    origin: Floats
    along: Floats
    kinds: NDArray[np.str_]
    owners: NDArray[np.str_]

    @classmethod
    def of(cls, sheets: Sequence[Any]) -> UprightSheets:
        """Those of a building's sheets that stand upright."""
        mine = [sheet for sheet in sheets if sheet.vertical]
        origin, u, v = (
            np.array([getattr(sheet.frame, name) for sheet in mine], float).reshape(-1, 3)
            for name in ("origin", "u", "v")
        )
        normal = np.cross(u, v)
        along = np.stack([-normal[:, 1], normal[:, 0]], axis=1)
        shapes = np.array([sheet.polygon for sheet in mine], object)
        flat, of = shapely.get_coordinates(shapes, return_index=True)
        space = flat[:, :1] * u[of] + flat[:, 1:] * v[of]
        height = origin[of, 2] + space[:, 2]
        placed = np.stack([(space[:, :2] * along[of]).sum(axis=1), height], axis=1)
        kinds, owners = (np.array([getattr(sheet, name) for sheet in mine], np.str_) for name in ("kind", "owner"))
        return cls(shapely.set_coordinates(shapes, placed), origin[:, :2], along, kinds, owners)

    @cached_property
    def bounds(self) -> Floats:
        """(n, 4): where along each begins, its lowest height, where it ends, its highest."""
        return np.asarray(shapely.bounds(self.shapes), float).reshape(-1, 4)

    def ends(self, begin: Floats, end: Floats, which: NDArray[np.intp] | slice = slice(None)) -> Floats:
        """(m, 2, 2) in plan: from one to the other distance (m,) along some of them."""
        span = np.stack([begin, end], axis=1)[:, :, None]
        return self.origin[which, None] + span * self.along[which, None]

    @cached_property
    def _tree(self) -> Any:
        begin, _, end, _ = self.bounds.T
        return shapely.STRtree(shapely.linestrings(self.ends(begin, end)) if len(begin) else [])

    def near(self, bounds: Floats) -> NDArray[np.intp]:
        """(m,) which of them, in order, have a plan whose box meets bounds (2, 2), lowest and highest corner."""
        return np.sort(self._tree.query(shapely.box(*np.asarray(bounds, float).ravel())))

    def cut(self, which: NDArray[np.intp], height: float) -> Floats:
        """(m, 2, 2) the stretches in plan, ends of each, that some of them (by index) take up at a height."""
        if not len(which):
            return np.zeros((0, 2, 2))
        begin, _, end, _ = self.bounds[which].T
        level = np.full(len(which), height)
        lines = shapely.linestrings(
            np.stack([np.stack([begin - 1, level], axis=1), np.stack([end + 1, level], axis=1)], 1)
        )
        parts, of = shapely.get_parts(shapely.intersection(self.shapes[which], lines), return_index=True)
        spans = np.asarray(shapely.bounds(parts), float).reshape(-1, 4)
        long = spans[:, 2] - spans[:, 0] > 1e-6
        return self.ends(spans[long, 0], spans[long, 2], which[of[long]])
