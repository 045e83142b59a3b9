"""A stair's walking surface laid out flat: storey by storey in rows at one round scale, and its map on paper.

Along a row one walks up to the right. Landings are unfolded over their far edge, so of a stair that turns back
the flights that go up lie above each other as if seen from above, and those that come back as in a mirror.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from raycover.building.parts import StairShape
from raycover.draw import palette
from raycover.draw.mapping import PaperMap, resample, spread
from raycover.draw.projection import Box, Projection, scales
from raycover.solving.coverage import PlaneCoverage
from raycover.solving.surfaces import Strip, Surface, unrolled

Floats = NDArray[np.float64]
#: Room (mm) over a row for levels, under it for names of pieces, and between rows side by side.
ABOVE, BELOW, BESIDE = 6.0, 6.5, 9.0


@dataclass(frozen=True)
class Run:
    """The strips from one floor to the next, in a row: `start` and `end` (m) along the unrolled stair."""

    strips: tuple[Strip, ...]
    start: float
    end: float

    @property
    def length(self) -> float:
        return self.end - self.start


@dataclass(frozen=True)
class Unrolled(Projection):
    """Places (x along, y across, m) on an unrolled stair to paper; `corners` (n, 2) mm are the runs' lower left."""

    runs: tuple[Run, ...] = ()
    corners: tuple[tuple[float, float], ...] = ()
    span: float = 0.0

    def to_paper(self, points: ArrayLike) -> Floats:
        places = np.asarray(points, float)
        starts = np.array([run.start for run in self.runs])
        index = np.clip(np.searchsorted(starts, places[..., 0] + 1e-9, side="right") - 1, 0, len(starts) - 1)
        corner = np.array(self.corners)[index]
        along = (places[..., 0] - starts[index]) * self.mm_per_m
        return np.asarray(corner + np.stack([along, (self.span - places[..., 1]) * self.mm_per_m], axis=-1))

    def box(self, run: int) -> Box:
        """Where a run lies on paper."""
        x0, y0 = self.corners[run]
        return x0, y0, x0 + self.runs[run].length * self.mm_per_m, y0 + self.span * self.mm_per_m

    def turned(self, stairs: StairShape, piece: int, directions: ArrayLike) -> Floats:
        """Directions (n, 2) in plan as they lie on paper on a piece."""
        made = stairs.pieces[piece]
        flat = np.asarray(directions, float)
        return np.stack([flat @ made.along[:2], -(flat @ made.across[:2])], axis=-1)


def runs_of(stairs: StairShape, grid: float) -> tuple[Run, ...]:
    groups: list[list[Strip]] = []
    for strip in unrolled(stairs, grid):
        new = not groups or strip.column > groups[-1][-1].column + groups[-1][-1].n_columns
        groups = [*groups, [strip]] if new else [*groups[:-1], [*groups[-1], strip]]
    ends = [(g[0].start, g[-1].start + g[-1].n_columns * g[-1].wide) for g in groups]
    return tuple(Run(tuple(g), *end) for g, end in zip(groups, ends, strict=True))


def lay_out(stairs: StairShape, grid: float, box: Box) -> Unrolled:
    """The runs in rows within a box (mm) at the largest round scale that fits, the lowest storey lowest."""
    runs = runs_of(stairs, grid)
    wide, high = box[2] - box[0], box[3] - box[1]
    for scale in scales():
        mm = 1000 / scale
        rows = _rows([run.length * mm for run in runs], wide)
        pitch = stairs.span * mm + ABOVE + BELOW
        if rows is not None and len(rows) * pitch <= high + 1e-9:
            spare = (high - len(rows) * pitch) / (len(rows) + 1)
            corners = []
            for number, row in enumerate(rows):
                total = sum(runs[i].length * mm for i in row) + BESIDE * (len(row) - 1)
                x = box[0] + (wide - total) / 2
                y = box[1] + spare * (number + 1) + pitch * number + BELOW
                for index in row:
                    corners.append((x, y))
                    x += runs[index].length * mm + BESIDE
            return Unrolled(scale, box, (0.0, 0.0), runs, tuple(corners), stairs.span)
    raise AssertionError("unreachable: the scales have no end")


def _rows(lengths: Sequence[float], wide: float) -> list[list[int]] | None:
    """Runs by row, as many in each as its width (mm) holds; None where one alone is too long."""
    if not lengths or max(lengths) > wide:
        return None
    each = max(int((wide + BESIDE) // (max(lengths) + BESIDE)), 1)
    return [list(range(i, min(i + each, len(lengths)))) for i in range(0, len(lengths), each)]


def run_map(plane: PlaneCoverage, stairs: StairShape, laid: Unrolled, run: int, *, dpi: float) -> PaperMap:
    """The margins of one run resampled to the picture's pixels, each piece by itself."""
    return strip_map(plane, plane.margin_db, stairs, laid.runs[run], laid.box(run), dpi=dpi)


def strip_map(
    plane: PlaneCoverage, margin_db: NDArray[np.float32], stairs: StairShape, run: Run, box: Box, *, dpi: float
) -> PaperMap:
    """Margins (ny, nx) of a run resampled to the pixels of a box (mm) that it fills, the stair's right side lowest."""
    surface: Surface = plane.surface
    ends = palette.classes(plane.reserve_db)
    width, height = (max(round(v / 25.4 * dpi), 2) for v in (box[2] - box[0], box[3] - box[1]))
    along = run.start + (np.arange(width) + 0.5) * run.length / width
    across = stairs.span - (np.arange(height) + 0.5) * stairs.span / height
    deep = stairs.span / len(surface.y)
    fine = np.full((height, width), np.nan, np.float32)
    for strip in run.strips:
        piece = stairs.pieces[strip.piece]
        pixels = (along >= strip.start) & (along < strip.start + strip.n_columns * strip.wide)
        rows = (across >= piece.across_from) & (across <= piece.across_from + piece.width)
        mine = surface.inside[:, strip.columns]
        if not pixels.any() or not rows.any() or not mine.any():
            continue
        clipped = np.clip(margin_db[:, strip.columns], ends[0].from_db, ends[-1].to_db)
        fine[np.ix_(rows, pixels)] = resample(
            spread(clipped, mine),
            across[rows] / deep - 0.5,
            (along[pixels] - strip.start) / strip.wide - 0.5,
            plane.reserve_db,
        )
    return PaperMap(fine, palette.class_of(fine, plane.reserve_db), box, plane.reserve_db)


def piece_figures(
    plane: PlaneCoverage, stairs: StairShape, runs: Sequence[Run], *, by_run: bool = False
) -> list[tuple[str, float, float, float]]:
    """(name, area m², share seen, share assured) of every piece, or of the pieces from floor to floor."""
    parts: list[tuple[str, slice]] = []
    for run in runs:
        first, last = run.strips[0], run.strips[-1]
        if by_run:
            whole = slice(first.column, last.column + last.n_columns)
            parts.append((f"Pieces {first.piece + 1} to {last.piece + 1}", whole))
        else:
            parts += [(piece_name(stairs, strip.piece), strip.columns) for strip in run.strips]
    found = []
    for name, columns in parts:
        area = plane.surface.area[:, columns]
        total = max(float(area.sum()), 1e-12)
        shares = [float(area[chosen[:, columns]].sum()) / total for chosen in (plane.detected, plane.assured)]
        found.append((name, total, shares[0], shares[1]))
    return found


def piece_name(stairs: StairShape, piece: int) -> str:
    return f"{stairs.pieces[piece].kind.capitalize()} {piece + 1}"


def places_of(surface: Surface, points: Sequence[Any]) -> Floats:
    """Where points (n, 3) of a stair lie on its unrolled surface (n, 2): the middle of the nearest cell."""
    rows, columns = np.nonzero(surface.inside)
    cells = surface.points(rows, columns, surface.heights[0])
    found = []
    for point in np.asarray(points, float).reshape(-1, 3):
        nearest = int(((cells - point) ** 2).sum(axis=1).argmin())
        found.append((surface.x[columns[nearest]], surface.y[rows[nearest]]))
    return np.array(found, np.float64).reshape(-1, 2)
