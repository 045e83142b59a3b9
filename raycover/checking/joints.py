"""Joints that are not quite shut: partitions a little short of a wall or a ceiling, walls drawn twice.

Rays pass a slit of any width, as radiation does one of a wavelength or more; where it comes of walls measured to
their faces, the map shows a leak that the building has not.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import shapely

from raycover.building.mesh import JOINT_OVERLAP
from raycover.building.parts import Building, Floats
from raycover.checking.uprights import Uprights, heights, millimetres
from raycover.errors import Problem
from raycover.scene.schema import Scene

#: A gap wider than this (m), or than half the wall and a bit, was meant.
_WIDEST_SLIT = 0.06
_MORE_THAN_HALF = 0.03
#: Heights must overlap by this much (m) for two things to meet.
_HEIGHT = 0.05
#: Walls of two rooms no further apart than this (m) were probably one, and run along each other this far (m).
_DOUBLE_APART, _DOUBLE_ALONG = 0.35, 0.5


def check_joints(scene: Scene, building: Building, uprights: Uprights) -> Iterator[Problem]:
    """Slits at the ends and tops of partitions, and walls that stand twice."""
    yield from _slits(scene, building, uprights)
    yield from _tops(scene, building, uprights)
    yield from _double_walls(scene, uprights)


def _slits(scene: Scene, building: Building, uprights: Uprights) -> Iterator[Problem]:
    by_owner: dict[str, list[int]] = {}
    for k, sheet in enumerate(uprights.sheets):
        if sheet.kind == "partition":
            by_owner.setdefault(sheet.owner, []).append(k)
    boxes = building.boxes
    low, high = heights(boxes)
    solids = shapely.STRtree(shapely.polygons(boxes.footprints()) if len(boxes) else [])
    for index, partition in enumerate(scene.partitions):
        own = by_owner.get(partition.name, [])
        if not own:
            continue
        bottom, top = float(uprights.low[own].min()), float(uprights.high[own].max())
        for at, end in (("start", partition.line[0]), ("end", partition.line[-1])):
            point = shapely.Point(end)
            met: list[tuple[float, str, float]] = []
            for k in uprights.near(point, 0.5):
                shared = min(top, uprights.high[k]) - max(bottom, uprights.low[k])
                if k in own and _ends_there(uprights.ends[k], end):
                    continue
                if shared > _HEIGHT:
                    thick = uprights.sheets[k].construction.thickness_m
                    met.append((float(uprights.lines[k].distance(point)), uprights.sheets[k].name, thick / 2))
            for b in solids.query(point, predicate="dwithin", distance=0.5):
                if min(top, high[b]) - max(bottom, low[b]) > _HEIGHT:
                    met.append((float(shapely.Polygon(boxes.footprints([b])[0]).distance(point)), boxes.names[b], 0.0))
            if not met or min(met)[0] <= JOINT_OVERLAP:
                continue
            away, name, half = min(met)
            if away <= max(_WIDEST_SLIT, half + _MORE_THAN_HALF):
                yield Problem(
                    "partition-slit",
                    f'the {at} of partition "{partition.name}" stops {millimetres(away)} short of "{name}"',
                    scene.position("partitions", index, "line", 0 if at == "start" else len(partition.line) - 1),
                    "lines run to the centre line of a wall, not to its face: move the point by that much",
                    severity="warning",
                )


def _ends_there(ends: Floats, point: Sequence[float]) -> bool:
    return bool(np.min(np.linalg.norm(ends - np.asarray(point), axis=1)) < 1e-6)


def _tops(scene: Scene, building: Building, uprights: Uprights) -> Iterator[Problem]:
    told: set[str] = set()
    for k, sheet in enumerate(uprights.sheets):
        if sheet.kind != "partition" or sheet.owner in told:
            continue
        x, y = uprights.ends[k].mean(axis=0)
        room = building.room_at(float(x), float(y), float(uprights.low[k] + uprights.high[k]) / 2)
        if room is None:
            continue
        for level in () if room.form is not None else (room.height, room.tiles):
            gap = -1.0 if level is None else room.floor + level - float(uprights.high[k])
            if not JOINT_OVERLAP < gap <= _WIDEST_SLIT:
                continue
            told.add(sheet.owner)
            yield Problem(
                "partition-slit",
                f'partition "{sheet.owner}" stops {millimetres(gap)} below the ceiling of "{room.name}"',
                scene.position(*sheet.loc[:2], "height"),
                f"a full-height partition ends at {level:g} m above the floor",
                severity="warning",
            )


def _double_walls(scene: Scene, uprights: Uprights) -> Iterator[Problem]:
    walls = [k for k, sheet in enumerate(uprights.sheets) if sheet.kind == "wall"]
    if len(walls) < 2:
        return
    lines = uprights.lines[walls]
    one, two = shapely.STRtree(lines).query(lines, predicate="dwithin", distance=_DOUBLE_APART)
    told: set[tuple[str, str]] = set()
    for i, j in sorted((walls[a], walls[b]) for a, b in zip(one.tolist(), two.tolist(), strict=True) if a > b):
        first, second = uprights.sheets[i], uprights.sheets[j]
        pair = (min(first.owner, second.owner), max(first.owner, second.owner))
        if first.owner == second.owner or pair in told:
            continue
        if min(uprights.high[i], uprights.high[j]) - max(uprights.low[i], uprights.low[j]) <= _HEIGHT:
            continue
        apart, along = _parallel(uprights.ends[i], uprights.ends[j])
        if along >= _DOUBLE_ALONG and 1e-3 < apart <= _DOUBLE_APART:
            told.add(pair)
            yield Problem(
                "double-wall",
                f'"{second.name}" and "{first.name}" run {millimetres(apart)} apart over {along:.1f} m: '
                "what passes crosses both",
                scene.position(*first.loc[:2], "outline"),
                "rooms are drawn to the centre lines of their walls: let the two share one line, if it is one wall",
                severity="note",
            )


def _parallel(one: Floats, two: Floats) -> tuple[float, float]:
    """How far apart two lines in plan run (m), and along how much of each other; (0, 0) where they don't."""
    along = one[1] - one[0]
    length = float(np.linalg.norm(along))
    along = along / length
    other = two[1] - two[0]
    if abs(along[0] * other[1] - along[1] * other[0]) > 0.02 * float(np.linalg.norm(other)):
        return 0.0, 0.0
    places = np.sort((two - one[0]) @ along)
    offset = (two - one[0]) @ np.array([-along[1], along[0]])
    return float(np.abs(offset).min()), float(min(places[1], length) - max(places[0], 0.0))
