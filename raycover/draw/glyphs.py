"""Marks of detectors in plan: a ring that says what sort of unit hangs there and which way it faces."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from raycover.detectors import Unit
from raycover.draw import palette
from raycover.draw.footprints import is_long
from raycover.draw.page import Page, arc

Floats = NDArray[np.float64]
Sort = Literal[
    "infrared", "infrared long", "infrared side", "microwave", "microwave long", "dual or", "dual and", "dual then"
]
#: Sizes in mm at full size.
RING, COLLAR, TICK = 1.5, 0.35, 1.4
_Z = 20.0
#: Detectors nearer to each other than this on paper (mm) are drawn smaller, down to the smallest factor.
_AMPLE, _SMALLEST = 7.0, 0.4

WORDS: dict[Sort, str] = {
    "infrared": "infrared, all round",
    "infrared long": "infrared, long field",
    "infrared side": "infrared, one side",
    "microwave": "microwave",
    "microwave long": "microwave, long field",
    "dual or": "dual: either notices",
    "dual and": "dual: both notice",
    "dual then": "dual: trigger, hold",
}
#: How a dual unit is set, by its mark's sort.
_DUAL: dict[str, Sort] = {"or": "dual or", "and": "dual and", "trigger-then-hold": "dual then"}


@dataclass(frozen=True)
class Mark:
    """A detector on paper: centre (mm), the direction of azimuth 0, masked sectors on the page (from, to)."""

    sort: Sort
    centre: Floats
    azimuth_deg: float
    masks: tuple[tuple[float, float], ...] = ()


def sort_of(unit: Unit) -> Sort:
    if unit.halves:
        return _DUAL[unit.combine]
    if unit.kind == "microwave":
        return "microwave long" if is_long(unit) else "microwave"
    if unit.is_one_sided:
        return "infrared side"
    return "infrared long" if is_long(unit) else "infrared"


def mark_of(unit: Unit, centre: Floats) -> Mark:
    masks = tuple((m.from_deg + unit.turn_deg, m.from_deg + m.span_deg + unit.turn_deg) for m in unit.all_masks)
    return Mark(sort_of(unit), centre, unit.turn_deg, masks)


def size_factor(centres: Floats) -> float:
    """How large marks may be drawn (1 full) so that close neighbours (n, 2 in mm) stay apart."""
    return float(np.clip(spacing(centres) / _AMPLE, _SMALLEST, 1.0))


def spacing(centres: Floats) -> float:
    """How far (mm) neighbours (n, 2) typically stand apart, infinite for fewer than two."""
    if len(centres) < 2:
        return np.inf
    from scipy.spatial import cKDTree

    # A typical close pair decides; two units at one place must not shrink all others.
    places = np.unique(np.round(centres), axis=0)
    if len(places) < 2:
        return np.inf
    distance, _ = cKDTree(places).query(places, k=2)
    return float(np.quantile(distance[:, 1], 0.25))


def draw_marks(page: Page, marks: list[Mark], factor: float = 1.0) -> None:
    """Draw detectors' marks at a size factor."""
    ring, f = RING * factor, factor
    for mark in marks:
        for start, end in mark.masks:
            draw_wedge(page, mark.centre, start, end, f)
    page.discs([m.centre for m in marks], ring + COLLAR * f, _Z, face=palette.PAPER)
    ticks, dots, small, bars, dashes, waves, halves = [], [], [], [], [], [], []
    for mark in marks:
        c = mark.centre
        along = _unit(mark.azimuth_deg)
        ticks.append([c + along * ring, c + along * (ring + TICK * f)])
        if mark.sort == "infrared" or mark.sort.startswith("dual"):
            dots.append(c)
        if mark.sort == "infrared long":
            bars.append([c - along * 0.93 * f, c + along * 0.93 * f])
        elif mark.sort == "infrared side":
            halves.append([arc(c, 0.95 * f, mark.azimuth_deg - 90, mark.azimuth_deg + 90)])
        elif mark.sort != "infrared":
            if mark.sort == "microwave long":
                dashes.append([c - along * 0.5 * f, c + along * 0.5 * f])
            elif mark.sort == "microwave":
                small.append(c)
            spread = 40 if mark.sort == "microwave long" else 62
            for side in (mark.azimuth_deg, mark.azimuth_deg + 180):
                waves.append(arc(c, 0.88 * f, side - spread, side + spread, 16))
    page.lines(ticks, palette.PAPER, 2.4 * f, _Z - 0.1, cap="projecting")
    page.lines(ticks, palette.ACCENT, 1.2 * f, _Z + 0.1)
    rings = [m.centre for m in marks]
    page.discs(rings, ring - 0.16 * f, _Z + 0.2, face=palette.PAPER, edge=palette.ACCENT, width_pt=0.9 * f)
    page.discs(dots, 0.47 * f, _Z + 0.3, face=palette.ACCENT)
    page.discs(small, 0.3 * f, _Z + 0.3, face=palette.ACCENT)
    page.lines(bars, palette.ACCENT, 1.7 * f, _Z + 0.3)
    page.lines(dashes, palette.ACCENT, 1.3 * f, _Z + 0.3)
    page.lines(waves, palette.ACCENT, 0.75 * f, _Z + 0.3)
    page.areas(halves, _Z + 0.3, face=palette.ACCENT)


def draw_hung(page: Page, at: Floats, rod_mm: float, *, pale: bool = False, factor: float = 1.0) -> None:
    """A detector in section: the lower half of a disc under a rod; `pale` where it hangs beyond the cut."""
    half = arc(at, 1.25 * factor, 180.0, 360.0, 24)
    colour = "#D9B3A8" if pale else palette.ACCENT
    z = 18.0 if pale else 19.0
    if rod_mm > 0.05:
        page.lines([[at, at + np.array([0.0, rod_mm])]], palette.PAPER, 1.6, z - 0.1)
        page.lines([[at, at + np.array([0.0, rod_mm])]], colour, 0.7, z + 0.1)
    page.areas([[half]], z, face=palette.PAPER, edge=palette.PAPER, width_pt=1.4)
    page.areas([[half]], z + 0.1, face=palette.PAPER if pale else colour, edge=colour, width_pt=0.6)


def _unit(angle_deg: float) -> Floats:
    return np.array([np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))])


def draw_wedge(page: Page, centre: Floats, start: float, end: float, factor: float = 1.0) -> None:
    """A masked sector (degrees on the page): a small wedge outside the ring about a centre."""
    inner, outer = (RING + COLLAR) * factor, (RING + 2.3) * factor
    outline = np.concatenate([arc(centre, outer, start, end), arc(centre, inner, end, start)])
    page.areas([[outline]], _Z - 0.3, face=palette.PAPER, edge=palette.PAPER, width_pt=1.2)
    page.areas([[outline]], _Z - 0.2, face="#DCA594", edge=palette.ACCENT, width_pt=0.5)


def draw_footprints(page: Page, outlines: list[ArrayLike], clip: tuple[float, float, float, float]) -> None:
    """Declared footprints, polylines in mm: dashed accent on a white casing."""
    # Just under the walls, which hide what runs inside them.
    page.lines(outlines, palette.PAPER, 1.5, 7.6, alpha=0.7, clip=clip)
    page.lines(outlines, palette.ACCENT, 0.6, 7.7, dashes=(3.0, 1.32), clip=clip)
