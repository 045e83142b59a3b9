"""Hold times, by hand."""

from __future__ import annotations

import numpy as np
import pytest

from raycover.walking.light import light_by_hand, light_on, lit, off_at, shortest_hold, stretches

TIME = np.arange(0, 101) * 0.1


def noticed(*at: float) -> np.ndarray:
    chosen = np.zeros(len(TIME), bool)
    chosen[[round(t * 10) for t in at]] = True
    return chosen


def test_on_for_the_hold_time_after_each_notice() -> None:
    """[C] Noticed at 1, 2 and 6 s, hold 3 s: on from 1 to 5 s and from 6 to 9 s; dark 1 s, 1 s, 1 s."""
    seen = noticed(1, 2, 6)
    on = light_on(TIME, seen, 3.0)
    light = lit(TIME, on, [0.0], off_at(TIME, seen, 3.0))
    assert light.waits == (pytest.approx((0.0, 1.0)),)
    assert light.left == (pytest.approx((5.0, 6.0)), pytest.approx((9.0, 10.0)))
    assert light.off_at_s == pytest.approx(9.0)


def test_the_shortest_hold_that_keeps_it_on() -> None:
    """[C] From the last notice at 6 s to the end at 10 s: 4 s, as long as the wait from 2 to 6 s."""
    seen = noticed(1, 2, 6)
    hold = shortest_hold(TIME, seen)
    assert hold == pytest.approx(4.0)
    assert not light_on(TIME, seen, hold)[10:].all()  # just so long is a step too short
    assert light_on(TIME, seen, hold + 0.1)[10:].all()


def test_nobody_noticed() -> None:
    never = noticed()
    assert off_at(TIME, never, 900) is None
    assert shortest_hold(TIME, never) is None
    assert lit(TIME, light_on(TIME, never, 900), [0.0], None).waits == (pytest.approx((0.0, 10.0)),)


def test_a_wait_begins_on_a_threshold() -> None:
    on = np.ones(len(TIME), bool)
    on[30:50] = False
    assert lit(TIME, on, [0.0, 3.0], None).waits == (pytest.approx((3.0, 5.0)),)
    assert lit(TIME, on, [0.0, 2.0], None).left == (pytest.approx((3.0, 5.0)),)


def test_stretches_meet() -> None:
    assert stretches(TIME, np.ones(len(TIME), bool)) == [(0.0, pytest.approx(10.0))]
    assert stretches(TIME, noticed(2)) == [pytest.approx((2.0, 2.1))]


def test_switched_on_by_hand() -> None:
    """[C] In at 1 s, noticed at 3, 6 and 8 s, hold 2.5 s: on from 1 to 5.5 s; in again at 9 s: on from then."""
    on = light_by_hand(TIME, noticed(3, 6, 8), noticed(1, 9), 2.5)
    assert stretches(TIME, on) == [pytest.approx((1.0, 5.5)), pytest.approx((9.0, 10.0))]
    assert not light_by_hand(TIME, noticed(3), noticed(), 2.5).any()
