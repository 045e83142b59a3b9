"""A layout made whole when time has run out: units added where places are missed, idle ones of them taken out."""

from __future__ import annotations

import time
from collections.abc import Callable, Collection, Sequence
from dataclasses import replace

import numpy as np
import scipy.sparse as sp

from raycover.placing.covering import greedy
from raycover.placing.judging import Judge, Judged
from raycover.placing.offers import joined
from raycover.placing.pool import Pool
from raycover.placing.tasks import Task

#: So often are units added for what is still missed, by no more of a place's missed cells at a time than so.
_ROUNDS, _CELLS = 40, 160
Keep = Callable[[Judged], None]


def made_whole(
    judge: Judge, pool: Pool, tasks: Sequence[Task], lacking: Collection[int], best: Judged, keep: Keep,
    until: float = np.inf,
) -> Judged:  # fmt: skip
    """The same with units added until all is met that can be, without those of them that no place needs.

    `lacking`: places, by number, that nothing offered can show as asked. `keep` is handed what is judged on the
    way. `until`: no step is begun after this (`time.perf_counter`).
    """
    return _pruned(judge, _repaired(judge, pool, tasks, lacking, best, keep, until), len(best.chosen), until)


def _repaired(
    judge: Judge, pool: Pool, tasks: Sequence[Task], lacking: Collection[int], best: Judged, keep: Keep, until: float
) -> Judged:
    """The same with units added, one a missed place at a time, until every need is met."""
    for _ in range(_ROUNDS):
        if time.perf_counter() > until:
            break
        lots = []
        judged = [one for verdict in best.proof.needs for one in verdict.places]
        for task in tasks:
            one = judged[task.number]
            done = one.met or task.need.walked or task.number in lacking
            cells = np.zeros(0, int) if done else task.missed(one)
            if len(cells):
                cells = cells[np.unique(np.linspace(0, len(cells) - 1, _CELLS).astype(int))]
                asked = replace(task.asked, cells=cells, weight=task.asked.site.area[cells])
                lots.append((asked, pool.seen(pool.margins(asked, task.roots))))
        if not lots:
            break
        seen = sp.vstack([table for _, table in lots])
        added = greedy(seen, np.concatenate([asked.weight for asked, _ in lots]), pool.cost)
        if not len(added):
            break
        # The first see most; what is enough for a share or a gap is found out one a place at a time.
        best = judge.judge(joined([best.chosen, pool.candidates.some(added[: len(lots)])]))
        keep(best)
    return best


def _pruned(judge: Judge, best: Judged, first: int, until: float) -> Judged:
    """The same without units, of those added from the `first` on, that no place needs; the dearest tried first."""
    left = list(range(len(best.chosen)))
    every = best.chosen
    for k in (first + np.argsort(-every.cost[first:], kind="stable")).tolist():
        if time.perf_counter() > until:
            break
        rest = [one for one in left if one != k]
        tried = judge.judge(every.some(np.array(rest, int)))
        if (tried.met >= best.met).all():
            best, left = tried, rest
    return best
