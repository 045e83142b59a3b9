"""Numbers as options say them: one, a list `20,25,30`, or a range `6:14:0.5`, ends included."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence

from raycover.errors import option_error

#: No study needs more values of one kind.
MOST_VALUES = 200
#: A whole number, a comma without a space, and a range from a whole number.
_COMMA = re.compile(r"(?<![^,\s])(-?[0-9]+),([0-9]+):(-?[0-9.]+):[0-9.]+(?![^,\s])")


def numbers(option: str, text: str, low: float, high: float, unit: str) -> list[float]:
    """The values that an option asks for, each once, in the order given. Raises InputError for what is none."""
    example = f"write {option} {low + (high - low) / 4:g},{low + (high - low) / 2:g} or {option} FROM:TO:STEP"
    found: list[float] = []
    _no_decimal_comma(option, text)
    for part in text.split(","):
        found += _part(option, part.strip(), example)
        if len(found) > MOST_VALUES:
            raise option_error(option, f"asks for more than {MOST_VALUES} values", "take a coarser step")
    beyond = [v for v in found if not low <= v <= high]
    if beyond:
        raise option_error(option, f"{beyond[0]:g} {unit} is out of range", f"{low:g} to {high:g} {unit} is allowed")
    return list(dict.fromkeys(found))


def _no_decimal_comma(option: str, text: str) -> None:
    """Refuses a whole number before a range that begins no higher: `6,5:8:1` is 6.5:8:1 with a decimal comma.

    A space behind the comma says that it is a list.
    """
    found = _COMMA.search(text)
    if found is None:
        return
    whole, start, end = (float(v) for v in found.groups())
    pointed = found[0].replace(",", ".", 1)
    if start <= whole and float(f"{found[1]}.{found[2]}") <= end:
        raise option_error(
            option,
            f'"{found[0]}" may be {pointed} with a decimal comma, or {found[1]} and then {found[0].partition(",")[2]}',
            f'write {pointed} with a point, or "{found[0].replace(",", ", ", 1)}" with a space if it is a list',
        )


def values_words(option: str, text: str, values: Sequence[float]) -> str | None:
    """The values that a list with a range in it comes to, to be told before they are worked on; None for others."""
    if not {",", ":"} <= set(text):
        return None
    shown = [f"{v:g}" for v in values]
    return f"{option}: {', '.join(shown if len(shown) <= 12 else [*shown[:8], '…', *shown[-2:]])}"


def _part(option: str, part: str, example: str) -> list[float]:
    try:
        values = [float(v) for v in part.split(":")]
    except ValueError:
        raise option_error(option, f'expects numbers, got "{part}"', example) from None
    if not all(map(math.isfinite, values)) or len(values) not in (1, 3):
        raise option_error(option, f'expects a number or FROM:TO:STEP, got "{part}"', example)
    if len(values) == 1:
        return values
    return stepped(option, part, *values)


def stepped(option: str, part: str, start: float, end: float, step: float) -> list[float]:
    """Values from start to end, both included where a step falls there. Raises InputError where there is none."""
    if step <= 0 or end < start:
        raise option_error(option, f'"{part}" runs nowhere', "a range rises: FROM:TO:STEP with a step above 0")
    n = math.floor((end - start) / step + 1e-9)
    if n > MOST_VALUES:
        raise option_error(option, f"asks for more than {MOST_VALUES} values", "take a coarser step")
    return [round(start + k * step, 9) for k in range(n + 1)]
