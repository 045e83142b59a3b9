"""A door that swings shut: the scene at each angle of its leaf, solved, as the frames of a film ask for it.

A cubicle's door stands ajar as its row can say. Of any other door a scene knows open, a plain gap, and closed; between
the two its leaf is one more sheet of what fills the opening, hung at the opening's first side and swung into the room
that it belongs to. The first moment and the last are those of the scene's own two states, so films and maps agree.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.building.build import build
from raycover.building.parts import Building, OpeningMark
from raycover.errors import did_you_mean, option_error
from raycover.proving.sites import cubicle_outlines
from raycover.rays.ray_scene import RayScene
from raycover.scene.fittings import Ajar, Cubicles, DoorState
from raycover.scene.parts import SheetSpec
from raycover.scene.schema import Scene
from raycover.scene.stating import targets, with_openings
from raycover.solving.coverage import Coverage, solve

Floats = NDArray[np.floating[Any]]
Loc = tuple[str | int, ...]
#: Angles (degrees) that a leaf goes through, open to shut.
ANGLES = (90.0, 80.0, 70.0, 60.0, 50.0, 40.0, 30.0, 21.0, 13.0, 6.0, 0.0)
_OPEN_DEG = 90.0


@dataclass(frozen=True)
class Door:
    """A door by the name that states give it: in a row of cubicles by its number from 0, else an opening by its place.

    `inside` (2,) is the middle of the cubicle behind it, None for other doors.
    """

    name: str
    loc: Loc
    number: int | None = None
    inside: tuple[float, float] | None = None


@dataclass(frozen=True)
class Moment:
    """A scene with its door at an angle (degrees from closed), and everything made of it."""

    open_deg: float
    scene: Scene
    building: Building
    rays: RayScene
    coverage: Coverage


def doors_of(scene: Scene) -> list[Door]:
    """Every door that can be filmed, those of cubicles first, since what they close on is what is asked about."""
    found = []
    for index, row in enumerate(scene.cubicles):
        for number, corners in enumerate(cubicle_outlines(row)):
            x, y = (float(v) for v in corners.mean(axis=0))
            side, k = divmod(number, len(row.sizes))
            name = f"{row.name}/{'rear ' if side else ''}door {k + 1}"
            found.append(Door(name, ("cubicles", index), number, (x, y)))
    names: dict[Loc, str] = {}
    for target in targets(scene):
        opening = target.item
        if target.kind == "openings" and target.loc[2] == "openings" and opening.sill == 0 and opening.fill != "none":
            names[target.loc] = target.name  # a name of its own comes last, and wins
    return found + [Door(name, loc) for loc, name in names.items()]


def door_named(scene: Scene, name: str | None) -> Door | None:
    """The door of a name; without one the first cubicle's, None where there is none.

    Raises InputError for a name that no door has.
    """
    doors = doors_of(scene)
    if name is None:
        return next((door for door in doors if door.number is not None), None)
    for door in doors:
        if door.name == name:
            return door
    known = [door.name for door in doors]
    hint = did_you_mean(name, known) if known else "the scene has no door: give an opening a fill, or a row of cubicles"
    raise option_error("--door", f'no door is named "{name}"', hint)


def plane_for(scene: Scene) -> str:
    """The plane to film a door over: the first that asks for people who hardly move, else the first."""
    return next((spec.name for spec in scene.planes if spec.motion == "presence"), scene.planes[0].name)


def swings(
    scene: Scene, door: Door, plane: str, *, angles: Sequence[float] = ANGLES, threads: int | None = None
) -> Iterator[Moment]:
    """The scene at each angle, one plane of it solved."""
    shown = scene.model_copy(update={"planes": [spec for spec in scene.planes if spec.name == plane]})
    marks = {mark.loc: mark for mark in build(scene).openings}
    for angle in angles:
        at = _at(shown, door, angle, marks)
        building = build(at)
        rays = RayScene(building)
        yield Moment(angle, at, building, rays, solve(at, building=building, rays=rays, threads=threads))


def _at(scene: Scene, door: Door, angle: float, marks: dict[Any, OpeningMark]) -> Scene:
    """The scene with a door at an angle."""
    if door.number is not None:
        index = int(door.loc[1])
        rows = list(scene.cubicles)
        rows[index] = _ajar(rows[index], door.number, angle)
        return scene.changed({"cubicles": rows}, scene.state, lambda places: places)
    stands = with_openings(scene, {door.loc: "closed" if angle <= 0 else "open"})
    if angle <= 0 or angle >= _OPEN_DEG:
        return stands
    sheets = [*stands.sheets, _leaf(scene, door, angle, marks[door.loc])]
    return stands.changed({"sheets": sheets}, scene.state, lambda places: places)


def _ajar(row: Cubicles, number: int, angle: float) -> Cubicles:
    states: list[DoorState] = list(row.doors) if isinstance(row.doors, list) else [row.doors] * row.n_doors
    states[number] = "closed" if angle <= 0 else "open" if angle == _OPEN_DEG else Ajar(ajar_deg=angle)
    return row.model_copy(update={"doors": states})


def _leaf(scene: Scene, door: Door, angle: float, mark: OpeningMark) -> SheetSpec:
    """The leaf as a sheet of the scene, about the upright at the opening's start."""
    kind, index, _, number = door.loc
    owner = getattr(scene, str(kind))[int(index)]
    start, end = np.array(mark.start, float), np.array(mark.end, float)
    along = end - start
    left = np.array([-along[1], along[0]])
    if kind == "rooms" and not _inside(owner.outline, (start + end) / 2 + 0.1 * left / np.linalg.norm(left)):
        left = -left
    swing = np.radians(angle)
    tip = start + np.cos(swing) * along + np.sin(swing) * left
    corners = [(*start, mark.sill), (*tip, mark.sill), (*tip, mark.top), (*start, mark.top)]
    placed = [tuple(float(v) for v in corner) for corner in corners]
    name, fill = f"leaf of {door.name}".replace("/", ", "), owner.openings[int(number)].fill
    return SheetSpec(name=name, corners=placed, construction=fill)


def _inside(outline: Sequence[tuple[float, float]], point: Floats) -> bool:
    return bool(shapely.Polygon(outline).contains(shapely.Point(point)))
