"""Signs of figures: one minus everywhere, whoever writes them. Imports nothing heavy."""

from __future__ import annotations

import math

#: The sign of a negative figure.
MINUS = "\N{MINUS SIGN}"


def minus(figures: str) -> str:
    """Figures with the sign of a minus, as people get them to read; a number in JSON stays a number."""
    return figures.replace("-", MINUS)


def signed(value: float, form: str = "g") -> str:
    """`+6`, `−3`, `0`: figures in a format with their sign, what is shown as nothing without one."""
    figures = format(value, f"+{form}")
    return minus(figures) if float(figures) else figures[1:]


def margin_words(margin_db: float) -> str:
    """`+4.2 dB`; `none` where nothing gets through."""
    return minus(f"{margin_db:+.1f} dB") if math.isfinite(margin_db) else "none"
