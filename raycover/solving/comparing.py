"""What differs between two coverages: gained, lost and margin by margin, plane by plane.

The two may be states of one scene or two scenes. Planes are paired by name; a cell of the first is compared with
the cell of the second whose middle lies nearest, so two grids need not agree, and counts where both have one.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from raycover.solving.coverage import Coverage, PlaneCoverage
from raycover.solving.surfaces import Surface

#: What became of a place: seen neither before nor after, seen no more, seen both times, newly seen.
NEITHER, LOST, KEPT, GAINED = range(4)
#: Changes of margin smaller than this (dB) are none: a quarter of a grid cell makes as much.
SMALLEST_DB = 1.0
#: Two planes that share less of the larger one's area are hardly of one building.
LEAST_SHARED = 0.5


def changes(before_db: ArrayLike, after_db: ArrayLike) -> NDArray[np.int8]:
    """NEITHER, LOST, KEPT or GAINED by margins of any one shape (dB); −1 where either is NaN."""
    before, after = np.asarray(before_db), np.asarray(after_db)
    code = np.where(before >= 0, np.where(after >= 0, KEPT, LOST), np.where(after >= 0, GAINED, NEITHER))
    return np.where(np.isnan(before) | np.isnan(after), -1, code).astype(np.int8)


@dataclass(frozen=True)
class PlaneChange:
    """One plane before and after."""

    before: PlaneCoverage
    after: PlaneCoverage

    @property
    def surface(self) -> Surface:
        """The raster that `change` and `difference_db` lie on: that of before."""
        return self.before.surface

    @cached_property
    def after_db(self) -> NDArray[np.float32]:
        """(ny, nx) margins after, on the raster of before; NaN where there is no cell."""
        mine, other = self.before.surface, self.after.surface
        rows, has_row = _nearest(mine.y, other.y, other.grid)
        columns, has_column = _nearest(mine.x, other.x, other.grid)
        found = self.after.margin_db[np.ix_(rows, columns)]
        return np.where(has_row[:, None] & has_column[None, :], found, np.nan).astype(np.float32)

    @cached_property
    def change(self) -> NDArray[np.int8]:
        """(ny, nx) NEITHER, LOST, KEPT or GAINED, −1 where one of the two has no cell."""
        return changes(self.before.margin_db, self.after_db)

    @cached_property
    def difference_db(self) -> NDArray[np.float32]:
        """(ny, nx) margin after less margin before; NaN where either has none or is without bound."""
        both = np.isfinite(self.before.margin_db) & np.isfinite(self.after_db)
        found = np.full(self.change.shape, np.nan, np.float32)
        found[both] = self.after_db[both] - self.before.margin_db[both]
        return found

    def area_of(self, code: int) -> float:
        """Area (m²) of NEITHER, LOST, KEPT or GAINED."""
        return self.before.area_where(self.change == code)

    @property
    def shared_m2(self) -> float:
        """Area (m²) of the first that the second has cells over."""
        return self.before.area_where(self.change >= 0)

    def mismatch(self, labels: tuple[str, str]) -> str | None:
        """Why a comparison of this plane says little: other heights, or hardly any floor in common; None if it holds.

        `labels` name the first and the second.
        """
        name, (one, two) = self.surface.name, (self.before, self.after)
        if one.surface.heights != two.surface.heights:
            lies = [", ".join(f"{h:g}" for h in plane.surface.heights) for plane in (one, two)]
            return f'plane "{name}" lies at {lies[0]} m in {labels[0]} and at {lies[1]} m in {labels[1]}'
        shared = self.shared_m2
        if shared >= LEAST_SHARED * max(one.area_m2, two.area_m2):
            return None
        return (
            f'plane "{name}": only {shared:.1f} m² lie in both, of {one.area_m2:.1f} m² in {labels[0]} and '
            f"{two.area_m2:.1f} m² in {labels[1]}: is it the same building, at the same origin?"
        )

    @property
    def stronger_m2(self) -> float:
        """Area (m²) seen both times with a margin that rose by SMALLEST_DB or more."""
        return self.before.area_where((self.change == KEPT) & (self.difference_db >= SMALLEST_DB))

    @property
    def weaker_m2(self) -> float:
        """Area (m²) seen both times with a margin that fell by SMALLEST_DB or more."""
        return self.before.area_where((self.change == KEPT) & (self.difference_db <= -SMALLEST_DB))


@dataclass(frozen=True)
class Comparison:
    """Two coverages side by side; `labels` name them. `planes` are those that both have."""

    labels: tuple[str, str]
    coverages: tuple[Coverage, Coverage]
    planes: dict[str, PlaneChange]

    @property
    def unpaired(self) -> tuple[tuple[str, ...], tuple[str, ...]]:
        """Names of the planes that only the first, and only the second has."""
        one, two = self.coverages
        return tuple(n for n in one if n not in two), tuple(n for n in two if n not in one)

    @property
    def mismatches(self) -> list[str]:
        """What makes the comparison say little, a sentence a plane."""
        found = (plane.mismatch(self.labels) for plane in self.planes.values())
        return [words for words in found if words is not None]

    @property
    def detector_names(self) -> tuple[str, ...]:
        """Detectors of either, those of the first in front."""
        return tuple(dict.fromkeys(name for c in self.coverages for name in c.detector_names))

    def detector_areas(self, plane: str) -> dict[str, tuple[tuple[float, float] | None, tuple[float, float] | None]]:
        """{detector: ((seen m², alone m²) before, the same after)}, None where it does not hang."""
        found = []
        for coverage in self.coverages:
            areas = coverage[plane].detector_areas()
            found.append(dict(zip(coverage.detector_names, areas, strict=True)))
        return {name: (found[0].get(name), found[1].get(name)) for name in self.detector_names}


def compare(before: Coverage, after: Coverage, labels: tuple[str, str]) -> Comparison:
    """Pair the planes of two coverages by name."""
    shared = {name: PlaneChange(before[name], after[name]) for name in before if name in after}
    return Comparison(labels, (before, after), shared)


def _nearest(
    mine: NDArray[np.floating], other: NDArray[np.floating], grid: float
) -> tuple[NDArray[np.intp], NDArray[np.bool_]]:
    """Index (n,) of the entry of a rising axis nearest to each of mine, and whether it lies within half a cell."""
    right = np.clip(np.searchsorted(other, mine), 1, max(len(other) - 1, 1))
    left = right - 1
    right = np.minimum(right, len(other) - 1)
    index = np.where(np.abs(other[left] - mine) <= np.abs(other[right] - mine), left, right)
    return index.astype(np.intp), np.abs(other[index] - mine) <= grid / 2 + 1e-9
