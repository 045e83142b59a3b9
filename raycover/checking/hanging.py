"""Detectors that hang so near to something that it hides part of what they look at."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import shapely

from raycover.building.parts import Boxes, Building, Floats
from raycover.checking.uprights import Uprights, heights, millimetres
from raycover.detectors import Unit
from raycover.errors import Problem
from raycover.scene.schema import Scene

#: Nearer than this (m) to what it looks towards, a unit sees mostly that. From memory, common practice.
_CLEAR = 0.3
#: Towards what reaches less than this share of a unit's farthest reach, it does not look.
_LOOKS = 0.3
#: What ends this far (m) or more above a unit is what it hangs from.
_ABOVE = -0.02


def check_hanging(scene: Scene, building: Building, units: Sequence[Unit], uprights: Uprights) -> Iterator[Problem]:
    """A warning for each unit with something in front of it closer than it should be."""
    low, high = heights(building.boxes)
    plan = building.boxes.footprints()
    outlines = shapely.polygons(plan) if len(plan) else np.array([], object)
    tree = shapely.STRtree(outlines)
    for index, unit in enumerate(units):
        point, z = shapely.Point(unit.position[:2]), float(unit.position[2])
        near: list[tuple[float, str, Floats]] = []
        for k in uprights.near(point, _CLEAR):
            if uprights.low[k] < z + _ABOVE and z - _CLEAR < uprights.high[k]:
                near.append(_to(uprights.lines[k], point, uprights.sheets[k].name, max(z - uprights.high[k], 0.0)))
        for b in tree.query(point, predicate="dwithin", distance=_CLEAR):
            if low[b] < z + _ABOVE and z - _CLEAR < high[b]:
                near.append(_to(outlines[b], point, _name(building.boxes, int(b)), max(z - high[b], 0.0)))
        facing = [(away, name) for away, name, toward in near if away < _CLEAR and _looks(unit, toward)]
        if facing:
            away, name = min(facing)
            yield Problem(
                "detector-near",
                f'detector "{unit.name}" hangs {millimetres(away)} from "{name}", which hides part of what it looks at',
                scene.position("detectors", index, "at"),
                f"keep {_CLEAR:g} m clear, or turn it so that it looks away",
                severity="warning",
            )


def _name(boxes: Boxes, b: int) -> str:
    return boxes.names[b]


def _to(shape: object, point: object, name: str, below: float) -> tuple[float, str, Floats]:
    """Distance (m), name and direction in plan (2,) of what stands near a unit."""
    ends = shapely.get_coordinates(shapely.shortest_line(point, shape))
    toward = ends[-1] - ends[0]
    return float(np.hypot(np.linalg.norm(toward), below)), name, toward


def _looks(unit: Unit, toward: Floats) -> bool:
    """Whether a unit's declared reach towards a direction in plan is more than a small share of its farthest."""
    if not unit.footprints:
        return False
    if np.linalg.norm(toward) < 1e-9:
        return True
    ahead = unit.rotation.T @ np.array([*toward, 0.0])
    azimuth = np.concatenate([[np.arctan2(ahead[1], ahead[0])], np.linspace(0, 2 * np.pi, 72, endpoint=False)])
    radius = np.max([np.asarray(f.shape.radius(np.cos(azimuth), np.sin(azimuth)), float) for f in unit.footprints], 0)
    return bool(radius[0] >= _LOOKS * radius[1:].max())
