"""Values as YAML text that reads back as they were: numbers, words, quoted text."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping
from typing import Any

from raycover.scene.scalars import plain_scalar

#: Lines are kept within this many characters where they can be.
WIDTH = 116

_PLAIN = re.compile(r"[A-Za-z][A-Za-z0-9._-]*(?: [A-Za-z0-9._-]+)*")


def number(value: float) -> str:
    """The shortest text that reads back as the very same number."""
    text = repr(float(value))
    return text[:-2] if text.endswith(".0") else text


def flow(value: Any, decimals: int | None = None) -> str:
    """A plain value on one line, its numbers rounded to `decimals` where given.

    Raises TypeError for a value that is not plain, ValueError for a number that is not finite.
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if value is None:
        return "null"
    if isinstance(value, str):
        return word(value)
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{word(str(key))}: {flow(item, decimals)}" for key, item in value.items()) + "}"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(flow(item, decimals) for item in value) + "]"
    exact = float(value)
    if not math.isfinite(exact):
        raise ValueError(f"{value} cannot stand in a scene")
    return number((exact if decimals is None else round(exact, decimals)) + 0.0)  # no -0


def word(value: str) -> str:
    """Text without quotes where YAML reads it back as text, else quoted."""
    return value if _PLAIN.fullmatch(value) and plain_scalar(value) == value else quoted(value)


def quoted(value: str) -> str:
    """Double-quoted YAML: JSON's escapes, and those for all that is not printable. Half characters become `?`."""
    return '"' + "".join(_escaped(c) for c in value) + '"'


def _escaped(c: str) -> str:
    if ord(c) > 0xFFFF and not c.isprintable():
        return f"\\U{ord(c):08x}"
    if 0xD800 <= ord(c) <= 0xDFFF:
        return "?"
    return json.dumps(c, ensure_ascii=not c.isprintable())[1:-1]
