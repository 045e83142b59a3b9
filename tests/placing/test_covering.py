"""The set cover against every choice there is, its bound, and what a greedy choice costs."""

from __future__ import annotations

import _thread
import threading
from itertools import combinations
from typing import Any

import numpy as np
import pytest
import scipy.sparse as sp

from raycover.placing import covering
from raycover.placing.covering import Wanted, cover, greedy, in_lines
from raycover.placing.exchanging import exchanged


def cheapest(wanted: list[Wanted], cost: np.ndarray) -> float | None:
    """The least cost over all choices, one by one."""
    m, best = len(cost), None
    for n in range(m + 1):
        for chosen in combinations(range(m), n):
            if all(_met(one, list(chosen)) for one in wanted):
                total = float(cost[list(chosen)].sum())
                best = total if best is None or total < best else best
    return best


def _met(one: Wanted, chosen: list[int]) -> bool:
    count = one.seen.toarray()[:, chosen].sum(axis=1) + (0 if one.have is None else one.have)
    return float(one.weight[count >= one.by].sum()) >= one.share * one.weight.sum() - 1e-9


@pytest.mark.parametrize("seed", range(24))
def test_against_every_choice(seed: int) -> None:
    """Brute force over all 2^9 choices: whole and shared places, one and two units a cell, with and without prices."""
    draw = np.random.default_rng(seed)
    m = 9
    cost = np.ones(m) if seed % 2 else draw.integers(1, 6, m).astype(float)
    wanted = []
    for k in range(3):
        n = 12
        seen = sp.csr_array((draw.random((n, m)) < 0.4).astype(np.int8))
        share = (1.0, 0.7, 0.9)[(seed + k) % 3]
        by = 2 if (seed + k) % 4 == 0 else 1
        have = (draw.random(n) < 0.2).astype(int)
        wanted.append(Wanted(seen, draw.random(n) + 0.1, share, by, have))
    found, truth = cover(wanted, cost, seconds=30), cheapest(wanted, cost)
    if truth is None:
        assert found is None
        return
    assert found is not None
    assert found.optimal
    assert found.cost == pytest.approx(truth)
    assert found.bound <= found.cost + 1e-9
    assert all(_met(one, found.chosen.tolist()) for one in wanted)


def test_parts_that_do_not_touch_add_up() -> None:
    """Two halls without a common candidate: the sum of each by itself."""
    draw = np.random.default_rng(5)
    one, two = ((draw.random((20, 8)) < 0.5).astype(np.int8) for _ in range(2))
    apart = [
        cover([Wanted(sp.csr_array(seen), np.ones(20), 0.95)], np.ones(8), seconds=20).cost  # type: ignore[union-attr]
        for seen in (one, two)
    ]
    left, right = sp.csr_array(np.hstack([one, 0 * one])), sp.csr_array(np.hstack([0 * two, two]))
    both = cover([Wanted(left, np.ones(20), 0.95), Wanted(right, np.ones(20), 0.95)], np.ones(16), seconds=20)
    assert both is not None
    assert both.cost == sum(apart)


def test_greedy_costs_no_less() -> None:
    """The classical case in which the greedy cover takes three for two: rows of 4 + 4 against columns of 5, 2, 1."""
    seen = np.zeros((8, 5), np.int8)
    seen[:4, 0] = seen[4:, 1] = 1
    seen[[0, 1, 2, 4, 5], 2] = seen[[3, 6], 3] = seen[[7], 4] = 1
    table = sp.csr_array(seen)
    best = cover([Wanted(table, np.ones(8))], np.ones(5))
    assert best is not None
    assert best.cost == 2
    chosen = greedy(table, np.ones(8), np.ones(5))
    assert len(chosen) >= 3
    assert seen[:, chosen].any(axis=1).all()


def test_nothing_wanted_costs_nothing() -> None:
    found = cover([Wanted(sp.csr_array((2, 3)), np.ones(2), 1.0, 1, np.ones(2, int))], np.ones(3))
    assert found is not None
    assert (found.cost, found.optimal, len(found.chosen)) == (0.0, True, 0)


def test_one_at_a_spot() -> None:
    """Two units a cell, and the only two that see it hang at one spot: there is no such choice."""
    wanted = [Wanted(sp.csr_array(np.ones((1, 2), np.int8)), np.ones(1), 1.0, 2)]
    assert cover(wanted, np.ones(2)) is not None
    assert cover(wanted, np.ones(2), spots=[np.array([0, 1])]) is None


def test_in_lines_by_hand() -> None:
    """Two cells, two candidates each; those numbered 1 and 2 share a line."""
    seen = sp.csr_array(np.array([[1, 1, 0, 0], [0, 0, 1, 1]], np.int8))
    lines = [np.array([0]), np.array([1, 2]), np.array([3])]
    found = in_lines([Wanted(seen, np.ones(2))], np.ones(4), 2.0, lines)
    assert found is not None
    assert sorted(found.chosen.tolist()) == [1, 2]


@pytest.mark.parametrize("seed", range(6))
def test_exchange_comes_near_the_solver(seed: int) -> None:
    """40 places seen whole, in part and by two, 24 candidates: feasible, near the exact cover."""
    draw = np.random.default_rng(seed)
    n, m = 40, 24
    cost = np.ones(m) if seed % 2 else draw.integers(1, 6, m).astype(float)
    wanted = [
        Wanted(sp.csr_array((draw.random((n, m)) < 0.3).astype(np.int8)), draw.random(n) + 0.1, share, by)
        for share, by in ((1.0, 1), (0.8, 1), (0.7, 2))
    ]
    exact = cover(wanted, cost, seconds=60)
    assert exact is not None
    assert exact.optimal
    found = exchanged(wanted, cost, np.arange(m), seconds=60)
    assert all(_met(one, found.tolist()) for one in wanted)
    assert exact.cost <= cost[found].sum() <= 1.15 * exact.cost + 1e-9
    # What does not do it is handed back as it is.
    assert exchanged(wanted, cost, np.arange(1)).tolist() == [0]


def test_a_solver_that_overruns_its_time_by_far_is_not_waited_for(monkeypatch: pytest.MonkeyPatch) -> None:
    """Found is then what needs no solver: a greedy choice, with no claim that it is the best."""
    go_on, done = threading.Event(), threading.Event()

    def deaf(*_: Any, **__: Any) -> None:
        go_on.wait(60)
        done.set()

    monkeypatch.setattr(covering, "milp", deaf)
    monkeypatch.setattr(covering, "OVERRUN_S", 0.0)
    # A ring: each cell is seen by two candidates, so that nothing of it is settled beforehand.
    seen = sp.csr_array((np.eye(5) + np.roll(np.eye(5), 1, axis=1)).astype(np.int8))
    whole, cost = Wanted(seen, np.ones(5)), np.ones(5)
    try:
        found = cover([whole], cost, seconds=0.1)
        assert found is not None
        assert not done.is_set()
        assert (found.found, found.optimal, found.bound) == (False, False, 0.0)
        assert _met(whole, covering.cheaper([whole], cost, found).tolist())
        assert in_lines([whole], cost, 5.0, [np.arange(5)], seconds=0.1) is None
    finally:
        go_on.set()
    assert done.wait(60)


def test_who_waits_for_the_solver_hears_an_interrupt(monkeypatch: pytest.MonkeyPatch) -> None:
    """The solver goes on in its thread, deaf as it is; the interrupt comes through before it is done."""
    go_on, done = threading.Event(), threading.Event()

    def deaf(*_: Any, **__: Any) -> None:
        assert threading.current_thread() is not threading.main_thread()
        _thread.interrupt_main()
        go_on.wait(60)
        done.set()

    monkeypatch.setattr(covering, "milp", deaf)
    whole = Wanted(sp.csr_array(np.eye(3, dtype=np.int8)), np.ones(3))
    try:
        with pytest.raises(KeyboardInterrupt):
            cover([whole], np.ones(3))
        assert not done.is_set()
    finally:
        go_on.set()
    assert done.wait(60)
