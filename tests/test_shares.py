"""Shares as per cent: said alike whatever order their areas were added in, 0 and 100 only where it is just that."""

from __future__ import annotations

import pytest

from raycover.shares import close_percent, percent


@pytest.mark.parametrize(
    ("share", "said"),
    [(0.0, "0.0 %"), (0.0004, "< 0.1 %"), (0.0005, "0.1 %"), (0.999, "99.9 %"), (0.99996, "99.9 %"), (1.0, "100.0 %")],
)
def test_nothing_and_all_are_said_only_where_it_is_just_that(share: float, said: str) -> None:
    assert percent(share) == said
    assert close_percent(share) == said.replace(" %", "%")


def test_sums_in_another_order_are_rounded_alike() -> None:
    """Four areas of a room, added up forth and back, differ in the last digit just where 95.45 is rounded."""
    areas = [0.1, 0.2, 0.3, 0.3545]
    forth, back = sum(areas), sum(reversed(areas))
    assert percent(forth) == percent(back) == percent(0.9544999999999999) == percent(0.9545000000000001)
