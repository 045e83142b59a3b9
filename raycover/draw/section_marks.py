"""Marks of sections in plan: a heavy stroke at either end of the cut, an arrow the way one looks, the name."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.building.parts import Building
from raycover.building.upright_cut import CutLine, CutSheet, cut_sheets
from raycover.draw import palette
from raycover.draw.drawing import Strokes
from raycover.draw.labels import Placer
from raycover.draw.lettering import named
from raycover.draw.page import Page
from raycover.draw.projection import Projection
from raycover.scene.views import SectionSpec

Floats = NDArray[np.float64]
#: A stroke's length, how far its middle stands off the wall that is cut, and its arrow's (mm).
_STROKE, _OFF, _ARROW = 4.0, 1.2, 2.6
_NAME_PT = 8.5
#: A wall no farther than this (m) from an end of what is cut ends it.
_AT_M = 0.01
_Z = 21.0


def draw_section_marks(
    page: Page,
    projection: Projection,
    sections: Sequence[SectionSpec],
    building: Building,
    placer: Placer,
    strokes: Strokes | None = None,
    *,
    whole: bool = False,
) -> bool:
    """Mark every section at its ends, or where it leaves the building; `whole`: with a chain line between.

    Returns whether any was drawn. Text keeps off the marks, and off the chain line if `strokes` are given.
    """
    x0, y0, x1, y1 = projection.frame
    frame = shapely.box(x0 + 0.6, y0 + 0.6, x1 - 0.6, y1 - 0.6)
    outline = shapely.union_all([room.polygon for room in building.rooms]) if building.rooms else None
    drawn = False
    for spec in sections:
        line = CutLine.between(*spec.line, looking_left=spec.looking == "left")
        ends = _ends(line, outline)
        paper = projection.to_paper(ends)
        along = (paper[1] - paper[0]) / max(float(np.linalg.norm(paper[1] - paper[0])), 1e-9)
        beyond = np.array([-along[1], along[0]])
        if not shapely.LineString(paper).intersects(frame):
            continue
        drawn = True
        if whole:
            page.lines([paper], palette.INK, 0.6, _Z - 0.5, dashes=(6.0, 1.5, 1.2, 1.5), clip=projection.frame)
            if strokes is not None:
                strokes.add([paper], 3.0)
        walls = cut_sheets(line, [sheet for sheet in building.sheets if sheet.kind == "wall"])
        for end, at, out in zip(paper, ends, (-along, along), strict=True):
            middle = _within(end + out * (_OFF + _half_wall(walls, line, at) * projection.mm_per_m), frame)
            _mark(page, placer, spec.name, middle, along, beyond)
    return drawn


def _ends(line: CutLine, outline: Any | None) -> Floats:
    """The two ends (2, 2) m of what is cut: of the rooms, where the line runs through any."""
    inside = None if outline is None else line.string.intersection(outline)
    if inside is None or inside.is_empty:
        return np.asarray(line.at(np.array([0.0, line.length])), float)
    s = line.place(shapely.get_coordinates(inside))[:, 0]
    return np.asarray(line.at(np.array([s.min(), s.max()])), float)


def _half_wall(walls: Sequence[CutSheet], line: CutLine, at: Floats) -> float:
    """Half the thickness (m) of the wall that is cut at an end of the line (2,) in plan; 0 where none is."""
    s = float(line.place(at)[0])
    return max((wall.thick / 2 for wall in walls if abs((wall.start[0] + wall.end[0]) / 2 - s) < _AT_M), default=0.0)


def _within(point: Floats, frame: Any) -> Floats:
    x0, y0, x1, y1 = frame.bounds
    half = _STROKE / 2
    return np.clip(point, [x0 + half, y0 + half], [x1 - half, y1 - half])


def _mark(page: Page, placer: Placer, name: str, middle: Floats, along: Floats, beyond: Floats) -> None:
    stroke = np.stack([middle - along * _STROKE / 2, middle + along * _STROKE / 2])
    tip = middle + beyond * _ARROW
    head = np.stack([tip, middle + along * 1.1 + beyond * 0.5, middle - along * 1.1 + beyond * 0.5])
    page.lines([stroke], palette.PAPER, 3.2, _Z - 0.1, cap="projecting")
    page.areas([[head]], _Z - 0.1, face=palette.PAPER, edge=palette.PAPER, width_pt=1.4)
    page.lines([stroke], palette.INK, 1.6, _Z)
    page.areas([[head]], _Z, face=palette.INK)
    points = np.concatenate([stroke, head])
    box = (*(points.min(axis=0) - 0.3), *(points.max(axis=0) + 0.3))
    placer.take(box)
    text = page.lettering.fit(named(name), "bold", _NAME_PT, 18.0)
    extent = page.lettering.extent(text, "bold", _NAME_PT)
    placed = placer.near(
        (points.min(axis=0) + points.max(axis=0)) / 2, (extent.width + 0.4, extent.height), (0.2, 0.9, 2.0, 3.5),
        around=(box[2] - box[0], box[3] - box[1]), prefer_deg=float(np.degrees(np.arctan2(-beyond[1], -beyond[0]))),
    )  # fmt: skip
    if placed is not None:
        x, y = placed.centre
        page.text(x, y - extent.height / 2 + extent.below, text, _NAME_PT, font="bold", ha="center", z=_Z + 1,
                  halo_pt=2.2)  # fmt: skip
