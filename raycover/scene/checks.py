"""Checks across objects, on the scene alone: names, references, outlines, numbers that must fit together.

Each check yields Problems; `check_scene` runs them all, so that a user sees everything at once. What needs
geometry (faces that coincide, detectors in solids) is checked by the building.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from shapely.validation import explain_validity

from raycover.errors import Position, Problem, did_you_mean
from raycover.scene.construction import InlineConstruction
from raycover.scene.correction_checks import check_corrections
from raycover.scene.fitout_checks import FITOUT_CHECKS
from raycover.scene.need_checks import check_needs, check_zone_floors, odd_air
from raycover.scene.nuisance_checks import check_nuisances
from raycover.scene.placing_checks import check_placing
from raycover.scene.quantities import CHECK_UNITS
from raycover.scene.rack_checks import check_racking
from raycover.scene.references import fitout_references
from raycover.scene.roofs import clear_height
from raycover.scene.schema import Scene
from raycover.scene.view_checks import check_views
from raycover.scene.wiring_checks import check_wiring

if TYPE_CHECKING:
    from raycover.catalogue import Catalogue

#: More cells than this (over all planes) are refused.
MOST_CELLS = 50_000_000
#: No room is larger: beyond this, millimetres were typed for metres.
WIDEST_ROOM_M, HIGHEST_ROOM_M = 2000.0, 300.0
_LISTS = (
    "rooms", "partitions", "solids", "racking", "cubicles", "desks", "stairs", "sheets", "meshes",
    "detectors", "planes", "fixtures", "tables", "nuisances", "routes", "lines", "zones", "sections",
    "cameras",
)  # fmt: skip
#: Lists whose names become names of files.
_BECOME_FILES = ("planes", "routes", "sections", "cameras")


def check_scene(scene: Scene, catalogue: Catalogue) -> list[Problem]:
    """Every problem and warning that shows without building the geometry."""
    found: list[Problem] = []
    for check in _CHECKS:
        found += check(scene, catalogue)
    return found


def _names(scene: Scene, _: Catalogue) -> Iterator[Problem]:
    for kind in _LISTS:
        first: dict[str, Position] = {}
        for index, item in enumerate(getattr(scene, kind)):
            key = item.name.lower() if kind in _BECOME_FILES else item.name
            here = scene.position(kind, index, "name")
            if key in first:
                alike = kind in _BECOME_FILES and item.name not in [o.name for o in getattr(scene, kind)[:index]]
                clash = "differs from another only by capitals" if alike else "is used twice"
                yield Problem(
                    "same-name",
                    f'the name "{item.name}" {clash} among the {kind} (first on line {first[key].line})',
                    here,
                    "rename one of the two",
                )
            first.setdefault(key, here)


def _outlines(scene: Scene, _: Catalogue) -> Iterator[Problem]:
    sound: list[tuple[int, Any]] = []
    for index, room in enumerate(scene.rooms):
        where = scene.position("rooms", index, "outline")
        points = np.asarray(room.outline, float)
        span = float(np.ptp(points, axis=0).max())
        if span > WIDEST_ROOM_M or room.height > HIGHEST_ROOM_M:
            yield Problem(
                "check-units",
                f'"{room.name}" would be {span:,.0f} m across and {room.height:,.0f} m high',
                where,
                CHECK_UNITS,
            )
            continue
        if np.any(np.linalg.norm(points - np.roll(points, -1, axis=0), axis=1) < 1e-6):
            closing = bool(np.linalg.norm(points[0] - points[-1]) < 1e-6)
            yield Problem(
                "repeated-point",
                f'the outline of "{room.name}" repeats a point',
                where,
                "leave out the last point: the outline closes by itself" if closing else "take one of the two out",
            )
            continue
        polygon = shapely.Polygon(points)
        if not polygon.is_valid or polygon.area < 1e-6:
            crossing = re.search(r"Self-intersection\[(\S+) (\S+)\]", explain_validity(polygon))
            why = f"crosses itself at ({crossing[1]}, {crossing[2]})" if crossing else "crosses itself"
            if polygon.convex_hull.area < 1e-6:
                why = "has no area"
            yield Problem(
                "bad-outline",
                f'the outline of "{room.name}" {why}',
                where,
                "give the corners in order around the room",
            )
            continue
        sound.append((index, polygon))
    tree = shapely.STRtree([polygon for _, polygon in sound])
    for here, (index, polygon) in enumerate(sound):
        for other in sorted(int(i) for i in tree.query(polygon)):
            if other >= here:
                continue
            room, earlier = scene.rooms[index], scene.rooms[sound[other][0]]
            tops = room.floor + room.height, earlier.floor + earlier.height
            shared_height = min(tops) - max(room.floor, earlier.floor)
            overlap = polygon.intersection(sound[other][1])
            shared = overlap.area
            # A strip a millimetre wide is what coordinates typed to the millimetre leave of a shared wall.
            if shapely.buffer(overlap, -1e-3).area > 1e-4 and shared_height > 1e-6:
                yield Problem(
                    "rooms-overlap",
                    f'rooms "{earlier.name}" and "{room.name}" overlap by {shared:.3g} m²',
                    scene.position("rooms", index, "outline"),
                    "rooms share walls, not floor: move the outline",
                )


def _sizes(scene: Scene, _: Catalogue) -> Iterator[Problem]:
    """Lengths that nothing of their sort has: millimetres typed for metres, a metre and a half for 150."""
    of: tuple[tuple[str, str, float], ...] = (
        ("partitions", "height", HIGHEST_ROOM_M), ("stairs", "rise", 20.0), ("cubicles", "top", 10.0),
        ("desks", "height", 10.0), ("tables", "height", 10.0), ("desks", "size", 100.0), ("tables", "size", 100.0),
        ("fixtures", "size", 100.0), ("stairs", "width", 100.0), ("stairs", "going", 10.0),
    )  # fmt: skip
    for kind, key, most in of:
        for index, item in enumerate(getattr(scene, kind)):
            value = getattr(item, key)
            largest = max(value) if isinstance(value, list | tuple) else value
            if largest is not None and largest > most:
                yield Problem(
                    "check-units",
                    f'{key} of "{item.name}" would be {largest:,g} m',
                    scene.position(kind, index, key),
                    CHECK_UNITS,
                )


def _walls(scene: Scene, _: Catalogue) -> Iterator[Problem]:
    for index, room in enumerate(scene.rooms):
        edges = len(room.outline)
        if isinstance(room.walls, list) and len(room.walls) != edges:
            yield Problem(
                "walls-count",
                f'"{room.name}" has {edges} edges but {len(room.walls)} walls',
                scene.position("rooms", index, "walls"),
                "give one construction for all, or one an edge",
            )
        for k, opening in enumerate(room.openings):
            if opening.edge >= edges:
                yield Problem(
                    "no-such-edge",
                    f'"{room.name}" has edges 0 to {edges - 1}, not {opening.edge}',
                    scene.position("rooms", index, "openings", k, "edge"),
                    "edge i runs from point i of the outline to the next",
                )
    for index, partition in enumerate(scene.partitions):
        steps = np.linalg.norm(np.diff(np.asarray(partition.line, float), axis=0), axis=1)
        if np.any(steps < 1e-6):
            yield Problem(
                "repeated-point",
                f'the line of "{partition.name}" repeats a point',
                scene.position("partitions", index, "line"),
                "take one of the two out",
            )


def _references(scene: Scene, catalogue: Catalogue) -> Iterator[Problem]:
    def construction(ref: Any, *loc: str | int) -> Iterator[Problem]:
        if isinstance(ref, InlineConstruction):
            for i, layer in enumerate(ref.layers):
                if layer.material is not None and layer.material not in catalogue.materials:
                    yield _unknown("material", layer.material, catalogue.materials, (*loc, "layers", i, "material"))
            if ref.studs is not None and ref.studs.material not in catalogue.materials:
                yield _unknown("material", ref.studs.material, catalogue.materials, (*loc, "studs", "material"))
        elif ref != "none" and ref not in catalogue.constructions:
            yield _unknown("construction", ref, [*catalogue.constructions, "none"], loc)

    def _unknown(kind: str, name: str, known: Any, loc: tuple[str | int, ...]) -> Problem:
        return Problem(
            f"unknown-{kind}", f'unknown {kind} "{name}"', scene.position(*loc), did_you_mean(name, sorted(known))
        )

    for i, room in enumerate(scene.rooms):
        for k, ref in enumerate(room.walls if isinstance(room.walls, list) else [room.walls]):
            at = ("rooms", i, "walls", k) if isinstance(room.walls, list) else ("rooms", i, "walls")
            yield from construction(ref, *at)
        yield from construction(room.ceiling, "rooms", i, "ceiling")
        yield from construction(room.floor_construction, "rooms", i, "floor_construction")
    for kind in ("partitions", "sheets", "stairs"):
        for i, item in enumerate(getattr(scene, kind)):
            yield from construction(item.construction, kind, i, "construction")
    for kind in ("rooms", "partitions"):
        for i, item in enumerate(getattr(scene, kind)):
            for k, opening in enumerate(item.openings):
                yield from construction(opening.fill, kind, i, "openings", k, "fill")
    for ref, loc in fitout_references(scene):
        yield from construction(ref, *loc)
    for i, solid in enumerate(scene.solids):
        if solid.material not in catalogue.solids:
            yield _unknown("material", solid.material, catalogue.solids, ("solids", i, "material"))
    for i, row in enumerate(scene.fixtures):
        if row.material not in catalogue.solids:
            yield _unknown("material", row.material, catalogue.solids, ("fixtures", i, "material"))
    for i, rack in enumerate(scene.racking):
        if rack.goods_material not in catalogue.solids:
            yield _unknown("material", rack.goods_material, catalogue.solids, ("racking", i, "goods_material"))
        yield from construction(rack.shelf, "racking", i, "shelf")
    for i, mesh in enumerate(scene.meshes):
        for where, made in mesh.said:
            if made.construction is not None:
                yield from construction(made.construction, "meshes", i, *where, "construction")
            if made.material is not None and made.material not in catalogue.solids:
                yield _unknown("material", made.material, catalogue.solids, ("meshes", i, *where, "material"))
    for i, detector in enumerate(scene.detectors):
        if detector.model is not None and detector.model not in catalogue.detectors:
            yield _unknown("model", detector.model, catalogue.detectors, ("detectors", i, "model"))


def _rooms_named(scene: Scene, _: Catalogue) -> Iterator[Problem]:
    """Things that say which room they stand in."""
    known = [room.name for room in scene.rooms]
    for kind in _LISTS:
        for index, item in enumerate(getattr(scene, kind)):
            if (room := getattr(item, "room", None)) is not None and room not in known:
                yield Problem(
                    "unknown-room",
                    f'unknown room "{room}"',
                    scene.position(kind, index, "room"),
                    did_you_mean(room, sorted(known)),
                )


def _places(scene: Scene, _: Catalogue) -> Iterator[Problem]:
    """Detectors stand in a room and below its ceiling, where there are rooms at all."""
    if not scene.rooms:
        return
    shapes = [shapely.Polygon(room.outline) for room in scene.rooms]
    if not all(shape.is_valid for shape in shapes):
        return
    named = {room.name for room in scene.rooms}
    for index, detector in enumerate(scene.detectors):
        if detector.room is not None and detector.room not in named:
            continue  # said elsewhere
        point = shapely.Point(detector.at)
        holding = [
            room
            for room, shape in zip(scene.rooms, shapes, strict=True)
            if detector.room in (None, room.name) and shape.distance(point) < 1e-6
        ]
        if not holding:
            yield Problem(
                "detector-outside",
                f'detector "{detector.name}" at ({detector.at[0]:g}, {detector.at[1]:g}) stands outside every room',
                scene.position("detectors", index, "at"),
                "move it into a room, or give the place a room (its walls may be none)",
            )
        elif all(detector.mounting > clear_height(room, *detector.at) + 1e-6 for room in holding):
            there = " there" if holding[0].roof is not None else ""
            yield Problem(
                "detector-above-ceiling",
                f'detector "{detector.name}" is mounted at {detector.mounting:g} m in "{holding[0].name}", '
                f"which is {clear_height(holding[0], *detector.at):.4g} m high{there}",
                scene.position("detectors", index, "mounting"),
                "mount it at or below the ceiling; mounting counts from the floor of its room",
            )


def _twins(scene: Scene, _: Catalogue) -> Iterator[Problem]:
    """A detector where another hangs already, turned alike: a line copied and not moved. Back to back is no slip."""
    first: dict[tuple[float | str | None, ...], str] = {}
    for index, detector in enumerate(scene.detectors):
        numbers = (*detector.at, detector.mounting, detector.turn_deg, detector.tilt_deg)
        place = (*(round(v, 3) for v in numbers), detector.room)
        other = first.setdefault(place, detector.name)
        if other != detector.name:
            yield Problem(
                "same-place",
                f'detector "{detector.name}" hangs at the very place of "{other}"',
                scene.position("detectors", index, "at"),
                "move one of the two, or take it out",
                severity="warning",
            )


def _planes(scene: Scene, _: Catalogue) -> Iterator[Problem]:
    cells = 0.0
    bounds = np.array([b for room in scene.rooms for b in room.outline]) if scene.rooms else np.zeros((0, 2))
    for index, plane in enumerate(scene.planes):
        if plane.extent is not None:
            span = np.array([plane.extent[2] - plane.extent[0], plane.extent[3] - plane.extent[1]])
        elif len(bounds):
            span = bounds.max(axis=0) - bounds.min(axis=0)
        else:
            continue
        cells += float(np.prod(np.ceil(span / scene.grid))) * len(plane.target_heights)
        tallest = max((room.height for room in scene.rooms), default=np.inf)
        if plane.extent is None and min(plane.target_heights) > tallest:
            yield Problem(
                "plane-above-ceiling",
                f'plane "{plane.name}" lies above every ceiling',
                scene.position("planes", index, "height" if plane.height is not None else "heights"),
                "heights count from the floor of each room",
            )
        if plane.extent is None and min(plane.target_heights) < 0:
            yield Problem(
                "plane-below-floor",
                f'plane "{plane.name}" lies below the floor',
                scene.position("planes", index, "height" if plane.height is not None else "heights"),
                "heights count from the floor of each room: the floor itself is 0",
            )
    if cells > MOST_CELLS:
        coarser = np.ceil(scene.grid * np.sqrt(cells / MOST_CELLS) * 1010) / 1000
        yield Problem(
            "too-many-cells",
            f"a grid of {scene.grid:g} m needs {cells / 1e6:.0f} million cells, "
            f"{MOST_CELLS // 10**6} million are the most",
            scene.position("grid"),
            f"make grid at least {coarser:g} m, or map a smaller extent",
        )


def _weather(scene: Scene, catalogue: Catalogue) -> Iterator[Problem]:
    patterns = [d.pattern or catalogue.detectors.get(d.model or "") for d in scene.detectors]
    if not any(p is not None and p.kind != "microwave" for p in patterns):
        return
    general: tuple[str | int, ...] = ("conditions", "ambient_c")
    airs = [(scene.conditions.ambient_c, "", general)]
    airs += [
        (room.ambient_c, room.name, ("rooms", index, "ambient_c"))
        for index, room in enumerate(scene.rooms)
        if room.ambient_c is not None and room.ambient_c != scene.conditions.ambient_c
    ]
    for ambient_c, room_name, where in airs:
        odd = odd_air(ambient_c, scene.position(*where), room_name)
        if odd is not None:
            yield odd


def _stairs(scene: Scene, _: Catalogue) -> Iterator[Problem]:
    """Steps outside the limits of a well-known guidance: a warning that names it and defers to local rules.

    Approved Document K, table 1.1: general access rise 150–170, going 250–400 mm; private 150–220 / 220–300;
    twice the rise plus the going 550–700 mm; landings at least 1200 mm deep where for general access.
    """
    for index, stairs in enumerate(scene.stairs):
        rise, going = stairs.rise / stairs.riser_count * 1000, stairs.going * 1000
        limits = {"general": ((150, 170), (250, 400)), "private": ((150, 220), (220, 300))}[stairs.use]
        found = [
            (key, f"a {word} of {value:.0f} mm is outside {low} to {high} mm")
            for key, word, value, (low, high) in (
                ("risers" if stairs.risers is not None else "rise", "rise", rise, limits[0]),
                ("going", "going", going, limits[1]),
            )
            if not low - 0.5 <= value <= high + 0.5
        ]
        if not 549.5 <= 2 * rise + going <= 700.5:
            found.append(("going", f"twice the rise plus the going is {2 * rise + going:.0f} mm, not 550 to 700 mm"))
        if stairs.use == "general" and stairs.kind != "straight" and stairs.landing_depth < 1.2 - 1e-6:
            found.append(("landing", f"a landing {stairs.landing_depth * 1000:.0f} mm deep is short of 1200 mm"))
        for key, message in found:
            yield Problem(
                "stair-limits",
                f'stair "{stairs.name}": {message} (Approved Document K, {stairs.use} stairs)',
                scene.position("stairs", index, key if key in stairs.model_fields_set else "rise"),
                "check against the rules that apply locally: they decide, not this tool",
                severity="warning",
            )


_CHECKS: tuple[Callable[[Scene, Any], Iterator[Problem]], ...] = (
    _names,
    _outlines,
    _sizes,
    _walls,
    check_racking,
    _references,
    _rooms_named,
    _places,
    _twins,
    _planes,
    _stairs,
    _weather,
    check_needs,
    check_zone_floors,
    check_nuisances,
    check_placing,
    *FITOUT_CHECKS,
    check_wiring,
    check_views,
    check_corrections,
)
