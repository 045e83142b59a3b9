"""A choice made cheaper by exchange: a few units near each other taken out, others put in for what is then missing.

For when the solver has no time to find as good a one itself: it says nothing of how far from the best it is.
"""

from __future__ import annotations

import time
from collections.abc import Sequence

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from raycover.placing.covering import Wanted

Floats = NDArray[np.floating]
Ints = NDArray[np.integer]
#: So many exchanges are tried, of up to so many units at once; what each would add is weighed with so much chance.
_TRIES, _MOST, _CHANCE = 600, 5, 0.15
_ENOUGH = 1e-9


class _Table:
    """All that is wanted as one table (k cells, m candidates), with what is missing of each thing wanted."""

    def __init__(self, wanted: Sequence[Wanted], cost: Floats, spots: Sequence[Ints]) -> None:
        self.seen = sp.vstack([one.seen for one in wanted]).tocsc().astype(float)
        self.of = np.repeat(np.arange(len(wanted)), [len(one.weight) for one in wanted])
        total = np.array([one.weight.sum() for one in wanted])
        self.weight = np.concatenate([one.weight for one in wanted]) / np.maximum(total, 1e-300)[self.of]
        self.lacking = np.concatenate([one.lacking for one in wanted])
        self.share = np.array([one.share for one in wanted])
        self.cost = cost
        self.spot = -np.arange(1, len(cost) + 1)
        for k, one in enumerate(spots):
            self.spot[one] = k

    def count(self, chosen: Sequence[int]) -> Floats:
        return np.asarray(self.seen[:, list(chosen)].sum(axis=1)).ravel()

    def open(self, count: Floats) -> NDArray[np.bool_]:
        """Which things wanted are not yet seen enough of."""
        done = np.bincount(self.of, self.weight * (count >= self.lacking), minlength=len(self.share))
        return np.asarray(done < self.share - _ENOUGH)

    def filled(self, chosen: list[int], most: float, draw: np.random.Generator) -> list[int] | None:
        """A choice with others until all is seen enough of; None where that costs more than `most`."""
        chosen, count = list(chosen), self.count(chosen)
        spent = float(self.cost[chosen].sum())
        while (missing := self.open(count)).any():
            worth = self.seen.T @ (self.weight * missing[self.of] * (count < self.lacking)) / self.cost
            worth[np.isin(self.spot, self.spot[chosen])] = 0.0
            best = int(np.argmax(worth * (1 + _CHANCE * draw.random(len(worth)))))
            spent += float(self.cost[best])
            if worth[best] <= 0 or spent > most + _ENOUGH:
                return None
            chosen.append(best)
            count[self.seen[:, [best]].indices] += 1
        return chosen

    def needed(self, chosen: list[int]) -> list[int]:
        """A choice without those that nothing needs, the dearest tried first."""
        count, left = self.count(chosen), list(chosen)
        for one in sorted(chosen, key=lambda k: -self.cost[k]):
            rows = self.seen[:, [one]].indices
            count[rows] -= 1
            if self.open(count).any():
                count[rows] += 1
            else:
                left.remove(one)
        return left


def exchanged(
    wanted: Sequence[Wanted], cost: Floats, chosen: Ints, *, spots: Sequence[Ints] = (), seconds: float = 5.0
) -> Ints:
    """A choice (candidates by index) that does what is wanted for no more than `chosen`, if that does it at all."""
    table = _Table(wanted, cost, spots)
    draw = np.random.default_rng(len(cost))
    best = table.needed(chosen.tolist())
    if len(best) < 2 or table.open(table.count(best)).any():
        return chosen
    deadline = time.perf_counter() + seconds
    for _ in range(_TRIES):
        if time.perf_counter() > deadline:
            break
        mine = np.array(best)
        middle = int(draw.choice(mine))
        common = np.asarray((table.seen[:, [middle]].T @ table.seen[:, mine]).todense()).ravel()
        n = int(draw.integers(2, min(_MOST, len(mine)) + 1))
        out = set(mine[np.argsort(-common, kind="stable")[:n]].tolist())
        spent = float(cost[best].sum())
        tried = table.filled([k for k in best if k not in out], spent, draw)
        if tried is not None:
            tried = table.needed(tried)
            if cost[tried].sum() <= spent + _ENOUGH:
                best = tried
    return np.sort(np.array(best, int))
