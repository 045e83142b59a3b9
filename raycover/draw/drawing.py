"""A plan on a page: shapes in metres drawn at scale within the neat line, and notes of what text should keep off."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from raycover.draw import palette
from raycover.draw.page import Page
from raycover.draw.projection import Projection

Floats = NDArray[np.float64]


@dataclass
class Strokes:
    """What text should keep off: polylines in mm, each with a weight."""

    lines: list[tuple[Floats, float]] = field(default_factory=list)

    def add(self, lines: Sequence[ArrayLike] | Floats, weight: float) -> None:
        self.lines += [(np.asarray(line, float), weight) for line in lines]


@dataclass(frozen=True)
class Drawing:
    """Where a plan is drawn, and the notes taken meanwhile; `fineness` scales every width of line."""

    page: Page
    projection: Projection
    strokes: Strokes
    fineness: float = 1.0

    def lines(
        self,
        lines: Sequence[ArrayLike] | Floats,
        color: str,
        width_pt: float,
        z: float,
        *,
        dashes: tuple[float, ...] | None = None,
        weight: float = 0.0,
    ) -> None:
        """Polylines in metres, clipped to the neat line."""
        placed = [self.projection.to_paper(line) for line in lines]
        width = width_pt * self.fineness
        self.page.lines(placed, color, width, z, dashes=dashes, clip=self.projection.frame)
        if weight:
            self.strokes.add(placed, weight)

    def cased(
        self,
        lines: Sequence[ArrayLike] | Floats,
        width_pt: float,
        z: float,
        *,
        dashes: tuple[float, ...] | None = None,
        weight: float = 0.0,
    ) -> None:
        """Ink lines with a white casing, which keeps thin ones legible over deep shade."""
        self.lines(lines, palette.PAPER, width_pt + 0.8, z - 0.05)
        self.lines(lines, palette.INK, width_pt, z, dashes=dashes, weight=weight)

    def areas(
        self,
        polygons: Sequence[Any],
        z: float,
        *,
        face: str | None = None,
        edge: str | None = None,
        width_pt: float = 0.0,
        dashes: tuple[float, ...] | None = None,
        alpha: float = 1.0,
        weight: float = 0.0,
    ) -> None:
        """Polygons (shapely or (n, 2)) in metres, clipped to the neat line."""
        rings = [[self.projection.to_paper(r) for r in _rings(p)] for p in polygons]
        self.page.areas(
            rings, z, face=face, edge=edge, width_pt=width_pt * self.fineness, dashes=dashes, alpha=alpha,
            clip=self.projection.frame,
        )  # fmt: skip
        if weight:
            self.strokes.add([np.concatenate([r, r[:1]]) for some in rings for r in some], weight)


def _rings(polygon: Any) -> list[Floats]:
    if isinstance(polygon, np.ndarray):
        return [polygon]
    return [np.asarray(ring.coords)[:-1, :2] for ring in (polygon.exterior, *polygon.interiors)]
