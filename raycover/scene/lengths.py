"""Lengths as text with a unit: `250 mm`, `12 ft 6 in`, `12'6"`, `6 3/4 in`. Everything becomes metres, exactly.

One foot is 0.3048 m exactly and one inch its twelfth, 25.4 mm (international yard and pound agreement, 1959).
Sums are taken in fractions and rounded once, so that 3 ft is the float nearest to 0.9144.
"""

from __future__ import annotations

import re
from fractions import Fraction

#: What a message lists as allowed.
ALLOWED = "2.5, 2500 mm, 250 cm, 2.5 m, 12 ft 6 in, 12'6\", 2 ft, 150 in, 6 3/4 in"

_METRIC = {"mm": Fraction(1, 1000), "cm": Fraction(1, 100), "m": Fraction(1)}
_INCH = Fraction(254, 10_000)
#: Twelve digits are more than any building needs; endless ones would only cost time.
_DECIMAL = r"(?:\d{1,12}(?:\.\d{0,12})?|\.\d{1,12})"
_INCHES = rf"(?:(?P<whole>\d{{1,6}})[ -]+)?(?P<top>\d{{1,4}})/(?P<under>\d{{1,4}})|(?P<plain>{_DECIMAL})"
_IN = r"(?:in|\"|″|'')"
_FT = r"(?:ft|'|′)"
_METRIC_TEXT = re.compile(rf"\s*(?P<sign>[-+]?)(?P<plain>{_DECIMAL})\s*(?P<unit>mm|cm|m)\s*")
_IMPERIAL_TEXT = re.compile(
    rf"\s*(?P<sign>[-+]?)(?:(?P<feet>{_DECIMAL})\s*{_FT}(?!')\s*-?\s*)?(?:(?:{_INCHES})\s*{_IN})?\s*"
)
_COMMA = re.compile(r"(?<=\d),(?=\d)")


class NotALength(ValueError):
    """Text that is no length: `what` is wrong and what to do (`help`); `comma` where a decimal comma is all."""

    def __init__(self, what: str, help_: str, *, comma: bool = False) -> None:
        super().__init__(what)
        self.what, self.help, self.comma = what, help_, comma


def length_m(text: str) -> float:
    """Metres from text that carries its unit. Raises NotALength, which says what would do."""
    shown = text if len(text) <= 40 else text[:40] + "…"
    found = _METRIC_TEXT.fullmatch(text)
    if found:
        return float(_signed(found["sign"], Fraction(found["plain"]) * _METRIC[found["unit"]]))
    found = _IMPERIAL_TEXT.fullmatch(text)
    if found and (found["feet"] or found["plain"] or found["top"]):
        return float(_signed(found["sign"], _imperial(found, shown)))
    pointed = _COMMA.sub(".", text)
    if pointed != text and (_is_plain(pointed) or _is_length(pointed)):
        raise NotALength(
            f'a length with a decimal comma: "{shown}"', f"write {pointed.strip()} with a point", comma=True
        )
    if _is_plain(text):
        raise NotALength(
            f'expects a length in metres, got text "{shown}"', f"take the quotes away, or add a unit: {ALLOWED}"
        )
    raise NotALength(f'expects a length in metres, got text "{shown}"', f"write one of these ways: {ALLOWED}")


def _imperial(found: re.Match[str], shown: str) -> Fraction:
    inches = Fraction(found["plain"] or 0)
    if found["top"]:
        if int(found["under"]) == 0:
            raise NotALength(f'a fraction over nothing: "{shown}"', "write 3/4 in, or 0.75 in")
        inches = int(found["whole"] or 0) + Fraction(int(found["top"]), int(found["under"]))
    if found["feet"] and inches >= 12:
        help_ = "12 inches make a foot: 12 ft 14 in is 13 ft 2 in"
        raise NotALength(f'"{shown}" has twelve inches or more beside its feet', help_)
    return Fraction(found["feet"] or 0) * 12 * _INCH + inches * _INCH


def _signed(sign: str, value: Fraction) -> Fraction:
    return -value if sign == "-" else value


def _is_plain(text: str) -> bool:
    return re.fullmatch(rf"\s*[-+]?{_DECIMAL}\s*", text) is not None


def _is_length(text: str) -> bool:
    found = _IMPERIAL_TEXT.fullmatch(text)
    return _METRIC_TEXT.fullmatch(text) is not None or bool(found and (found["feet"] or found["plain"] or found["top"]))


#: The same grammar for a JSON Schema (ECMA-262 regular expressions, no named groups).
PATTERN = (
    r"^\s*[-+]?(?:"
    rf"{_DECIMAL}\s*(?:mm|cm|m)"
    rf"|{_DECIMAL}\s*(?:ft|'|′)(?:\s*-?\s*(?:(?:\d+[ -]+)?\d+/\d+|{_DECIMAL})\s*(?:in|\"|″|''))?"
    rf"|(?:(?:\d+[ -]+)?\d+/\d+|{_DECIMAL})\s*(?:in|\"|″|'')"
    r")\s*$"
)
