"""What stands between neighbouring cells of a map: walls, partitions, panels, curtains that nobody walks through.

A sheet stands between two cells when it starts near the floor, reaches waist height and the map's height, and crosses
the line between the cells' centres. Shut doors and windows are part of it; an open doorway is a way through.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from raycover.building.upright_sheets import UprightSheets

Floats = NDArray[np.floating]
Bools = NDArray[np.bool_]
#: What starts higher than this (m) above the floor is passed under: screens on desks. Under cubicles' panels, which
#: start lower, nobody passes. Common practice, no source.
_FROM = 0.3
#: What ends lower than this (m) above the floor is furniture. Common practice, no source.
_UP_TO = 1.0
#: Sheets that may stand in the way.
_KINDS = ("wall", "partition", "panel", "sheet", "door", "window")
#: Cells' centres may lie on a barrier: it is moved so little (cells) that all of them lie on one side of it.
_ASIDE = np.array([1.3e-5, 2.9e-5])
#: Barriers are so much (m) longer at both ends: those that meet leave no slit. As exact as corners are typed.
_LONGER = 1e-3


@dataclass(frozen=True)
class Barred:
    """Between which cells something stands: `right` (ny, nx − 1) from a cell to the next of its row, `up` (ny − 1, nx)
    of its column, `rising` (ny − 1, nx − 1) to the next of both, `falling` from the one above to the one beside."""

    right: Bools
    up: Bools
    rising: Bools
    falling: Bools

    def window(self, rows: slice, columns: slice) -> Barred:
        """The same of a window of cells."""
        fewer_rows, fewer = slice(rows.start, rows.stop - 1), slice(columns.start, columns.stop - 1)
        return Barred(
            self.right[rows, fewer], self.up[fewer_rows, columns],
            self.rising[fewer_rows, fewer], self.falling[fewer_rows, fewer],
        )  # fmt: skip

    @property
    def any(self) -> bool:
        return any(bool(links.any()) for links in (self.right, self.up, self.rising, self.falling))


def barriers(sheets: UprightSheets, floor: float, height: float, bounds: Floats, but: Sequence[str] = ()) -> Floats:
    """(m, 2, 2) stretches in plan of what stands on a floor (m) at a height over it, within bounds (2, 2).

    `but`: owners whose sheets are left out: rooms, where cells know which of them they lie in.
    """
    level = floor + max(height, _FROM)
    some = sheets.near(bounds)
    _, low, _, high = sheets.bounds[some].T
    some = some[(low < level) & (level < high)]
    _, low, _, high = sheets.bounds[some].T
    kinds = sheets.kinds[some]
    stands = (low <= floor + _FROM + 1e-6) & (high >= floor + _UP_TO)
    stands |= kinds == "window"  # its sill and head stand by themselves
    stands &= np.isin(kinds, _KINDS) & ~np.isin(sheets.owners[some], np.array(but, np.str_))
    return sheets.cut(some[stands], level)


def barred(stretches: Iterable[tuple[Floats, Bools | None]], x: Floats, y: Floats, grid: float) -> Barred | None:
    """Between which cells with centres x (nx,), y (ny,) stretches (m, 2, 2) stand; None: between none.

    Each lot of stretches counts where cells are its own (ny, nx), everywhere if None.
    """
    ny, nx = len(y), len(x)
    found = Barred(*(np.zeros(shape, bool) for shape in ((ny, nx - 1), (ny - 1, nx), *[(ny - 1, nx - 1)] * 2)))
    for some, own in stretches:
        long = np.diff(some, axis=1)
        long *= _LONGER / np.linalg.norm(long, axis=2, keepdims=True)
        places = (some + np.concatenate([-long, long], axis=1) - [x[0], y[0]]) / grid + _ASIDE
        u, v = places[..., 0], places[..., 1]
        row, at = _crossed(v, u, 0, ny - 1)
        _mark(found.right, row, at, own)
        column, at = _crossed(u, v, 0, nx - 1)
        _mark(found.up, at, column, own)
        over, at = _crossed(u - v, v, 1 - ny, nx - 1)
        _mark(found.rising, at, at + over, own)
        over, at = _crossed(u + v, v, 0, nx + ny)
        _mark(found.falling, at, over - 1 - at, None if own is None else own[1:])
    return found if found.any else None


def _crossed(across: Floats, along: Floats, first: int, last: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Which lines of cells' centres, numbered `across` from first to last, stretches (m, 2) cross, and after which."""
    low = np.maximum(np.ceil(across.min(axis=1)).astype(np.intp), first)
    n = np.maximum(np.minimum(np.floor(across.max(axis=1)).astype(np.intp), last) - low + 1, 0)
    of = np.repeat(np.arange(len(n)), n)
    line = low[of] + np.arange(n.sum()) - np.repeat(np.cumsum(n) - n, n)
    share = (line - across[of, 0]) / (across[of, 1] - across[of, 0])
    return line, np.floor(along[of, 0] + share * (along[of, 1] - along[of, 0])).astype(np.intp)


def _mark(links: Bools, rows: NDArray[np.intp], columns: NDArray[np.intp], own: Bools | None) -> None:
    """Marks links by index; those that do not begin in a cell of `own`, as they are numbered, are left out."""
    good = (rows >= 0) & (rows < links.shape[0]) & (columns >= 0) & (columns < links.shape[1])
    rows, columns = rows[good], columns[good]
    if own is not None:
        here = own[rows, columns]
        rows, columns = rows[here], columns[here]
    links[rows, columns] = True
