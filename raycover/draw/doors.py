"""Openings in plan: door leaves with their swing, wide doors, plain gaps. A closed door shows its leaf in the wall."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from raycover.building.doors import distinct
from raycover.building.parts import Building, OpeningMark
from raycover.draw import palette
from raycover.draw.drawing import Drawing
from raycover.draw.page import arc
from raycover.scene.parts import LOWEST_DOOR_M, TWO_LEAVES_M

Floats = NDArray[np.float64]
_Z = 8.2
#: Doors wider than this (m) have two leaves.
_ONE_LEAF = 1.3


def is_wide(mark: OpeningMark) -> bool:
    """A door too wide to swing: sectional, sliding, roller."""
    return mark.kind == "door" and float(np.hypot(*np.subtract(mark.end, mark.start))) > TWO_LEAVES_M


def inward(mark: OpeningMark, building: Building) -> Floats:
    """Unit normal (2,) of an opening towards the room that declares it, else to the left of its wall."""
    start, end = np.array(mark.start), np.array(mark.end)
    along = (end - start) / np.linalg.norm(end - start)
    normal = np.array([-along[1], along[0]])
    room = next((r for r in building.rooms if r.name == mark.owner), None)
    if room is None:
        return normal
    middle = (start + end) / 2
    step = normal * 0.05
    return normal if room.holds(*(middle + step)) and not room.holds(*(middle - step)) else -normal


def draw_openings(drawing: Drawing, building: Building) -> None:
    leaves: list[Floats] = []
    swings: list[Floats] = []
    shut, faces, dashed = [], [], []
    for mark in distinct(building.openings):
        start, end = np.array(mark.start), np.array(mark.end)
        width = float(np.linalg.norm(end - start))
        across = inward(mark, building) * max(mark.wall_thickness, 0.35 / drawing.projection.mm_per_m) / 2
        if mark.kind == "window":
            continue
        if mark.kind == "gap" or is_wide(mark) or mark.top - mark.sill < LOWEST_DOOR_M:
            faces += [[start + across, end + across], [start - across, end - across]]
            if mark.kind == "door" and mark.state == "closed":
                dashed.append([start, end])
            continue
        hinges = [(start, end)] if width <= _ONE_LEAF else [(start, (start + end) / 2), (end, (start + end) / 2)]
        for hinge, latch in hinges:
            open_to, arc_points = _swing(hinge, latch, inward(mark, building))
            swings.append(arc_points)
            (leaves if mark.state == "open" else swings).append(open_to)
        if mark.state == "closed":
            shut.append([start, end])
    drawing.cased(faces, 0.35, _Z, weight=4.0)
    drawing.lines(dashed, palette.INK, 0.9, _Z, dashes=(3.0, 1.2))
    drawing.cased(swings, 0.35, _Z, weight=3.0)
    drawing.cased([*leaves, *shut], 0.8, _Z + 0.1, weight=4.0)


def _swing(hinge: Floats, latch: Floats, normal: Floats) -> tuple[Floats, Floats]:
    """The leaf standing open (2, 2) and the arc of its edge (n, 2)."""
    leaf = latch - hinge
    width = float(np.linalg.norm(leaf))
    shut_deg = float(np.degrees(np.arctan2(leaf[1], leaf[0])))
    turn = 90.0 if leaf[0] * normal[1] - leaf[1] * normal[0] > 0 else -90.0
    points = arc(hinge, width, shut_deg, shut_deg + turn, 24)
    return np.stack([hinge, points[-1]]), points
