"""Crossings in order along their rays, and which count once: against numpy's own sort by two keys."""

from __future__ import annotations

import numpy as np
import pytest

from raycover.crossed import counted_once


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
