"""The candidates that are chosen from, plain and quieted, and what each of them sees of a place."""

from __future__ import annotations

from typing import Any

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from raycover.placing.offers import Candidates, joined
from raycover.placing.visibility import Asked, columns, margins_by, stored

Floats = NDArray[np.floating]
Ints = NDArray[np.integer]


class Pool:
    """Candidates (m,), growing as quieter ones of those that trip are added.

    `root` (m,) is the plain candidate that each is one of. `shift_db` (m,): a lower setting takes so much from every
    margin of its root, so no ray is cast for it; NaN for those that are cast. `alive` (m,): may be chosen.
    """

    def __init__(self, candidates: Candidates) -> None:
        self.candidates = candidates
        self.root: Ints = np.arange(len(candidates))
        self.shift_db: Floats = np.full(len(candidates), np.nan)
        self.alive = np.ones(len(candidates), bool)

    def __len__(self) -> int:
        return len(self.candidates)

    @property
    def cost(self) -> Floats:
        return self.candidates.cost

    def add(self, more: Candidates, root: Ints, shift_db: Floats) -> None:
        self.candidates = joined([self.candidates, more])
        self.root = np.concatenate([self.root, root]).astype(int)
        self.shift_db = np.concatenate([self.shift_db, shift_db])
        self.alive = np.concatenate([self.alive, np.ones(len(more), bool)])

    def margins(self, asked: Asked, roots: Ints, known: Any = None) -> Any:
        """(k cells, m) CSC of margins (dB), those of 0 and more stored, of candidates that are one of `roots`.

        `known`: the same for the candidates there were before.
        """
        n = 0 if known is None else known.shape[1]
        mine = np.isin(self.root, roots)
        mine[:n] = False
        table = margins_by(self.candidates.units, asked, only=np.flatnonzero(mine & np.isnan(self.shift_db)))
        if known is not None:
            table = sp.hstack([known, table[:, n:]], format="csc")
        lowered = np.flatnonzero(mine & ~np.isnan(self.shift_db))
        return _with_lowered(table, lowered, self.root[lowered], self.shift_db[lowered]) if len(lowered) else table

    def seen(self, margins: Any) -> Any:
        """(k, m) CSC, 1 where a candidate that may be chosen sees a cell."""
        alive = np.repeat(self.alive[: margins.shape[1]], np.diff(margins.indptr))
        counts = np.where(self.alive[: margins.shape[1]], np.diff(margins.indptr), 0)
        return stored(columns(margins.data[alive], margins.indices[alive], counts, margins.shape[0]))


def _with_lowered(table: Any, into: Ints, source: Ints, shift_db: Floats) -> Any:
    """A table of margins with columns `into` put in: those of `source`, lower by a shift."""
    taken = table[:, source]
    counts = np.diff(taken.indptr)
    data = taken.data + np.repeat(shift_db, counts)
    column = np.repeat(into, counts)
    still = data >= 0
    kept = np.repeat(np.arange(table.shape[1]), np.diff(table.indptr))
    every = np.concatenate([kept, column[still]])
    order = np.argsort(every, kind="stable")
    return columns(
        np.concatenate([table.data, data[still]])[order],
        np.concatenate([table.indices, taken.indices[still]])[order],
        np.bincount(every, minlength=table.shape[1]), table.shape[0],
    )  # fmt: skip
