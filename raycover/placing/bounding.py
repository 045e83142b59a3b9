"""A bound of what a layout costs that holds for all cells of shares and gaps, not only for those looked at.

Cells are put into groups. Of a group no more than all of it is seen, and no more than the sum of what the candidates
chosen see of it, each by itself: both hold for every layout, so the least cost under them is a bound for all cells.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from raycover.placing.covering import Wanted, cover
from raycover.placing.pool import Pool
from raycover.placing.tasks import Task, circles
from raycover.placing.visibility import Asked

Floats = NDArray[np.floating]
Ints = NDArray[np.integer]
#: No more pairs of candidate and cell than so are cast for a bound; ways by mirrors take so many times longer.
_MOST_PAIRS, _MIRRORS = 40_000_000, 40


def bound_for_all(tasks: Sequence[Task], pool: Pool, spots: Sequence[Ints], seconds: float) -> float | None:
    """No choice of a pool's candidates costs less, whatever cells are looked at; None where that took too long."""
    n_pairs = 0
    for task in tasks:
        if _is_partial(task):
            mirrors = _MIRRORS if task.asked.situation.weather.reflections else 1
            n_pairs += len(task.asked.site.points) * len(task.roots) * mirrors
    if n_pairs > _MOST_PAIRS:
        return None
    wanted = [one for task in tasks for one in (_of_all(task, pool) if _is_partial(task) else task.wanted(pool))]
    found = cover(wanted, pool.cost, spots=spots, seconds=seconds)
    return None if found is None else found.bound


def _is_partial(task: Task) -> bool:
    """Whether what is asked of the cells looked at is not simply asked of all."""
    return not task.need.walked and (task.need.least_share != 1.0 or task.need.largest_gap is not None)


def _of_all(task: Task, pool: Pool) -> list[Wanted]:
    need, old = task.need, task.asked
    site = old.site
    asked = Asked(need, old.situation, site, np.arange(len(site)), site.area)
    seen = pool.seen(pool.margins(asked, task.roots))
    found = []
    if need.least_share is not None:
        found.append(_shared(need.least_share, need.by, seen, task, site))
    if need.largest_gap is not None and site.surface is not None:
        grid = site.surface.grid
        among = circles(asked, need.largest_gap, beyond=0.75 * grid)
        # Only where the whole circle is floor that is asked about.
        radius = need.largest_gap / 2 + 0.75 * grid
        steps = np.arange(-np.ceil(radius / grid), np.ceil(radius / grid) + 1) * grid
        n_whole = int((np.hypot(steps[:, None], steps) <= radius + 1e-9).sum())
        among = among[np.flatnonzero(np.asarray(among.sum(axis=1)).ravel() >= n_whole)]
        any_seen = (among @ seen.astype(float)) > 0
        have = (among @ (task.have >= need.by).astype(float) > 0).astype(int)
        found.append(Wanted(any_seen.tocsr(), np.ones(among.shape[0]), 1.0, 1, have))
    return found


def _shared(share: float, by: int, seen: Any, task: Task, site: Any) -> Wanted:
    """A share of all cells, those nearest to a cell looked at that lack as many units as one."""
    _, nearest = cKDTree(site.ground[task.asked.cells]).query(site.ground)
    lacking = np.maximum(by - task.have, 0)
    key, group = np.unique(nearest * (by + 1) + lacking, return_inverse=True)
    area = np.bincount(group, site.area, minlength=len(key)).astype(float)
    part = sp.csr_array((site.area / area[group], (group, np.arange(len(site)))), shape=(len(key), len(site)))
    return Wanted((part @ seen.astype(float)).tocsr(), area, share, by, by - key % (by + 1), parts=True)
