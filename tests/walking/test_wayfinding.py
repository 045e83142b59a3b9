"""Shortest ways: a hand-worked case, an independent search on random grids, and what taut means."""

from __future__ import annotations

import heapq
import itertools
import math

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.sparse.csgraph import dijkstra
from walk_scenes import hall

from raycover.building.build import build
from raycover.walking.ground import make_ground
from raycover.walking.wayfinding import Blocked, Wayfinder, grid_graph

WALL = {"name": "Wall", "line": [[5, 0], [5, 5]], "height": 2.8, "construction": "chipboard-18"}


def finder(partitions: list[object], *, comfort: float | None = None) -> Wayfinder:
    made = hall(partitions=partitions)
    ground = make_ground(build(made), (0,), "adult")
    return Wayfinder(ground, 0.25) if comfort is None else Wayfinder(ground, 0.25, comfort=comfort)


def length(line: NDArray[np.floating]) -> float:
    return float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum())


def test_around_the_end_of_one_wall() -> None:
    """From (2, 3) around (5, 5) to (8, 3), a body of radius 0.25 m.

    [C] By Pythagoras each way is √(3² + 2²) = 3.606 m from the wall's end, the tangent to a circle of 0.25 m about it
    √(13 − 0.0625) = 3.597 m; the arc spans 360° − 2·atan(3/2) − 2·acos(0.25/3.606) = 75.3°, 0.329 m: 7.52 m in all.
    """
    to_end = math.hypot(3, 2)
    tangent = math.sqrt(to_end**2 - 0.25**2)
    arc = 2 * math.pi - 2 * math.atan2(3, 2) - 2 * math.acos(0.25 / to_end)
    exact = 2 * tangent + 0.25 * arc
    assert exact == pytest.approx(7.52, abs=0.005)
    (line,) = finder([WALL], comfort=0.25).ways(np.array([2.0, 3.0]), [np.array([8.0, 3.0])])
    assert isinstance(line, np.ndarray)
    assert length(line) == pytest.approx(exact, abs=0.1)  # one cell
    # In the open people keep a little further off: longer, but by less than that costs at the corner.
    (easy,) = finder([WALL]).ways(np.array([2.0, 3.0]), [np.array([8.0, 3.0])])
    assert isinstance(easy, np.ndarray)
    assert exact - 0.1 < length(easy) < exact + 0.4


def test_a_way_with_nothing_in_it_is_straight() -> None:
    (line,) = finder([]).ways(np.array([1.0, 1.0]), [np.array([8.0, 7.0])])
    assert isinstance(line, np.ndarray)
    assert len(line) == 2
    assert length(line) == pytest.approx(math.hypot(7, 6))


def test_a_way_keeps_clear_of_things() -> None:
    maze = [WALL, {**WALL, "name": "Two", "line": [[7, 10], [7, 4]]}]
    found = finder(maze)
    (line,) = found.ways(np.array([2.0, 3.0]), [np.array([9.0, 8.0])])
    assert isinstance(line, np.ndarray)
    share = np.linspace(0, 1, 400)[:, None]
    dense = np.concatenate([a + share * (b - a) for a, b in itertools.pairwise(line)])
    assert found.ground.clear_at(dense).min() > 0.25 - 0.3 * found.ground.cell - 1e-6


def test_a_gap_too_narrow_blocks_and_says_how_narrow() -> None:
    """A gap of 0.4 m between two screens of 18 mm: 0.4 m are left, 0.5 m are needed."""
    screens = [{**WALL, "line": [[5, 0], [5, 4]]}, {**WALL, "name": "Other", "line": [[5, 4.4], [5, 10]]}]
    (found,) = finder(screens).ways(np.array([2.0, 3.0]), [np.array([8.0, 3.0])])
    assert isinstance(found, Blocked)
    assert found.by in ("Wall", "Other")
    assert found.at == pytest.approx((5.0, 4.2), abs=0.15)
    assert found.gap_m == pytest.approx(0.4, abs=0.1)


def by_heap(cost: NDArray[np.floating], cell: float, start: tuple[int, int]) -> NDArray[np.floating]:
    """Dijkstra's algorithm written out over the rule of `grid_graph`, cell by cell."""
    ny, nx = cost.shape
    moves = [(d, r) for d in range(-2, 3) for r in range(-2, 3) if math.gcd(d, r) == 1]
    best = np.full(cost.shape, np.inf)
    best[start] = 0.0
    queue = [(0.0, start)]
    while queue:
        so_far, (y, x) = heapq.heappop(queue)
        if so_far > best[y, x]:
            continue
        for d, r in moves:
            v, u = y + d, x + r
            if not (0 <= v < ny and 0 <= u < nx) or not np.isfinite(cost[v, u]):
                continue
            if abs(d) == abs(r) == 1:
                between = [(y, u), (v, x)]
            elif abs(d) + abs(r) == 3:
                long = (d // 2, 0) if abs(d) == 2 else (0, r // 2)
                between = [(y + long[0], x + long[1]), (v - long[0], u - long[1])]
            else:
                between = []
            if not all(np.isfinite(cost[b]) for b in between):
                continue
            reached = so_far + (cost[y, x] + cost[v, u]) / 2 * math.hypot(d, r) * cell
            if reached < best[v, u] - 1e-12:
                best[v, u] = reached
                heapq.heappush(queue, (reached, (v, u)))
    return best


@pytest.mark.parametrize("seed", range(8))
def test_against_a_search_written_out(seed: int) -> None:
    """Random floors: the same distances as a plain search cell by cell, blocked cells and all."""
    random = np.random.default_rng(seed)
    ny, nx = random.integers(4, 24, 2)
    cost = random.uniform(1, 1.5, (ny, nx))
    cost[random.random((ny, nx)) < 0.3] = np.inf
    cost[0, 0] = 1.0
    graph = grid_graph(cost, 0.1)
    distance = dijkstra(graph, directed=False, indices=0).reshape(ny, nx)
    np.testing.assert_allclose(distance, by_heap(cost, 0.1, (0, 0)), rtol=1e-9)


def test_the_same_floor_gives_the_same_way() -> None:
    one, two = (finder([WALL]).ways(np.array([2.0, 3.0]), [np.array([8.0, 3.0])])[0] for _ in range(2))
    assert isinstance(one, np.ndarray)
    np.testing.assert_array_equal(one, two)
