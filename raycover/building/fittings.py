"""Solids, cubicles and desks → boxes and faces.

Dimensions not given default to common practice (see the schema); nothing here is a product's.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import shapely

from raycover.building.faces import Face, Gathered, Placing, level_frame, oblong, upright_frame
from raycover.building.parts import Boxes, Loc, SheetKind
from raycover.catalogue import Construction
from raycover.scene.parts import Cubicles, Desks, Solid
from raycover.scene.schema import Scene

FloorAt = Callable[[float, float], float]
#: From the end of a desk to its side panel. From memory, common practice.
_LEG_INSET = 0.03


def add_solid(scene: Scene, index: int, solid: Solid, floor_at: FloorAt, into: Gathered) -> None:
    bottom = floor_at(*solid.centre) + solid.base
    centre = np.array([[*solid.centre, bottom + solid.size[2] / 2]])
    into.boxes.append(
        Boxes(
            centre,
            np.array([solid.size]),
            np.array([np.radians(solid.turn_deg)]),
            ("solid",),
            (solid.name,),
            (solid.name,),
            (scene.catalogue.solids[solid.material],),
            (("solids", index),),
        )
    )


def add_cubicles(scene: Scene, index: int, row: Cubicles, floor_at: FloorAt, into: Gathered) -> None:
    """Dividing panels, fronts and doors of a row of cubicles; an open door stands inward at a right angle."""
    placing = Placing(row.at, row.turn_deg)
    length = row.count * row.width
    bottom = floor_at(*placing.points(np.array([[length / 2, row.depth / 2]]))[0]) + row.base
    low, high = bottom + row.floor_gap, bottom + row.top
    panel = scene.catalogue.construction(row.panel)
    door = panel if row.door is None else scene.catalogue.construction(row.door)
    loc: Loc = ("cubicles", index)

    def put(kind: SheetKind, name: str, start: Any, end: Any, made_of: Construction | None) -> None:
        a, b = placing.points(np.array([start, end]))
        span = float(np.linalg.norm(b - a))
        into.faces.append(
            Face(f"{row.name}/{name}", row.name, kind, upright_frame(a, b), oblong(0, low, span, high), made_of, loc)
        )

    first, last = (0 if row.left_end else 1), (row.count if row.right_end else row.count - 1)
    for i in range(first, last + 1):
        put("panel", f"divider {i}", (i * row.width, 0.0), (i * row.width, row.depth), panel)
    side = (row.width - row.door_width) / 2
    states = row.doors if isinstance(row.doors, list) else [row.doors] * row.count
    for i in range(row.count):
        x0, x1 = i * row.width, (i + 1) * row.width
        put("panel", f"front {i + 1} left", (x0, row.depth), (x0 + side, row.depth), panel)
        put("panel", f"front {i + 1} right", (x1 - side, row.depth), (x1, row.depth), panel)
        hinge = (x0 + side, row.depth)
        shut = states[i] == "closed"
        tip = (x1 - side, row.depth) if shut else (x0 + side, row.depth - row.door_width)
        put("door" if shut else "leaf", f"door {i + 1}", hinge, tip, door)


def add_desks(scene: Scene, index: int, row: Desks, floor_at: FloorAt, into: Gathered) -> None:
    """Tops and side panels of a row of desks."""
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
