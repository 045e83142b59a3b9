"""Checks of the fit-out on the scene alone: cubicles, fixtures, tables, suspended ceilings, units above tiles."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import shapely

from raycover.errors import Problem
from raycover.scene.construction import ConstructionRef
from raycover.scene.roofs import clear_height
from raycover.scene.schema import Scene
from raycover.scene.seating import room_for_seats

if TYPE_CHECKING:
    from raycover.catalogue import Catalogue


def check_cubicles(scene: Scene, _: Catalogue) -> Iterator[Problem]:
    for index, row in enumerate(scene.cubicles):
        where = ("cubicles", index)
        for (width, _depth), door in zip(row.sizes, row.door_widths, strict=True):
            if door >= width:
                yield Problem(
                    "door-too-wide",
                    f'"{row.name}": doors of {door:g} m do not fit cubicles {width:g} m wide',
                    scene.position(*where, "door_width" if row.door_width is not None else "width"),
                    "make door_width smaller than width",
                )
                break
        if row.floor_gap >= row.top:
            yield Problem(
                "no-panel",
                f'"{row.name}": the gap under the panels reaches their top',
                scene.position(*where, "floor_gap"),
                "make floor_gap smaller than top",
            )
        if isinstance(row.doors, list) and len(row.doors) != row.n_doors:
            yield Problem(
                "doors-count",
                f'"{row.name}" has {row.n_doors} cubicles but {len(row.doors)} door states',
                scene.position(*where, "doors"),
                "give one state for all, or one a cubicle"
                + (": the second row's follow the first's" if row.back_to_back else ""),
            )
            continue
        ways = row.opening_ways * (2 if row.back_to_back else 1)
        too_far = [k for k, angle in enumerate(row.door_angles) if angle > 90 and ways[k] == "inward"]
        if too_far:
            listed = isinstance(row.doors, list)
            yield Problem(
                "door-through-panel",
                f'"{row.name}": a door that opens inward stops at the panel beside it, at 90°',
                scene.position(*where, "doors", *([too_far[0]] if listed else [])),
                "make ajar_deg 90 at most, or write opens: outward",
            )


def check_fixtures(scene: Scene, _: Catalogue) -> Iterator[Problem]:
    for index, row in enumerate(scene.fixtures):
        for key, mine in (("material", row.kind != "mirror"), ("construction", row.kind == "mirror")):
            if key in row.model_fields_set and not mine:
                other = "construction" if key == "material" else "material"
                yield Problem(
                    "not-for-this-kind",
                    f'"{row.name}": a {row.kind} has no {key}',
                    scene.position("fixtures", index, key, key=True),
                    f"write {other} instead",
                )


def check_tables(scene: Scene, _: Catalogue) -> Iterator[Problem]:
    for index, table in enumerate(scene.tables):
        most = room_for_seats(table)
        if table.seats > most:
            yield Problem(
                "table-too-small",
                f'"{table.name}" has {table.seats} seats, but room for {most}',
                scene.position("tables", index, "seats"),
                "enlarge it or seat fewer",
            )


def check_overhead(scene: Scene, _: Catalogue) -> Iterator[Problem]:
    """Suspended ceilings below what covers their room; roof lights in one slope; desks' screens above their tops."""
    for index, room in enumerate(scene.rooms):
        tiles = room.suspended_ceiling
        if tiles is None:
            continue
        lowest = room.height if room.roof is None else room.roof.eaves
        if tiles.height > lowest - 1e-3:
            what = "ceiling" if room.roof is None else "eaves of the roof"
            yield Problem(
                "suspended-too-high",
                f'"{room.name}": tiles at {tiles.height:g} m do not hang below the {what} at {lowest:g} m',
                scene.position("rooms", index, "suspended_ceiling", "height"),
                "lower them, or raise the room",
            )
    for index, desks in enumerate(scene.desks):
        if desks.screen is not None and desks.screen.height <= desks.height:
            yield Problem(
                "screen-too-low",
                f'"{desks.name}": a screen up to {desks.screen.height:g} m does not rise over desks of '
                f"{desks.height:g} m",
                scene.position("desks", index, "screen", "height"),
                "its height counts from the floor, not from the desk",
            )


def check_above_tiles(scene: Scene, catalogue: Catalogue) -> Iterator[Problem]:
    """Infrared units that look at the back of their tiles: a warning."""
    tiled = [(room, shapely.Polygon(room.outline)) for room in scene.rooms if room.suspended_ceiling is not None]
    if not all(shape.is_valid for _, shape in tiled):
        return
    for index, detector in enumerate(scene.detectors):
        pattern = detector.pattern or catalogue.detectors.get(detector.model or "")
        if pattern is None or pattern.kind == "microwave":
            continue
        point = shapely.Point(detector.at)
        for room, shape in tiled:
            tiles = room.suspended_ceiling
            assert tiles is not None
            above = tiles.height + 1e-3 < detector.mounting <= clear_height(room, *detector.at) + 1e-6
            if (
                not above
                or detector.room not in (None, room.name)
                or shape.distance(point) >= 1e-6
                or tiles.construction == "none"
            ):
                continue
            made = catalogue.constructions.get(tiles.construction) if isinstance(tiles.construction, str) else None
            if made is not None and not made.stops_infrared:
                continue
            yield Problem(
                "infrared-above-ceiling",
                f'"{detector.name}" looks down on the tiles of "{room.name}" at {tiles.height:g} m, '
                "which infrared does not pass",
                scene.position("detectors", index, "mounting"),
                f"mount it at {tiles.height:g} m, in the tiles, or use a microwave unit",
                severity="warning",
            )
            break


def _lets_infrared_through(ref: ConstructionRef, catalogue: Catalogue) -> bool:
    """Whether a construction is none or open; one written out in layers, or unknown, is not."""
    if not isinstance(ref, str):
        return False
    made = catalogue.constructions.get(ref)
    return ref == "none" or (made is not None and not made.stops_infrared)


FITOUT_CHECKS = (check_cubicles, check_fixtures, check_tables, check_overhead, check_above_tiles)
