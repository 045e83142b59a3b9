"""The code of a point: by it a filled-in sheet shows whether its places are still those that were handed out."""

from __future__ import annotations

import zlib
from collections.abc import Sequence

#: Letters and figures that nobody mixes up (Crockford's base 32, from memory: no I, L, O, U).
_LETTERS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"


def code_of(number: int, at: Sequence[float], move: str, watch: Sequence[str]) -> str:
    """Five characters that change with a point's number, place (cm), move and watched units.

    They begin with a letter, so that no spreadsheet takes them for a number such as 12E45.
    """
    cm = [round(100 * v) for v in at]
    text = "|".join([str(number), *map(str, cm), move, *watch])
    left = zlib.crc32(text.encode("utf-8"))
    first = _LETTERS[10 + left % 22]
    left //= 22
    rest = []
    for _ in range(4):
        rest.append(_LETTERS[left % 32])
        left //= 32
    return first + "".join(rest)
