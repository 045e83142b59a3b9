"""Lobes as files hold them: a tint that tells each from those it overlaps, and what of it has come through a wall."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.asking.lobes import Lobe, make_lobe
from raycover.building.parts import Building
from raycover.detectors import Unit
from raycover.draw import palette
from raycover.draw.view3d.laying import ceiling_over, through_walls
from raycover.rays.ray_scene import RayScene
from raycover.solving.casting import Weather

Floats = NDArray[np.floating[Any]]

#: Half as fine each way as lobes of pictures, which nobody sees and a quarter of the bytes.
_AZIMUTHS, _RINGS = 96, 28


@dataclass(frozen=True)
class Shell:
    """One unit's lobe, which of its triangles (m,) have come `through` a wall, and the number of its tint."""

    lobe: Lobe
    through: NDArray[np.bool_]
    tint: int

    @property
    def free(self) -> Floats:
        """Corners (n, 3, 3) of what stands free."""
        return self.lobe.vertices[self.lobe.triangles[~self.through]]

    @property
    def beyond(self) -> Floats:
        """Corners (n, 3, 3) of what lies beyond a wall."""
        return self.lobe.vertices[self.lobe.triangles[self.through]]

    @property
    def colours(self) -> tuple[str, str]:
        """Of its faces and of its ribs."""
        return palette.TINTS[self.tint]


def make_shells(
    weather: Weather, building: Building, rays: RayScene, units: Sequence[Unit], motion: str
) -> dict[str, Shell]:
    """Shells of units by name, coarser than those of pictures. Empty ones are left out."""
    found = {
        unit.name: make_lobe(
            unit, rays, weather, motion=motion, n_azimuths=_AZIMUTHS, n_rings=_RINGS,
            below_m=ceiling_over(unit, building),
        )
        for unit in units
    }  # fmt: skip
    lobes = {name: lobe for name, lobe in found.items() if len(lobe.triangles)}
    tint = tints(lobes)
    kinds = {unit.name: unit.kind for unit in units}
    return {name: Shell(lobe, through_walls(lobe, building, kinds[name]), tint[name]) for name, lobe in lobes.items()}


def tints(lobes: Mapping[str, Lobe]) -> dict[str, int]:
    """{name: number of a tint} so that lobes that overlap in plan differ as far as there are tints.

    Those with most neighbours choose first, each what the fewest of its neighbours have; the first tint where nothing
    speaks against it.
    """
    names = list(lobes)
    outlines = [shapely.convex_hull(shapely.MultiPoint(lobes[name].vertices[:, :2])) for name in names]
    pairs = shapely.STRtree(outlines).query(outlines, predicate="intersects") if outlines else np.zeros((2, 0), int)
    beside: dict[int, list[int]] = {k: [] for k in range(len(names))}
    for one, other in pairs.T:
        if one != other:
            beside[int(one)].append(int(other))
    chosen: dict[int, int] = {}
    for k in sorted(beside, key=lambda k: (-len(beside[k]), k)):
        taken = [chosen[other] for other in beside[k] if other in chosen]
        chosen[k] = min(range(len(palette.TINTS)), key=taken.count)
    return {name: chosen[k] for k, name in enumerate(names)}
