"""Shares as per cent, said the same on the console, on paper and in reports."""

from __future__ import annotations


def percent(share: float) -> str:
    """`97.4 %`: a figure with one decimal that says 0 or 100 only where it is just that."""
    if 0 < share < 0.0005:
        return "< 0.1 %"
    if 0.9995 <= share < 1 - 1e-9:
        return "99.9 %"
    # Sums of areas in another order differ in their last digits: halves are rounded alike all the same.
    return f"{round(100 * share, 9):.1f} %"


def close_percent(share: float) -> str:
    """The same as consoles say it: `97.4%`."""
    return percent(share).replace(" %", "%")
