"""Drawings for a report, each on paper of just its size: plans, stairs, needs, small plans, signs of the key.

They carry names and figures only; what they mean the report says beside them, in its own language.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from raycover.building.parts import Building
from raycover.draw import glyphs, multiples, palette, plan, sheet
from raycover.draw.legend import draw_swatch
from raycover.draw.lettering import ENGLISH, Wording, clean
from raycover.draw.multiples import Small
from raycover.draw.page import Box, Page
from raycover.draw.people import draw_person
from raycover.draw.projection import Projection, choose_scale
from raycover.draw.proof_groups import Group, planes_of
from raycover.draw.proof_marks import RADIUS, draw_area, draw_never, draw_sight, draw_spot, draw_verdict
from raycover.draw.proof_panels import draw_plan_panel, draw_stair_panel, plan_bounds
from raycover.draw.storey_marks import draw_other
from raycover.draw.storeys import shown_storey
from raycover.scene.schema import Scene
from raycover.solving.coverage import Coverage

Floats = NDArray[np.float64]
#: Pixels an inch of maps within the drawings.
DPI = 150
#: Largest drawing (mm): the text width of an A4 page, and a height that leaves room for a table.
WIDEST, TALLEST = 174.0, 138.0
#: Paper around a plan's neat line for coordinates (right, top, bottom), and the strip of scale bar and north below.
_RIGHT, _TOP, _BOTTOM, _STRIP = 6.8, 5.0, 2.0, 13.0
#: A frame is no narrower than this, so that scale bar and north find room.
_NARROWEST = 84.0
_CLEAR = 2.8
#: Small plans go four in a row, unless two in a row are drawn larger by more than this.
_FINE_ENOUGH = 1.5


def make_plan_extract(
    scene: Scene, building: Building, coverage: Coverage, name: str, *, n_gaps: int, wording: Wording = ENGLISH
) -> tuple[Page, int]:
    """The plan of a flat map with letters of its first gaps, scale bar and north; the page and its scale's denominator.

    Raises KeyError for a map that the coverage has not.
    """
    plane = coverage[name]
    shown = shown_storey(building, plane)
    bounds = plan.bounds_of(shown, plane, plan.outlines_of(scene, shown, plane))
    page, projection = _sheet_for(bounds, wording)
    body = plan.draw_body(page, scene, building, coverage, plane, projection)
    plan.annotate(scene, body, plane, min(n_gaps, len(plane.gaps)))
    sheet.draw_frame(page, projection)
    _foot(page, projection, scene.north_deg)
    return page, projection.scale


def _sheet_for(bounds: Box, wording: Wording) -> tuple[Page, Projection]:
    """Paper for a plan of bounds (m) at the finest round scale, and where it lies on it."""
    wide, tall = bounds[2] - bounds[0], bounds[3] - bounds[1]
    room = WIDEST - _RIGHT - 2 * _CLEAR - 1.0, TALLEST - _TOP - _BOTTOM - _STRIP - 2 * _CLEAR
    scale = choose_scale(wide, tall, *room)
    width = min(max(wide * 1000 / scale + 2 * _CLEAR, _NARROWEST), WIDEST - _RIGHT - 1.0)
    height = tall * 1000 / scale + 2 * _CLEAR
    low = _STRIP + _BOTTOM
    frame = (1.6, low, 1.6 + width, low + height)
    size = (width + 1.6 + _RIGHT, height + low + _TOP)
    return Page(dpi=DPI, size=size, vector=True, wording=wording), Projection.fitted(bounds, frame, _CLEAR, scale)


def _foot(page: Page, projection: Projection, north_deg: float) -> None:
    """Scale bar and north under the neat line."""
    x0, _, x1, _ = projection.frame
    part, n = sheet.scale_bar(page, projection)
    moved = page.moved(x0 + 2.0 + part * n * projection.mm_per_m - 205.0, 4.2 - 187.0)
    sheet.draw_scale_bar(moved, projection)
    sheet.draw_north(page, north_deg, (x1 - 7.0, 6.3))


def make_stair_extract(
    building: Building, coverage: Coverage, name: str, group: Group | None = None, *, wording: Wording = ENGLISH
) -> Page:
    """A stair unrolled with its map beside a section; with a group of needs its places are marked."""
    plane = coverage[name]
    stairs = next(s for s in building.stairs if s.name == plane.surface.stairs)
    page = Page(dpi=DPI, size=(WIDEST, TALLEST - 14.0), vector=True, wording=wording)
    x0, y0, x1, y1 = 0.6, 0.6, WIDEST - 0.6, TALLEST - 14.6
    parted = 116.0
    boxes = (x0 + 2.0, y0 + 1.5, parted - 2.0, y1 - 1.5), (parted + 2.5, y0 + 1.5, x1 - 1.0, y1 - 1.5)
    draw_stair_panel(page, building, coverage, plane, stairs, () if group is None else group.shown, boxes, dpi=DPI)
    page.areas([[[(x0, y0), (x1, y0), (x1, y1), (x0, y1)]]], 24.0, edge=palette.INK, width_pt=0.5)
    page.lines([[(parted, y0), (parted, y1)]], palette.RULE, 0.5, 24.0)
    return page


def make_need_extracts(
    scene: Scene, group: Group, coverage: Coverage, *, wording: Wording = ENGLISH
) -> list[tuple[str | None, Page]]:
    """What a group of needs judges: (storey, page) one a storey, or one of the stair; every place marked."""
    building = group.situation.building
    planes = planes_of(group, coverage)
    if group.stairs is not None:
        name = next(name for name, plane in coverage.items() if plane is planes[0])
        return [(None, make_stair_extract(building, coverage, name, group, wording=wording))]
    pages: list[tuple[str | None, Page]] = []
    for storey, plane in zip(group.storeys, planes, strict=True):
        shown = tuple(one for one in group.shown if one.place.site.storey == storey)
        page, projection = _sheet_for(plan_bounds(building, plane, shown), wording)
        draw_plan_panel(page, building, coverage, plane, shown, projection, dpi=DPI)
        _foot(page, projection, scene.north_deg)
        pages.append((storey, page))
    return pages


def make_small_extract(scene: Scene, plans: Sequence[tuple[str, str, Small]], *, wording: Wording = ENGLISH) -> Page:
    """Small plans side by side at one scale, each with a head over it and figures under it."""
    shown = [shown_storey(small.building, small.plane) for _, _, small in plans]
    spans = [multiples.small_bounds(scene, small, one) for (_, _, small), one in zip(plans, shown, strict=True)]
    wide, tall = max(b[2] - b[0] for b in spans), max(b[3] - b[1] for b in spans)
    head, figures, between = 6.0, 4.6, 3.0

    def laid_out(columns: int) -> tuple[int, int, float]:
        rows = -(-len(plans) // columns)
        cell = (WIDEST - 4.0 * (columns - 1)) / columns
        high = (TALLEST - 10.0) / rows - head - figures - between
        return choose_scale(wide, tall, cell - 1.4, high - 1.4), columns, cell

    few, many = laid_out(min(len(plans), 2)), laid_out(min(len(plans), 4))
    scale, columns, cell = many if many[0] <= _FINE_ENOUGH * few[0] else few
    rows = -(-len(plans) // columns)
    height = tall * 1000 / scale + 1.4
    page = Page(dpi=DPI, size=(WIDEST, rows * (head + height + figures + between)), vector=True, wording=wording)
    for k, ((title, words, small), building) in enumerate(zip(plans, shown, strict=True)):
        x = (k % columns) * (cell + 4.0)
        top = page.size[1] - (k // columns) * (head + height + figures + between)
        text, size = page.lettering.fit_size(clean(title), "italic", (12, 11, 10, 9), cell)
        page.text(x + 0.6, top - 4.4, text, size, font="italic")
        box = (x, top - head - height, x + cell, top - head)
        multiples.draw_small(page, scene, small, building, box, scale)
        text, size = page.lettering.fit_size(clean(words), "sans", (7.0, 6.5, 6.0), cell)
        page.text(x + 0.6, top - head - height - 3.4, text, size)
    return page


#: Signs of the key by name, detectors' sorts and classes apart.
SIGNS = (
    "limit", "footprint", "gap", "masked", "noticed", "unnoticed", "other storey", "void", "met", "missed",
    "area judged", "never", "spot", "sight", "section",
)  # fmt: skip
_SIGN, _MARK, _SWATCH = (9.0, 4.4), (4.4, 4.4), (9.0, 3.2)


def _size_of(sign: str) -> tuple[float, float]:
    if sign.startswith("class "):
        return _SWATCH
    return _MARK if sign in ("met", "missed", "noticed", "unnoticed") else _SIGN


def make_sign(name: str, reserve_db: float) -> Page:
    """A small drawing of one sign: one of SIGNS, a sort of detector, or `class N` of the margin's classes."""
    wide, tall = size = _size_of(name)
    page = Page(dpi=DPI, size=size, vector=True)
    middle = np.array(size) / 2
    x0, x1, y = 0.8, wide - 0.8, tall / 2
    outline = np.array([(1.2, 0.8), (7.8, 0.8), (7.8, 3.6), (1.2, 3.6)])
    if name.startswith("class "):
        draw_swatch(page, int(name.removeprefix("class ")), reserve_db, (x0, 0.4, x1, tall - 0.4))
    elif name in glyphs.WORDS:
        glyphs.draw_marks(page, [glyphs.Mark(name, middle - [0.4, 0.0], 0.0)])
    elif name == "limit":
        page.lines([[(x0, y), (x1, y)]], palette.INK, 0.7, 25.0)
    elif name == "footprint":
        page.lines([[(x0, y), (x1, y)]], palette.ACCENT, 0.6, 25.0, dashes=(3.0, 1.32))
    elif name == "gap":
        page.discs([middle], 1.75, 17.0, face=palette.PAPER, edge=palette.INK, width_pt=0.35)
        page.text(float(middle[0]), y - 0.8, "a", 7.0, font="bold", ha="center")
    elif name == "masked":
        glyphs.draw_marks(page, [glyphs.Mark("infrared", middle - [1.0, 0.0], 0.0, ((-38.0, 38.0),))], 0.8)
    elif name in ("noticed", "unnoticed"):
        draw_person(page, middle, 90.0, 3.4, noticed=name == "noticed")
    elif name == "other storey":
        draw_other(page, middle)
    elif name == "void":
        page.lines([outline[[0, 2]], outline[[1, 3]]], palette.SECOND_INK, 0.35, 25.0)
        page.areas([[outline]], 25.0, edge=palette.INK, width_pt=0.45, dashes=(3.0, 1.5))
    elif name in ("met", "missed"):
        draw_verdict(page, middle, met=name == "met", radius=RADIUS * 0.85)
    elif name == "area judged":
        draw_area(page, [outline])
    elif name == "never":
        draw_never(page, [outline])
    elif name == "spot":
        draw_spot(page, middle)
    elif name == "section":
        x = float(middle[0])
        page.lines([[(x, 0.6), (x, tall - 0.6)]], palette.INK, 1.6, 25.0)
        page.areas([[np.array([(x + 0.3, y - 0.9), (x + 0.3, y + 0.9), (x + 1.9, y)])]], 25.0, face=palette.INK)
        page.text(x - 1.0, y - 0.9, "A", 7.0, font="bold", ha="right")
    elif name == "sight":
        draw_sight(page, (x0, y), (x1, y))
    else:
        raise KeyError(name)
    return page
