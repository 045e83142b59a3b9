"""Racking, desks and solids that stand through walls or in each other."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import shapely

from raycover.building.parts import Building, Floats
from raycover.checking.uprights import Uprights, chosen, heights
from raycover.errors import Problem
from raycover.scene.schema import Scene

#: What reaches less far (m) into a wall or into each other touches it: outlines are typed to the centimetre.
_TOUCH = 0.01
#: Less of a wall (m²) than this in the way of something is a corner grazed.
_LEAST_M2 = 1e-3
#: A solid no wider and no lower than these (m) is a column; columns stand in walls.
_COLUMN_WIDEST, _COLUMN_LOWEST = 1.25, 2.4

#: What reaches no further (m) than this from the line of a wall is part of it. From memory, common practice.
_IN_WALL = 0.25


def check_standing(scene: Scene, building: Building, uprights: Uprights) -> Iterator[Problem]:
    """Problems of everything that stands on a floor."""
    yield from _racks_in_walls(scene, building, uprights)
    yield from _racks_in_each_other(scene, building)
    yield from _solids(scene, building, uprights)
    yield from _desks(scene, building, uprights)


def stands_through(uprights: Uprights, footprint: Any, low: float, high: float, own: str) -> tuple[str, float] | None:
    """The wall that a footprint between two heights stands through most, and the length of it inside (m)."""
    inner = shapely.buffer(footprint, -_TOUCH, join_style="mitre")
    worst: tuple[str, float] | None = None
    if inner.is_empty:
        return None
    for k in uprights.near(inner, 0.0):
        if uprights.sheets[k].owner == own or min(high, uprights.high[k]) - max(low, uprights.low[k]) <= _TOUCH:
            continue
        inside = shapely.intersection(uprights.lines[k], inner)
        if inside.length <= _TOUCH or uprights.covers(k, inside, low, high) <= _LEAST_M2:
            continue
        if worst is None or inside.length > worst[1]:
            worst = uprights.sheets[k].name, float(inside.length)
    return worst


def _racks_in_walls(scene: Scene, building: Building, uprights: Uprights) -> Iterator[Problem]:
    """Frames, not the loads that stand out over them: those keep clear of a wall by more or less."""
    places = dict(zip(building.envelopes.owners, building.envelopes.locs, strict=True))
    told: set[str] = set()
    for row in building.racks:
        found = stands_through(uprights, shapely.Polygon(row.corners), row.bottom, row.top, row.owner)
        if found is not None and row.owner not in told:
            told.add(row.owner)
            yield Problem(
                "rack-through-wall",
                f'rack "{row.owner}" stands through "{found[0]}", along {found[1]:.2f} m of it',
                scene.position(*places[row.owner], "at"),
                "move it, turn it, or give it fewer bays",
            )


def _racks_in_each_other(scene: Scene, building: Building) -> Iterator[Problem]:
    rows = building.racks
    if len(rows) < 2:
        return
    places = dict(zip(building.envelopes.owners, building.envelopes.locs, strict=True))
    outlines = shapely.buffer(shapely.polygons([r.corners for r in rows]), -_TOUCH / 2, join_style="mitre")
    one, two = shapely.STRtree(outlines).query(outlines, predicate="intersects")
    told: set[tuple[str, str]] = set()
    for i, j in sorted((int(a), int(b)) for a, b in zip(one, two, strict=True) if a > b):
        first, second = rows[j], rows[i]
        shared = float(outlines[i].intersection(outlines[j]).area)
        pair = (first.owner, second.owner)
        apart = min(first.top, second.top) - max(first.bottom, second.bottom) <= _TOUCH
        if apart or shared <= _LEAST_M2 or first.owner == second.owner or pair in told:
            continue
        told.add(pair)
        yield Problem(
            "racks-overlap",
            f'racks "{first.owner}" (line {scene.position(*places[first.owner]).line}) and "{second.owner}" '
            f"stand in each other over {shared:.2g} m²",
            scene.position(*places[second.owner], "at"),
            "move one of the two; back-to-back rows are one rack with back_to_back: true",
        )


def _solids(scene: Scene, building: Building, uprights: Uprights) -> Iterator[Problem]:
    boxes = chosen(building.boxes, [k for k, kind in enumerate(building.boxes.kinds) if kind == "solid"])
    low, high = heights(boxes)
    racks = building.envelopes
    rack_low, rack_high = heights(racks)
    tree = shapely.STRtree(shapely.polygons(racks.footprints()) if len(racks) else [])
    for k, corners in enumerate(boxes.footprints()):
        if boxes.size[k, :2].max() <= _COLUMN_WIDEST and boxes.size[k, 2] >= _COLUMN_LOWEST:
            continue
        outline = shapely.Polygon(corners)
        found = stands_through(uprights, outline, low[k], high[k], boxes.owners[k])
        if found is not None and not _in_the_wall(uprights, corners):
            yield Problem(
                "solid-through-wall",
                f'"{boxes.owners[k]}" stands through "{found[0]}", along {found[1]:.2f} m of it',
                scene.position(*boxes.locs[k]),
                "move it, or cut an opening where it passes",
                severity="warning",
            )
        inner = shapely.buffer(outline, -_TOUCH, join_style="mitre")
        for r in np.sort(tree.query(inner, predicate="intersects")):
            if min(high[k], rack_high[r]) - max(low[k], rack_low[r]) > _TOUCH:
                yield Problem(
                    "solid-in-rack",
                    f'"{boxes.owners[k]}" stands in rack "{racks.owners[r]}" '
                    f"(line {scene.position(*racks.locs[r]).line})",
                    scene.position(*boxes.locs[k]),
                    "move it, unless the rack is built around it",
                    severity="note",
                )
                break


def _in_the_wall(uprights: Uprights, corners: Floats) -> bool:
    """Whether corners in plan (4, 2) all lie along one wall: a lintel, a pier, a sill, which belong to it."""
    around = shapely.Polygon(corners)
    for k in uprights.near(around, 0.0):
        start, end = uprights.ends[k]
        along = (end - start) / max(float(np.linalg.norm(end - start)), 1e-9)
        if np.abs((corners - start) @ np.array([-along[1], along[0]])).max() <= _IN_WALL:
            return True
    return False


def _desks(scene: Scene, building: Building, uprights: Uprights) -> Iterator[Problem]:
    told: set[tuple[str, str]] = set()
    for sheet in building.sheets:
        if sheet.kind != "desk":
            continue
        corners = sheet.frame.to_space(shapely.get_coordinates(sheet.polygon)[:-1])
        z = float(corners[:, 2].mean())
        found = stands_through(uprights, shapely.Polygon(corners[:, :2]), z - 0.02, z + 0.02, sheet.owner)
        if found is not None and (sheet.owner, found[0]) not in told:
            told.add((sheet.owner, found[0]))
            yield Problem(
                "desk-through-wall",
                f'"{sheet.name}" stands through "{found[0]}", along {found[1]:.2f} m of it',
                scene.position(*sheet.loc[:2], "at"),
                "move the row, or split it in two",
                severity="warning",
            )
