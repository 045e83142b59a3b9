"""Rooms and partitions → faces: walls with their openings, ceilings, floor slabs, flat sheets."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import Literal

import numpy as np
import shapely

from raycover.building.faces import Face, Gathered, Hole, level_frame, oblong, upright_frame
from raycover.building.overhead import add_roof, add_suspended_ceiling, head_room, wall_under_roof
from raycover.building.parts import Floats, Frame, Loc, OpeningMark, RoomShape
from raycover.errors import Problem
from raycover.scene.opening_fit import misfit, openings_by_segment, segment_name
from raycover.scene.parts import DOOR_SILL_M, Opening, Partition, Room, SheetSpec
from raycover.scene.roofs import roof_form
from raycover.scene.schema import Scene


def room_shapes(scene: Scene) -> tuple[RoomShape, ...]:
    shapes = []
    for room in scene.rooms:
        holes = [shapely.Polygon(void.outline) for void in room.voids if void.through != "ceiling"]
        void = shapely.union_all(holes) if holes else None
        tiles = None if room.suspended_ceiling is None else room.suspended_ceiling.height
        outline = shapely.Polygon(room.outline)
        shapes.append(RoomShape(room.name, outline, room.floor, room.height, void, roof_form(room), tiles))
    return tuple(shapes)


def half_walls(scene: Scene, index: int) -> Floats:
    """Half the thickness (n,) in m of the wall along each edge of a room, 0 where there is none."""
    room = scene.rooms[index]
    refs = room.walls if isinstance(room.walls, list) else [room.walls] * len(room.outline)
    made = [scene.catalogue.construction(ref) for ref in refs]
    return np.array([0.0 if wall is None else wall.thickness_m / 2 for wall in made])


def add_room(scene: Scene, index: int, room: Room, into: Gathered) -> None:
    """Walls, ceiling or roof, and floor of one room."""
    form = roof_form(room)
    outline = np.asarray(room.outline, float)
    following = np.roll(outline, -1, axis=0)
    bottom, top = room.floor, room.floor + room.height
    refs = room.walls if isinstance(room.walls, list) else [room.walls] * len(outline)
    for edge, (start, end) in enumerate(zip(outline, following, strict=True)):
        loc: Loc = ("rooms", index, "walls", edge) if isinstance(room.walls, list) else ("rooms", index, "walls")
        construction = scene.catalogue.construction(refs[edge])
        length = float(np.linalg.norm(end - start))
        face = Face(
            f"{room.name}/wall {edge}",
            room.name,
            "wall",
            upright_frame(start, end),
            oblong(0, bottom, length, top) if form is None else wall_under_roof(form, start, end, bottom),
            construction,
            loc,
        )
        mine = [(k, o) for k, o in enumerate(room.openings) if o.edge == edge]
        if mine and construction is None:
            into.problems += [
                Problem(
                    "opening-in-nothing",
                    f'wall {edge} of "{room.name}" is none: there is nothing to open',
                    scene.position("rooms", index, "openings", k),
                    "give that wall a construction, or take the opening out",
                )
                for k, _ in mine
            ]
        else:
            placed = [(("rooms", index, "openings", k), _opening_name(room.name, k, o), o, o.at) for k, o in mine]
            for entry in placed:
                at, wide = entry[3], entry[2].width
                clear = top if form is None else bottom + head_room(form, start, end, at, at + wide)
                _cut(scene, face, [entry], length, (bottom, clear), room.floor, into)
        into.faces.append(face)
    add_suspended_ceiling(scene, index, room, into)
    if form is not None:
        add_roof(scene, index, room, into)
    for kind, ref, z in (("ceiling", room.ceiling, top), ("floor", room.floor_construction, bottom)):
        key = "ceiling" if kind == "ceiling" else "floor_construction"
        slab = Face(
            f"{room.name}/{kind}",
            room.name,
            "ceiling" if kind == "ceiling" else "floor",
            level_frame(z),
            shapely.Polygon(outline),
            scene.catalogue.construction(ref),
            ("rooms", index, key),
        )
        for k, void in enumerate(room.voids):
            if void.through in (kind, "both"):
                loc = ("rooms", index, "voids", k)
                polygon = shapely.Polygon(void.outline)
                slab.holes.append(Hole(polygon, f"{room.name}/void {k}", "sheet", None, loc))
        into.faces.append(slab)


def add_partition(
    scene: Scene, index: int, partition: Partition, floor_at: Callable[[float, float], float], into: Gathered
) -> None:
    """A partition's faces, one a segment of its line."""
    line = np.asarray(partition.line, float)
    lengths = np.linalg.norm(np.diff(line, axis=0), axis=1)
    middle = shapely.LineString(line).interpolate(0.5, normalized=True)
    floor = floor_at(middle.x, middle.y)
    bottom, top = floor + partition.base, floor + partition.base + partition.height
    construction = scene.catalogue.construction(partition.construction)
    loc: Loc = ("partitions", index, "construction")
    if construction is None:
        into.problems.append(
            Problem(
                "no-construction",
                f'partition "{partition.name}" is made of none',
                scene.position(*loc),
                "name a construction of the catalogue, or take the partition out",
            )
        )
        return
    by_segment: dict[int, list[tuple[Loc, str, Opening, float]]] = {}
    for k, segment, at in openings_by_segment(partition):
        opening = partition.openings[k]
        entry = (("partitions", index, "openings", k), _opening_name(partition.name, k, opening), opening, at)
        by_segment.setdefault(segment, []).append(entry)
    for segment, (start, end) in enumerate(pairwise(line)):
        length = float(lengths[segment])
        name = segment_name(partition, segment)
        face = Face(
            name,
            partition.name,
            "partition",
            upright_frame(start, end),
            oblong(0, bottom, length, top),
            construction,
            loc,
        )
        _cut(scene, face, by_segment.get(segment, []), length, (bottom, top), floor, into)
        into.faces.append(face)


def _opening_name(owner: str, k: int, opening: Opening) -> str:
    return f"{owner}/{opening.name if opening.name is not None else f'opening {k}'}"


def _cut(
    scene: Scene,
    face: Face,
    openings: Sequence[tuple[Loc, str, Opening, float]],
    length: float,
    heights: tuple[float, float],
    floor: float,
    into: Gathered,
) -> None:
    """Cut openings (loc, name, opening, distance from the face's start) into a face; report what doesn't fit."""
    bottom, top = heights
    for loc, name, opening, at in openings:
        low, high = floor + opening.sill, floor + opening.sill + opening.height
        wrong = misfit(scene, loc, opening, at, length, (bottom - floor, top - floor), face.name)
        if wrong is not None:
            into.problems.append(wrong)
            continue
        polygon = oblong(max(at, 0.0), max(low, bottom), min(at + opening.width, length), min(high, top))
        if any(hole.polygon.intersection(polygon).area > 1e-6 for hole in face.holes):
            into.problems.append(
                Problem(
                    "openings-overlap",
                    f'the opening overlaps another of "{face.name}"',
                    scene.position(*loc),
                    "move one of the two",
                )
            )
            continue
        fill = scene.catalogue.construction(opening.fill)
        kind: Literal["door", "window"] = "door" if opening.sill < DOOR_SILL_M else "window"
        face.holes.append(Hole(polygon, name, kind, fill if opening.state == "closed" else None, loc))
        ends = face.frame.to_space(np.array([[at, 0.0], [at + opening.width, 0.0]]))
        into.openings.append(
            OpeningMark(
                face.owner,
                "gap" if fill is None else kind,
                (float(ends[0, 0]), float(ends[0, 1])),
                (float(ends[1, 0]), float(ends[1, 1])),
                low,
                high,
                opening.state,
                fill,
                face.construction.thickness_m if face.construction is not None else 0.0,
                name,
                loc,
            )
        )


def add_sheet(scene: Scene, index: int, sheet: SheetSpec, into: Gathered) -> None:
    """A flat polygon given by its corners; reports corners that are not in one plane or cross."""
    corners = np.asarray(sheet.corners, float)
    construction = scene.catalogue.construction(sheet.construction)
    loc: Loc = ("sheets", index, "corners")
    if construction is None:
        into.problems.append(
            Problem(
                "no-construction",
                f'sheet "{sheet.name}" is made of none',
                scene.position("sheets", index, "construction"),
                "name a construction of the catalogue",
            )
        )
        return
    frame, off = _plane_of(corners)
    polygon = shapely.Polygon(frame.to_plane(corners))
    if off > 1e-3 or not polygon.is_valid or polygon.area < 1e-8:
        what = (
            f"its corners stand up to {off * 1000:.0f} mm off one plane"
            if off > 1e-3
            else "its outline crosses itself or has no area"
        )
        into.problems.append(
            Problem(
                "bad-sheet",
                f'sheet "{sheet.name}": {what}',
                scene.position(*loc),
                "give the corners in order around a flat polygon; split a bent one in two",
            )
        )
        return
    into.faces.append(
        Face(sheet.name, sheet.name, "sheet", frame, polygon, construction, ("sheets", index, "construction"))
    )


def _plane_of(corners: Floats) -> tuple[Frame, float]:
    """The best plane through points and the largest distance (m) off it."""
    middle = corners.mean(axis=0)
    _, _, axes = np.linalg.svd(corners - middle)
    off = float(np.abs((corners - middle) @ axes[2]).max())
    # Through a corner rather than the mean, so that coincident sheets get one and the same offset.
    return Frame(corners[0], axes[0], axes[1]), off
