"""Rows of cubicles → faces: dividers, fronts, doors closed, open or ajar, a rear panel where two rows share one."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import shapely

from raycover.building.faces import Face, Gathered, Placing, oblong, upright_frame
from raycover.building.overhead import lowest_above
from raycover.building.parts import Loc, RoomShape, SheetKind
from raycover.catalogue import Construction
from raycover.errors import Problem
from raycover.scene.fittings import Cubicles
from raycover.scene.schema import Scene

RoomAt = Callable[[float, float], RoomShape | None]
#: Clear height (m) wanted over people: 2.0 m, Approved Document K (headroom of stairs, taken here too).
HEADROOM = 2.0


def add_cubicles(scene: Scene, index: int, row: Cubicles, room_at: RoomAt, into: Gathered) -> None:
    """Dividing panels, fronts and doors of a row, or of two rows back to back."""
    placing = Placing(row.at, row.turn_deg)
    ends = np.concatenate([[0.0], np.cumsum([width for width, _ in row.sizes])])
    depths = [depth for _, depth in row.sizes]
    deepest = max(depths)
    front = -deepest if row.back_to_back else 0.0
    bounds = [[0.0, front], [ends[-1], front], [ends[-1], deepest], [0.0, deepest]]
    outline = placing.points(np.array(bounds))
    room = room_at(*placing.points(np.array([[ends[-1] / 2, depths[0] / 2]]))[0])
    ground = (0.0 if room is None else room.floor) + row.base
    if room is not None:
        _check_headroom(scene, index, row, room, outline, ground, into)
    low, high = ground + row.floor_gap, ground + row.top
    panel = scene.catalogue.construction(row.panel)
    door = panel if row.door is None else scene.catalogue.construction(row.door)
    loc: Loc = ("cubicles", index)

    def put(kind: SheetKind, name: str, start: Any, end: Any, made_of: Construction | None) -> None:
        a, b = placing.points(np.array([start, end]))
        span = float(np.linalg.norm(b - a))
        into.faces.append(
            Face(f"{row.name}/{name}", row.name, kind, upright_frame(a, b), oblong(0, low, span, high), made_of, loc)
        )

    if row.back_to_back:
        put("panel", "rear", (0.0, 0.0), (ends[-1], 0.0), panel)
    n = len(depths)
    angles = np.array(row.door_angles).reshape(-1, n)
    # The second row is the first one mirrored in the shared rear panel.
    for side, prefix, turned in zip((1.0, -1.0), ("", "rear "), angles, strict=False):
        for i in range(0 if row.left_end else 1, n + 1 if row.right_end else n):
            depth = max(depths[max(i - 1, 0) : i + 1])
            put("panel", f"{prefix}divider {i}", (ends[i], 0.0), (ends[i], side * depth), panel)
        for i, (depth, width, way) in enumerate(zip(depths, row.door_widths, row.opening_ways, strict=True)):
            x0, x1, y = ends[i], ends[i + 1], side * depth
            nib = (x1 - x0 - width) / 2
            put("panel", f"{prefix}front {i + 1} left", (x0, y), (x0 + nib, y), panel)
            put("panel", f"{prefix}front {i + 1} right", (x1 - nib, y), (x1, y), panel)
            swing = np.radians(turned[i])
            outward = side * (1.0 if way == "outward" else -1.0)
            # An open leaf stands exactly square.
            cos, sin = (0.0, 1.0) if turned[i] == 90 else (np.cos(swing), np.sin(swing))
            tip = (x0 + nib + width * cos, y + outward * width * sin)
            put("leaf" if turned[i] else "door", f"{prefix}door {i + 1}", (x0 + nib, y), tip, door)


def _check_headroom(
    scene: Scene,
    index: int,
    row: Cubicles,
    room: RoomShape,
    outline: Any,
    ground: float,
    into: Gathered,
) -> None:
    """Panels end below the ceiling or roof over them, and people can stand there."""
    inside = shapely.get_coordinates(shapely.intersection(shapely.Polygon(outline), room.polygon))
    clear = lowest_above(room, inside) - ground
    if row.top > clear + 1e-6:
        into.problems.append(
            Problem(
                "cubicle-above-ceiling",
                f'"{row.name}": panels {row.top:g} m high do not fit under {clear:.3g} m of "{room.name}"',
                scene.position("cubicles", index, "top"),
                "lower top, or move the row to where the roof is higher",
            )
        )
    elif clear < HEADROOM - 1e-6:
        into.problems.append(
            Problem(
                "low-headroom",
                f'"{row.name}" stands where "{room.name}" is only {clear:.3g} m high',
                scene.position("cubicles", index, "at"),
                f"{HEADROOM:g} m is usual (Approved Document K, of stairs); local rules decide",
                severity="warning",
            )
        )
