"""The order in which points are visited: a short open tour over the ways between them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.floating]
Index = NDArray[np.intp]


def short_tour(distance: Floats, first: int | None = None) -> Index:
    """An order (n,) of points with a short way through them all, by distances (n, n) that may be infinite.

    The nearest neighbour from every start, the best of these mended by reversing stretches (2-opt) and moving single
    points until nothing is gained. `first`: where to begin.
    """
    n = len(distance)
    if n < 3:
        return np.argsort(np.arange(n) != first, kind="stable") if first is not None else np.arange(n)
    finite = distance[np.isfinite(distance)]
    cost = np.where(np.isfinite(distance), distance, 10 * max(float(finite.max()), 1.0))
    starts = range(n) if first is None else [first]
    tours = [_nearest(cost, start) for start in starts]
    return min((_mended(cost, tour, fixed=first is not None) for tour in tours), key=lambda t: _length(cost, t))


def _length(cost: Floats, tour: Index) -> float:
    return float(cost[tour[:-1], tour[1:]].sum())


def _nearest(cost: Floats, start: int) -> Index:
    left = np.ones(len(cost), bool)
    tour = [start]
    left[start] = False
    while left.any():
        tour.append(int(np.where(left, cost[tour[-1]], np.inf).argmin()))
        left[tour[-1]] = False
    return np.array(tour, np.intp)


def _mended(cost: Floats, tour: Index, *, fixed: bool) -> Index:
    while True:
        tour, one = _reversed(cost, tour, fixed=fixed)
        tour, other = _moved(cost, tour, fixed=fixed)
        if not one and not other:
            return tour


def _reversed(cost: Floats, tour: Index, *, fixed: bool) -> tuple[Index, bool]:
    """The tour with the stretch reversed that gains most, if any does."""
    n = len(tour)
    # An end of the tour costs nothing: a place beyond both, at no distance.
    wide = np.zeros((n + 1, n + 1))
    wide[:n, :n] = cost
    whole = np.concatenate([[n], tour, [n]])
    before, here = whole[:-2], whole[1:-1]
    after = whole[2:]
    i, j = np.triu_indices(n, 1)
    gain = (
        wide[before[i], here[i]] + wide[here[j], after[j]] - wide[before[i], here[j]] - wide[here[i], after[j]]
    )  # fmt: skip
    if fixed:
        gain = np.where(i == 0, -np.inf, gain)
    k = int(gain.argmax())
    if gain[k] <= 1e-9:
        return tour, False
    better = tour.copy()
    better[i[k] : j[k] + 1] = better[i[k] : j[k] + 1][::-1]
    return better, True


def _moved(cost: Floats, tour: Index, *, fixed: bool) -> tuple[Index, bool]:
    """The tour with the single point moved elsewhere that gains most, if any does."""
    best, found = _length(cost, tour), None
    for k in range(1 if fixed else 0, len(tour)):
        rest = np.delete(tour, k)
        point = tour[k]
        base = _length(cost, rest)
        steps = cost[rest[:-1], point] + cost[point, rest[1:]] - cost[rest[:-1], rest[1:]]
        ends = np.array([np.inf if fixed else cost[point, rest[0]], *steps, cost[rest[-1], point]])
        place = int(ends.argmin())
        if base + ends[place] < best - 1e-9:
            best, found = base + float(ends[place]), np.insert(rest, place, point)
    return (tour, False) if found is None else (found, True)
