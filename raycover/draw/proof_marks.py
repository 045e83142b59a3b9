"""Marks of a proof: a tick for what is met, a cross for what is missed, a sight for the spot that decides."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from raycover.draw import palette
from raycover.draw.page import Box, Page

Floats = NDArray[np.float64]
#: Radius (mm) of the marks on a plan, and in tables.
RADIUS, SMALL = 2.1, 1.25
TICK = np.array([(-0.48, 0.02), (-0.12, -0.36), (0.5, 0.42)])
_CROSS = (np.array([(-0.36, -0.36), (0.36, 0.36)]), np.array([(-0.36, 0.36), (0.36, -0.36)]))
_SPOT = 0.85


def draw_verdict(page: Page, at: ArrayLike, *, met: bool, radius: float = RADIUS, z: float = 17.0) -> None:
    """A white disc with a tick where met, a dark one with a white cross where missed."""
    centre = np.asarray(at, float)
    face, line = (palette.PAPER, palette.INK) if met else (palette.INK, palette.PAPER)
    page.discs([centre], radius + 0.3, z, face=palette.PAPER)
    page.discs([centre], radius, z + 0.1, face=face, edge=palette.INK, width_pt=0.5)
    strokes = [centre + TICK * radius] if met else [centre + arm * radius for arm in _CROSS]
    page.lines(strokes, line, 1.3 * radius / RADIUS + 0.15, z + 0.2, cap="round")


def draw_spot(page: Page, at: ArrayLike, z: float = 16.5) -> None:
    """A small sight: the spot that decides."""
    centre = np.asarray(at, float)
    arms = [centre + np.array(arm) * _SPOT for arm in (((-1.7, 0), (1.7, 0)), ((0, -1.7), (0, 1.7)))]
    page.lines(arms, palette.PAPER, 1.6, z)
    page.discs([centre], _SPOT, z, face=palette.PAPER, edge=palette.PAPER, width_pt=1.2)
    page.lines(arms, palette.INK, 0.6, z + 0.1)
    page.discs([centre], _SPOT, z + 0.1, face=palette.PAPER, edge=palette.INK, width_pt=0.6)
    page.discs([centre], 0.22, z + 0.2, face=palette.INK)


def draw_never(page: Page, rings: Sequence[Any], clip: Box | None = None) -> None:
    """The outline of an area where no unit may be tripped: a heavy broken line, cased."""
    closed = [np.concatenate([ring, ring[:1]]) for ring in rings]
    page.lines(closed, palette.PAPER, 2.2, 9.0, clip=clip)
    page.lines(closed, palette.INK, 1.1, 9.1, dashes=(4.5, 2.0), clip=clip)


def draw_area(page: Page, rings: Sequence[Any], clip: Box | None = None) -> None:
    """The outline of an area that must be seen: a plain line, cased."""
    closed = [np.concatenate([ring, ring[:1]]) for ring in rings]
    page.lines(closed, palette.PAPER, 2.0, 9.0, clip=clip)
    page.lines(closed, palette.INK, 0.8, 9.1, clip=clip)


def draw_sight(page: Page, start: ArrayLike, end: ArrayLike, clip: Box | None = None) -> None:
    """The way from a unit to the spot that trips it."""
    page.lines([np.array([start, end], float)], palette.PAPER, 1.6, 14.0, alpha=0.8, clip=clip)
    page.lines([np.array([start, end], float)], palette.ACCENT, 0.6, 14.1, dashes=(1.5, 1.2), clip=clip)
