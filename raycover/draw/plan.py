"""A coverage plan: one plane's map on one sheet, with the building, the detectors, the figures and the causes."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.building.parts import Building
from raycover.coverage import Coverage, PlaneCoverage
from raycover.detectors import Unit
from raycover.draw import footprints, glyphs, hatching, palette, sheet, tables, words
from raycover.draw.annotate import Annotator
from raycover.draw.drawing import Drawing, Strokes
from raycover.draw.labels import Placer
from raycover.draw.legend import distribution, draw_legend
from raycover.draw.linework import draw_building
from raycover.draw.mapping import PaperMap, paper_map
from raycover.draw.page import Page
from raycover.draw.png import save_png
from raycover.draw.projection import Box, Projection
from raycover.scene.schema import Scene

Floats = NDArray[np.float64]
DPI = 200
#: Rows that the tables of rooms and gaps may take at most.
_MOST_ROOMS, _MOST_GAPS = 9, 18


def draw_plan(
    scene: Scene,
    building: Building,
    coverage: Coverage,
    plane_name: str,
    path: str | Path,
    *,
    sheet: tuple[int, int] = (1, 4),
    dpi: float = DPI,
) -> None:
    """Save the plan of one plane as a PNG, A4 landscape. The file appears whole or not at all.

    The scene gives words only (title, revision, date, north, what a plane is). Raises KeyError for a plane that
    the coverage has not, OSError where the file cannot be written.
    """
    page = make_plan(scene, building, coverage, plane_name, sheet_number=sheet, dpi=dpi)
    save_png(page.pixels(), path, dpi=dpi)


def make_plan(
    scene: Scene,
    building: Building,
    coverage: Coverage,
    plane_name: str,
    *,
    sheet_number: tuple[int, int] = (1, 4),
    dpi: float = DPI,
) -> Page:
    """The page that `draw_plan` saves."""
    plane = coverage[plane_name]
    outlines = _outlines(scene, building, plane)
    projection = Projection.fitted(_bounds(building, plane, outlines), sheet.FRAME)
    page = Page(dpi=dpi)
    strokes = Strokes()
    picture = paper_map(plane.surface, plane.margin_db, plane.reserve_db, outlines, projection, dpi=dpi)
    has_limit = _draw_map(page, picture, strokes)
    draw_building(Drawing(page, projection, strokes), building, plane.surface)
    units, centres = _shown_units(coverage.units, projection)
    factor = glyphs.size_factor(centres)
    marks = [glyphs.mark_of(unit, centre) for unit, centre in zip(units, centres, strict=True)]
    declared = _footprints(units, building, plane, outlines, projection)
    glyphs.draw_footprints(page, declared, projection.frame)  # type: ignore[arg-type]
    strokes.add(declared, 1.0)
    glyphs.draw_marks(page, marks, factor)

    sorts = tuple(s for s in glyphs.WORDS if any(m.sort == s for m in marks))
    key = sheet.Key(sorts, bool(declared), has_limit, any(m.masks for m in marks))
    listed = _draw_column(page, plane, coverage, key)
    placer = Placer(projection.frame)
    placer.note_strokes(strokes.lines)
    for mark in marks:
        _keep_off(placer, mark, factor)
    annotator = Annotator(page, projection, placer)
    gaps = plane.gaps[:listed]
    annotator.gap_marks(plane.surface, plane.gap, gaps, tables.letters(listed))
    annotator.tags(units, centres, factor)
    names = [n for n in plane.surface.room_names if n != "extent" or building.rooms and scene_is_roomed(outlines, building)]
    if len(names) == len(outlines):
        annotator.room_names(outlines, names, [plane.rooms()[n][0] for n in names])
    annotator.rack_names(building)
    annotator.thing_names(building, [g.blocked_by for g in gaps if g.blocked_by])
    annotator.wide_doors(building)
    _draw_surround(page, scene, building, coverage, plane, projection, sheet_number)
    return page
