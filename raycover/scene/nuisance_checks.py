"""Nuisances against the rest of the scene: doors they open, rooms and heights they stand at."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

import shapely

from raycover.errors import Problem, did_you_mean
from raycover.scene.nuisances import IN_WALL_M, Nuisance
from raycover.scene.parts import Room
from raycover.scene.roofs import clear_height
from raycover.scene.schema import Scene
from raycover.scene.stating import targets

if TYPE_CHECKING:
    from raycover.catalogue import Catalogue

#: Kinds that belong outside as well as in.
_OUTSIDE = ("vehicle", "doorway")
_ROUNDING = 1e-6


def _in_walls_of(
    nuisance: Nuisance, scene: Scene, shapes: Sequence[shapely.Polygon], point: shapely.Point
) -> list[Room]:
    """The rooms in whose walls something `behind` them is, though a little outside of their outlines."""
    if nuisance.behind is None:
        return []
    return [
        room
        for room, shape in zip(scene.rooms, shapes, strict=True)
        if nuisance.room in (None, room.name) and shape.distance(point) <= IN_WALL_M
    ]


def check_nuisances(scene: Scene, _: Catalogue) -> Iterator[Problem]:
    """Errors for doors that are none; warnings for what can trip nothing where it stands."""
    if not scene.nuisances:
        return
    openings = [t.name for t in targets(scene) if t.kind == "openings"]
    shapes = [shapely.Polygon(room.outline) for room in scene.rooms]
    sound = bool(shapes) and all(shape.is_valid for shape in shapes)
    for index, nuisance in enumerate(scene.nuisances):
        for k, name in enumerate(nuisance.opens):
            if name not in openings:
                yield Problem(
                    "unknown-door",
                    f'"{nuisance.name}" opens "{name}", which is no opening',
                    scene.position("nuisances", index, "opens", k),
                    did_you_mean(name, openings) or 'give the opening a name, or write "Room/opening 0"',
                )
        if nuisance.through is not None and nuisance.through not in openings:
            yield Problem(
                "unknown-opening",
                f'the sun of "{nuisance.name}" shines through "{nuisance.through}", which is no opening',
                scene.position("nuisances", index, "through"),
                did_you_mean(nuisance.through, openings) or 'give the opening a name, or write "Room/opening 0"',
            )
        names = [detector.name for detector in scene.detectors]
        for k, name in enumerate(nuisance.detectors or ()):
            if name not in names:
                yield Problem(
                    "unknown-detector",
                    f'"{nuisance.name}" names detector "{name}", which is none',
                    scene.position("nuisances", index, "detectors", k),
                    did_you_mean(name, names),
                )
        if nuisance.echo_m2 is None and not nuisance.is_hot and not nuisance.default.person:
            yield Problem(
                "no-nuisance",
                f'"{nuisance.name}" neither moves nor is warmer or colder than the air: it can trip nothing',
                scene.position("nuisances", index, "name"),
                "give cross_section_m2 for what moves, surface_c for what is hot",
                severity="warning",
            )
        if not sound or nuisance.at is None:
            continue
        point = shapely.Point(nuisance.at)
        holding = [
            room
            for room, shape in zip(scene.rooms, shapes, strict=True)
            if nuisance.room in (None, room.name) and shape.distance(point) < _ROUNDING
        ]
        beside = [] if holding else _in_walls_of(nuisance, scene, shapes, point)
        where = ", ".join(f"{v:g}" for v in nuisance.at)
        if beside:
            if nuisance.room is None and all(abs(room.floor) > _ROUNDING for room in beside):
                yield Problem(
                    "nuisance-floor",
                    f'"{nuisance.name}" is inside a wall of "{beside[0].name}", beside its outline: its height counts '
                    f"from z = 0, the room's floor is at {beside[0].floor:g} m",
                    scene.position("nuisances", index, "at"),
                    f"write room: {beside[0].name}, and it counts from that floor",
                    severity="warning",
                )
        elif not holding and (nuisance.kind not in _OUTSIDE or nuisance.room is not None):
            known = nuisance.room is None or nuisance.room in {room.name for room in scene.rooms}
            if known:
                yield Problem(
                    "nuisance-outside",
                    f'"{nuisance.name}" at ({where}) stands outside ' + (nuisance.room or "every room"),
                    scene.position("nuisances", index, "at"),
                    "its height then counts from z = 0; move it if that is a slip",
                    severity="warning",
                )
        elif holding and all(
            nuisance.middle - nuisance.extent[2] / 2 > clear_height(room, *nuisance.at) + _ROUNDING for room in holding
        ):
            yield Problem(
                "nuisance-above-ceiling",
                f'"{nuisance.name}" stands {nuisance.middle:g} m above the floor of "{holding[0].name}", '
                f"which is {clear_height(holding[0], *nuisance.at):.4g} m high there",
                scene.position("nuisances", index, "height" if nuisance.height is not None else "name"),
                "height counts from the floor to the middle of the thing",
                severity="warning",
            )
