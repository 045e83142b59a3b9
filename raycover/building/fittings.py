"""Solids, racking, cubicles and desks → boxes and faces.

Dimensions not given default to common practice (see the schema); nothing here is a product's.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import shapely

from raycover.building.faces import Face, Gathered, Placing, level_frame, oblong, upright_frame
from raycover.building.parts import Boxes, BoxKind, Floats, Loc, RackMark, SheetKind
from raycover.catalogue import Construction, SolidMaterial
from raycover.scene.parts import Cubicles, Desks, Racking, Solid
from raycover.scene.schema import Scene

FloorAt = Callable[[float, float], float]
#: Depth of a beam, front to back. From memory, common practice.
_BEAM_DEPTH = 0.05
#: Clear height kept above a load for handling. From memory, common practice.
_LIFT_CLEARANCE = 0.15
#: A pallet stands out this far over the frames, front and rear: 1.2 m pallet in a 1.1 m frame (EN 15620).
_OVERHANG = 0.05
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


def add_racking(scene: Scene, index: int, rack: Racking, floor_at: FloorAt, into: Gathered) -> None:
    """Uprights, beams and loads of a rack; a second row mirrored behind when back to back."""
    placing = Placing(rack.at, rack.turn_deg)
    length = rack.bays * (rack.bay_width + rack.upright) + rack.upright
    middle = placing.points(np.array([[length / 2, rack.depth / 2]]))[0]
    bottom = floor_at(*middle) + rack.base
    metal, goods = scene.catalogue.solids["metal"], scene.catalogue.solids[rack.goods_material]
    rows = [(0.0, rack.name)] if not rack.back_to_back else [
        (0.0, f"{rack.name}/front"),
        (rack.depth + rack.flue_gap, f"{rack.name}/rear"),
    ]
    for offset, row in rows:
        parts = _rack_row(rack, row)
        centre = np.concatenate([p[0] for p in parts])
        size = np.concatenate([p[1] for p in parts])
        kinds: list[BoxKind] = [p[2] for p in parts for _ in range(len(p[0]))]
        names = [name for p in parts for name in p[3]]
        centre[:, 1] += offset
        plan = placing.points(centre[:, :2])
        n = len(centre)
        into.boxes.append(
            Boxes(
                np.column_stack([plan, centre[:, 2] + bottom]),
                size,
                np.full(n, placing.turn_rad),
                tuple(kinds),
                tuple(names),
                (rack.name,) * n,
                tuple(goods if kind == "goods" else metal for kind in kinds),
                (("racking", index),) * n,
            )
        )
        corners = np.array([[0, offset], [length, offset], [length, offset + rack.depth], [0, offset + rack.depth]])
        top = bottom + rack.levels * rack.level_pitch
        into.racks.append(RackMark(rack.name, placing.points(corners), rack.bays, bottom, top, rack.goods))
    whole = (length, rows[-1][0] + rack.depth, rack.levels * rack.level_pitch)
    into.envelopes.append(_envelope(rack, index, placing, whole, bottom, metal))


def _envelope(
    rack: Racking,
    index: int,
    placing: Placing,
    size: tuple[float, float, float],
    bottom: float,
    material: SolidMaterial,
) -> Boxes:
    """The whole rack as one box, for what no person can stand in; never cast against."""
    middle = placing.points(np.array([[size[0] / 2, size[1] / 2]]))[0]
    return Boxes(
        np.array([[*middle, bottom + size[2] / 2]]),
        np.array([size]),
        np.array([placing.turn_rad]),
        ("solid",),
        (rack.name,),
        (rack.name,),
        (material,),
        (("racking", index),),
    )


def _rack_row(rack: Racking, row: str) -> list[tuple[Floats, Floats, BoxKind, list[str]]]:
    """Boxes of one row in local coordinates: (centres (n, 3), sizes (n, 3), kind, names)."""
    pitch = rack.bay_width + rack.upright
    height = rack.levels * rack.level_pitch
    frames = np.arange(rack.bays + 1) * pitch + rack.upright / 2
    bays = np.arange(rack.bays) * pitch + rack.upright + rack.bay_width / 2
    beams_z = np.arange(1, rack.levels) * rack.level_pitch - rack.beam_height / 2
    faces_y = np.array([_BEAM_DEPTH / 2, rack.depth - _BEAM_DEPTH / 2])
    posts_y = np.array([rack.upright / 2, rack.depth - rack.upright / 2])
    parts: list[tuple[Floats, Floats, BoxKind, list[str]]] = []

    def put(kind: BoxKind, xs: Floats, ys: Floats, zs: Floats, size: Sequence[float], label: str) -> None:
        x, y, z = (axis.ravel() for axis in np.meshgrid(xs, ys, zs, indexing="ij"))
        if len(x):
            parts.append((np.stack([x, y, z], axis=1), np.tile(size, (len(x), 1)), kind, [f"{row}/{label}"] * len(x)))

    put("upright", frames, posts_y, np.array([height / 2]), (rack.upright, rack.upright, height), "upright")
    put("beam", bays, faces_y, beams_z, (rack.bay_width, _BEAM_DEPTH, rack.beam_height), "beam")
    if rack.goods:
        tallest = rack.level_pitch - rack.beam_height - _LIFT_CLEARANCE
        load = rack.goods_height if rack.goods_height is not None else tallest
        share = rack.bay_width / rack.pallets_per_bay
        slots = (bays[:, None] + (np.arange(rack.pallets_per_bay) - (rack.pallets_per_bay - 1) / 2) * share).ravel()
        size = (share * 0.94, rack.depth + 2 * _OVERHANG, load)
        for level in range(rack.levels):
            z = np.array([level * rack.level_pitch + load / 2])
            put("goods", slots, np.array([rack.depth / 2]), z, size, f"level {level + 1}")
    return parts


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
