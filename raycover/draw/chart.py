"""Line charts on a page: axes, ticks, lines named at their ends, bands, marks. Coordinates in mm, as everything."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from raycover.draw import palette
from raycover.draw.legend import spread
from raycover.draw.lettering import clean
from raycover.draw.page import Box, Page
from raycover.draw.projection import round_step
from raycover.signs import minus

Floats = NDArray[np.float64]
_NAME_PITCH = 3.2
#: A band where a need holds: pale, under the lines.
_BAND = "#EEF1DA"


@dataclass(frozen=True)
class Line:
    """One line: values (n,) at the chart's places, NaN where there is none; `name` stands at its end."""

    name: str
    values: Floats
    dashes: tuple[float, ...] | None = None
    color: str = palette.INK
    width_pt: float = 1.0
    dots: bool = False


@dataclass(frozen=True)
class Chart:
    """Lines over places `x` (n,); `low` to `high` are the ends of the upright axis."""

    title: str
    x: Floats
    x_label: str
    lines: tuple[Line, ...]
    low: float
    high: float
    say: Callable[[float], str]
    bands: tuple[tuple[float, float], ...] = ()
    levels: tuple[tuple[float, str], ...] = field(default=())
    marked: float | None = None


def draw_chart(page: Page, chart: Chart, box: Box, *, names: float = 34.0) -> None:
    """Draw a chart in a box (mm); `names` (mm) at its right are kept for the names of lines."""
    x0, y0, x1, y1 = box
    page.text(x0, y1 - 2.6, clean(chart.title), 7.5, font="bold")
    inner = (x0 + 10.0, y0 + 8.6, x1 - names, y1 - 6.4)
    across, up = _scales(chart, inner)
    for first, last in chart.bands:
        a, b = across(first), across(last)
        page.areas([[[(a, inner[1]), (b, inner[1]), (b, inner[3]), (a, inner[3])]]], 2.0, face=_BAND)
    _draw_axes(page, chart, inner, across, up)
    ends = []
    for line in chart.lines:
        points = np.stack([[across(float(v)) for v in chart.x], [up(float(v)) for v in line.values]], axis=1)
        known = np.isfinite(line.values)
        for part in np.split(points, np.flatnonzero(~known)):
            part = part[np.isfinite(part[:, 1])]
            if len(part) > 1:
                page.lines([part], line.color, line.width_pt, 6.0, dashes=line.dashes, clip=_wide(inner))
        if line.dots or known.sum() == 1:
            page.discs(points[known], 0.55, 6.2, face=line.color)
        if known.any():
            ends.append((float(points[known][-1, 1]), line))
    ends.sort(key=lambda end: end[0])
    places = spread(np.array([y for y, _ in ends]), _NAME_PITCH)
    for (y, line), place in zip(ends, places, strict=True):
        page.lines([[(inner[2] + 0.6, y), (inner[2] + 2.4, place)]], line.color, 0.4, 5.0)
        text, size = page.lettering.fit_size(clean(line.name), "sans", (6.5, 6.0), names - 3.4)
        page.text(inner[2] + 3.0, float(place) - 0.8, text, size, color=line.color)
    if chart.marked is not None:
        x = across(chart.marked)
        page.lines([[(x, inner[1]), (x, inner[3])]], palette.ACCENT, 0.7, 5.5, dashes=(3.0, 1.8))
        space = (inner[2] - x, "left") if x < (inner[0] + inner[2]) / 2 else (x - inner[0], "right")
        text = page.lettering.fit("as drawn", "sans", 6.0, space[0])
        side = 1.0 if space[1] == "left" else -1.0
        page.text(x + side, inner[1] + 1.2, text, 6.0, color=palette.ACCENT, ha=space[1], halo_pt=1.8)  # type: ignore[arg-type]


def _wide(inner: Box) -> Box:
    return inner[0], inner[1] - 0.4, inner[2] + 0.4, inner[3] + 0.4


def _scales(chart: Chart, inner: Box) -> tuple[Callable[[float], float], Callable[[float], float]]:
    first, last = float(np.min(chart.x)), float(np.max(chart.x))
    width = last - first if last > first else 1.0
    height = chart.high - chart.low if chart.high > chart.low else 1.0

    def across(value: float) -> float:
        return inner[0] + (value - first) / width * (inner[2] - inner[0])

    def up(value: float) -> float:
        return inner[1] + (value - chart.low) / height * (inner[3] - inner[1])

    return across, up


def _draw_axes(
    page: Page, chart: Chart, inner: Box, across: Callable[[float], float], up: Callable[[float], float]
) -> None:
    x0, y0, x1, y1 = inner
    for value in ticks(chart.low, chart.high, (y1 - y0) / 8.0):
        y = up(value)
        page.lines([[(x0, y), (x1, y)]], palette.RULE, 0.4, 3.0)
        page.text(x0 - 1.4, y - 0.8, chart.say(value), 6.5, ha="right")
    for value in ticks(float(np.min(chart.x)), float(np.max(chart.x)), (x1 - x0) / 14.0):
        x = across(value)
        page.lines([[(x, y0), (x, y0 - 0.9)]], palette.INK, 0.5, 4.0)
        page.text(x, y0 - 3.8, minus(f"{value:g}"), 6.5, ha="center")
    page.lines([[(x0, y0), (x1, y0)]], palette.INK, 0.6, 4.0)
    page.text((x0 + x1) / 2, y0 - 7.4, clean(chart.x_label), 6.5, ha="center", color=palette.SECOND_INK)
    for value, name in chart.levels:
        y = up(value)
        page.lines([[(x0, y), (x1, y)]], palette.INK, 0.6, 4.5, dashes=(1.6, 1.6))
        page.text(x1 - 1.0, y - 2.9, clean(name), 6.0, color=palette.SECOND_INK, halo_pt=1.8, ha="right")


def ticks(low: float, high: float, most: float) -> Sequence[float]:
    """Round values from `low` to `high`, no more than about `most`."""
    if high <= low:
        return [low]
    step = round_step((high - low) / max(most, 1.0))
    first, last = np.ceil(low / step - 1e-9), np.floor(high / step + 1e-9)
    return [float(k * step) + 0.0 for k in np.arange(first, last + 1)]
