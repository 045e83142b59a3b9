"""Checks of needs across the scene: names that nothing has, areas that cross themselves or lie nowhere."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from shapely.validation import explain_validity

from raycover.errors import Position, Problem, did_you_mean
from raycover.physics.infrared import COLD_BELOW_C, WARM_FROM_C, clo_worn
from raycover.scene.air import degrees
from raycover.scene.needs import NeedSpec, named
from raycover.scene.schema import Scene

if TYPE_CHECKING:
    from raycover.catalogue import Catalogue

#: An area farther (m) than this from every room, plane and detector is a slip of coordinates.
FARTHEST_M = 60.0
_LISTS = ("rooms", "cubicles", "stairs", "desks", "tables")
#: `R1/R2`, `R1/wall 2`, or as walks name it, `Aisle R1 to R2`.
AISLE = re.compile(r"(?P<one>[^/]+)/(?:wall \d+|(?P<two>[^/]+?))(?: \(\d+\))?$|Aisle (?P<from>.+) to (?P<to>.+)$")


def check_needs(scene: Scene, _: Catalogue) -> Iterator[Problem]:
    """Once, on the scene as drawn: a state may take away what another state's need is about."""
    if scene.state != scene.state_name:
        return
    seen: dict[str, int] = {}
    said: set[tuple[str, str, Position]] = set()
    for problem in _problems(scene, seen):
        if (key := (problem.code, problem.message, problem.position)) not in said:  # needs of one set say the same
            said.add(key)
            yield problem


def _problems(scene: Scene, seen: dict[str, int]) -> Iterator[Problem]:
    for index, need in enumerate(scene.needs):
        if need.name in seen:
            yield Problem(
                "same-name",
                f'the name "{need.name}" is used twice among the needs (first on line {seen[need.name]})',
                scene.position("needs", index, "name"),
                "rename one of the two",
            )
        seen.setdefault(need.name, scene.position("needs", index, "name").line)
        yield from _unknown_names(scene, index, need)
        yield from _area(scene, index, need)
        yield from _seats(scene, index, need)
        yield from _aisles(scene, index, need)
        yield from _zones(scene, index, need)
        yield from _units(scene, index, need)


def _unknown_names(scene: Scene, index: int, need: NeedSpec) -> Iterator[Problem]:
    for kind in (*_LISTS, "seats", "within", "doors_of", "routes", "detectors"):
        source = "rooms" if kind in ("seats", "within", "doors_of") else kind
        known = [item.name for item in getattr(scene, source)]
        if getattr(need, kind) == "all" and not known and kind != "routes" and (need.set is None or source == "rooms"):
            what = {"cubicles": "rows of cubicles", "desks": "rows of desks"}.get(source, source)
            yield Problem(f"no-{source}", f'need "{need.name}": the scene has no {what}',
                          scene.position("needs", index, kind), "take the need out, or draw some")  # fmt: skip
        for k, name in enumerate(named(getattr(need, kind), [])):
            if name not in known:
                yield _unknown(scene, source, name, known, ("needs", index, kind, k))
            elif (getattr(need, kind) or []).index(name) < k:
                yield Problem("same-name", f'"{name}" stands twice in one need',
                              scene.position("needs", index, kind, k), "take one out")  # fmt: skip
    singles = {
        "plane": [plane.name for plane in scene.planes],
        "room": [room.name for room in scene.rooms],
        "state": list(scene.state_names),
        "storey": [storey.name for storey in scene.storeys],
    }
    for key, known in singles.items():
        name = getattr(need, key)
        if name is not None and name not in known:
            yield _unknown(scene, f"{key}s", name, known, ("needs", index, key))


def _unknown(scene: Scene, kind: str, name: str, known: Sequence[str], loc: tuple[str | int, ...]) -> Problem:
    what = {"cubicles": "row of cubicles", "stairs": "stair", "desks": "row of desks"}.get(kind, kind[:-1])
    help_ = did_you_mean(name, sorted(known)) or f"the scene has no {kind}"
    if kind == "storeys" and not known:
        help_ = "the scene names no storeys: list them, or say which room"
    code = {"cubicles": "cubicles", "desks": "desks", "stairs": "stairs"}.get(kind, kind[:-1])
    return Problem(f"unknown-{code}", f'unknown {what} "{name}"', scene.position(*loc), help_)


def outline_problem(points: Sequence[Any], name: str, where: Position) -> Problem | None:
    """What is wrong with the outline of an area, by itself."""
    polygon = shapely.Polygon(np.asarray(points, float))
    if polygon.convex_hull.area < 1e-6:
        return Problem("empty-area", f'the area of "{name}" is empty', where, "give three corners or more, not in line")
    if not polygon.is_valid:
        crossing = re.search(r"Self-intersection\[(\S+) (\S+)\]", explain_validity(polygon))
        at = f" at ({crossing[1]}, {crossing[2]})" if crossing else ""
        return Problem(
            "crossing-area",
            f'the outline of "{name}" crosses or touches itself{at}',
            where,
            "give the corners in order around the area, each once",
        )
    return None


def _area(scene: Scene, index: int, need: NeedSpec) -> Iterator[Problem]:
    if need.area is None:
        return
    where = scene.position("needs", index, "area")
    if (wrong := outline_problem(need.area, need.name, where)) is not None:
        yield wrong
        return
    polygon = shapely.Polygon(np.asarray(need.area, float))
    rooms, outlines = _rooms(scene)
    inside = [room for room, outline in zip(rooms, outlines, strict=True) if polygon.intersection(outline).area > 1e-6]
    extents = [shapely.box(*plane.extent) for plane in scene.planes if plane.extent is not None]
    if not inside and len(rooms) < len(scene.rooms):
        return  # it may lie in a room whose outline is wrong, which is said elsewhere
    if not need.never and not inside and not any(polygon.intersection(box).area > 1e-6 for box in extents):
        yield Problem(
            "area-outside",
            f'the area of "{need.name}" lies outside every room and extent',
            where,
            "move it into a room; only areas with never: true may lie outside",
        )
        return
    homes = [*outlines, *extents, *(shapely.Point(unit.at) for unit in scene.detectors)]
    away = min((float(polygon.distance(home)) for home in homes), default=0.0)
    if away > FARTHEST_M:
        yield Problem(
            "area-outside",
            f'the area of "{need.name}" lies {away:.0f} m from every room and detector',
            where,
            "check its coordinates: lengths are metres",
        )
    yield from _ground(scene, index, need, inside, polygon)


def _ground(scene: Scene, index: int, need: NeedSpec, inside: list[Any], polygon: Any) -> Iterator[Problem]:
    """Which of rooms one above another, and that a room named is one that the area lies in."""
    if need.room is not None and need.room in [room.name for room in scene.rooms] and need.room not in [
        room.name for room in inside
    ]:  # fmt: skip
        yield Problem(
            "area-outside",
            f'the area of "{need.name}" lies outside its room "{need.room}"',
            scene.position("needs", index, "room"),
            did_you_mean(need.room, sorted(room.name for room in inside)) if inside else "take room out",
        )
    if need.room is not None or need.storey is not None or need.floor is not None:
        return
    for k, one in enumerate(inside):
        for other in inside[:k]:
            shared = shapely.Polygon(one.outline).intersection(shapely.Polygon(other.outline)).intersection(polygon)
            if one.floor != other.floor and shared.area > 1e-4:
                yield Problem(
                    "which-room",
                    f'the area of "{need.name}" lies where rooms lie one above another: "{other.name}", "{one.name}"',
                    scene.position("needs", index, "area"),
                    "say which: room: NAME or storey: NAME",
                )
                return


def _rooms(scene: Scene) -> tuple[list[Any], list[Any]]:
    pairs = [(room, shapely.Polygon(room.outline)) for room in scene.rooms]
    sound = [(room, outline) for room, outline in pairs if outline.is_valid]
    return [room for room, _ in sound], [outline for _, outline in sound]


def _seats(scene: Scene, index: int, need: NeedSpec) -> Iterator[Problem]:
    for kind, has in (("desks", lambda item: item.seat), ("tables", lambda item: item.seats > 0)):
        known = {item.name: item for item in getattr(scene, kind)}
        if getattr(need, kind) == "all" and known and not any(has(item) for item in known.values()):
            yield Problem("no-seats", f"none of the {kind} has seats to judge", scene.position("needs", index, kind),
                          "write seat: true at the desks" if kind == "desks" else "give a table seats: 8, say",
            )  # fmt: skip
        for k, name in enumerate(named(getattr(need, kind), [])):
            if name in known and not has(known[name]):
                yield Problem(
                    "no-seats",
                    f'"{name}" has no seats to judge',
                    scene.position("needs", index, kind, k),
                    "write seat: true at the desks" if kind == "desks" else "give the table seats: 8, say",
                )


def _aisles(scene: Scene, index: int, need: NeedSpec) -> Iterator[Problem]:
    """Racks that a need's aisles name; whether they face each other the building knows."""
    racks = [rack.name for rack in scene.racking]
    key = "aisles" if need.aisles is not None else "beyond_aisles"
    given = getattr(need, key)
    if given is not None and not racks:
        yield Problem("no-aisles", f'need "{need.name}": the scene has no racking, so no aisles',
                      scene.position("needs", index, key), "name its rooms or an area instead")  # fmt: skip
        return
    for k, name in enumerate(named(given, [])):
        where = scene.position("needs", index, key, k)
        if named(given, []).index(name) < k:
            yield Problem("same-name", f'"{name}" stands twice in one need', where, "take one out")
        parts = AISLE.match(name)
        if parts is None:
            yield Problem("unknown-aisle", f'"{name}" names no aisle', where,
                          "an aisle is RACK/RACK, such as R1/R2, or RACK/wall N beside a wall")  # fmt: skip
            continue
        for rack in (parts["one"] or parts["from"], parts["two"] or parts["to"]):
            if rack is not None and rack not in racks:
                yield Problem("unknown-rack", f'aisle "{name}": unknown rack "{rack}"', where,
                              did_you_mean(rack, sorted(racks)))  # fmt: skip


def _zones(scene: Scene, index: int, need: NeedSpec) -> Iterator[Problem]:
    """Zones that are there, and say which floor they light."""
    if need.zones is None:
        return
    floors = {zone.name: zone.area is not None or zone.rooms is not None for zone in scene.zones}
    where, help_ = scene.position("needs", index, "zones"), "give it rooms: [NAME] or area: [[x, y], …]"
    if need.zones == "all" and not any(floors.values()):
        what = "none of the zones says its floor" if floors else "the scene has no zones"
        yield Problem("no-zones", f'need "{need.name}": {what}', where,
                      help_ if floors else "list them under zones, each with rooms or an area")  # fmt: skip
    for k, name in enumerate(named(need.zones, [])):
        where = scene.position("needs", index, "zones", k)
        if name not in floors:
            yield _unknown(scene, "zones", name, list(floors), ("needs", index, "zones", k))
        elif not floors[name]:
            yield Problem("no-floor", f'zone "{name}" does not say its floor', where, help_)


def check_zone_floors(scene: Scene, _: Catalogue) -> Iterator[Problem]:
    """Floors of zones: outlines that cross, rooms that nothing has, areas that lie nowhere."""
    rooms, outlines = _rooms(scene)
    known = [room.name for room in scene.rooms]
    for index, zone in enumerate(scene.zones):
        for k, name in enumerate(zone.rooms or ()):
            if name not in known:
                where = scene.position("zones", index, "rooms", k)
                yield Problem("unknown-room", f'zone "{zone.name}": unknown room "{name}"', where,
                              did_you_mean(name, sorted(known)))  # fmt: skip
        if zone.area is None:
            continue
        where = scene.position("zones", index, "area")
        if (wrong := outline_problem(zone.area, zone.name, where)) is not None:
            yield wrong
            continue
        polygon = shapely.Polygon(np.asarray(zone.area, float))
        inside = [
            room for room, outline in zip(rooms, outlines, strict=True)
            if polygon.intersection(outline).area > 1e-6 and (zone.rooms is None or room.name in zone.rooms)
        ]  # fmt: skip
        if not inside:
            yield Problem("area-outside", f'the area of zone "{zone.name}" lies outside its rooms', where,
                          "move it into a room")  # fmt: skip
        elif zone.rooms is None and len({room.floor for room in inside}) > 1:
            yield Problem("which-room", f'the area of zone "{zone.name}" lies in rooms of several storeys', where,
                          "say which: rooms: [NAME]")  # fmt: skip


def _units(scene: Scene, index: int, need: NeedSpec) -> Iterator[Problem]:
    """More units asked for than there are; air in which infrared sees little."""
    known = [unit for unit in scene.detectors if need.detectors is None or unit.name in need.detectors]
    if need.by > max(len(known), 1):
        have = f"{len(known)} unit{'s' * (len(known) != 1)}"
        yield Problem("by-too-many", f'need "{need.name}" asks for {need.by} units at every spot, the scene has {have}',
                      scene.position("needs", index, "by"), "add detectors, or ask for fewer",
                      severity="warning")  # fmt: skip
    patterns = [unit.pattern or scene.catalogue.detectors.get(unit.model or "") for unit in known]
    infrared = any(pattern is not None and pattern.kind != "microwave" for pattern in patterns)
    if need.ambient_c is not None and infrared:
        odd = odd_air(need.ambient_c, scene.position("needs", index, "ambient_c"))
        yield from () if odd is None else (odd,)


def odd_air(ambient_c: float, position: Position, room: str = "") -> Problem | None:
    """The warning for air in which infrared does not do what its data sheet says, if it is such air.

    `room`: whose air it is, where it is that of one.
    """
    if COLD_BELOW_C <= ambient_c < WARM_FROM_C:
        return None
    odd = (_warm_air if ambient_c >= WARM_FROM_C else _cold_air)(ambient_c, position)
    return replace(odd, message=f'room "{room}": {odd.message}') if room else odd


def _cold_air(ambient_c: float, position: Position) -> Problem:
    """The warning for air in which people and units need something for the cold."""
    return Problem(
        "cold-air",
        f"at {degrees(ambient_c)} people are dressed for the cold: they count in clothing of "
        f"{clo_worn(ambient_c):.1f} clo",
        position,
        "see that the units' makers allow such air; frost on a lens or thick hoods take more away",
        severity="warning",
    )


def _warm_air(ambient_c: float, position: Position) -> Problem:
    """The warning for air that leaves infrared little contrast."""
    return Problem(
        "warm-air",
        f"at {ambient_c:g} °C people stand out little against their surroundings: "
        "infrared reach is much shorter than declared",
        position,
        "compare with microwave detectors, or plan for the hottest day",
        severity="warning",
    )
