"""Where else a unit could hang so that a nuisance leaves it alone: places near by in its own room, tried in rings."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import shapely

from raycover.building.parts import Building, RoomShape
from raycover.detectors import Unit
from raycover.trips.judging import Effect, Rules
from raycover.trips.remedies import Cost, MoveRemedy

#: Rings (m) about a unit's place that are tried, nearest first, and places on each.
_RINGS, _ON_RING = (0.5, 1.0, 1.5, 2.0, 3.0), 12
#: A unit keeps this far (m) from walls, and as far from solids.
_CLEAR = 0.3
#: Of a ring's places that do, so many are cast again for what they cost.
_MOST_CAST = 2

Judge = Callable[[Unit], Effect]


def move_away(
    unit: Unit,
    judge_at: Judge,
    others: Sequence[tuple[Effect, Judge]],
    building: Building,
    rules: Rules,
    cost_of: Callable[[Unit], Cost] | None,
) -> MoveRemedy | None:
    """The nearest ring's place that costs least and lets none of the unit's `others` trip it; None where none does.

    `others` are the unit's other effects, each with what judges it for the unit elsewhere.
    """
    room = building.room_at(*(float(v) for v in unit.position))
    if room is None:
        return None
    for radius in _RINGS:
        places = _places(unit, radius, room, building)
        moved = [replace(unit, position=place) for place in places]
        judged = [(judge_at(there).margin_db, there) for there in moved]
        good = sorted((m for m in judged if rules.verdict(m[0]) == "no"), key=lambda m: m[0])
        good = [m for m in good[: 3 * _MOST_CAST] if _harmless(m[1], others, rules)][:_MOST_CAST]
        if not good:
            continue
        found = [
            MoveRemedy(
                (float(there.position[0]), float(there.position[1])),
                radius,
                margin,
                None if cost_of is None else cost_of(there),
            )
            for margin, there in good
        ]
        return min(found, key=lambda f: f.cost.lost_m2 if f.cost is not None else f.margin_db)
    return None


def _places(unit: Unit, radius: float, room: RoomShape, building: Building) -> list[np.ndarray]:
    """Places (3,) on a ring, within the room, clear of its walls, under its ceiling or roof, and of solids."""
    angle = np.arange(_ON_RING) * 2 * np.pi / _ON_RING
    flat = unit.position[:2] + radius * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    flat = np.round(flat, 2)
    ok = np.asarray(shapely.contains_xy(room.polygon.buffer(-_CLEAR), flat[:, 0], flat[:, 1]))
    ok &= room.top_at(flat) >= unit.position[2] - 1e-6
    boxes = building.boxes
    if len(boxes):
        z = unit.position[2]
        here = np.abs(boxes.centre[:, 2] - z) <= boxes.size[:, 2] / 2 + 0.01
        solid = shapely.union_all(shapely.polygons(boxes.footprints(here))) if here.any() else shapely.Polygon()
        ok &= shapely.distance(solid, shapely.points(flat)) > _CLEAR if here.any() else True
    return [np.array([x, y, unit.position[2]]) for x, y in flat[ok]]


def _harmless(there: Unit, others: Sequence[tuple[Effect, Judge]], rules: Rules) -> bool:
    """Whether each of the unit's other effects that was harmless stays so; the rest need their own remedy anyway."""
    harmless = (judge_at for before, judge_at in others if before.verdict == "no")
    return all(rules.verdict(judge_at(there).margin_db) == "no" for judge_at in harmless)
