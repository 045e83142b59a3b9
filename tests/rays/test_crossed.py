"""Crossings in order along their rays, and which count once: against numpy's own sort by two keys."""

from __future__ import annotations

import numpy as np
import pytest

from raycover.rays.crossed import Tally, by_rank, counted_once


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
    """Rays: two crossings apart; two within the tolerance; one face twice, as told; more than there is room for."""
    tally = Tally(4, 20.0)
    rays = np.arange(4)
    tally.add(rays, np.array([1.0, 2.0, 3.0, 0.5]), np.ones(4))
    tally.add(rays, np.array([1.002, 2.0008, 3.5, 0.7]), np.full(4, 2.0))
    tally.doubt(np.array([2]))
    for k in range(7):
        tally.add(np.array([3]), np.array([1.0 + k]), np.ones(1))
    assert tally.doubtful.tolist() == [1, 2, 3]
    assert tally.loss_db.tolist() == [3.0, 3.0, 3.0, 10.0]


def test_a_tally_sees_every_pair_of_many() -> None:
    """Of six crossings only the first and the last lie together, whichever way they are found."""
    tally = Tally(2, 10.0)
    for distance in ([1.0, 9.0], [4.0, 2.0], [2.0, 3.0], [6.0, 4.0], [3.0, 5.0], [1.0005, 6.0]):
        tally.add(np.arange(2), np.array(distance), np.zeros(2))
    assert tally.doubtful.tolist() == [0]


def test_crossings_by_rank_hold_each_ray_once() -> None:
    ray = np.array([4, 1, 4, 0, 4, 1], np.int32)
    ranks = list(by_rank(ray))
    assert [ray[r].tolist() for r in ranks] == [[0, 1, 4], [1, 4], [4]]
    assert sorted(np.concatenate(ranks).tolist()) == list(range(6))
