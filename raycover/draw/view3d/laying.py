"""Where pictures in 3D show things: which storey a detector hangs in, how far that is moved, whose lobes are shown."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.asking.lobes import Lobe
from raycover.building.parts import Building
from raycover.detectors import Unit
from raycover.draw.view3d.trays import Tray
from raycover.solving.coverage import Coverage, PlaneCoverage
from raycover.solving.seats import SeatView

Floats = NDArray[np.floating[Any]]

#: Lobes shown at most; more would hide the map they explain.
MOST_LOBES = 2


def slab_of(trays: tuple[Tray, ...]) -> float:
    """How thick (m) the edge of a floor is drawn."""
    area = shapely.union_all([tray.area for tray in trays]).area
    return float(np.clip(0.012 * np.sqrt(area), 0.06, 0.4))


def home_of(trays: tuple[Tray, ...], building: Building, units: tuple[Unit, ...]) -> NDArray[np.intp]:
    """The tray (n,) that each detector hangs in: that of its room, else the highest whose floor is below it."""
    if not units:
        return np.zeros(0, np.intp)
    rooms = building.rooms_at(np.array([u.position for u in units]))
    tray_of = {room.name: k for k, tray in enumerate(trays) for room in tray.building.rooms}
    found = []
    for unit, room in zip(units, rooms, strict=True):
        under = [k for k, tray in enumerate(trays) if tray.level <= float(unit.position[2]) + 1e-6]
        by_level = under[-1] if under else 0
        found.append(tray_of.get(building.rooms[room].name, by_level) if room >= 0 else by_level)
    return np.array(found, np.intp)


def shifted_seats(coverage: Coverage, trays: tuple[Tray, ...], moved: Floats) -> tuple[SeatView, ...]:
    """Seated people where the picture shows their storey."""
    found = []
    for seat in coverage.seats:
        under = [k for k, tray in enumerate(trays) if tray.level <= seat.at[2] + 0.06]
        x, y, z = (float(v) for v in np.asarray(seat.at) + moved[under[-1] if under else 0])
        found.append(replace(seat, at=(x, y, z)))
    return tuple(found)


def moved_lobe(lobe: Lobe, by: Floats) -> Lobe:
    """A lobe where the picture shows it."""
    if not by.any():
        return lobe
    ribs = tuple(rib + by for rib in lobe.ribs)
    return replace(lobe, position=lobe.position + by, vertices=lobe.vertices + by, ribs=ribs)


def seen_areas(planes: tuple[PlaneCoverage, ...]) -> Floats:
    """What each detector sees of some maps together (n,), m²."""
    return np.sum([[area for area, _ in plane.detector_areas()] for plane in planes], axis=0)


def representative(
    units: tuple[Unit, ...], plane: PlaneCoverage | tuple[PlaneCoverage, ...], most: int = MOST_LOBES
) -> list[Unit]:
    """A few units to show in 3D: different sorts first, that see much of the plane, far from each other."""
    seen = seen_areas(plane if isinstance(plane, tuple) else (plane,))
    sees = np.flatnonzero(seen > 0)
    if len(sees) <= most:
        return [units[k] for k in sees]
    places = np.array([u.position[:2] for u in units])
    best_of = {u.title: max(seen[k] for k in sees if units[k].title == u.title) for u in (units[k] for k in sees)}
    chosen = [int(sees[np.argmax(seen[sees])])]
    while len(chosen) < most:
        taken = {units[k].title for k in chosen}
        span = max(float(np.ptp(places, axis=0).max()), 1e-9)

        def worth(k: int, taken: set[str] = taken, span: float = span) -> float:
            apart = min(float(np.hypot(*(places[k] - places[c]))) for c in chosen) / span
            return 2.0 * (units[k].title not in taken) + seen[k] / best_of[units[k].title] + 2.0 * apart

        chosen.append(max((int(k) for k in sees if k not in chosen), key=worth))
    return [units[k] for k in sorted(chosen)]


def ceiling_over(unit: Unit, building: Building) -> float:
    """Up to where a lobe is drawn: the ceiling, which a cutaway leaves out, or the unit itself where there is none."""
    room = building.room_at(*unit.position)
    if room is None:
        return float(unit.position[2])
    if room.tiles is not None and unit.position[2] <= room.floor + room.tiles + 1e-3:
        return room.floor + room.tiles
    return room.floor + room.height


def through_walls(lobe: Lobe, building: Building, kind: str, by: Floats | None = None) -> NDArray[np.bool_]:
    """(m,) triangles of a lobe, drawn moved by a vector, that lie in another room than its detector, or outside all.

    Of a unit that is infrared alone none does: only microwave gets there.
    """
    moved = np.zeros(3) if by is None else by
    if not len(lobe.triangles) or not building.rooms or kind == "infrared":
        return np.zeros(len(lobe.triangles), bool)
    home = int(building.rooms_at((lobe.position - moved)[None])[0])
    if home < 0:
        return np.zeros(len(lobe.triangles), bool)
    ends = lobe.vertices - moved
    inward = lobe.position - moved - ends
    # A hair toward the unit: what ends at a wall lies in it.
    ends += 0.03 * inward / np.maximum(np.linalg.norm(inward, axis=1, keepdims=True), 1e-9)
    # One end beyond is enough: a side from here to there would be in stripes, were each triangle asked by its middle.
    return np.asarray((building.rooms_at(ends) != home)[lobe.triangles].any(axis=1))
