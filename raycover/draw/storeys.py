"""Which part of a building a map's picture shows, and which detectors hang in it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from raycover.building.one_storey import one_storey
from raycover.building.parts import Building
from raycover.detectors import Unit
from raycover.solving.coverage import PlaneCoverage


def shown_storey(building: Building, plane: PlaneCoverage, *, once: bool = False) -> Building:
    """What a plane's plan shows of a building: the storey that its map lies in, all of it where there is but one.

    With `once` nothing that another storey shows: see `one_storey`.
    """
    if len(building.storeys) < 2:
        return building
    surface = plane.surface
    z = float(np.min(surface.floor)) + min(surface.heights)
    under = [s for s in building.storeys if s.name == surface.storey] or [
        s for s in building.storeys if s.level <= z + 1e-6
    ]
    return one_storey(building, under[-1] if under else building.storeys[0], once=once)


def top_of_shown(building: Building, shown: Building) -> float:
    """Height (m) at which what a plan shows ends."""
    return float(shown.bounds[1, 2]) if shown is not building else float(building.bounds[1, 2]) + 1.0


def units_by_storey(
    building: Building, shown: Building, plane: PlaneCoverage, units: Sequence[Unit]
) -> tuple[list[Unit], list[Unit]]:
    """The detectors that hang in the shown storey, and those of others that see some of the plane's map."""
    if shown is building:
        return list(units), []
    positions = np.array([unit.position for unit in units]).reshape(-1, 3)
    home = building.rooms_at(positions)
    names = {room.name for room in shown.rooms}
    low, high = float(shown.bounds[0, 2]), float(shown.bounds[1, 2])
    mine, others = [], []
    for unit, room, (seen, _) in zip(units, home, plane.detector_areas(), strict=True):
        z = float(unit.position[2])
        if building.rooms[room].name in names if room >= 0 else low <= z < high:
            mine.append(unit)
        elif seen > 0:
            others.append(unit)
    return mine, others
