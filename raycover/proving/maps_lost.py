"""What the maps of a scene lose when one unit sees otherwise: asked only where no other unit sees."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.detectors import Unit
from raycover.proving.sites import Site
from raycover.proving.situations import Situation
from raycover.solving.coverage import Coverage

Floats = NDArray[np.floating]


@dataclass(frozen=True)
class _Map:
    """The cells of a map (n,) that only the unit can see, as a place; which are detected now, and their area (m²)."""

    name: str
    site: Site
    detected: NDArray[np.bool_]


class MapsLost:
    """Maps of a scene as drawn, and one of its units, by index; never-areas are left out of the count."""

    def __init__(self, coverage: Coverage, index: int, situation: Situation, nevers: Sequence[Site]) -> None:
        self._coverage, self._index, self._nevers = coverage, index, nevers
        self._situation = replace(situation, rays=coverage.rays)

    @cached_property
    def _maps(self) -> list[_Map]:
        found = []
        for name, plane in self._coverage.items():
            surface = plane.surface
            counts = surface.inside.copy()
            for k, patch in enumerate(plane.patches):
                if k != self._index and patch is not None:
                    counts[patch.window] &= patch.margin_db < 0
            for site in self._nevers:
                if surface.stairs is None and site.surface is not None and site.surface.stairs is None:
                    counts &= ~_over(site, surface)
            rows, columns = np.nonzero(counts)
            site = Site(
                name, "area", "", surface.points(rows, columns, 0.0), surface.area[rows, columns], surface.heights,
                surface.motion, None, target_m2=surface.target_m2,
            )  # fmt: skip
            found.append(_Map(name, site, plane.detected[rows, columns]))
        return found

    def of(self, changed: Unit, shift_db: float) -> dict[str, float]:
        """{map: detected area (m²) lost} with the unit changed and its margins shifted, gains taken off."""
        lost = {}
        for one in self._maps:
            noticed = self._situation.margin_db(changed, one.site, least_db=-shift_db) + shift_db >= 0
            area = one.site.area
            lost[one.name] = float(area[one.detected & ~noticed].sum() - area[noticed & ~one.detected].sum())
        return lost


def _over(site: Site, surface: Any) -> NDArray[np.bool_]:
    """(ny, nx): cells of a map that lie in a place of the same storey."""
    if site.storey is not None and surface.storey is not None and site.storey != surface.storey:
        return np.zeros(surface.shape, bool)
    x, y = np.meshgrid(surface.x, surface.y)
    return np.asarray(shapely.contains_xy(site.outline, x, y))
