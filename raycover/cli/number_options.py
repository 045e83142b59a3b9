"""Number options out of their range, told as every other wrong input is: what is allowed, and what to do."""

from __future__ import annotations

from typing import Any

import typer
from typer.core import TyperGroup

from raycover.errors import InputError, option_error

_WORDS = "raycover.words"


class Commands(TyperGroup):
    """The commands; a number that an option cannot take leaves as an InputError."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        ctx.meta[_WORDS] = list(args)
        return super().parse_args(ctx, args)

    def invoke(self, ctx: Any) -> Any:
        try:
            return super().invoke(ctx)
        except typer.BadParameter as error:
            if type(error) is typer.BadParameter and (told := _told(error, ctx.meta.get(_WORDS, []))) is not None:
                raise told from None
            raise


def _told(error: typer.BadParameter, words: list[str]) -> InputError | None:
    """What is wrong with a number option; None where the error is about something else."""
    param = error.param
    kind = None if param is None else _kind(param)
    if param is None or kind is None or not param.opts:
        return None
    option = max(param.opts, key=len)
    low, high = (_bound(param, end) for end in ("min", "max"))
    given = _given(param.opts, words)
    got = f', got "{given}"' if given is not None else ""
    what = str(getattr(param, "help", None) or "").partition("; ")[0].strip()
    help_ = f"write {option} {_example(param.default, given, low, high):g}" + (f" ({what})" if what else "")
    return option_error(option, f"expects {kind}{_range(low, high)}{got}", help_)


def _kind(param: Any) -> str | None:
    """What sort of number an option takes, whichever way the option parser says it; None for no number."""
    annotation = getattr(getattr(param, "type_descriptor", None), "annotation", None)
    name = str(getattr(getattr(param, "type", None), "name", ""))
    if annotation is int or name.startswith("int"):
        return "a whole number"
    return "a number" if annotation is float or name.startswith("float") else None


def _bound(param: Any, end: str) -> float | None:
    bound = getattr(param, end, None)
    return bound if bound is not None else getattr(getattr(param, "type", None), end, None)


def _range(low: float | None, high: float | None) -> str:
    if low is not None and high is not None:
        return f" from {_plain(low)} to {_plain(high)}"
    if low is not None:
        return f" of {_plain(low)} or more"
    return "" if high is None else f" up to {_plain(high)}"


def _plain(bound: float) -> str:
    return str(int(bound)) if float(bound).is_integer() else str(bound)


def _given(names: list[str], words: list[str]) -> str | None:
    """What was written behind an option, the last time that it was given."""
    found = None
    for k, word in enumerate(words):
        name, equals, value = word.partition("=")
        if name in names:
            found = value if equals else words[k + 1] if k + 1 < len(words) else found
    return found


def _example(default: Any, given: str | None, low: float | None, high: float | None) -> float:
    """A number that would do: the one taken if none is given, else the one nearest to what was meant."""
    if isinstance(default, int | float) and not isinstance(default, bool):
        return float(default)
    try:
        value = float(given or "")
    except ValueError:
        value = 1.0
    value = value if value == value else 1.0
    return min(max(value, low if low is not None else value), high if high is not None else value)
