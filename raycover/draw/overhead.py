"""What hangs over a plan, dashed: ridges, roof lights, ducts, luminaires, beams, cranes; and sanitary ware."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from raycover.building.parts import Building, HungMark
from raycover.draw import palette
from raycover.draw.drawing import Drawing

Floats = NDArray[np.float64]
_WARE_Z, _OVER_Z = 6.4, 8.6
_DASHED, _DOTTED = (3.0, 1.2), (6.0, 1.4, 1.2, 1.4)


def draw_fixtures(drawing: Drawing, building: Building) -> None:
    """Sanitary ware as white outlines."""
    boxes = building.boxes
    chosen = [k for k, kind in enumerate(boxes.kinds) if kind == "fixture"]
    if chosen:
        drawing.areas(
            list(boxes.footprints(chosen)), _WARE_Z, face=palette.PAPER, edge=palette.INK, width_pt=0.4, weight=4.0
        )


def draw_overhead(drawing: Drawing, building: Building) -> None:
    """Everything that hangs above the cut; the map goes on beneath."""
    for roof in building.roofs:
        lights = [light[:, :2] for light in roof.lights]
        drawing.areas(lights, _OVER_Z, edge=palette.PAPER, width_pt=1.2, alpha=0.8)
        drawing.areas(lights, _OVER_Z + 0.01, edge=palette.GLASS, width_pt=0.7, dashes=_DASHED, weight=1.0)
        drawing.cased(list(roof.ridges[..., :2]), 0.35, _OVER_Z, dashes=_DOTTED, weight=1.0)
    for mark in building.hung:
        _draw_hung(drawing, mark)


def _draw_hung(drawing: Drawing, mark: HungMark) -> None:
    corners = np.asarray(mark.corners, np.float64)
    if mark.kind == "luminaire":
        drawing.areas([corners], _OVER_Z, face=palette.PAPER, alpha=0.75)
        drawing.areas([corners], _OVER_Z + 0.01, edge=palette.SECOND_INK, width_pt=0.3, weight=1.0)
        return
    width_pt = 0.6 if mark.kind == "crane" else 0.4
    drawing.areas([corners], _OVER_Z, edge=palette.PAPER, width_pt=width_pt + 0.7, alpha=0.75)
    drawing.areas([corners], _OVER_Z + 0.01, edge=palette.INK, width_pt=width_pt, dashes=_DASHED, weight=2.0)
    if mark.kind == "duct":
        a, b, c, d = corners
        ends = (
            ((a + d) / 2, (b + c) / 2) if np.linalg.norm(b - a) >= np.linalg.norm(d - a) else ((a + b) / 2, (c + d) / 2)
        )
        drawing.lines([np.stack(ends)], palette.SECOND_INK, 0.3, _OVER_Z, dashes=_DOTTED)
    elif mark.kind == "crane":
        drawing.lines([corners[[0, 2]], corners[[1, 3]]], palette.SECOND_INK, 0.3, _OVER_Z, dashes=_DASHED)
