"""Signs of figures: one minus everywhere, whoever writes them. Imports nothing heavy."""

from __future__ import annotations

import math

#: The sign of a negative figure.
MINUS = "\N{MINUS SIGN}"


def minus(figures: str) -> str:
    """Figures with the sign of a minus, as people get them to read; a number in JSON stays a number."""
    return figures.replace("-", MINUS)


def margin_words(margin_db: float) -> str:
    """`+4.2 dB`; `none` where nothing gets through."""
    return minus(f"{margin_db:+.1f} dB") if math.isfinite(margin_db) else "none"
