"""Charts of a construction's sheet: losses against angle and frequency, mirrored power against angle."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from raycover.draw.chart import ticks
from raycover.draw.page import Box, Page
from raycover.draw.palette import INK, PAPER, RULE, SECOND_INK
from raycover.kit.sheet_figures import BANDS_GHZ, SheetFigures

Floats = NDArray[np.float64]

#: A colour a frequency, in the order drawn: apart in grey and for every common colour vision deficiency.
COLOURS = ("#1E4E86", "#6E9146", "#A08A5A", "#5E6B73")
_SPREAD_ALPHA = 0.20
_AVERAGED_PT, _COHERENT_PT = 1.3, 0.5


@dataclass(frozen=True)
class Axes:
    """A plot's box (mm) and what its ends stand for."""

    box: Box
    x: tuple[float, float]
    y: tuple[float, float]
    logarithmic: bool = False

    def across(self, values: Floats) -> Floats:
        low, high = self.x
        share = np.log(values / low) / np.log(high / low) if self.logarithmic else (values - low) / (high - low)
        return np.asarray(self.box[0] + share * (self.box[2] - self.box[0]))

    def up(self, values: Floats) -> Floats:
        low, high = self.y
        # what lies far above the plot is cut there: a page has no place for infinity
        share = np.minimum((values - low) / (high - low), 1.6)
        return np.asarray(self.box[1] + share * (self.box[3] - self.box[1]))

    def points(self, x: Floats, y: Floats) -> Floats:
        return np.stack([self.across(x), self.up(y)], axis=1)


def against_angle(page: Page, figures: SheetFigures, box: Box) -> None:
    """One-way loss from square on to 85°."""
    angles, fine = figures.angles_deg, figures.fine_deg
    top = _top([band.high_db[angles <= 75] for band in figures.bands])
    axes = Axes(box, (0.0, 85.0), (0.0, top))
    _frame(page, axes, [float(v) for v in range(0, 86, 15)], lambda v: f"{v:g}°", "one-way loss, dB")
    for band, colour in zip(figures.bands, COLOURS, strict=False):
        spread = (angles, band.low_db, band.high_db)
        _curves(page, axes, spread, (fine, band.averaged_db), (fine, band.coherent_db), colour)
    _names(page, axes, figures, [band.averaged_db for band in figures.bands])
    if figures.is_opaque:
        _say(page, axes, "opaque: nothing passes at any angle")


def mirrored_against_angle(page: Page, figures: SheetFigures, box: Box) -> None:
    """Share of the power that is mirrored, in per cent."""
    angles, fine = figures.angles_deg, figures.fine_deg
    axes = Axes(box, (0.0, 85.0), (0.0, 100.0))
    _frame(page, axes, [float(v) for v in range(0, 86, 15)], lambda v: f"{v:g}°", "mirrored power, %", every=25.0)
    for band, colour in zip(figures.bands, COLOURS, strict=False):
        spread = (angles, 100 * band.mirrored_low, 100 * band.mirrored_high)
        _curves(page, axes, spread, (fine, 100 * band.mirrored), (fine, 100 * band.mirrored_coherent), colour)
    _names(page, axes, figures, [100 * band.mirrored for band in figures.bands])
    if not any(band.mirrored.any() for band in figures.bands):
        _say(page, axes, "open: nothing is mirrored")


def against_frequency(page: Page, figures: SheetFigures, box: Box) -> None:
    """One-way loss straight through, over what there are figures for; the licence-exempt bands marked."""
    stretches = figures.stretches
    known = [v for s in stretches for v in (s.averaged_db, s.high_db)]
    top = _top([*known, *([band.averaged_db[:1] for band in figures.bands])])
    low, high = (1.0, 100.0)
    axes = Axes(box, (low, high), (0.0, top), logarithmic=True)
    marks = [1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0]
    _frame(page, axes, marks, lambda v: f"{v:g}", "one-way loss, dB", x_label="GHz")
    colours = dict(zip([band.frequency_ghz for band in figures.bands], COLOURS, strict=False))
    for frequency in sorted({*BANDS_GHZ, *colours}):
        x = float(axes.across(np.array([frequency]))[0])
        if low <= frequency <= high:
            page.lines([[(x, box[1]), (x, box[3])]], colours.get(frequency, SECOND_INK), 0.7, 5.2, dashes=(3.0, 1.8))
            page.text(x + 0.8, box[3] + 1.0, f"{frequency:g}", 6, ha="center", color=colours.get(frequency, SECOND_INK))
    for s in stretches:
        spread = (s.frequency_ghz, s.low_db, s.high_db)
        _curves(page, axes, spread, (s.frequency_ghz, s.averaged_db), (s.coherent_ghz, s.coherent_db), INK)
    for band, colour in zip(figures.bands, COLOURS, strict=False):
        value = float(band.averaged_db[0])
        if np.isfinite(value):
            at = axes.points(np.array([band.frequency_ghz]), np.array([value]))
            page.discs(at, 0.9, 8, face=PAPER if band.stands_in else colour, edge=colour, width_pt=0.8)
    if figures.is_opaque:
        _say(page, axes, "opaque at every frequency")


def key(page: Page, x: float, y: float) -> None:
    """What the lines mean, in one row from x (mm) on."""
    page.areas([[[(x, y - 0.4), (x + 7, y - 0.4), (x + 7, y + 2.4), (x, y + 2.4)]]], 10, face=INK, alpha=_SPREAD_ALPHA)
    x += 8.5 + page.text(x + 8.5, y, "met within ±10 % of every thickness", 6.5).width + 5
    page.lines([[(x, y + 1), (x + 7, y + 1)]], INK, _AVERAGED_PT, 10)
    x += 8.5 + page.text(x + 8.5, y, "averaged over it", 6.5).width + 5
    page.lines([[(x, y + 1), (x + 7, y + 1)]], INK, _COHERENT_PT, 10)
    page.text(x + 8.5, y, "as drawn (coherent)", 6.5)


def _curves(
    page: Page,
    axes: Axes,
    spread: tuple[Floats, Floats, Floats],
    averaged: tuple[Floats, Floats],
    coherent: tuple[Floats, Floats],
    colour: str,
) -> None:
    """A band from low to high, the coherent curve thin and the averaged one over it; nothing where opaque."""
    if not np.isfinite(averaged[1]).any():
        return
    x, low, high = spread
    if len(x) > 1 and np.isfinite(low).all():
        ring = np.concatenate([axes.points(x, low), axes.points(x, np.nan_to_num(high, posinf=1e6))[::-1]])
        page.areas([[ring]], 4, face=colour, alpha=_SPREAD_ALPHA, clip=axes.box)
    clip = (axes.box[0], axes.box[1] - 0.4, axes.box[2], axes.box[3] + 0.2)
    page.lines([axes.points(*coherent)], colour, _COHERENT_PT, 6, clip=clip)
    page.lines([axes.points(*averaged)], PAPER, _AVERAGED_PT + 1.0, 6.5, alpha=0.7, clip=clip)
    page.lines([axes.points(*averaged)], colour, _AVERAGED_PT, 7, clip=clip)


def _names(page: Page, axes: Axes, figures: SheetFigures, curves: list[Floats]) -> None:
    """Each frequency beside its curve, right of the plot; apart where curves end close together."""
    ends: list[tuple[float, str, str]] = []
    for band, colour, curve in zip(figures.bands, COLOURS, curves, strict=False):
        if not np.isfinite(curve).any():
            continue
        inside = np.flatnonzero(np.isfinite(curve) & (curve <= axes.y[1]))
        y = axes.box[3] - 2.0 if not len(inside) else float(axes.up(curve[inside[-1:]])[0])
        ends.append((min(y, axes.box[3] - 1.0), f"{band.frequency_ghz:g} GHz", colour))
    placed: list[float] = []
    for y, words, colour in sorted(ends):
        at = max(y - 0.8, placed[-1] + 3.0) if placed else max(y - 0.8, axes.box[1])
        placed.append(at)
        page.text(axes.box[2] + 1.6, at, words, 6.5, color=colour, font="bold")


def _frame(
    page: Page,
    axes: Axes,
    marks: list[float],
    say: Callable[[float], str],
    y_label: str,
    *,
    x_label: str = "",
    every: float | None = None,
) -> None:
    x0, y0, x1, y1 = axes.box
    low, high = axes.y
    levels = ticks(low, high, (y1 - y0) / 8.0) if every is None else np.arange(low, high + every / 2, every).tolist()
    for value in levels:
        y = float(axes.up(np.array([value]))[0])
        page.lines([[(x0, y), (x1, y)]], RULE, 0.4, 3)
        page.text(x0 - 1.4, y - 0.8, f"{value:g}", 6.5, ha="right")
    for value in marks:
        x = float(axes.across(np.array([value]))[0])
        ha: Literal["left", "center", "right"] = "center"
        page.lines([[(x, y0), (x, y0 - 0.9)]], INK, 0.5, 4)
        page.text(x, y0 - 3.8, say(value), 6.5, ha=ha)
    page.lines([[(x0, y0), (x1, y0)]], INK, 0.6, 4)
    page.text(x0 - 6.0, y1 + 2.8, y_label, 6, color=SECOND_INK)
    if x_label:
        page.text(x1 + 2.6, y0 - 3.8, x_label, 6.5, color=SECOND_INK)


def _say(page: Page, axes: Axes, words: str) -> None:
    x0, y0, x1, y1 = axes.box
    page.text((x0 + x1) / 2, (y0 + y1) / 2 - 1.0, words, 8, font="oblique", ha="center", color=SECOND_INK, halo_pt=3.0)


def _top(curves: list[Floats]) -> float:
    """A round end of the axis above what the curves reach, not below 3 dB."""
    finite = [float(v[np.isfinite(v)].max()) for v in curves if np.isfinite(v).any()]
    most = max([3.0, *finite])
    for step in (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0, 2000.0, 5000.0):
        if most <= 6 * step:
            return float(step * np.ceil(most / step - 1e-9))
    return float(most)
