"""Small plans side by side: one map under several conditions, columns and rows with their heads, one legend."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

import numpy as np

from raycover.building.parts import Building
from raycover.detectors import Unit
from raycover.draw import hatching, palette, plan, sheet, storey_marks, words
from raycover.draw.drawing import Drawing, Strokes
from raycover.draw.legend import class_places, distribution, draw_bar
from raycover.draw.lettering import ENGLISH, Wording, clean
from raycover.draw.linework import draw_building
from raycover.draw.mapping import paper_map
from raycover.draw.page import Box, Page
from raycover.draw.plan_page import shown_units
from raycover.draw.projection import Projection, choose_scale
from raycover.draw.storeys import shown_storey, units_by_storey
from raycover.draw.tables import Table, draw_table
from raycover.draw.title_block import draw_block
from raycover.scene.schema import Scene
from raycover.solving.coverage import PlaneCoverage

T = TypeVar("T")
U = TypeVar("U")
#: How many small plans go on a sheet, down and across.
MOST_ROWS, MOST_COLUMNS = 3, 4
#: Lines of a small plan are this much thinner, its hatches this much closer.
_FINENESS, _CLOSER = 0.55, 0.85
#: Where small plans lie (mm), the width of the row heads, what is left below each for its figures.
_AREA: Box = (10.0, 31.0, 233.0, 177.0)
_HEADS, _GAP, _FIGURES, _BAR = 16.0, 2.4, 6.4, 26.0
_CLEAR = 0.6
#: White between one row's figures and the next row's plans.
_BETWEEN = 3.0


@dataclass(frozen=True)
class Small:
    """One small plan: a result with the building and the detectors that it is of."""

    building: Building
    plane: PlaneCoverage
    units: tuple[Unit, ...]


@dataclass(frozen=True)
class Multiples:
    """A sheet of small plans (rows × columns, None where there is none) with heads and words.

    `table` makes one of a width (mm) to stand below the plans; where there is no room, `otherwise` says it in notes.
    """

    drawing: str
    subtitle: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, str], ...]
    plans: tuple[tuple[Small | None, ...], ...]
    notes: tuple[str, ...]
    conditions: str
    table: Callable[[Page, float], Table] | None = None
    otherwise: tuple[str, ...] = ()


def make_multiples(
    scene: Scene, made: Multiples, *, sheet_number: tuple[int, int], dpi: float = plan.DPI, wording: Wording = ENGLISH
) -> Page:
    """The page, A4 landscape. `scene` gives words and the planes' extents only."""
    page = Page(dpi=dpi, wording=wording)
    shown = {
        id(small): shown_storey(small.building, small.plane) for row in made.plans for small in row if small is not None
    }
    boxes = _boxes(len(made.rows), len(made.columns))
    scale, height = _scale(scene, made, shown, boxes[0][0])
    boxes = _closed_up(boxes, height)
    for r, row in enumerate(made.plans):
        for c, small in enumerate(row):
            if small is not None:
                box = boxes[r][c]
                frame = draw_small(page, scene, small, shown[id(small)], box, scale)
                # A narrow plan's figures may run on to the right of it.
                right = max(frame[2], min(box[2], frame[2] + 40.0))
                _draw_figures(page, small.plane, (box[0], box[1] - _FIGURES, right, frame[1]))
    _draw_heads(page, made, boxes)
    notes = made.notes if _draw_table(page, made, boxes[-1][0][1] - _FIGURES) else (*made.notes, *made.otherwise)
    _draw_side(page, scene, made, notes, scale)
    sheet.draw_title(page, scene.title, made.subtitle)
    draw_block(
        page,
        scene,
        drawing=made.drawing,
        conditions=made.conditions,
        scale=scale,
        number=sheet_number,
    )
    return page


def sheets_of(
    rows: Sequence[T], most_rows: int, columns: Sequence[U], most_columns: int
) -> list[tuple[list[T], list[U]]]:
    """Rows and columns parted into sheets of as even a size as may be, rows first."""

    def parted(many: Sequence[Any], most: int) -> list[list[Any]]:
        n = -(-len(many) // most)
        return [list(part) for part in np.array_split(np.array([*many, None], object)[:-1], n)]

    return [(r, c) for r in parted(rows, most_rows) for c in parted(columns, most_columns)]


def _boxes(n_rows: int, n_columns: int) -> list[list[Box]]:
    """Where each small plan lies (mm), its figures below it."""
    x0, y0, x1, y1 = _AREA
    x0 += _HEADS
    width = (x1 - x0 - (n_columns - 1) * _GAP) / n_columns
    height = (y1 - y0 - (n_rows - 1) * _BETWEEN) / n_rows
    found = []
    for r in range(n_rows):
        top = y1 - r * (height + _BETWEEN)
        found.append(
            [
                (x0 + c * (width + _GAP), top - height + _FIGURES, x0 + c * (width + _GAP) + width, top)
                for c in range(n_columns)
            ]
        )
    return found


def small_bounds(scene: Scene, small: Small, building: Building) -> Box:
    """What a small plan shows (m)."""
    return plan.bounds_of(building, small.plane, plan.outlines_of(scene, building, small.plane))


def _closed_up(boxes: list[list[Box]], height: float) -> list[list[Box]]:
    """The boxes as high (mm) as the plans are, rows following each other closely from the top."""
    pitch = height + _FIGURES + _BETWEEN
    return [
        [(x0, _AREA[3] - r * pitch - height, x1, _AREA[3] - r * pitch) for x0, _, x1, _ in row]
        for r, row in enumerate(boxes)
    ]


def _draw_table(page: Page, made: Multiples, y: float) -> bool:
    """Draw the table under the plans if there is one and room for it."""
    if made.table is None:
        return False
    left, right = _AREA[0] + _HEADS + _CLEAR, _AREA[2]
    table = made.table(page, right - left)
    top = min(y - 4.0, _AREA[1] + table.height + 14.0)
    if top - table.height < _AREA[1]:
        return False
    draw_table(page, table, left, top, right)
    return True


def _scale(scene: Scene, made: Multiples, shown: dict[int, Building], box: Box) -> tuple[int, float]:
    """The finest round scale at which every plan fits its box, and the height (mm) of the tallest at that scale."""
    spans = [small_bounds(scene, small, shown[id(small)]) for row in made.plans for small in row if small is not None]
    wide, tall = max(b[2] - b[0] for b in spans), max(b[3] - b[1] for b in spans)
    scale = choose_scale(wide, tall, box[2] - box[0] - 2 * _CLEAR, box[3] - box[1] - 2 * _CLEAR)
    return scale, tall * 1000 / scale + 2 * _CLEAR


def draw_small(page: Page, scene: Scene, small: Small, building: Building, box: Box, scale: int) -> Box:
    """One small plan hung from the upper left corner of a box (mm), at a scale; the frame that it takes."""
    plane = small.plane
    outlines = plan.outlines_of(scene, building, plane)
    bounds = small_bounds(scene, small, building)
    # Flush with the heads: the plan hangs from the upper left corner of its box.
    half = (bounds[2] - bounds[0]) * 500 / scale + _CLEAR, (bounds[3] - bounds[1]) * 500 / scale + _CLEAR
    frame = (box[0], box[3] - 2 * half[1], box[0] + 2 * half[0], box[3])
    projection = Projection(scale, frame, ((bounds[0] + bounds[2]) / 2, (bounds[1] + bounds[3]) / 2))
    picture = paper_map(plane.surface, plane.margin_db, plane.reserve_db, outlines, projection, dpi=page.dpi)
    page.image(picture.rgba(), picture.box, 1.0)
    for index, spacing in ((palette.NOT_SEEN, hatching.NOT_SEEN_MM), (palette.DOUBTFUL, hatching.DOUBTFUL_MM)):
        lines = hatching.hatch_lines(picture.classes == index, picture.box, spacing * _CLOSER)
        page.lines(lines, palette.PAPER, hatching.WIDTH_PT * 0.8, 2.0, alpha=hatching.OPACITY, clip=picture.box)
    page.lines(picture.limit_lines(), palette.INK, 0.4, 3.0, clip=picture.box)
    drawing = Drawing(page, projection, Strokes(), _FINENESS)
    draw_building(drawing, building, plane.surface)
    storey_marks.draw_voids(drawing, building)
    mine, _ = units_by_storey(small.building, building, plane, small.units)
    _, centres = shown_units(mine, projection)
    page.discs(centres, 0.75, 19.9, face=palette.PAPER)
    page.discs(centres, 0.55, 20.0, face=palette.ACCENT)
    return frame


def _draw_figures(page: Page, plane: PlaneCoverage, box: Box) -> None:
    """Shares seen and assured, and the four classes as a bar, under a plan."""
    x0, _, x1, y = box
    text = f"{words.percent(plane.share)} seen, {words.percent(plane.assured_share)} assured"
    space = x1 - x0
    wanted = page.lettering.extent(text, "sans", 6.5).width
    with_bar = space - wanted > 9.0
    text, size = page.lettering.fit_size(text, "sans", (6.5, 6.0), space)
    page.text(x0 + _CLEAR, y - 2.9, text, size)
    if not with_bar:
        return
    found = distribution(plane.margin_db, np.asarray(plane.surface.area, np.float64), plane.reserve_db)
    right = x1 - _CLEAR
    left = max(right - _BAR, x0 + _CLEAR + wanted + 3.0)
    low, high = y - 2.9, y - 1.3
    x = left
    for index in reversed(range(4)):
        part = (right - left) * float(found.by_class[index])
        if part > 0.02:
            block = [(x, low), (x + part, low), (x + part, high), (x, high)]
            page.areas([[block]], 5.0, face=palette.hex_of(palette.class_rgb(index)))
            x += part
    page.areas([[[(left, low), (right, low), (right, high), (left, high)]]], 5.1, edge=palette.INK, width_pt=0.4)


def _draw_heads(page: Page, made: Multiples, boxes: Sequence[Sequence[Box]]) -> None:
    for head, box in zip(made.columns, boxes[0], strict=True):
        text, size = page.lettering.fit_size(clean(head), "italic", (13, 12, 11, 10, 9), box[2] - box[0])
        page.text(box[0] + _CLEAR, box[3] + 2.2, text, size, font="italic")
    for (head, note), row in zip(made.rows, boxes, strict=True):
        top = row[0][3] - 6.0
        for line in page.lettering.wrap(clean(head), "italic", 12, _HEADS - 1.5, 3):
            page.text(_AREA[0], top, line, 12, font="italic")
            top -= 4.6
        for line in page.lettering.wrap(clean(note), "sans", 6.5, _HEADS - 1.5, 3):
            page.text(_AREA[0], top + 0.6, line, 6.5, color=palette.SECOND_INK)
            top -= 3.2


def _draw_side(page: Page, scene: Scene, made: Multiples, notes: Sequence[str], scale: int) -> None:
    """Legend, notes, north and scale in the right column."""
    left, right = sheet.COLUMN, sheet.RIGHT
    reserve = next(small.plane.reserve_db for row in made.plans for small in row if small is not None)
    page.rule(left, right, 190.0, 0.5)
    at, parts = draw_bar(page, left, 133.5, reserve)
    for index, place in class_places(at, parts):
        page.text(left + 18.0, place - 0.8, palette.CLASS_NAMES[index], 6.5, font="bold")
    page.rule(left, right, 128.5, 0.5)
    y = 124.0
    for note in notes:
        for line in page.lettering.wrap(clean(note), "sans", 6.5, right - left, 14):
            page.text(left, y, line, 6.5)
            y -= 3.4
        y -= 2.4
    sheet.draw_north(page, scene.north_deg, (right - 6.0, 49.0))
    projection = Projection(scale, _AREA, (0.0, 0.0))
    sheet.draw_scale_bar(page.moved(right - 205.0 - 6.0, 34.6 - 187.0), projection)
