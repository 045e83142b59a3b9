"""Crossings in order along their rays, and which count once: against numpy's own sort by two keys."""

from __future__ import annotations

import numpy as np
import pytest

from raycover.rays.crossed import Met, Tally, by_rank, counted_once


@pytest.mark.parametrize("closest", [1e-2, 1e-9])
def test_order_is_that_of_two_keys(closest: float) -> None:
    """Also where distances differ by less than single precision tells, and where some are equal."""
    rng = np.random.default_rng(11)
    n = 5000
    ray = rng.integers(0, 400, n).astype(np.int32)
    distance = np.round(rng.uniform(0, 30, n), 1) + closest * rng.integers(0, 4, n)
    face = rng.integers(0, 50, n).astype(np.int32)
    _, order = counted_once(ray, distance, face)
    np.testing.assert_array_equal(order, np.lexsort((distance, ray)))


def test_a_crossing_before_the_start_comes_first() -> None:
    _, order = counted_once(np.zeros(3, np.int32), np.array([0.5, -0.25, 0.0]), np.arange(3, dtype=np.int32))
    assert order.tolist() == [1, 2, 0]


def test_what_lies_within_a_millimetre_counts_once() -> None:
    ray = np.array([1, 0, 0, 0], np.int32)
    starts, order = counted_once(ray, np.array([2.0, 2.0, 2.0005, 2.1]), np.arange(4, dtype=np.int32))
    assert order[starts].tolist() == [1, 3, 0]


def test_no_crossings() -> None:
    none = np.zeros(0, np.int32)
    starts, order = counted_once(none, np.zeros(0), none)
    assert len(starts) == len(order) == 0


def test_a_tally_is_in_doubt_only_where_order_matters() -> None:
    """Rays: two crossings apart; two of two sets within the tolerance; one face twice, as told; two of one set, which
    is trusted to keep them apart."""
    tally = Tally(4, 20.0)
    rays = np.arange(4)
    tally.add(rays, np.array([1.0, 2.0, 3.0, 0.5]), np.ones(4))
    tally.add(np.array([3]), np.array([0.5008]), np.ones(1))
    tally.next_set()
    tally.add(rays, np.array([1.002, 2.0008, 3.5, 0.7]), np.full(4, 2.0))
    tally.doubt(np.array([2]))
    assert tally.doubtful.tolist() == [1, 2]
    assert tally.loss_db.tolist() == [3.0, 3.0, 3.0, 4.0]


@pytest.mark.parametrize(("first", "second"), [(6, 1), (1, 6), (6, 6)], ids=["of many", "of few", "of many both"])
def test_a_tally_sees_the_last_of_many(first: int, second: int) -> None:
    """The last crossing of one set lies at the last of another: whichever way they are found, that ray is in doubt.

    Another ray meets the same sets well apart. Two sets of many each are not compared with each other: both rays are.
    """
    tally = Tally(2, 30.0)
    for n in (first, second):
        for k in range(n):
            last = 20.0 + n / 1e5
            tally.add(np.arange(2), np.array([last if k == n - 1 else k + 0.01 * n, k + 0.01 * n]), np.zeros(2))
        tally.next_set()
    assert tally.doubtful.tolist() == ([0, 1] if first == second else [0])


@pytest.mark.parametrize("n_sets", [2, 4, 12])
def test_what_is_not_in_doubt_is_added_up_right(n_sets: int) -> None:
    """Against every crossing put in order: random crossings of sets, some of which lie just behind another set's."""
    rng = np.random.default_rng(n_sets)
    n, k = 400, 600
    places = 0.004 * rng.permutation(n_sets * k).reshape(n_sets, k)
    tally = Tally(n, float(places.max()) + 0.01)
    found: list[Met] = []
    for which in range(n_sets):
        ray, distance = rng.integers(0, n, k), places[which]
        if found:  # a few stand before what the set before has
            few = rng.random(k) < 0.1
            ray[few], distance[few] = found[-1].ray[:k][few], found[-1].distance[few] + 0.0006
        loss = rng.uniform(1, 9, k)
        for here in by_rank(ray.astype(np.int32)):
            tally.add(ray[here], distance[here], loss[here])
        tally.next_set()
        part = np.arange(k, dtype=np.int32) + k * which
        found.append(Met(ray.astype(np.int32), distance, loss, loss, loss, part, part))
    expected = Met.join(found).added_db(n)
    doubtful = tally.doubtful
    sure = np.setdiff1d(np.arange(n), doubtful)
    assert len(doubtful) > 20
    np.testing.assert_allclose(tally.loss_db[sure], expected[sure], rtol=1e-12)
    if n_sets == 2:  # all but those that cross very many are in doubt for a reason
        assert len(sure) > n / 2
        assert np.mean(tally.loss_db[doubtful] > expected[doubtful] + 0.5) > 0.8


def test_crossings_by_rank_hold_each_ray_once() -> None:
    ray = np.array([4, 1, 4, 0, 4, 1], np.int32)
    ranks = list(by_rank(ray))
    assert [ray[r].tolist() for r in ranks] == [[0, 1, 4], [1, 4], [4]]
    assert sorted(np.concatenate(ranks).tolist()) == list(range(6))
