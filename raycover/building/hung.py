"""Solids that hang: their boxes under a ceiling or along a sloped roof, and the marks they are drawn by."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from raycover.building.faces import Gathered, Placing
from raycover.building.overhead import lowest_above
from raycover.building.parts import Boxes, HungMark, RoomShape
from raycover.errors import Problem
from raycover.scene.parts import Solid
from raycover.scene.schema import Scene


def hangs(solid: Solid) -> bool:
    """Whether a solid is drawn as hung: it hangs, or is of a kind that does wherever its base is."""
    return solid.hang is not None or solid.kind != "thing"


def add_hung(
    scene: Scene, index: int, solid: Solid, room_at: Callable[[float, float], RoomShape | None], into: Gathered
) -> None:
    """A hung solid. `hang` counts from where its room's ceiling or roof is lowest over it: nothing sticks through."""
    half = np.array(solid.size[:2]) / 2
    local = half * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    corners = Placing(solid.centre, solid.turn_deg).points(local)
    room = room_at(*solid.centre)
    floor = 0.0 if room is None else room.floor
    if solid.hang is None:
        top = floor + solid.base + solid.size[2]
    elif room is None:
        into.problems.append(
            Problem(
                "hang-nowhere",
                f'"{solid.name}" hangs in no room: there is no ceiling over ({solid.centre[0]:g}, {solid.centre[1]:g})',
                scene.position("solids", index, "centre"),
                "move it into a room, or write base instead of hang",
            )
        )
        return
    else:
        top = lowest_above(room, corners) - solid.hang
        if top - solid.size[2] < floor - 1e-6:
            into.problems.append(
                Problem(
                    "hang-too-low",
                    f'"{solid.name}" would reach {floor - top + solid.size[2]:.3g} m below the floor of "{room.name}"',
                    scene.position("solids", index, "hang"),
                    "hang counts down from the ceiling to its top",
                )
            )
            return
    into.boxes.append(
        Boxes(
            np.array([[*solid.centre, top - solid.size[2] / 2]]),
            np.array([solid.size]),
            np.array([np.radians(solid.turn_deg)]),
            ("hung",),
            (solid.name,),
            (solid.name,),
            (scene.catalogue.solids[solid.material],),
            (("solids", index),),
        )
    )
    into.hung.append(HungMark(solid.name, solid.kind, corners, top - solid.size[2], top))
