"""What becomes of signs that a terminal lacks. Imports nothing heavy."""

from __future__ import annotations

import codecs
import sys

from raycover.signs import MINUS

_PLAINER = "raycover.plainer"


def let_all_print() -> None:
    """A terminal that lacks a sign of ours shows ? for it, but a minus and a dash as a hyphen: a sign changes what is
    said."""
    codecs.register_error(_PLAINER, _plainer)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors=_PLAINER)


def _plainer(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    lost = error.object[error.start : error.end]
    return "".join("-" if sign in MINUS + "–" else "?" for sign in lost), error.end
