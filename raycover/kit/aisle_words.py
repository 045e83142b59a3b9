"""What is said where infrared units look down aisles: people there walk toward them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
import shapely

from raycover.building.aisles import Aisle, find_aisles
from raycover.detectors import Unit
from raycover.solving.coverage import Coverage

#: The tangential reach of an infrared unit is the longer one.
ALONG_AISLES = (
    "Along an aisle people walk toward the unit over it, which infrared sees less far than walking across; any "
    "declared motion counts both: motion: radial asks for walking along."
)


def answers_to_across(units: Iterable[Unit]) -> bool:
    """Whether some of the units see by infrared who walks across."""
    parts = (part for unit in units for part in unit.parts if part.kind == "infrared")
    return any(footprint.motion == "tangential" for part in parts for footprint in part.footprints)


def maps_along_aisles(coverage: Coverage) -> frozenset[str]:
    """Names of the maps, of any motion, that show what infrared units over aisles see."""
    of_any = frozenset(
        name for name, plane in coverage.items() if plane.surface.motion == "any" and plane.surface.stairs is None
    )
    if not of_any or not answers_to_across(coverage.units):
        return frozenset()
    over = over_aisles(coverage.units, find_aisles(coverage.rays.building))
    return of_any if answers_to_across(over) else frozenset()


def over_aisles(units: Sequence[Unit], aisles: Sequence[Aisle]) -> list[Unit]:
    """The units that hang over an aisle, in plan."""
    x, y = np.array([unit.position[:2] for unit in units]).reshape(-1, 2).T
    over = np.zeros(len(units), bool)
    for aisle in aisles:
        over |= shapely.contains_xy(shapely.Polygon(aisle.corners), x, y)
    return [unit for unit, hangs in zip(units, over, strict=True) if hangs]
