"""Which units belong to a place: of rooms, and of what stands in them, those that hang in the same room."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from raycover.building.parts import Building
from raycover.detectors import Unit

Floats = NDArray[np.floating]
#: A place's room is looked up this far (m) above its ground.
_ABOVE = 0.1


def home_of(ground: Floats, building: Building) -> int:
    """The room, by index, that most of a place's cells (n, 3) stand in; −1 where that is none."""
    rooms = building.rooms_at(ground + np.array([0.0, 0.0, _ABOVE]))
    found, counts = np.unique(rooms, return_counts=True)
    return int(found[counts.argmax()])


def homes_of(units: Sequence[Unit], building: Building) -> NDArray[np.integer]:
    """(n,) the room, by index, that each unit hangs in; −1 for one in none."""
    return building.rooms_at(np.array([unit.position for unit in units]).reshape(-1, 3))


def own_of(grounds: Sequence[Floats], units: Sequence[Unit], building: Building) -> list[tuple[str, ...]]:
    """Of places, by their cells (n, 3) each, the names of the units that hang in their room; in no room none."""
    homes = homes_of(units, building)
    rooms = [home_of(ground, building) for ground in grounds]
    return [tuple(unit.name for unit, home in zip(units, homes, strict=True) if home == room >= 0) for room in rooms]


def without(own: Sequence[str], every: Sequence[Sequence[str]]) -> tuple[str, ...]:
    """Names in any of some lists that are not one's own."""
    return tuple(dict.fromkeys(name for names in every for name in names if name not in own))
