"""The shortest way over a floor: a search on its cells, then pulled taut so that it reads as a walked line."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import dijkstra

from raycover.building.parts import Floats
from raycover.walking.ground import Ground
from raycover.walking.people import COMFORT

#: Steps to neighbouring cells (rows, columns), one of each opposite pair: sixteen directions in all.
_STEPS = ((0, 1), (1, 0), (1, 1), (1, -1), (1, 2), (2, 1), (1, -2), (2, -1))
#: A metre right beside things counts as so many in the open: people keep off where there is room. Our assumption.
_BESIDE = 1.5
#: What a metre through an obstacle counts as when the way is asked that one blocks.
_THROUGH = 1e4
#: A way begins at a cell at most this far (m) from its first point: from a chair one steps out first.
_STEP_OUT = 1.0
#: So much nearer (m) to things one may be at either end of a way.
_SIDEWAYS = 0.15
#: Points of the found way between which it is pulled taut lie at most this far apart (m).
_PIECE = 0.5


@dataclass(frozen=True)
class Blocked:
    """No way leads there: it ends at `at` (m), at the obstacle `by`, where the gap is `gap_m` wide."""

    at: tuple[float, float]
    by: str | None
    gap_m: float | None


@dataclass
class Wayfinder:
    """Shortest ways for a body of a radius (m) over one floor, cells nearer than that to obstacles closed."""

    ground: Ground
    radius: float
    comfort: float = COMFORT
    _graph: csr_array | None = field(default=None, repr=False)

    def cost(self, clear: Floats) -> Floats:
        """What a metre counts as at clear distances (…,): 1 in the open, infinite where the body does not fit."""
        near = np.clip((self.comfort - clear) / max(self.comfort - self.radius, 1e-9), 0.0, 1.0)
        return np.where(clear >= self.radius, 1.0 + (_BESIDE - 1.0) * near, np.inf)

    @property
    def graph(self) -> csr_array:
        if self._graph is None:
            self._graph = grid_graph(self.cost(self.ground.clear), self.ground.cell)
        return self._graph

    def ways(self, start: Floats, ends: Sequence[Floats]) -> list[Floats | Blocked]:
        """The way (n, 2) from `start` (2,) to each of `ends`, or what blocks it."""
        begin = self._cell_by(start)
        goals = [self._cell_by(end) for end in ends]
        if begin is None:
            blocked = self._blocked_at(start)
            return [blocked for _ in ends]
        _, before = dijkstra(self.graph, directed=False, indices=begin, return_predecessors=True)
        found: list[Floats | Blocked] = []
        for end, goal in zip(ends, goals, strict=True):
            if goal is None:
                found.append(self._blocked_at(end))
            elif goal != begin and before[goal] < 0:
                found.append(self._what_blocks(begin, goal))
            else:
                cells = _walk_back(before, begin, goal)
                line = np.concatenate([[start], self.ground.middle(cells), [end]])
                found.append(_without_doubles(self.taut(line)))
        return found

    def distances(self, points: Sequence[Floats]) -> Floats:
        """Lengths (n, n), weighted as ways are, between points (2,); infinite where no way leads."""
        cells = [self._cell_by(point) for point in points]
        known = [k for k, cell in enumerate(cells) if cell is not None]
        found = np.full((len(points), len(points)), np.inf)
        np.fill_diagonal(found, 0.0)
        if known:
            at = np.array([cells[k] for k in known], np.intp)
            every = dijkstra(self.graph, directed=False, indices=at)
            found[np.ix_(known, known)] = every[:, at]
        return found

    def _cell_by(self, point: Floats) -> int | None:
        """The open cell nearest to a point that one can step to straight from it, or None."""
        ground = self.ground
        if len(ground.obstacles.tree.query(shapely.Point(point), predicate="within")):
            return None
        reach = int(np.ceil(_STEP_OUT / ground.cell))
        row, column = divmod(int(ground.index(point)[0]), ground.shape[1])
        rows = np.arange(max(row - reach, 0), min(row + reach + 1, ground.shape[0]))
        columns = np.arange(max(column - reach, 0), min(column + reach + 1, ground.shape[1]))
        cells = (rows[:, None] * ground.shape[1] + columns).ravel()
        cells = cells[ground.clear.ravel()[cells] >= self.radius]
        away = np.linalg.norm(ground.middle(cells) - point, axis=1)
        for cell in cells[np.argsort(away, kind="stable")][:60].tolist():
            middle = ground.middle(np.array([cell]))[0]
            # A chair stands nearer to its desk than one walks by: what matters is that nothing is in between.
            if not ground.obstacles.met(point, middle):
                return int(cell)
        return None

    def _blocked_at(self, point: Floats) -> Blocked:
        ground = self.ground
        flat = int(ground.index(point)[0])
        thing = int(ground.nearest.ravel()[flat])
        name = ground.obstacles.names[thing] if thing >= 0 else None
        return Blocked((float(point[0]), float(point[1])), name, None)

    def _what_blocks(self, begin: int, goal: int) -> Blocked:
        """Where the way through the fewest obstacles first meets one."""
        ground = self.ground
        cost = self.cost(ground.clear)
        shut = ~np.isfinite(cost)
        outside = shut & (ground.clear <= 0) & (ground.nearest < 0)
        # The narrower, the dearer: the way that could be widened with the least ado.
        dear = _THROUGH * (1 + (self.radius - np.minimum(ground.clear, self.radius)) / self.radius * 9)
        graph = grid_graph(np.where(outside, np.inf, np.where(shut, dear, cost)), ground.cell)
        _, before = dijkstra(graph, directed=False, indices=begin, return_predecessors=True)
        if before[goal] < 0:
            return self._blocked_at(ground.middle(np.array([goal]))[0])
        cells = _walk_back(before, begin, goal)
        through = np.flatnonzero(shut.ravel()[cells])
        first = int(through[0]) if len(through) else 0
        last = first
        while last + 1 < len(cells) and shut.ravel()[cells[last + 1]]:
            last += 1
        stretch = cells[first : last + 1]
        clear = ground.clear.ravel()[stretch]
        tight = int(stretch[int(clear.argmin())])
        thing = int(ground.nearest.ravel()[tight])
        x, y = (float(v) for v in ground.middle(np.array([tight]))[0])
        gap = 2 * float(clear.min()) if clear.min() > ground.cell else None
        return Blocked((x, y), ground.obstacles.names[thing] if thing >= 0 else None, gap)

    def taut(self, line: Floats) -> Floats:
        """A way (n, 2) over open cells without its detours: the cheapest of straight pieces between its points."""
        some = _thinned(line, _PIECE)
        n = len(some)
        if n < 3:
            return some
        one, two = np.triu_indices(n, 1)
        least = np.full(n, self.radius)
        # Whoever begins in a narrow door or on a chair turns sideways there.
        least[[0, -1]] = np.clip(self.ground.clear_at(some[[0, -1]]), self.radius - _SIDEWAYS, self.radius)
        cost = self._piece_costs(some[one], some[two], np.minimum(least[one], least[two]))
        # What leads on step by step stays passable, whatever the sampling says of it.
        steps = two == one + 1
        length = np.linalg.norm(some[two] - some[one], axis=1)
        cost[steps] = np.minimum(cost[steps], _BESIDE * length[steps])
        kept = np.isfinite(cost)
        # Of ways that cost the same the one with fewest corners.
        graph = csr_array((cost[kept] + 1e-6, (one[kept], two[kept])), shape=(n, n))
        _, before = dijkstra(graph, indices=0, return_predecessors=True)
        return some[_walk_back(before, 0, n - 1)]

    def _piece_costs(self, starts: Floats, ends: Floats, least: Floats) -> Floats:
        """What straight pieces (m, 2) cost, infinite where they come nearer to things than `least` (m,)."""
        length = np.linalg.norm(ends - starts, axis=1)
        n_samples = np.ceil(length / (self.ground.cell / 2)).astype(int) + 1
        total = np.full(len(starts), np.inf)
        for some in np.array_split(np.arange(len(starts)), max(int(n_samples.sum() // 2_000_000), 1)):
            piece = np.repeat(some, n_samples[some])
            first = np.cumsum(n_samples[some]) - n_samples[some]
            share = (np.arange(len(piece)) - np.repeat(first, n_samples[some])) / np.repeat(
                np.maximum(n_samples[some] - 1, 1), n_samples[some]
            )
            points = starts[piece] + share[:, None] * (ends[piece] - starts[piece])
            clear = self.ground.clear_at(points)
            # Between cells' middles distances are a little short beside a corner.
            fits = clear >= least[piece] - 0.3 * self.ground.cell
            each = np.where(fits, self.cost(np.maximum(clear, self.radius)), np.inf)
            total[some] = np.add.reduceat(each, first) / n_samples[some] * length[some]
        return total


def grid_graph(cost: Floats, cell: float) -> csr_array:
    """Cells (ny, nx) as an undirected graph: sixteen neighbours, a step's length (m) times the mean cost at its ends.

    Cells of infinite cost are closed; a step past the corner of closed cells is not taken.
    """
    ny, nx = cost.shape
    number = np.arange(ny * nx).reshape(ny, nx)
    open_ = np.isfinite(cost)
    rows, columns, weights = [], [], []
    for down, right in _STEPS:
        here = (slice(0, ny - down), slice(max(-right, 0), nx - max(right, 0)))
        there = (slice(down, ny), slice(max(right, 0), nx - max(-right, 0)))
        if min(number[here].shape) == 0:
            continue
        passable = open_[here] & open_[there]
        # The cells that the step runs between.
        for d, r in _between(down, right):
            between = (slice(d, ny - down + d), slice(max(-right, 0) + r, nx - max(right, 0) + r))
            passable &= open_[between]
        weight = (cost[here][passable] + cost[there][passable]) / 2 * np.hypot(down, right) * cell
        rows.append(number[here][passable])
        columns.append(number[there][passable])
        weights.append(weight)
    places = (np.concatenate(rows), np.concatenate(columns))
    return csr_array((np.concatenate(weights), places), shape=(ny * nx, ny * nx))


def _between(down: int, right: int) -> list[tuple[int, int]]:
    if abs(down) + abs(right) == 1:
        return []
    side = 1 if right > 0 else -1
    if abs(right) == down == 1:
        return [(0, side), (1, 0)]
    return [(0, side), (1, side)] if abs(right) == 2 else [(1, 0), (1, side)]


def _walk_back(before: NDArray[np.integer], begin: int, goal: int) -> NDArray[np.intp]:
    cells = [goal]
    while cells[-1] != begin:
        cells.append(int(before[cells[-1]]))
    return np.array(cells[::-1], np.intp)


def _thinned(line: Floats, most: float) -> Floats:
    """A polyline's corners, and points between them no further apart than `most` (m)."""
    if len(line) < 3:
        return line
    step = np.diff(line, axis=0)
    turn = np.abs(step[:-1, 0] * step[1:, 1] - step[:-1, 1] * step[1:, 0]) > 1e-9
    kept = np.concatenate([[True], turn, [True]])
    reached = np.concatenate([[0.0], np.cumsum(np.linalg.norm(step, axis=1))])
    kept |= np.concatenate([[False], np.diff(np.floor(reached / most)) > 0])
    return line[kept]


def _without_doubles(line: Floats) -> Floats:
    keep = np.concatenate([[True], np.linalg.norm(np.diff(line, axis=0), axis=1) > 1e-6])
    kept = line[keep]
    return kept if len(kept) > 1 else line[:2]
