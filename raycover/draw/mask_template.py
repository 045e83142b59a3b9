"""Masks to cut: each masked unit's sectors on a disc at 1:1, to lay on the lens or trace on foil."""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil

import numpy as np

from raycover.draw import palette, sheet
from raycover.draw.lettering import ENGLISH, Wording, named
from raycover.draw.page import A4_LANDSCAPE, Page, arc
from raycover.draw.title_block import TitleBlock, date_of, draw_title_block
from raycover.physics.pattern import Mask

#: Radius of the disc (mm): large enough to cut, small enough for six on a sheet. Angles, not sizes, are what counts.
RADIUS = 30.0
_ACROSS, _DOWN = 4, 2
_Z = 10.0


def make_templates(
    title: str,
    masked: Sequence[tuple[str, str, Sequence[Mask]]],
    *,
    revision: str,
    date: str | None,
    wording: Wording = ENGLISH,
) -> list[Page]:
    """Pages with a disc for each (tag, unit's title, masks): white is cut away, tinted stays over the lens."""
    per_page = _ACROSS * _DOWN
    n_pages = max(ceil(len(masked) / per_page), 1)
    pages = []
    for number in range(n_pages):
        page = Page(dpi=200, vector=True, wording=wording)
        for k, (tag, what, masks) in enumerate(masked[number * per_page : (number + 1) * per_page]):
            x = 45.0 + (k % _ACROSS) * 69.0
            y = 144.0 - (k // _ACROSS) * 78.0
            _draw_disc(page, np.array([x, y]), tag, what, masks)
        sheet.draw_title(
            page, title, "Masks to cut, 1:1: tinted covers the lens, as seen from below with azimuth 0 at the tick"
        )
        draw_title_block(
            page,
            TitleBlock(
                project=named(title),
                drawing="Masks to cut",
                conditions="print at 100 %, check the 50 mm line",
                scale="1 : 1",
                date=date_of(date),
                revision=named(revision),
                sheet=f"{number + 1} of {n_pages}",
            ),
        )
        x1 = A4_LANDSCAPE[0] - 12.0
        page.lines(
            [[(x1 - 50.0, 31.5), (x1, 31.5)], [(x1 - 50.0, 30.5), (x1 - 50.0, 32.5)], [(x1, 30.5), (x1, 32.5)]],
            palette.INK,
            0.6,
            _Z,
        )
        page.text(x1 - 52.0, 30.7, "50 mm", 6.5, ha="right")
        pages.append(page)
    return pages


def _draw_disc(page: Page, centre: np.ndarray, tag: str, what: str, masks: Sequence[Mask]) -> None:
    """Seen from below, azimuths run clockwise on the paper."""
    for mask in masks:
        start, end = -mask.from_deg, -(mask.from_deg + mask.span_deg)
        inner, outer = (_share(mask.off_axis_from_deg), _share(mask.off_axis_to_deg))
        ring = np.concatenate(
            [arc(centre, outer * RADIUS, start, end, 96), arc(centre, inner * RADIUS, end, start, 96)]
        )
        page.areas([[ring]], _Z, face="#F1D9D2", edge=palette.ACCENT, width_pt=0.7)
        for edge in (start, end):
            if mask.span_deg < 360:
                at = centre + (RADIUS + 3.4) * _unit(edge)
                degrees = f"{-edge % 360:g}°"
                page.text(float(at[0]), float(at[1]) - 0.9, degrees, 6.5, ha="center")
    page.lines([arc(centre, RADIUS, 0, 360, 181)], palette.INK, 0.6, _Z + 1)
    page.lines([[centre + RADIUS * _unit(0), centre + (RADIUS + 1.8) * _unit(0)]], palette.ACCENT, 1.4, _Z + 1)
    cross = centre + 2.0 * np.array([[(-1, 0), (1, 0)], [(0, -1), (0, 1)]])
    page.lines(cross, palette.INK, 0.4, _Z + 2)
    text, size = page.lettering.fit_size(named(f"{tag}, {what}"), "bold", (7.5, 7.0, 6.5), 2 * RADIUS + 4)
    page.text(float(centre[0]), float(centre[1]) - RADIUS - 8.6, text, size, font="bold", ha="center")


def _share(off_axis_deg: float) -> float:
    """Where an angle off the axis lies on the disc: the axis in its middle, 90° and beyond at its rim."""
    return min(off_axis_deg, 90.0) / 90.0


def _unit(degrees: float) -> np.ndarray:
    return np.array([np.cos(np.radians(degrees)), np.sin(np.radians(degrees))])
