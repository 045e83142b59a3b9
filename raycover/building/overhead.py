"""What lies over a room → faces: walls up to a sloped roof, its slopes with roof lights, suspended ceilings."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely

from raycover.building.faces import Face, Gathered, Hole, level_frame
from raycover.building.parts import Floats, Frame, Loc, RoofMark, RoomShape
from raycover.errors import Problem
from raycover.scene.overhead import RoofLight
from raycover.scene.parts import Room
from raycover.scene.roofs import RoofForm, roof_form
from raycover.scene.schema import Scene


def wall_under_roof(form: RoofForm, start: Floats, end: Floats, floor: float) -> Any:
    """The wall from `start` to `end` (2,) up to the roof, over (distance along it, height): a gable where it slopes."""
    length = float(np.linalg.norm(end - start))
    shares = [0.0, 1.0]
    a, b = form.place(np.stack([start, end]))
    if form.pitched and (a - form.ridge) * (b - form.ridge) < 0:
        shares.insert(1, float((form.ridge - a) / (b - a)))
    tops = floor + form.clear(start + np.array(shares)[:, None] * (end - start))
    upper = [(share * length, float(top)) for share, top in zip(shares, tops, strict=True)]
    return shapely.Polygon([(0.0, floor), (length, floor), *upper[::-1]])


def head_room(form: RoofForm, start: Floats, end: Floats, first: float, last: float) -> float:
    """The least height (m) above the floor of the roof over a stretch of wall."""
    along = (end - start) / np.linalg.norm(end - start)
    return form.lowest_over(np.stack([start + along * first, start + along * last]))


def add_roof(scene: Scene, index: int, room: Room, into: Gathered) -> None:
    """The slopes over a room's outline, each one sheet with its roof lights cut in."""
    form, roof = roof_form(room), room.roof
    assert form is not None
    assert roof is not None
    outline = shapely.Polygon(room.outline)
    loc: Loc = ("rooms", index, "roof", "construction")
    construction = scene.catalogue.construction(roof.construction)
    faces: list[tuple[Face, bool]] = []
    for number, falling in enumerate((False, True) if form.pitched else (False,), 1):
        frame = slope_frame(form, room.floor, falling=falling)
        plan = outline.intersection(_side(form, outline, falling=falling)) if form.pitched else outline
        polygon = shapely.transform(plan, lambda p, f=frame: f.to_plane(_lifted(form, room.floor, p)))
        name = f"{room.name}/roof" if not form.pitched else f"{room.name}/roof {number}"
        faces.append((Face(name, room.name, "ceiling", frame, polygon, construction, loc), falling))
    outlines: list[Floats] = []
    for k, light in enumerate(roof.lights):
        outlines += _add_light(scene, (index, k), light, form, faces, into)
    into.faces += [face for face, _ in faces]
    into.roofs.append(RoofMark(room.name, _edges(form, room), _ridges(form, room, outline), tuple(outlines)))


def slope_frame(form: RoofForm, floor: float, *, falling: bool) -> Frame:
    """The plane of a slope: u along the eaves, v up the slope, both from the foot at place 0 along the eaves.

    `falling`: the second slope of a pitched roof, beyond the ridge.
    """
    across = np.array([*form.across, 0.0])
    up = np.array([*(across[:2] * (-1 if falling else 1)), form.rise])
    foot = form.high if falling else form.low
    origin = across * foot + np.array([0.0, 0.0, floor + form.eaves])
    return Frame(origin, np.array([*form.along, 0.0]), up / np.linalg.norm(up))


def _lifted(form: RoofForm, floor: float, points: Floats) -> Floats:
    """Points (n, 2) of the plan on the roof, (n, 3)."""
    return np.column_stack([points[:, :2], floor + form.clear(points[:, :2])])


def _side(form: RoofForm, outline: Any, *, falling: bool) -> Any:
    """The half of the plan before the ridge, or beyond it."""
    x0, y0, x1, y1 = outline.bounds
    reach = 2 * float(np.hypot(x1 - x0, y1 - y0)) + 1.0
    middle = np.array([(x0 + x1) / 2, (y0 + y1) / 2])
    across, along = np.array(form.across), np.array(form.along)
    foot = middle + across * (form.ridge - float(middle @ across))
    out = across * reach * (1 if falling else -1)
    side = along * reach
    return shapely.Polygon([foot - side, foot + side, foot + side + out, foot - side + out])


def _add_light(
    scene: Scene,
    where: tuple[int, int],
    light: RoofLight,
    form: RoofForm,
    faces: list[tuple[Face, bool]],
    into: Gathered,
) -> list[Floats]:
    """Cut a row of roof lights into the slope that holds it; their outlines (4, 3)."""
    index, k = where
    loc: Loc = ("rooms", index, "roof", "lights", k)
    fill = scene.catalogue.construction(light.fill)
    half_along, half_up = light.size[0] / 2, light.size[1] / 2
    first = np.array([light.centre])
    face, _ = next(
        ((f, falling) for f, falling in faces if falling == (form.pitched and form.place(first)[0] > form.ridge)),
        faces[0],
    )
    floor = scene.rooms[index].floor
    found = []
    for number in range(light.count):
        centre = first + np.array([form.along]) * (number * (light.pitch or 0.0))
        ((u, v),) = face.frame.to_plane(_lifted(form, floor, centre))
        polygon = shapely.box(u - half_along, v - half_up, u + half_along, v + half_up)
        name = f"{face.owner}/roof light {k}" + (f".{number + 1}" if light.count > 1 else "")
        trouble = ""
        if not face.polygon.buffer(1e-6).covers(polygon):
            trouble = "reaches beyond its slope"
        elif any(hole.polygon.intersection(polygon).area > 1e-6 for hole in face.holes):
            trouble = "overlaps another"
        if trouble:
            into.problems.append(
                Problem(
                    "roof-light-outside",
                    f'"{name}" {trouble}',
                    scene.position(*loc),
                    "move its centre or make size smaller: [along the eaves, up the slope]; "
                    f"a row runs towards ({form.along[0]:.3g}, {form.along[1]:.3g})",
                )
            )
            break
        state_fill = fill if light.state == "closed" else None
        face.holes.append(Hole(polygon, name, "window", state_fill, loc))
        found.append(face.frame.to_space(shapely.get_coordinates(polygon)[:-1]))
    return found


def _edges(form: RoofForm, room: Room) -> Floats:
    """Lines (n, 2, 3) along the upper edges of a room's walls: eaves and verges."""
    ring = np.asarray(room.outline, float)
    lines = []
    for start, end in zip(ring, np.roll(ring, -1, axis=0), strict=True):
        top = wall_under_roof(form, start, end, room.floor)
        along = (end - start) / np.linalg.norm(end - start)
        upper = np.array(top.exterior.coords)[2:-1]
        space = np.column_stack([start + upper[:, :1] * along, upper[:, 1]])
        lines += list(np.stack([space[:-1], space[1:]], axis=1))
    return np.array(lines)


def _ridges(form: RoofForm, room: Room, outline: Any) -> Floats:
    """Lines (n, 2, 3) of the ridge within the outline; one slope has none."""
    lines = []
    if form.pitched:
        across, along = np.array(form.across), np.array(form.along)
        places = np.asarray(room.outline, float) @ along
        ends = [across * form.ridge + along * p for p in (places.min() - 1, places.max() + 1)]
        met = shapely.intersection(shapely.LineString(ends), outline)
        for part in shapely.get_parts(met):
            if part.geom_type == "LineString" and part.length > 1e-6:
                lines.append(_lifted(form, room.floor, shapely.get_coordinates(part)[[0, -1]]))
    return np.array(lines).reshape(-1, 2, 3)


def add_suspended_ceiling(scene: Scene, index: int, room: Room, into: Gathered) -> None:
    """The tiles as one level sheet."""
    tiles = room.suspended_ceiling
    if tiles is None:
        return
    into.faces.append(
        Face(
            f"{room.name}/suspended ceiling",
            room.name,
            "ceiling",
            level_frame(room.floor + tiles.height),
            shapely.Polygon(room.outline),
            scene.catalogue.construction(tiles.construction),
            ("rooms", index, "suspended_ceiling", "construction"),
        )
    )


def lowest_above(room: RoomShape, corners: Floats) -> float:
    """Height (m, absolute) of what covers a room, where that is lowest over a convex piece of plan (n, 2)."""
    if room.form is None:
        return room.floor + room.height
    return room.floor + room.form.lowest_over(corners)
