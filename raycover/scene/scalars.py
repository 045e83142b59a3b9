"""What an unquoted word in a YAML file means: the core schema of YAML 1.2.2.

Source: YAML Ain't Markup Language, revision 1.2.2 (2021-10-01), section 10.3.2 "Tag Resolution", the table of
regular expressions. So `yes`, `on`, `1_000`, `1:30` and `2,5` stay text, and `1e3` is a number.
"""

from __future__ import annotations

import math
import re

Scalar = str | int | float | bool | None

_NULLS = frozenset(("null", "Null", "NULL", "~", ""))
_BOOLS = {"true": True, "True": True, "TRUE": True, "false": False, "False": False, "FALSE": False}
_DECIMAL = re.compile(r"[-+]?[0-9]+")
_OCTAL = re.compile(r"0o[0-7]+")
_HEX = re.compile(r"0x[0-9a-fA-F]+")
_FLOAT = re.compile(r"[-+]?(?:\.[0-9]+|[0-9]+(?:\.[0-9]*)?)(?:[eE][-+]?[0-9]+)?")
_INFINITY = re.compile(r"[-+]?(?:\.inf|\.Inf|\.INF)")
_NANS = frozenset((".nan", ".NaN", ".NAN"))
_NUMBER_STARTS = frozenset("-+.0123456789")
# Beyond this many digits Python itself refuses to convert (and a float overflows long before).
_MOST_DIGITS = 400


def plain_scalar(text: str) -> Scalar:
    """The value of an unquoted scalar.

    A whole number too large for a float, like a float that overflows, comes back as an infinity, so that
    every finite number returned fits a float.
    """
    if text in _NULLS:
        return None
    if text in _BOOLS:
        return _BOOLS[text]
    if text[0] not in _NUMBER_STARTS:
        return text
    if _DECIMAL.fullmatch(text):
        return _whole(text, 10)
    if _FLOAT.fullmatch(text):
        return float(text)
    if _OCTAL.fullmatch(text):
        return _whole(text[2:], 8)
    if _HEX.fullmatch(text):
        return _whole(text[2:], 16)
    if _INFINITY.fullmatch(text):
        return -math.inf if text[0] == "-" else math.inf
    if text in _NANS:
        return math.nan
    return text


def _whole(digits: str, base: int) -> int | float:
    too_large = -math.inf if digits[0] == "-" else math.inf
    if len(digits.lstrip("+-0")) > _MOST_DIGITS:
        return too_large
    sign = "-" if digits[0] == "-" else ""
    value = int(sign + (digits.lstrip("+-0") or "0"), base)
    try:
        float(value)
    except OverflowError:
        return too_large
    return value
