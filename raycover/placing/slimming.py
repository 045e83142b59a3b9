"""A set cover made smaller without losing its best: what is asked anyway, and candidates that others replace.

- A row asks nothing of its own where another one's candidates are all among its own, and as many of them are asked.
- Share of a place that is seen anyway by such a row is counted as seen: its z is 1.
- A candidate is never needed where another sees all that it sees, and costs no more. That leaves out that of those at
  one spot one may be taken: where candidates of other spots may replace it, who solves has to look whether that holds.

All three are the usual reductions of set covering (Garfinkel and Nemhauser, Integer Programming (1972), from memory).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

Floats = NDArray[np.floating]
Ints = NDArray[np.integer]
Bools = NDArray[np.bool_]
#: Pairs of rows, or candidates, with anything in common: to compare more takes longer than it saves.
_MOST_PAIRS = 400_000_000
#: So many are compared at once, for memory's sake.
_AT_ONCE = 4_000_000
#: After candidates are gone more rows are alike, and after rows candidates: so often.
_TURNS = 2


@dataclass(frozen=True)
class Slim:
    """What is left of a problem: `rows`, `columns` of x and of z together, and those of z, `seen`, that are 1."""

    rows: Ints
    columns: Ints
    seen: Ints


def asks_once(table: Any, low: Floats, n_x: int) -> bool:
    """Whether no row asks for more than one candidate, and each counts as one: then any may replace another."""
    ones = bool((table[:, :n_x].tocsr().data == 1).all())
    return ones and bool((low <= 1).all()) and bool((table[:, n_x:].tocsr().data >= -1).all())


def slimmed(table: Any, low: Floats, n_x: int, price: Floats | None = None, spot: Ints | None = None) -> Slim:
    """What must be solved of rows (k, n) over candidates x, the first `n_x`, and z: `table` @ (x, z) ≥ `low`.

    Candidates stay all without their `price` (n_x,); with `spot` (n_x,) they are only replaced by others at the same
    one, without it by any, which is right where the rows `asks_once`.
    """
    table = table.tocsr()
    k, n = table.shape
    x, z = table[:, :n_x].tocsr(), table[:, n_x:].tocsr()
    sees = sp.csr_array((np.ones(len(x.data), np.float32), x.indices, x.indptr), shape=x.shape)
    n_z = np.diff(z.indptr)
    plain = np.ones(k, bool)  # rows of which every candidate counts as one
    plain[np.repeat(np.arange(k), np.diff(x.indptr))[x.data != 1]] = False
    covers = plain & (n_z == 0)
    shares = plain & (n_z == 1) & (np.diff(x.indptr) > 0)
    need = low.astype(float)
    need[shares] = -np.asarray(z.sum(axis=1)).ravel()[shares]
    rows, columns = np.ones(k, bool), np.ones(n_x, bool)
    for _ in range(_TURNS if price is not None else 1):
        some = np.flatnonzero(rows & (covers | shares))
        part = sees[some][:, np.flatnonzero(columns)]
        rows[some[_implied(part, need[some], covers[some])]] = False
        if price is None:
            break
        there = np.flatnonzero(columns)
        columns[there[_replaced(
            x[np.flatnonzero(rows)][:, there], price[there], None if spot is None else spot[there]
        )]] = False  # fmt: skip
    seen = np.unique(z[np.flatnonzero(~rows)].indices)
    left = np.concatenate([columns, np.ones(n - n_x, bool)])
    left[n_x + seen] = False
    return Slim(np.flatnonzero(rows), np.flatnonzero(left), n_x + seen)


def _implied(sees: Any, need: Floats, covers: Bools) -> Bools:
    """(k,) rows that hold where another one, a cover, does; of rows that are the same the first stays."""
    size = np.diff(sees.indptr)
    found = np.zeros(len(size), bool)
    by = np.flatnonzero(covers)
    if not len(by) or _n_pairs(sees.tocsc()) > _MOST_PAIRS:
        return found
    for some in _some(by, len(size)):
        shared = (sees @ sees[some].T).tocoo()
        row, other = shared.row, some[shared.col]
        good = (shared.data >= size[other]) & (need[other] >= need[row] - 1e-9) & (row != other)
        same = covers[row] & (size[row] == size[other]) & (need[row] == need[other])
        good &= ~same | (other < row)
        found[row[good]] = True
    return found


def _replaced(x: Any, price: Floats, spot: Ints | None) -> Bools:
    """(m,) candidates instead of which another does as well; of those that are the same the first stays."""
    table = x.tocsc()
    sees = sp.csc_array((np.ones(len(table.data), np.float32), table.indices, table.indptr), shape=table.shape)
    size = np.diff(sees.indptr)
    found: Bools = size == 0
    if _n_pairs(sees.tocsr()) > _MOST_PAIRS:
        return found
    for some in _some(np.arange(len(size)), len(size)):
        shared = (sees.T @ sees[:, some]).tocoo()
        one, other = shared.row, some[shared.col]
        good = (shared.data >= size[one]) & (price[other] <= price[one]) & (one != other)
        if spot is not None:
            good &= spot[one] == spot[other]
        same = (size[one] == size[other]) & (price[one] == price[other])
        good &= ~same | (other < one)
        found[one[good]] = True
    return found


def _some(every: Ints, n: int) -> Iterator[Ints]:
    """So many of them at a time that a table of them with `n` others stays small."""
    step = max(_AT_ONCE // max(n, 1), 1)
    for start in range(0, len(every), step):
        yield every[start : start + step]


def _n_pairs(table: Any) -> float:
    """How many pairs have an entry in common in a table, compressed along what they have in common."""
    return float((np.diff(table.indptr).astype(float) ** 2).sum())
