"""Names one after the other, as sentences list them."""

from __future__ import annotations

from collections.abc import Sequence


def listed(names: Sequence[str], word: str = "and") -> str:
    """`A`, `A and B`, `A, B and C`."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} {word} {names[-1]}"


def some_of(names: Sequence[str], most: int = 4) -> str:
    """Names, the first few where there are many."""
    return listed(names) if len(names) <= most else f"{', '.join(names[: most - 1])} and {len(names) - most + 1} more"
