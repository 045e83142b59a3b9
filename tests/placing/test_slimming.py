"""What is left of a set cover: by hand, and against every choice there is where one spot takes one unit only."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
import scipy.sparse as sp

from raycover.placing.covering import Wanted, cover
from raycover.placing.slimming import asks_once, slimmed

#: Three cells seen by candidates 0 and 1, by 1, by 1 and 2; one more, seen by 1 and 2, counts for a share.
TABLE = sp.csr_array(
    [
        [1.0, 1.0, 0.0, 0.0],
        [0.0, 1.0, 0.0, 0.0],
        [0.0, 1.0, 1.0, 0.0],
        [0.0, 1.0, 1.0, -1.0],
        [0.0, 0.0, 0.0, 1.0],
    ]
)
LOW = np.array([1.0, 1.0, 1.0, 0.0, 0.5])


def test_by_hand() -> None:
    """Candidate 1 must be taken: it sees all, so the share is seen as well and nobody else is needed."""
    assert asks_once(TABLE, LOW, 3)
    slim = slimmed(TABLE, LOW, 3, np.ones(3))
    assert (slim.rows.tolist(), slim.columns.tolist(), slim.seen.tolist()) == ([1, 4], [1], [3])


def test_a_cheaper_one_is_not_replaced() -> None:
    """Cells 0 and 1 of one row each: candidate 1 sees both, but 0 costs less and sees the first."""
    table = sp.csr_array([[1.0, 1.0], [0.0, 1.0]])
    low = np.ones(2)
    # Row 0 is implied by row 1, and then candidate 0 sees nothing that is asked.
    assert slimmed(table, low, 2, np.array([1.0, 2.0])).columns.tolist() == [1]
    apart = sp.csr_array([[1.0, 1.0, 0.0], [0.0, 1.0, 1.0]])
    assert slimmed(apart, low, 3, np.array([1.0, 2.5, 1.0])).columns.tolist() == [0, 1, 2]
    assert slimmed(apart, low, 3, np.array([1.0, 2.5, 2.5])).columns.tolist() == [1]  # instead of 2, then of all
    assert slimmed(apart, low, 3).columns.tolist() == [0, 1, 2]  # no price: all stay


def test_two_units_a_cell_are_not_replaced_by_one() -> None:
    table, low = sp.csr_array([[1.0, 1.0, 1.0]]), np.array([2.0])
    assert not asks_once(table, low, 3)
    assert slimmed(table, low, 3, np.ones(3), np.array([0, 1, 2])).columns.tolist() == [0, 1, 2]
    assert slimmed(table, low, 3, np.ones(3), np.array([0, 0, 2])).columns.tolist() == [0, 2]
    # A row that asks for two is not implied by one that asks for one, but the other way round.
    both = sp.csr_array([[1.0, 1.0, 1.0], [1.0, 1.0, 1.0]])
    assert slimmed(both, np.array([2.0, 1.0]), 3).rows.tolist() == [0]


@pytest.mark.parametrize("seed", range(30))
def test_against_every_choice_with_one_unit_a_spot(seed: int) -> None:
    """Brute force over all 2^9 choices: three candidates at each of three spots, nested views, so that many replace
    others; whole places, shares, and of some cells two units."""
    draw = np.random.default_rng(100 + seed)
    m, n = 9, 10
    spots = [np.arange(3), np.arange(3, 6), np.arange(6, 9)]
    cost = np.ones(m) if seed % 2 else draw.integers(1, 4, m).astype(float)
    wanted = []
    for k in range(3):
        seen = draw.random((n, m)) < 0.45
        for one in range(1, m, 2):  # sees all that the one before it does
            seen[:, one] |= seen[:, one - 1]
        by = 2 if (seed + k) % 5 == 0 else 1
        wanted.append(Wanted(sp.csr_array(seen.astype(np.int8)), draw.random(n) + 0.1, (1.0, 0.6, 0.8)[k], by))
    wanted[0] = Wanted(wanted[0].seen, wanted[0].weight, 0.7 if seed % 3 else 1.0, wanted[0].by)

    def met(one: Wanted, chosen: tuple[int, ...]) -> bool:
        count = one.seen.toarray()[:, list(chosen)].sum(axis=1)
        return float(one.weight[count >= one.by].sum()) >= one.share * one.weight.sum() - 1e-9

    allowed = [
        chosen
        for size in range(4)
        for chosen in combinations(range(m), size)
        if len({k // 3 for k in chosen}) == size and all(met(one, chosen) for one in wanted)
    ]
    found = cover(wanted, cost, spots=spots, seconds=30)
    if not allowed:
        assert found is None
        return
    assert found is not None
    assert found.optimal
    assert found.cost == pytest.approx(min(cost[list(chosen)].sum() for chosen in allowed))
    assert tuple(found.chosen.tolist()) in allowed
