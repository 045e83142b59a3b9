"""The fewest candidates that see what is asked: a set cover, solved exactly by HiGHS.

A binary x_j a candidate and one z_r a group of cells that the same candidates see. Least Σ cost_j·x_j so that

    a place seen whole:       Σ_j v_rj·x_j ≥ by            for each of its groups r
    a share p of a place:     Σ_r a_r·z_r ≥ p·Σ_r a_r,  by·z_r ≤ Σ_j v_rj·x_j,  0 ≤ z_r ≤ 1
    no gap wider than g:      Σ_j w_rj·x_j ≥ 1             w: some cell within g/2 of r is seen
    one unit a spot:          Σ x_j ≤ 1

z need not be whole for by = 1, as x is; it must be for more. The published form is the set covering problem
(Toregas, Swain, ReVelle and Bergman, Operations Research 19 (1971), 1363–1373, from memory).
"""

from __future__ import annotations

import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass
from hashlib import sha256
from typing import Any

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse.csgraph import connected_components

from raycover.placing.slimming import Slim, asks_once, slimmed

Floats = NDArray[np.floating]
#: A candidate that is masked or set lower counts this share more, so that plain ones win where they do as well.
EFFORT = 1e-3
#: The solver looks at its clock between steps, and one may be long: so many times its time and s more it is waited for.
_OVERRUN, OVERRUN_S = 2.0, 60.0
#: A sum of areas or costs differs from what was asked by no more than this share.
_SLACK = 1e-9


@dataclass(frozen=True)
class Wanted:
    """One thing to cover: `seen` (k, m) sparse, which candidates see which cells; `weight` (k,).

    `share` of the weight must be seen (1: every cell), each by at least `by` candidates; `have` (k,) how many units
    that stay see a cell already. `parts`: rows are groups of cells, `seen` the part of each that a candidate sees; what
    is seen twice counts twice then, so that less is asked than of cells (for a bound).
    """

    seen: Any
    weight: Floats
    share: float = 1.0
    by: int = 1
    have: NDArray[np.integer] | None = None
    parts: bool = False

    @property
    def lacking(self) -> NDArray[np.integer]:
        """(k,) how many more units each cell needs."""
        have = np.zeros(len(self.weight), int) if self.have is None else self.have
        return np.maximum(self.by - have, 0)


@dataclass(frozen=True)
class Cover:
    """What was found. `chosen`: candidates by index; `cost` theirs; `bound`: no choice costs less.

    `optimal` where the bound is reached; `found` is False where the time ran out before anything was found.
    """

    chosen: NDArray[np.integer]
    cost: float
    bound: float
    optimal: bool
    found: bool = True


def cover(
    wanted: Sequence[Wanted], cost: Floats, *, spots: Sequence[NDArray[np.integer]] = (), seconds: float = 60.0,
    plain: NDArray[np.bool_] | None = None, known: dict[bytes, tuple[Any, float]] | None = None,
) -> Cover | None:  # fmt: skip
    """The cheapest choice of candidates for all that is wanted; None where there is none.

    `spots`: candidates of which one at most may be taken. `plain` (m,): of choices of as many units one with few that
    are not is looked for, as far as that takes no time of its own; where prices differ they alone decide. `known`:
    what was found before of parts that can be solved by themselves; those that are the same are not solved again.
    """
    m = len(cost)
    known = {} if known is None else known
    rows, low, n_extra, whole = _rows(wanted, m)
    if rows is None:
        return Cover(np.zeros(0, int), 0.0, 0.0, True)
    n = m + n_extra
    once = _once(spots, n)
    plain = np.ones(m, bool) if plain is None else plain
    integrality = np.concatenate([np.ones(m), whole])
    values = np.zeros(n)
    total_bound, found, parts = 0.0, True, _parts(rows, once)
    deadline = time.perf_counter() + seconds
    for k, (variables, mine, here) in enumerate(parts):
        if not len(variables):  # a cell that no candidate sees
            if (low[mine] > 0).any():
                return None
            continue
        left = max(deadline - time.perf_counter(), 0.1) / (len(parts) - k)
        mine_x = variables[variables < m]
        part = _Part(rows[mine][:, variables].tocsr(), low[mine], once[here][:, variables], cost[mine_x], plain[mine_x],
                     integrality[variables])  # fmt: skip
        key = part.digest()
        if key not in known:
            known[key] = part.solved(left)
        x, bound = known[key]
        if x is None and bound == np.inf:
            return None
        total_bound += bound
        found &= x is not None
        if x is not None:
            values[variables] = x
    chosen = np.flatnonzero(values[:m] > 0.5)
    total = float(cost[chosen].sum()) if found else np.inf
    bound = min(total_bound, total)
    return Cover(chosen, total, bound, bound >= total - 1e-6, found)


@dataclass(frozen=True)
class _Part:
    """What can be solved by itself: `table` (k, n) @ (x, z) ≥ `low`, `once` @ (x, z) ≤ 1; `cost`, `plain` (m,) of x."""

    table: Any
    low: Floats
    once: Any
    cost: Floats
    plain: NDArray[np.bool_]
    whole: Floats

    @property
    def extra(self) -> float:
        """What candidates that are not plain count more: fewer units always win, where each costs the same."""
        alike = bool(len(self.cost)) and np.allclose(self.cost, self.cost.min())
        return EFFORT if alike and not self.plain.all() else 0.0

    @property
    def price(self) -> Floats:
        """(n,) what is made least."""
        price = effort(self.cost, self.plain) if self.extra else self.cost
        return np.concatenate([price, np.zeros(self.table.shape[1] - len(price))])

    def digest(self) -> bytes:
        """What it is known by: the same bytes, the same part."""
        once = self.once.tocsr()
        every = (self.table.indptr, self.table.indices, self.table.data, self.low, self.price, self.whole, once.indptr,
                 once.indices)  # fmt: skip
        whole_of = sha256()
        for part in every:
            whole_of.update(np.ascontiguousarray(part).tobytes())
            whole_of.update(b"|")
        return whole_of.digest()

    def solved(self, seconds: float) -> tuple[Floats | None, float]:
        """(n,) what is best, None where nothing was found in time, and the bound: infinite if there is no choice."""
        deadline = time.perf_counter() + seconds
        m, least = len(self.cost), 0.0
        if asks_once(self.table, self.low, m):
            x, least = self._solved(slimmed(self.table, self.low, m, self.price[:m]), seconds, spots=False)
            if x is None or (self.once @ x <= 1 + 1e-6).all():
                return x, least
        spot = np.arange(m) + self.once.shape[0]
        once = self.once.tocoo()
        spot[once.col] = once.row
        slim = slimmed(self.table, self.low, m, self.price[:m], spot)
        x, bound = self._solved(slim, max(deadline - time.perf_counter(), 0.1), spots=True)
        return x, max(bound, least)

    def _solved(self, slim: Slim, seconds: float, *, spots: bool) -> tuple[Floats | None, float]:
        """As `solved`, of what is left of it."""
        table = self.table[slim.rows]
        low = self.low[slim.rows] - np.asarray(table[:, slim.seen].sum(axis=1)).ravel()
        constraints = [LinearConstraint(table[:, slim.columns], low, np.inf)]
        if spots and self.once.shape[0]:
            constraints.append(LinearConstraint(self.once[:, slim.columns], -np.inf, 1))
        result = _solved(
            self.price[slim.columns], seconds, constraints=constraints, integrality=self.whole[slim.columns],
            bounds=Bounds(0, 1), options={"time_limit": seconds, "mip_rel_gap": self.extra},
        )  # fmt: skip
        if result is None:
            return None, 0.0
        if result.x is None and result.status == 2:
            return None, np.inf
        bound = float(result.mip_dual_bound) if result.mip_dual_bound is not None else 0.0
        bound = _rounded(max(bound, 0.0) / (1 + self.extra), self.cost)
        if result.x is None:
            return None, bound
        x = np.zeros(self.table.shape[1])
        x[slim.columns], x[slim.seen] = result.x, 1.0
        return x, bound


def _solved(price: Floats, seconds: float, **how: Any) -> Any:
    """What `milp` answers; None where it goes on far beyond its time. The solver does not hear ^C, nor always its time
    limit: it runs in a thread, and who waits for it here hears both.

    A thread left behind goes on until it is done, or the program ends.
    """
    found: list[Any] = []

    def work() -> None:
        try:
            found.append(milp(price, **how))
        except Exception as error:  # raised again where it is waited for
            found.append(error)

    thread = threading.Thread(target=work, daemon=True)
    end = time.perf_counter() + _OVERRUN * seconds + OVERRUN_S
    thread.start()
    while thread.is_alive():
        thread.join(0.2)  # in steps: not every system wakes a wait without an end
        if time.perf_counter() > end and thread.is_alive():
            return None
    if isinstance(found[0], Exception):
        raise found[0]
    return found[0]


def effort(cost: Floats, plain: NDArray[np.bool_]) -> Floats:
    """(m,) costs, those of candidates that are not plain a little higher."""
    return np.where(plain, cost, cost * (1 + EFFORT))


def _once(spots: Sequence[NDArray[np.integer]], n: int) -> Any:
    """(spots, n) which variables may be taken once only."""
    columns = np.concatenate([*spots, np.zeros(0, int)]).astype(int)
    which = np.repeat(np.arange(len(spots)), [len(s) for s in spots])
    return sp.csr_array((np.ones(len(columns)), (which, columns)), shape=(len(spots), n))


def _parts(rows: Any, once: Any) -> list[tuple[NDArray[np.integer], NDArray[np.integer], NDArray[np.integer]]]:
    """(variables, rows, rows of `once`) of what can be solved by itself, the smallest first."""
    table = sp.vstack([rows, once]).tocsr()
    k, n = table.shape
    links = sp.coo_array(table)
    graph = sp.coo_array((np.ones(len(links.data)), (links.row, links.col + k)), shape=(k + n, k + n))
    _, label = connected_components(graph, directed=False)
    found = []
    for one in np.unique(label[: rows.shape[0]]):
        mine = np.flatnonzero(label[:k] == one)
        here = mine[mine >= rows.shape[0]] - rows.shape[0]
        found.append((np.flatnonzero(label[k:] == one), mine[mine < rows.shape[0]], here))
    return sorted(found, key=lambda part: len(part[0]))


def cheaper(wanted: Sequence[Wanted], cost: Floats, found: Cover) -> NDArray[np.integer]:
    """What the solver found in its time or a greedy choice, whichever costs less; nobody in it is idle."""
    whole = sp.vstack([one.seen.tocsr()[one.lacking > 0] for one in wanted])
    weight = np.concatenate([one.weight[one.lacking > 0] for one in wanted])
    # Where the solver had no time for some part, what it found of others is filled up.
    left = np.asarray(whole.tocsc()[:, found.chosen].sum(axis=1)).ravel() == 0
    filled = np.concatenate([found.chosen, greedy(whole[np.flatnonzero(left)], weight[left], cost)]).astype(int)
    lots = [greedy(whole, weight, cost), found.chosen if found.found else filled]
    kept = [_needed(wanted, cost, lot) for lot in lots]
    good = [lot for lot in kept if all(_done(one, lot) for one in wanted)] or kept
    return min(good, key=lambda lot: float(cost[lot].sum()))


def _needed(wanted: Sequence[Wanted], cost: Floats, chosen: NDArray[np.integer]) -> NDArray[np.integer]:
    """A choice less those that nothing needs, the dearest tried first, of equals the last."""
    left = list(chosen)
    if not all(_done(one, np.array(left, int)) for one in wanted):
        return chosen
    for one in sorted(chosen, key=lambda k: -cost[k]):
        rest = np.array([k for k in left if k != one], int)
        if all(_done(some, rest) for some in wanted):
            left = rest.tolist()
    return np.array(left, int)


def _done(one: Wanted, chosen: NDArray[np.integer]) -> bool:
    count = np.asarray(one.seen.tocsc()[:, chosen].sum(axis=1)).ravel()
    enough = float(one.weight[count >= one.lacking].sum())
    return enough >= (one.share - 1e-9) * float(one.weight.sum())


def greedy(seen: Any, weight: Floats, cost: Floats) -> NDArray[np.integer]:
    """Candidates that see all of the cells (k, m) that any sees, each time the one that sees most more for its cost."""
    table = seen.tocsc().astype(float)
    left = np.where(np.asarray(table.sum(axis=1)).ravel() > 0, weight, 0.0)
    chosen: list[int] = []
    while (left > 0).any():
        best = int(np.argmax((table.T @ left) / cost))
        chosen.append(best)
        left[table[:, [best]].indices] = 0.0
    return np.array(chosen, int)


def _rounded(bound: float, cost: Floats) -> float:
    """A bound of what can be paid at all: whole units where each costs the same."""
    unit = float(cost.min()) if len(cost) else 1.0
    if len(cost) and np.allclose(cost, unit):
        return float(np.ceil(bound / unit - 1e-6) * unit)
    return bound


def _rows(wanted: Sequence[Wanted], m: int) -> tuple[Any, Floats, int, Floats]:
    """All constraints as rows over (x, z), their lower bounds, how many z there are, and which of them are whole."""
    of_x, of_z = [], []  # what each thing wanted has over x, and over z of its own
    low: list[Floats] = []
    whole: list[Floats] = [np.zeros(0)]
    for one in wanted:
        lacking = one.lacking
        if one.parts:
            rows = np.flatnonzero(lacking > 0)
            seen, need, area = one.seen.tocsr()[rows], lacking[rows], one.weight[rows]
        else:
            seen, need, area = _grouped(one.seen, lacking, one.weight)
        if one.share >= 1 - _SLACK:
            if seen.shape[0]:
                of_x.append(seen)
                of_z.append(sp.csr_array((seen.shape[0], 0)))
                low.append(need.astype(float))
            continue
        missing = one.share * one.weight.sum() - one.weight[lacking == 0].sum()
        if missing <= _SLACK * one.weight.sum():
            continue
        total = sp.csr_array(area[None] * (1 / area.sum()))
        of_x.append(sp.vstack([seen, sp.csr_array((1, m))]))
        of_z.append(sp.vstack([sp.diags_array(-need.astype(float)), total]))
        # Whatever the rounding, a share that can just be reached is reached.
        low.append(np.append(np.zeros(len(need)), missing / area.sum() - 1e-9))
        whole.append(np.zeros(len(need)) if one.parts else (need > 1).astype(float))
    if not of_x:
        return None, np.zeros(0), 0, np.zeros(0)
    is_whole = np.concatenate(whole)
    return sp.hstack([sp.vstack(of_x), sp.block_diag(of_z)]).tocsr(), np.concatenate(low), len(is_whole), is_whole


def _grouped(seen: Any, lacking: NDArray[np.integer], weight: Floats) -> tuple[Any, NDArray[np.integer], Floats]:
    """Rows that lack something, alike ones once: (seen, lacking, sum of weights)."""
    rows = np.flatnonzero(lacking > 0)
    table = seen.tocsr()[rows]
    table.sort_indices()
    keys = [
        table.indices[table.indptr[k] : table.indptr[k + 1]].tobytes()
        + table.data[table.indptr[k] : table.indptr[k + 1]].tobytes()
        + bytes([int(lacking[row])])
        for k, row in enumerate(rows)
    ]
    _, first, group = np.unique(np.array(keys, dtype=object), return_index=True, return_inverse=True)
    area = np.bincount(group, weight[rows], minlength=len(first)).astype(float) if len(rows) else np.zeros(0)
    return table[first].astype(float), lacking[rows][first], area


def in_lines(
    wanted: Sequence[Wanted], cost: Floats, most: float, lines: Sequence[NDArray[np.integer]], *,
    spots: Sequence[NDArray[np.integer]] = (), seconds: float = 20.0, extra: Floats | None = None,
) -> Cover | None:  # fmt: skip
    """Of the choices that cost no more than `most` the one on fewest lines; `lines`: candidates (by index) on each.

    `extra` (m,): what taking a candidate adds to the lines, as a part of one.

    None where none is found in time.
    """
    m, n_lines = len(cost), len(lines)
    rows, low, n_extra, whole = _rows(wanted, m)
    if rows is None:
        return None
    n = m + n_extra + n_lines
    slim = slimmed(rows, low, m)
    pad = sp.csr_array((len(slim.rows), n_lines))
    constraints = [LinearConstraint(sp.hstack([rows[slim.rows], pad]).tocsr(), low[slim.rows], np.inf)]
    least = np.zeros(n)
    least[slim.seen] = 1.0
    columns = np.concatenate(lines)
    line = np.repeat(np.arange(n_lines), [len(one) for one in lines])
    count = np.arange(len(columns))
    used = sp.csr_array(
        (
            np.concatenate([np.ones(len(columns)), -np.ones(len(columns))]),
            (np.concatenate([count, count]), np.concatenate([m + n_extra + line, columns])),
        ),
        shape=(len(columns), n),
    )
    constraints.append(LinearConstraint(used, 0, np.inf))
    price = sp.csr_array((cost, (np.zeros(m, int), np.arange(m))), shape=(1, n))
    constraints.append(LinearConstraint(price, -np.inf, most * (1 + 1e-9)))
    if spots:
        constraints.append(LinearConstraint(_once(spots, n), -np.inf, 1))
    objective = np.concatenate([np.zeros(m) if extra is None else extra, np.zeros(n_extra), np.ones(n_lines)])
    seconds = max(seconds, 0.1)
    result = _solved(
        objective, seconds, constraints=constraints,
        integrality=np.concatenate([np.ones(m), whole, np.zeros(n_lines)]), bounds=Bounds(least, 1),
        options={"time_limit": seconds},
    )  # fmt: skip
    if result is None or result.x is None:
        return None
    chosen = np.flatnonzero(result.x[:m] > 0.5)
    total = float(cost[chosen].sum())
    return Cover(chosen, total, total, False)
