"""The map's legend as a bar beside names and shares of the four classes, at any size."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.draw import palette
from raycover.draw.page import Page
from raycover.shares import percent
from raycover.signs import signed

Floats = NDArray[np.floating[Any]]
Box = tuple[float, float, float, float]

#: At full size: heights of the classes' blocks from worst to best, the gap between, the bar's width (mm).
_HEIGHTS = (15.5, 7.2, 7.2, 31.0)
_GAP, _WIDTH = 0.55, 8.0
_HATCH_MM = 1.68


def draw_margin_bar(
    page: Page, shares: Sequence[float], reserve_db: float, span: tuple[float, float], top: float, size: float = 1.0
) -> float:
    """Draw the bar from `span[0]` with its upper end at `top`, shares (4, worst first) flush right at `span[1]`.

    `size` scales everything. Returns the height of the bar's lower end (mm).
    """
    left, right = span
    parts = palette.classes(reserve_db)
    heights = np.array(_HEIGHTS) * size
    if reserve_db == 0:
        heights[1:3] = 0.0
    gap, edge = _GAP * size, left + _WIDTH * size
    shown = [k for k in range(len(parts)) if heights[k] > 0]
    bottom = top - float(heights.sum()) - gap * (len(shown) - 1)
    y = bottom
    name_pt, tick_pt = 11 * size, 9.5 * size
    for index in shown:
        part, high = parts[index], float(heights[index])
        box = (left, y, edge, y + high)
        page.image(palette.legend_image(index, reserve_db), box, 2.0)
        if index <= palette.DOUBTFUL:
            _hatch(page, box, _HATCH_MM * size * (1 if index == palette.NOT_SEEN else 2))
        page.areas([[rectangle(box)]], 4.0, edge=palette.INK, width_pt=0.6)
        baseline = y + high / 2 - 1.25 * size
        page.text(left + 22.5 * size, baseline, part.name, name_pt, font="bold")
        page.text(right, baseline, percent(shares[index]), name_pt, ha="right")
        marks = [(y + high + gap / 2, part.to_db)] if index < palette.ASSURED else []
        if index == palette.ASSURED:
            marks = [(y + high / 2, part.middle_db), (y + high, part.to_db)]
        for place, value in marks:
            page.lines([[(edge, place), (edge + 1.6 * size, place)]], palette.INK, 0.6, 4.0)
            at = edge + 2.4 * size, place - 1.2 * size
            page.text(*at, signed(value), tick_pt, font="bold" if value == 0 else "sans")
        y += high + gap
    return bottom


def rectangle(box: Box) -> Floats:
    """(4, 2) corners of a box."""
    x0, y0, x1, y1 = box
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])


def _hatch(page: Page, box: Box, spacing: float) -> None:
    frame = shapely.box(*box)
    wide = box[2] - box[0]
    starts = np.arange(box[1] - wide, box[3], spacing * np.sqrt(2))
    lines = [shapely.LineString([(box[0], s), (box[2], s + wide)]).intersection(frame) for s in starts]
    segments = [np.asarray(line.coords) for line in lines if line.geom_type == "LineString" and len(line.coords) == 2]
    page.lines(segments, palette.PAPER, 0.75, 3.0, alpha=0.75)
