"""Desks, tables and sanitary ware → faces, boxes and people's places.

Dimensions not given default to common practice (see the schema); nothing here is a product's.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import shapely

from raycover.building.faces import Face, Gathered, Placing, level_frame, oblong, upright_frame
from raycover.building.parts import Boxes, BoxKind, Loc, SeatMark
from raycover.scene.fittings import Desks, FixtureKind, Fixtures, Table
from raycover.scene.schema import Scene
from raycover.scene.seating import Place, desk_places, table_places

FloorAt = Callable[[float, float], float]
#: From the end of a desk to its side panel. From memory, common practice.
_LEG_INSET = 0.03
#: A screen stands this far (m) inside its desk's edge, clear of a wall that the desk is pushed against.
_SCREEN_INSET = 0.02
#: A round top is drawn and cast with so many sides, its area that of the circle.
_ROUND_SIDES = 32
#: A mirror hangs this far (m) before its wall.
_MIRROR_CLEAR = 0.01
#: Height of the underside and size [along the wall, into the room, up] (m). From memory, common practice; a WC is its
#: pan, and a cistern behind it 0.18 m deep and as wide, up to 0.8 m.
FIXTURES: dict[FixtureKind, tuple[float, tuple[float, float, float]]] = {
    "wc": (0.0, (0.36, 0.70, 0.40)),
    "urinal": (0.45, (0.36, 0.35, 0.65)),
    "basin": (0.68, (0.55, 0.45, 0.17)),
    "mirror": (1.0, (0.6, _MIRROR_CLEAR, 0.9)),
}
_CISTERN_DEPTH, _CISTERN_TOP = 0.18, 0.8
_BETWEEN = 0.3


def add_desks(scene: Scene, index: int, row: Desks, floor_at: FloorAt, into: Gathered) -> None:
    """Tops, side panels and screens of a row of desks, and the places of those who work there."""
    placing = Placing(row.at, row.turn_deg)
    pitch = row.size[0] + row.gap
    length = row.count * pitch - row.gap
    bottom = floor_at(*placing.points(np.array([[length / 2, row.size[1] / 2]]))[0]) + row.base
    top = scene.catalogue.construction(row.top)
    loc: Loc = ("desks", index)
    for i in range(row.count):
        x0, x1 = i * pitch, i * pitch + row.size[0]
        corners = placing.points(np.array([[x0, 0], [x1, 0], [x1, row.size[1]], [x0, row.size[1]]]))
        name = f"{row.name}/desk {i + 1}" if row.count > 1 else f"{row.name}/top"
        frame = level_frame(bottom + row.height)
        into.faces.append(Face(name, row.name, "desk", frame, shapely.Polygon(corners), top, loc))
        # Legs stand in a little from the ends, as they do: a desk pushed against a wall touches it with its top.
        for side, x in (("left", x0 + _LEG_INSET), ("right", x1 - _LEG_INSET)):
            a, b = placing.points(np.array([[x, 0.0], [x, row.size[1]]]))
            into.faces.append(
                Face(
                    f"{name} {side}",
                    row.name,
                    "panel",
                    upright_frame(a, b),
                    oblong(0, bottom, float(np.linalg.norm(b - a)), bottom + row.height),
                    top,
                    loc,
                )
            )
        if row.screen is not None:
            _add_screens(scene, index, row, placing, i, bottom, into)
    _add_seats(row.name, placing, desk_places(row), bottom, into)


def _add_screens(scene: Scene, index: int, row: Desks, placing: Placing, i: int, bottom: float, into: Gathered) -> None:
    """The screens of one desk, from its top up. Neighbours pushed together share the one between them."""
    screen = row.screen
    assert screen is not None
    pitch = row.size[0] + row.gap
    x0, x1 = i * pitch, i * pitch + row.size[0]
    joined = row.gap == 0
    left = x0 if joined and i > 0 else x0 + _SCREEN_INSET
    right = x1 if joined and i < row.count - 1 else x1 - _SCREEN_INSET
    back = row.size[1] - _SCREEN_INSET
    ends = {
        "back": ((x0, back), (x1, back)),
        "left": ((left, 0.0), (left, back)),
        "right": ((right, 0.0), (right, back)),
    }
    for side in dict.fromkeys(screen.sides):
        a, b = placing.points(np.array(ends[side]))
        into.faces.append(
            Face(
                f"{row.name}/screen {i + 1} {side}",
                row.name,
                "partition",
                upright_frame(a, b),
                oblong(0, bottom + row.height, float(np.linalg.norm(b - a)), bottom + screen.height),
                scene.catalogue.construction(screen.construction),
                ("desks", index, "screen", "construction"),
            )
        )


def add_table(scene: Scene, index: int, table: Table, floor_at: FloorAt, into: Gathered) -> None:
    """A table's top and the places around it."""
    placing = Placing(table.centre, table.turn_deg)
    bottom = floor_at(*table.centre) + table.base
    if table.diameter is not None:
        angle = 2 * np.pi / _ROUND_SIDES
        radius = table.diameter / 2 * np.sqrt(angle / np.sin(angle))
        turn = np.arange(_ROUND_SIDES) * angle
        local = radius * np.column_stack([np.cos(turn), np.sin(turn)])
    else:
        assert table.size is not None
        local = np.array(table.size) / 2 * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    into.faces.append(
        Face(
            f"{table.name}/top",
            table.name,
            "desk",
            level_frame(bottom + table.height),
            shapely.Polygon(placing.points(local)),
            scene.catalogue.construction(table.top),
            ("tables", index),
        )
    )
    _add_seats(table.name, placing, table_places(table), bottom, into)


def _add_seats(owner: str, placing: Placing, places: Sequence[Place], ground: float, into: Gathered) -> None:
    if not places:
        return
    local = np.array(places)
    for k, ((x, y), turn) in enumerate(zip(placing.points(local[:, :2]), local[:, 2], strict=True), 1):
        heading = (float(turn) + placing.turn_deg) % 360
        into.seats.append(SeatMark(owner, f"{owner}/seat {k}", (float(x), float(y)), ground, heading))


def add_fixtures(scene: Scene, index: int, row: Fixtures, floor_at: FloorAt, into: Gathered) -> None:
    """Sanitary ware as boxes, mirrors as sheets."""
    placing = Placing(row.at, row.turn_deg)
    usual_base, usual_size = FIXTURES[row.kind]
    size = row.size if row.size is not None else usual_size
    base = row.base if row.base is not None else usual_base
    pitch = row.pitch if row.pitch is not None else size[0] + _BETWEEN
    middle = placing.points(np.array([[size[0] / 2, size[1] / 2]]))[0]
    bottom = floor_at(*middle) + base
    loc: Loc = ("fixtures", index)
    left = np.arange(row.count) * pitch
    names = [f"{row.name}/{row.kind} {k + 1}" if row.count > 1 else f"{row.name}/{row.kind}" for k in range(row.count)]
    if row.kind == "mirror":
        for x, name in zip(left, names, strict=True):
            a, b = placing.points(np.array([[x, _MIRROR_CLEAR], [x + size[0], _MIRROR_CLEAR]]))
            frame, shape = upright_frame(a, b), oblong(0, bottom, size[0], bottom + size[2])
            made_of = scene.catalogue.construction(row.construction)
            into.faces.append(Face(name, row.name, "panel", frame, shape, made_of, (*loc, "construction")))
        return
    sizes, heights = [size], [bottom]
    if row.kind == "wc" and (rise := _CISTERN_TOP - base - size[2]) > 0:
        sizes.append((size[0], min(_CISTERN_DEPTH, size[1]), rise))
        heights.append(bottom + size[2])
    ware: BoxKind = "fixture"
    for each, z in zip(sizes, heights, strict=True):
        plan = placing.points(np.column_stack([left + each[0] / 2, np.full(row.count, each[1] / 2)]))
        n = row.count
        into.boxes.append(
            Boxes(
                np.column_stack([plan, np.full(n, z + each[2] / 2)]),
                np.tile(each, (n, 1)),
                np.full(n, placing.turn_rad),
                (ware,) * n,
                tuple(names),
                (row.name,) * n,
                (scene.catalogue.solids[row.material],) * n,
                (loc,) * n,
            )
        )
