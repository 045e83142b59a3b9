"""Seated people in plan: head and shoulders seen from above, light where noticed, ink where not."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from raycover.draw import palette
from raycover.draw.drawing import Drawing
from raycover.draw.page import Page
from raycover.draw.projection import Box
from raycover.solving.seats import SeatView

Floats = NDArray[np.float64]
#: Over furniture and overhead lines, under names and detectors.
_Z = 9.4
#: Width of the shoulders: 0.45 m (from memory), but never less than this on paper (mm).
_SHOULDERS_M, _LEAST_MM = 0.45, 1.7


def draw_seats(drawing: Drawing, seats: Sequence[SeatView]) -> list[Box]:
    """Everyone's place within the neat line; boxes (mm) that text must keep off."""
    taken: list[Box] = []
    width = max(_SHOULDERS_M * drawing.projection.mm_per_m, _LEAST_MM)
    x0, y0, x1, y1 = drawing.projection.frame
    for seat in seats:
        centre = np.asarray(drawing.projection.to_paper(seat.at[:2]), np.float64)
        if x0 + width < centre[0] < x1 - width and y0 + width < centre[1] < y1 - width:
            draw_person(drawing.page, centre, seat.heading_deg, width, noticed=seat.noticed)
            x, y = (float(v) for v in centre)
            taken.append((x - width / 3, y - width / 3, x + width / 3, y + width / 3))
    return taken


def draw_person(page: Page, centre: Floats, heading_deg: float, width: float, *, noticed: bool) -> None:
    """One person of some width (mm) at a place on paper, looking towards a heading."""
    turn = np.radians(heading_deg)
    ahead, left = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
    phi = np.linspace(0, 2 * np.pi, 32, endpoint=False)
    shoulders = centre + 0.24 * width * np.cos(phi)[:, None] * ahead + 0.5 * width * np.sin(phi)[:, None] * left
    head = centre + 0.08 * width * ahead + 0.22 * width * np.column_stack([np.cos(phi), np.sin(phi)])
    face, edge = (palette.PAPER, palette.INK) if noticed else (palette.INK, palette.PAPER)
    page.areas([[shoulders]], _Z - 0.01, face=palette.PAPER, edge=palette.PAPER, width_pt=1.3)
    page.areas([[shoulders]], _Z, face=face, edge=edge, width_pt=0.45)
    page.areas([[head]], _Z + 0.01, face=face, edge=edge, width_pt=0.45)
