"""Of layouts that cost the same one of fewer different models: what is bought, set and kept in store alike.

Each smaller set of the models offered is first looked at on the cells of the search, which leaves out most; those that
may do are searched by themselves and judged on all cells.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from itertools import combinations

import numpy as np

from raycover.placing.judging import Judged
from raycover.placing.searching import Search

#: So many sets of models are looked at, those of models already chosen first.
_MOST_SETS = 16
#: Of the time that is left one set may take these shares: for being looked at, and for being searched.
_LOOK_SHARE, _SEARCH_SHARE = 0.1, 0.4
#: The best of candidates of some models alone, in some seconds; None where that meets not all.
Among = Callable[[tuple[str, ...], float], Judged | None]


def of_fewer_models(search: Search, best: Judged, among: Among, until: float) -> Judged:
    """The same, or a layout of fewer models that costs no more and meets all that it does; none is begun after `until`.

    Of several of as few models the one on fewest straight lines is taken, then the one with most to spare.
    """
    now = models_of(best)
    offered = list(dict.fromkeys(offer.model.name for offer in search.pool.candidates.offers))
    sets = [one for size in range(1, len(now)) for one in _sets(offered, now, size)][:_MOST_SETS]
    found: list[Judged] = []
    for models in sets:
        if found and len(models) > len(models_of(found[0])):
            break
        left = until - time.perf_counter()
        if left <= 0:
            break
        if search.least_of(models, left * _LOOK_SHARE) > best.cost * (1 + 1e-9):
            continue
        tried = among(models, max((until - time.perf_counter()) * _SEARCH_SHARE, 1.0))
        if tried is not None and tried.cost <= best.cost * (1 + 1e-9) and (tried.met >= best.met).all():
            found.append(tried)
    return min(found, key=lambda one: (len(models_of(one)), one.cost, n_lines(one), -spare(one)), default=best)


def models_of(best: Judged) -> tuple[str, ...]:
    """The models of the units chosen, in alphabetical order."""
    chosen = best.chosen
    return tuple(sorted({chosen.offers[k].model.name for k in chosen.offer.tolist()}))


def _sets(offered: list[str], now: tuple[str, ...], size: int) -> Iterator[tuple[str, ...]]:
    """Sets of so many models, those of models chosen now first."""
    every = list(combinations(offered, size))
    yield from sorted(every, key=lambda one: len(set(one) - set(now)))


def n_lines(best: Judged) -> int:
    """On how many straight lines along x and y of each room the units chosen hang."""
    at, room = np.round(best.chosen.at, 2), best.chosen.room
    return sum(len(np.unique(np.column_stack([at[:, axis], room]), axis=0)) for axis in (0, 1))


def spare(best: Judged) -> float:
    """The least that any place's share of floor seen is more than is asked; 0 where all of one is asked."""
    places = [(v.need, place) for v in best.proof.needs for place in v.places if not v.need.never]
    return min((p.figures.share - n.least_share for n, p in places if n.least_share is not None), default=0.0)
