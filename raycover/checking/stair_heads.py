"""Stairs that stop short of the floor they lead to: a gap in plan between the last riser and floor to step on."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import shapely

from raycover.building.parts import Building, StairPiece, StairShape
from raycover.errors import Problem
from raycover.scene.schema import Scene

#: A gap no wider than this (m) is half a wall between centre line and face, or a rounding of plans.
_GAP = 0.12
#: Floor is looked for so far (m) ahead: one further off is not what the stair was to meet.
_AHEAD = 2.5
#: Floors at the level of a head differ from it by less than this (m): more is said of its rise.
_LEVEL = 0.25


def check_stair_heads(scene: Scene, building: Building) -> Iterator[Problem]:
    """A warning for each stair whose head, at any of the storeys it serves, misses the edge of that floor."""
    index = {stairs.name: i for i, stairs in enumerate(scene.stairs)}
    for stairs in building.stairs:
        gap, level = max(_gaps(building, stairs, scene.stairs[index[stairs.name]].rise), default=(0.0, 0.0))
        if gap <= _GAP:
            continue
        far = f"{gap:.2f} m short of" if np.isfinite(gap) else f"with no floor within {_AHEAD:g} m ahead of it"
        yield Problem(
            "stair-off-floor",
            f'the head of stair "{stairs.name}" ends {far}{" the floor" if np.isfinite(gap) else ""} at {level:.4g} m',
            scene.position("stairs", index[stairs.name], "at"),
            "move or turn the stair, change its going, or let the void of that floor end where the last riser stands",
            severity="warning",
        )


def _gaps(building: Building, stairs: StairShape, rise: float) -> Iterator[tuple[float, float]]:
    """(gap, level) in m at each floor that the stair arrives at; nothing where no floor has that level."""
    for piece in stairs.pieces:
        if piece.kind != "flight":
            continue
        level = float(piece.origin[2]) + (piece.n_treads + 1) * piece.rise
        storeys = (level - stairs.foot) / rise
        if abs(storeys - round(storeys)) * rise > 1e-3:
            continue  # a landing between two floors
        floor = [room.walkable for room in building.rooms if abs(room.floor - level) < _LEVEL]
        if floor:
            yield _gap(piece, shapely.union_all(floor)), level


def _gap(piece: StairPiece, floor: Any) -> float:
    """Widest way (m) straight ahead from the last riser to a floor, infinite where there is none."""
    gaps = []
    for side in (0.25, 0.5, 0.75):
        end = (piece.origin + piece.along * piece.length + piece.across * piece.width * side)[:2]
        met = floor.intersection(shapely.LineString([end, end + piece.along[:2] * _AHEAD]))
        # A line that only runs along the floor's edge, or touches it, meets it all the same.
        gaps.append(float(met.distance(shapely.Point(end))) if not met.is_empty else np.inf)
    return max(gaps)
