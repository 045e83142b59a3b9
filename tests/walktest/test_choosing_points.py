"""Which points are tested and in which order: what tells most first, none too near another, a short tour."""

from __future__ import annotations

from itertools import pairwise, permutations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from raycover.walktest.choosing import Known, choose, spread_out
from raycover.walktest.touring import short_tour
from raycover.walktest.unknowns import information


def test_one_answer_narrows_as_worked_by_hand() -> None:
    """One unknown of variance 4 dB² at slope −2, nothing known but the margin: precision grows by I·g², the gain is
    ½·log(1 + I·g²·4), with I the mean information over a margin that is itself spread by 2 · 2 dB."""
    known = Known.before(np.array([2.0]))
    nodes, weights = np.polynomial.hermite_e.hermegauss(7)
    told = float((weights / weights.sum()) @ information(nodes * 4.0))
    (gain,) = known.gains(np.array([0.0]), np.array([[-2.0]]))
    assert gain == pytest.approx(0.5 * np.log1p(told * 4 * 4))
    after = known.after(0.0, np.array([-2.0])).covariance[0, 0]
    assert 1 / after == pytest.approx(1 / 4 + told * 4)


def test_gains_shrink_as_points_are_taken_and_vanish_far_from_the_edge() -> None:
    known = Known.before(np.array([2.0, 1.5]))
    slope = np.array([1.0, -2.0])
    first = known.gains(np.array([0.0]), slope[None])[0]
    second = known.after(0.0, slope).gains(np.array([0.0]), slope[None])[0]
    assert 0 < second < first
    far, nowhere = known.gains(np.array([40.0, -np.inf]), np.stack([slope, slope]))
    assert far < 1e-3 * first
    assert nowhere == 0


def test_points_before_and_behind_a_wall_are_both_taken() -> None:
    """At the edge in the open and at the edge behind a wall: after two points both unknowns are narrowed."""
    n = 40
    places = np.column_stack([np.arange(n) * 1.0, np.zeros(n), np.zeros(n)])
    slopes = np.zeros((n, 2))
    slopes[:, 0] = 1.0
    slopes[n // 2 :, 1] = -2.0
    margin = np.linspace(-6, 6, n)
    margin[n // 2 :] = np.linspace(-6, 6, n // 2)
    margin[: n // 2] = np.linspace(-6, 6, n // 2)
    chosen = choose(places, margin, slopes, np.array([4.0, 1.8]), [], 6, 1.5)
    behind = [k for k in chosen if k >= n // 2]
    assert 0 < len(behind) < len(chosen)
    assert max(abs(margin[k]) for k in chosen[:2]) < 3


def test_what_must_be_there_comes_first_and_none_lies_too_near() -> None:
    rng = np.random.default_rng(2)
    places = np.column_stack([rng.uniform(0, 10, (300, 2)), np.zeros(300)])
    margin, slopes = rng.uniform(-4, 4, 300), np.ones((300, 1))
    chosen = choose(places, margin, slopes, np.array([4.0]), [7, 8, 9], 12, 1.0)
    assert chosen[0] == 7
    apart = np.linalg.norm(places[chosen][:, None] - places[chosen][None], axis=-1)[~np.eye(len(chosen), dtype=bool)]
    assert apart.min() >= 0.5
    allowed = np.zeros(300, bool)
    assert choose(places, margin, slopes, np.array([4.0]), [7], 12, 1.0, allowed=allowed) == [7]


def test_no_more_points_than_tell_something() -> None:
    """Far from every edge nothing is worth a step."""
    places = np.column_stack([np.arange(50.0), np.zeros(50), np.zeros(50)])
    assert choose(places, np.full(50, 25.0), np.ones((50, 1)), np.array([1.0]), [], 24, 1.0) == []


def test_spread_out() -> None:
    places = np.array([[0.0, 0, 0], [0.1, 0, 0], [9.0, 0, 0], [5.0, 0, 0]])
    assert spread_out(places, np.array([2.0, 1.9, 1.0, 1.0]), 3) == [0, 2, 3]
    assert spread_out(places[:0], np.zeros(0), 3) == []


@given(st.integers(3, 6), st.integers(0, 10_000))
def test_a_tour_is_near_the_shortest_there_is(n: int, seed: int) -> None:
    """Against all orders by brute force: never more than a tenth longer, and every point once."""
    points = np.random.default_rng(seed).uniform(0, 10, (n, 2))
    distance = np.linalg.norm(points[:, None] - points[None], axis=-1)
    tour = short_tour(distance)
    assert sorted(tour.tolist()) == list(range(n))
    best = min(sum(distance[a, b] for a, b in pairwise(p)) for p in permutations(range(n)))
    assert distance[tour[:-1], tour[1:]].sum() <= 1.1 * best + 1e-9


def test_a_tour_may_begin_somewhere_and_meet_what_cannot_be_reached() -> None:
    distance = np.abs(np.subtract.outer(np.arange(6.0), np.arange(6.0)))
    assert short_tour(distance, first=3)[0] == 3
    distance[2, :], distance[:, 2] = np.inf, np.inf
    assert sorted(short_tour(distance).tolist()) == list(range(6))
    assert short_tour(np.zeros((1, 1))).tolist() == [0]
    assert short_tour(np.zeros((2, 2)), first=1).tolist() == [1, 0]
