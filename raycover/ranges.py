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

#: A range whose ends both have a comma in them, and a number no list holds: `0,05`.
_BOTH_ENDS = re.compile(r"(?<![^,\s])-?[0-9]+,[0-9]+:-?[0-9]+,[0-9]+(?::[0-9]+(?:[.,][0-9]+)?)?(?![^,\s])")
_HUNDREDTHS = re.compile(r"(?<![^,\s])-?[0-9]+,0[0-9]+(?![^,\s])")
#: Two whole numbers that look like one with a decimal comma.
_PAIR = re.compile(r"(-?[0-9]+),([0-9])")


def numbers(option: str, text: str, low: float, high: float, unit: str) -> list[float]:
    """The values that an option asks for, each once, in the order given. Raises InputError for what is none."""
    example = f"write {option} {low + (high - low) / 4:g},{low + (high - low) / 2:g} or {option} FROM:TO:STEP"
    found: list[float] = []
    no_decimal_comma(option, text)
    for part in text.split(","):
        found += _part(option, part.strip(), example)
        if len(found) > MOST_VALUES:
            raise option_error(option, f"asks for more than {MOST_VALUES} values", "take a coarser step")
    beyond = [v for v in found if not low <= v <= high]
    if beyond:
        raise option_error(option, f"{beyond[0]:g} {unit} is out of range", f"{low:g} to {high:g} {unit} is allowed")
    return list(dict.fromkeys(found))


def no_decimal_comma(option: str, text: str) -> None:
    """Refuses a whole number before a range that begins no higher: `6,5:8:1` is 6.5:8:1 with a decimal comma.

    So are `6,5:8,5:1`, `2,5:2.7:0.1` and `0,05`. A space behind the comma says that it is a list. Raises InputError.
    """
    if (found := _BOTH_ENDS.search(text) or _HUNDREDTHS.search(text)) is not None:
        pointed = found[0].replace(",", ".")
        raise option_error(option, f'"{found[0]}" has a decimal comma', f"write {pointed}: a comma parts values")
    found = _COMMA.search(text)
    if found is None:
        return
    whole, start, end = (float(v) for v in found.groups())
    pointed = found[0].replace(",", ".", 1)
    if (start <= whole or start > end) and float(f"{found[1]}.{found[2]}") <= end:
        raise option_error(
            option,
            f'"{found[0]}" may be {pointed} with a decimal comma, or {found[1]} and then {found[0].partition(",")[2]}',
            f'write {pointed} with a point, or "{found[0].replace(",", ", ", 1)}" with a space if it is a list',
        )


def pair_words(option: str, text: str) -> str | None:
    """That two values are meant by `3,5`, to be told before they are worked on; None for what is no such pair."""
    if (pair := _PAIR.fullmatch(text.strip())) is None:
        return None
    return f"{option}: {pair[1]} and {pair[2]}, two values; {pair[1]}.{pair[2]} is written with a point"


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
