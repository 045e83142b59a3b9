"""Marks of nuisances in plan: the shape says what sort of thing, the fill what it does, the number which one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from raycover.detectors import Unit
from raycover.draw import palette
from raycover.draw.page import Page
from raycover.physics.pattern import Mask
from raycover.scene.nuisances import Nuisance
from raycover.trips.judging import Verdict

Floats = NDArray[np.float64]
Sort = Literal["moves", "hot", "moves and hot", "people"]
WORDS: dict[Sort, str] = {
    "moves": "moves (for microwave)",
    "hot": "hot or cold (for infrared)",
    "moves and hot": "both",
    "people": "people",
}
VERDICT_WORDS: dict[Verdict, str] = {"trips": "trips a unit", "may trip": "may trip", "no": "does not"}
#: Half the width of a mark (mm).
RADIUS = 2.0
_Z = 18.0
#: Beyond every sheet (m).
_FAR = 1e4
_CORNERS: dict[Sort, tuple[int, float, float]] = {
    # corners, angle of the first (degrees), reach in radii: alike in area
    "moves": (4, 0.0, 1.18),
    "hot": (3, 90.0, 1.5),
    "moves and hot": (5, 90.0, 1.12),
    "people": (4, 45.0, 1.18),
}


@dataclass(frozen=True)
class NuisanceMark:
    """A nuisance on paper: centre (mm), what sort, what it does to the units, its number in the table."""

    centre: Floats
    sort: Sort
    verdict: Verdict
    number: str


def sort_of(spec: Nuisance) -> Sort:
    if spec.default.person:
        return "people"
    hot = spec.is_hot
    return ("moves and hot" if hot else "moves") if spec.echo_m2 is not None else "hot"


def draw_marks(page: Page, marks: list[NuisanceMark]) -> None:
    for mark in marks:
        n, first, reach = _CORNERS[mark.sort]
        angle = np.radians(first + np.arange(n) * 360 / n)
        corners = np.stack([np.cos(angle), np.sin(angle)], axis=1) * RADIUS * reach
        outline = mark.centre + corners
        page.areas([[mark.centre + corners * 1.28]], _Z, face=palette.PAPER)
        trips, width = mark.verdict == "trips", 0.45 if mark.verdict == "no" else 1.0
        page.areas(
            [[outline]], _Z + 0.1, face=palette.INK if trips else palette.PAPER,
            edge=palette.SECOND_INK if mark.verdict == "no" else palette.INK, width_pt=width,
        )  # fmt: skip
        extent = page.lettering.extent(mark.number, "bold", 6.0)
        colour = palette.PAPER if trips else palette.SECOND_INK if mark.verdict == "no" else palette.INK
        y = float(mark.centre[1]) - 0.38 * extent.above
        page.text(float(mark.centre[0]), y, mark.number, 6.0, font="bold", ha="center", color=colour, z=_Z + 0.2)


def sector(unit: Unit, mask: Mask, rise: float, reach: float) -> Any:
    """A mask (shapely, m) where it meets a level `rise` (m) above the unit (negative: below), within `reach` of it."""
    n = max(int(np.ceil(mask.span_deg / 3)), 2) + 1
    azimuth = np.radians(np.linspace(mask.from_deg, mask.from_deg + mask.span_deg, n))
    one = _on_level(unit, azimuth, mask.off_axis_from_deg, rise)
    other = _on_level(unit, azimuth, mask.off_axis_to_deg, rise)
    if mask.span_deg >= 360:  # either ring may have shrunk to the point where the axis meets the level
        shape = shapely.Polygon(one).buffer(0).symmetric_difference(shapely.Polygon(other).buffer(0))
    else:
        shape = shapely.Polygon(np.concatenate([one, other[::-1]])).buffer(0)
    return shape.intersection(shapely.Point(unit.position[:2]).buffer(reach, quad_segs=32))


def _on_level(unit: Unit, azimuth: Floats, off_deg: float, rise: float) -> Floats:
    """Where directions of a unit at azimuths (n,) and an angle off its axis meet a level; far off where they do not."""
    off = np.radians(off_deg)
    local = np.stack(
        [np.sin(off) * np.cos(azimuth), np.sin(off) * np.sin(azimuth), np.full(len(azimuth), -np.cos(off))]
    )
    x, y, z = unit.rotation @ local
    flat = np.hypot(x, y)
    toward = z * np.sign(rise)
    radius = np.where(toward > 0, np.minimum(abs(rise) * flat / np.maximum(toward, 1e-9), _FAR), _FAR)
    return np.asarray(unit.position[:2] + np.stack([x, y], axis=1) / np.maximum(flat, 1e-9)[:, None] * radius[:, None])


def draw_sectors(page: Page, areas: list[list[ArrayLike]], clip: tuple[float, float, float, float]) -> None:
    """Masks proposed, rings in mm: tinted in the detectors' colour with a firm edge."""
    for rings in areas:
        page.areas([rings], 4.0, face=palette.ACCENT, alpha=0.14, clip=clip)
        page.areas([rings], 7.8, edge=palette.ACCENT, width_pt=0.6, clip=clip)


def draw_sight(page: Page, lines: list[tuple[Floats, Verdict]], clip: tuple[float, float, float, float]) -> None:
    """Lines of sight from units to the worst points of nuisances: firm where they trip, broken where they may."""
    for verdict, dashes in (("trips", None), ("may trip", (2.6, 1.8))):
        some = [line for line, found in lines if found == verdict]
        page.lines(some, palette.PAPER, 1.8, 12.0, alpha=0.85, clip=clip)
        page.lines(some, palette.INK, 0.7, 12.1, dashes=dashes, clip=clip)
    page.discs([line[-1] for line, _ in lines], 0.45, 12.2, face=palette.INK, edge=palette.PAPER, width_pt=0.4)
