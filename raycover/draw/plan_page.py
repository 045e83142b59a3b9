"""A page with a plan on it as it is begun, filled and named: what plans of every sort share."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from raycover.building.parts import Building
from raycover.detectors import Unit
from raycover.draw import glyphs, hatching, palette, sheet, storey_marks
from raycover.draw.annotate import Annotator
from raycover.draw.drawing import Drawing, Strokes
from raycover.draw.labels import Placer
from raycover.draw.linework import draw_building
from raycover.draw.mapping import PaperMap
from raycover.draw.page import Page
from raycover.draw.projection import Projection
from raycover.draw.storeys import top_of_shown
from raycover.solving.surfaces import Surface

Floats = NDArray[np.float64]
#: More detectors than this, closer to each other than this (mm), are dots of this radius (mm).
_MOST_MARKS, _CLOSEST_MM, _DOT_MM = 150, 3.2, 0.4


@dataclass(frozen=True)
class Marked:
    """Detectors drawn on paper: their places (n, 2) mm, their marks and how large these are.

    `dots`: they stand too close for marks and tags, so that each is a dot and a table says which there are.
    """

    units: list[Unit]
    centres: Floats
    marks: list[glyphs.Mark]
    factor: float
    dots: bool = False

    @property
    def sorts(self) -> tuple[glyphs.Sort, ...]:
        """The sorts that are drawn, as the key lists them."""
        return () if self.dots else tuple(s for s in glyphs.WORDS if any(m.sort == s for m in self.marks))

    @property
    def masked(self) -> bool:
        return not self.dots and any(m.masks for m in self.marks)


@dataclass(frozen=True)
class PlanPage:
    """A plan at scale within a neat line, and what text must keep off."""

    page: Page
    projection: Projection
    drawing: Drawing
    placer: Placer

    @classmethod
    def on(cls, page: Page, projection: Projection) -> PlanPage:
        return cls(page, projection, Drawing(page, projection, Strokes()), Placer(projection.frame))

    @property
    def strokes(self) -> Strokes:
        return self.drawing.strokes

    def draw_storey(self, shown: Building, surface: Surface) -> bool:
        """The building's lines about a surface, and its voids; whether there are any of these."""
        draw_building(self.drawing, shown, surface)
        return storey_marks.draw_voids(self.drawing, shown)

    def mark_units(self, units: Sequence[Unit]) -> Marked:
        """Draw the marks of the detectors within the frame; text keeps off them."""
        within, centres = shown_units(units, self.projection)
        factor = glyphs.size_factor(centres)
        marks = [glyphs.mark_of(unit, centre) for unit, centre in zip(within, centres, strict=True)]
        if len(marks) > _MOST_MARKS and glyphs.spacing(centres) < _CLOSEST_MM:
            self.page.discs(centres, _DOT_MM, 20.0, face=palette.ACCENT)
            return Marked(within, centres, marks, factor, dots=True)
        for mark in marks:
            _keep_off(self.placer, mark, factor)
        glyphs.draw_marks(self.page, marks, factor)
        return Marked(within, centres, marks, factor)

    def draw_stairs(self, building: Building, shown: Building) -> bool:
        """Stairs as a plan cuts them, after what they are to keep off; whether there are any."""
        cuts = storey_marks.cut_stairs(shown, top_of_shown(building, shown))
        return storey_marks.draw_stairs(self.drawing, cuts, self.placer)

    def annotator(self, picture: PaperMap) -> Annotator:
        """Who writes names from here on: off every line drawn so far."""
        self.placer.note_strokes(self.strokes.lines)
        return Annotator(self.page, self.projection, self.placer, picture)

    def write_names(
        self, picture: PaperMap, marked: Marked, shown: Building, rooms: tuple[list[Any], list[str], list[float]] | None
    ) -> None:
        """Tags, names of `rooms` (outlines, names, areas in m²), racks and doors; what finds no room is counted."""
        annotator = self.annotator(picture)
        n_tags, n_names = write_tags(annotator, marked), 0
        if rooms is not None:
            n_names = annotator.room_names(*rooms)
        annotator.rack_names(shown)
        annotator.wide_doors(shown)
        sheet.draw_left_out(self.page, n_tags, n_names)


def write_tags(annotator: Annotator, marked: Marked) -> int:
    """A tag beside each mark; how many found no place: all of them where marks are dots."""
    if marked.dots:
        return len(marked.units)
    return annotator.tags(marked.units, marked.centres, marked.factor)


def draw_layers(page: Page, picture: PaperMap, strokes: Strokes, rgba: NDArray[np.uint8] | None = None) -> bool:
    """Colours (the map's own, if no others are given), hatches and limit line; whether there is a limit line."""
    page.image(picture.rgba() if rgba is None else rgba, picture.box, 1.0)
    for index, spacing in ((palette.NOT_SEEN, hatching.NOT_SEEN_MM), (palette.DOUBTFUL, hatching.DOUBTFUL_MM)):
        lines = hatching.hatch_lines(picture.classes == index, picture.box, spacing)
        page.lines(lines, palette.PAPER, hatching.WIDTH_PT, 2.0, alpha=hatching.OPACITY, clip=picture.box)
    limit = picture.limit_lines()
    page.lines(limit, palette.INK, 0.7, 3.0, clip=picture.box)
    strokes.add(limit, 0.8)
    return bool(limit)


def shown_units(units: Sequence[Unit], projection: Projection) -> tuple[list[Unit], Floats]:
    """The detectors within the frame, and their places on paper (n, 2)."""
    if not units:
        return [], np.zeros((0, 2))
    centres = projection.to_paper([unit.position[:2] for unit in units])
    x0, y0, x1, y1 = projection.frame
    edge = glyphs.RING + glyphs.COLLAR
    shown = np.all((centres > [x0 + edge, y0 + edge]) & (centres < [x1 - edge, y1 - edge]), axis=1).reshape(-1)
    return [unit for unit, ok in zip(units, shown, strict=True) if ok], centres[shown]


def _keep_off(placer: Placer, mark: glyphs.Mark, factor: float) -> None:
    """Keep text off a detector's mark, its tick and its masks."""
    reach = (glyphs.RING + glyphs.COLLAR) * factor
    x, y = (float(v) for v in mark.centre)
    placer.take((x - reach, y - reach, x + reach, y + reach))
    angle = np.radians(mark.azimuth_deg)
    tip = mark.centre + np.array([np.cos(angle), np.sin(angle)]) * (glyphs.RING + glyphs.TICK) * factor
    placer.take((min(x, tip[0]) - 0.2, min(y, tip[1]) - 0.2, max(x, tip[0]) + 0.2, max(y, tip[1]) + 0.2))
    for start, end in mark.masks:
        middle = np.radians((start + end) / 2)
        out = mark.centre + np.array([np.cos(middle), np.sin(middle)]) * 2.8 * factor
        placer.take((out[0] - 1.0, out[1] - 1.0, out[0] + 1.0, out[1] + 1.0))
