"""Values as YAML text that reads back as they were: numbers, words, quoted text."""

from __future__ import annotations

import json
import re

from raycover.scene.scalars import plain_scalar

_PLAIN = re.compile(r"[A-Za-z][A-Za-z0-9._-]*(?: [A-Za-z0-9._-]+)*")


def number(value: float) -> str:
    """The shortest text that reads back as the very same number."""
    text = repr(float(value))
    return text[:-2] if text.endswith(".0") else text


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
