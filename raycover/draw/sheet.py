"""The sheet around a drawing: title, headline figure, neat line, scale bar, north, key."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from raycover.draw import palette
from raycover.draw.glyphs import WORDS, Mark, Sort, draw_marks, draw_wedge
from raycover.draw.lettering import clean, named
from raycover.draw.page import A4_LANDSCAPE, Box, Page
from raycover.draw.people import draw_person
from raycover.draw.projection import Projection, round_step
from raycover.draw.storey_marks import draw_other
from raycover.signs import minus

Floats = NDArray[np.float64]
#: Places (mm) on A4; on larger paper what belongs to the right and the top moves with them (`Page.moved`).
MARGIN, RIGHT = 10.0, 287.0
FRAME: Box = (10.0, 33.5, 229.0, 176.0)
COLUMN = 236.5
#: Where the tables start, and how far down the column goes (mm).
COLUMN_TOP, COLUMN_FOOT = 128.5, 33.5
LEGEND_FOOT = 133.5
#: Longest scale bar on A4 (mm).
_BAR_MM = 58.0
_TITLE_SIZES = (20, 18, 16, 14, 13)
#: Sizes (pt) of the headline figure, and of the words beside it.
_FIGURE_PT, _BESIDE_PT = (24, 21, 18, 16), (6.5, 6.2, 6.0)
_TICK = 1.4
_LIMIT = "limit, 0 dB"


def frame_on(size: tuple[float, float]) -> Box:
    """The neat line on a sheet of a size (mm)."""
    x0, y0, x1, y1 = FRAME
    return x0, y0, x1 + size[0] - A4_LANDSCAPE[0], y1 + size[1] - A4_LANDSCAPE[1]


def draw_title(page: Page, title: str, subtitle: str) -> None:
    text, size = page.lettering.fit_size(named(title), "serif", _TITLE_SIZES, 205.0 + page.wider)
    page.text(MARGIN, 196.8, text, size, font="serif")
    line, size = page.lettering.fit_size(
        clean(subtitle), "sans", (8.5, 8, 7.5, 7, 6.5, 6.2, 6.0), 136.0 + page.wider / 2
    )
    page.text(MARGIN, 188.4, line, size, color=palette.SECOND_INK)


def draw_headline(page: Page, figure: str, beside: tuple[str, str]) -> None:
    words = max(page.lettering.extent(line, "sans", _BESIDE_PT[-1]).width for line in beside)
    _, large = page.lettering.fit_size(figure, "serif", _FIGURE_PT, RIGHT - COLUMN - 2.6 - words)
    extent = page.text(COLUMN, 196.6, figure, large, font="serif")
    x = COLUMN + extent.width + 2.6
    for line, y in zip(beside, (199.2, 195.4), strict=True):
        text, size = page.lettering.fit_size(line, "sans", _BESIDE_PT, RIGHT - x)
        page.text(x, y, text, size, color=palette.SECOND_INK)


def draw_class_bar(page: Page, shares: Sequence[float]) -> None:
    """The four classes' shares as one bar under the headline figure, best first."""
    x, y, width, height = COLUMN, 190.8, RIGHT - COLUMN, 1.8
    for index in reversed(range(4)):
        part = width * float(shares[index])
        if part > 0.02:
            box = [(x, y), (x + part, y), (x + part, y + height), (x, y + height)]
            page.areas([[box]], 5.0, face=palette.hex_of(palette.class_rgb(index)))
            x += part
    outline = [(COLUMN, y), (RIGHT, y), (RIGHT, y + height), (COLUMN, y + height)]
    page.areas([[outline]], 5.1, edge=palette.INK, width_pt=0.5)


def draw_frame(page: Page, projection: Projection) -> None:
    """The neat line with coordinates above and to the right."""
    x0, y0, x1, y1 = projection.frame
    page.areas([[[(x0, y0), (x1, y0), (x1, y1), (x0, y1)]]], 24.0, edge=palette.INK, width_pt=0.5)
    step = round_step(15.0 / projection.mm_per_m)
    low_x, low_y, high_x, high_y = projection.shown
    ticks = []
    for value in np.arange(np.ceil(low_x / step), np.floor(high_x / step) + 1) * step:
        x = float(projection.to_paper([value, 0.0])[0])
        ticks += [[(x, y1), (x, y1 + _TICK)], [(x, y0), (x, y0 - _TICK)]]
        page.text(x, y1 + 2.0, _coordinate(value), 6, ha="center", color=palette.SECOND_INK)
    for value in np.arange(np.ceil(low_y / step), np.floor(high_y / step) + 1) * step:
        y = float(projection.to_paper([0.0, value])[1])
        ticks += [[(x0, y), (x0 - _TICK, y)], [(x1, y), (x1 + _TICK, y)]]
        page.text(x1 + 2.0, y - 0.75, _coordinate(value), 6, color=palette.SECOND_INK)
    page.lines(ticks, palette.INK, 0.5, 24.0)


def _coordinate(value: float) -> str:
    return minus(f"{value:g}") if value else "0"


def scale_bar(page: Page, projection: Projection) -> tuple[float, int]:
    """Length (m) of a part of the scale bar and how many there are; on larger paper the bar is longer."""
    part = round_step(7.0 / projection.mm_per_m)
    most = _BAR_MM + page.wider / 2
    while page.wider and (longer := round_step(1.01 * part)) * 5 * projection.mm_per_m <= most:
        part = longer
    width = part * projection.mm_per_m
    return part, 5 if width * 5 <= most else 4 if width * 4 <= most else 3


def draw_scale_bar(page: Page, projection: Projection) -> None:
    """A bar of five parts about 50 mm long, its right end before the north arrow."""
    part, n = scale_bar(page, projection)
    width = part * projection.mm_per_m
    x0, y, height = 205.0 - n * width, 187.0, 1.1
    for k in range(n):
        left, right = x0 + k * width, x0 + (k + 1) * width
        box = [(left, y), (right, y), (right, y + height), (left, y + height)]
        page.areas([[box]], 25.0, face=palette.INK if k % 2 == 0 else palette.PAPER, edge=palette.INK, width_pt=0.5)
    for k in range(n + 1):
        value = f"{k * part:g}"
        page.text(x0 + k * width, y + 2.0, value, 6.5, ha="center")
    last = page.lettering.extent(f"{n * part:g}", "sans", 6.5).width
    page.text(x0 + n * width + last / 2 + 0.6, y + 2.0, "m", 6.5)


def draw_north(page: Page, north_deg: float, at: tuple[float, float] = (220.0, 190.6)) -> None:
    """A half-filled needle towards north (`north_deg` anticlockwise from +x) about a place, N at its tip."""
    centre = np.array(at)
    angle = np.radians(north_deg)
    tip, side = np.array([np.cos(angle), np.sin(angle)]), np.array([-np.sin(angle), np.cos(angle)])
    top, tail, notch = centre + tip * 5.5, centre - tip * 5.5, centre - tip * 3.2
    left, right = tail + side * 1.7, tail - side * 1.7
    page.areas([[[top, left, notch]]], 25.0, face=palette.INK, edge=palette.INK, width_pt=0.5)
    page.areas([[[top, right, notch]]], 25.0, face=palette.PAPER, edge=palette.INK, width_pt=0.5)
    extent = page.lettering.extent("N", "serif", 10)
    # Beside the tip: the letter keeps clear of the needle whichever way it points.
    place = centre + tip * 4.2 - side * 3.6 if abs(tip[1]) > 0.5 else centre + tip * 4.2 + np.array([0.0, 3.4])
    page.text(float(place[0]), float(place[1]) - extent.above * 0.38, "N", 10, font="serif", ha="center")


@dataclass(frozen=True)
class Key:
    """What the key must explain."""

    sorts: tuple[Sort, ...]
    footprints: bool
    limit: bool
    masks: bool
    seats: bool = False
    others: bool = False
    voids: bool = False
    stairs: str = ""

    @property
    def height(self) -> float:
        rows = [self.footprints or self.limit, self.masks, self.seats, self.others, self.voids, bool(self.stairs)]
        if not self.sorts and not any(rows[3:]):
            return 0.0
        return 0.8 + 4.3 * (len(self.sorts) + sum(rows))


def _sample(y: float) -> Floats:
    """(4, 2) corners of a small oblong in the key, beside words whose baseline lies at y."""
    return np.array([(0.0, -0.5), (4.6, -0.5), (4.6, 2.2), (0.0, 2.2)]) + np.array([COLUMN, y])


def draw_key(page: Page, key: Key) -> None:
    """Marks and lines of this sheet, at the foot of the column."""
    if not key.height:
        return
    top = COLUMN_FOOT + key.height
    page.rule(COLUMN, RIGHT, top, 0.5)
    y = top - 4.4
    for index, sort in enumerate(key.sorts):
        draw_marks(page, [Mark(sort, np.array([COLUMN + 1.9, y + 0.8]), 0.0)])
        page.text(COLUMN + 6.5, y, WORDS[sort], 6.5)
        if index == 0:
            page.text(RIGHT, y, "tick: azimuth 0", 6, ha="right", color=palette.SECOND_INK)
        y -= 4.3
    if key.masks:
        draw_wedge(page, np.array([COLUMN - 0.8, y + 0.8]), -38.0, 38.0)
        page.text(COLUMN + 6.5, y, "masked sector", 6.5)
        y -= 4.3
    if key.seats:
        for x, noticed, text in ((COLUMN, True, "seated, noticed"), (COLUMN + 29.0, False, "not noticed")):
            draw_person(page, np.array([x + 1.9, y + 0.4]), 90.0, 3.2, noticed=noticed)
            page.text(x + 6.5, y, text, 6.5)
        y -= 4.3
    if key.others:
        draw_other(page, (COLUMN + 1.9, y + 0.8))
        page.text(COLUMN + 6.5, y, "other storey: above ↑, below ↓", 6.0)
        y -= 4.3
    if key.voids:
        box = _sample(y)
        page.lines([box[[0, 2]], box[[1, 3]]], palette.SECOND_INK, 0.35, 25.0)
        page.areas([[box]], 25.0, edge=palette.INK, width_pt=0.45, dashes=(3.0, 1.5))
        page.text(COLUMN + 6.5, y, "void in the floor", 6.0)
        y -= 4.3
    if key.stairs:
        box = _sample(y)
        treads = [[(COLUMN + x, y - 0.5), (COLUMN + x, y + 2.2)] for x in (0.92, 1.84, 2.76, 3.68)]
        page.areas([[box]], 25.0, face=palette.BENCH, edge=palette.INK, width_pt=0.4)
        page.lines(treads, palette.INK, 0.4, 25.0)
        page.text(COLUMN + 6.5, y, key.stairs, 6.0)
        y -= 4.3
    x = COLUMN
    if key.footprints:
        page.lines([[(x, y + 0.8), (x + 4.6, y + 0.8)]], palette.ACCENT, 0.6, 25.0, dashes=(3.0, 1.32))
        page.text(x + 6.5, y, "declared footprint", 6.5)
        x = min(COLUMN + 31.5, RIGHT - 6.5 - page.lettering.extent(_LIMIT, "sans", 6.5).width)
    if key.limit:
        page.lines([[(x, y + 0.8), (x + 4.6, y + 0.8)]], palette.INK, 0.7, 25.0)
        page.text(x + 6.5, y, _LIMIT, 6.5)


def draw_left_out(page: Page, n_tags: int, n_names: int, note: str = "") -> None:
    """Under the neat line, what this scale has no room for: words that the plan would otherwise miss silently.

    A `note` on what the map counts stands over it.
    """
    counts = ((n_tags, "detector tag"), (n_names, "room name"))
    parts = [f"{n} {what}{'' if n == 1 else 's'}" for n, what in counts if n]
    lines = [page.lettering.fit(note, "sans", 6, FRAME[2] - FRAME[0] + page.wider)] if note else []
    lines += [f"No room at this scale for {' and '.join(parts)}."] if parts else []
    for line, y in zip(lines, (29.0,) if len(lines) == 1 else (30.2, 28.0), strict=False):
        page.text(MARGIN, y, line, 6, color=palette.SECOND_INK)
