"""What is typed after `--set`: a path into the scene, and the values to go there."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from raycover.errors import InputError, option_error
from raycover.ranges import MOST_VALUES, no_decimal_comma, pair_words, stepped
from raycover.scene.reading import read_text
from raycover.scene.splicing import same
from raycover.scene.writing import flow

OPTION = "--set"
#: The value that leaves what the file says.
AS_DRAWN = "as drawn"
_NUMBER = r"[-+]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][-+]?[0-9]+)?"
_RANGE = re.compile(rf"({_NUMBER}):({_NUMBER})(?::({_NUMBER}))?")
_EXAMPLE = "write --set 'detectors/D*/mounting=6:14:0.5' or --set 'conditions/ambient_c=20,30'"


@dataclass(frozen=True)
class Factor:
    """One thing to vary: `text` as typed, the path, and its values, or a `span` (from, to) to draw from."""

    text: str
    path: str
    values: tuple[Any, ...]
    span: tuple[float, float] | None = None

    @property
    def doubt(self) -> str | None:
        """That two values are meant where one with a decimal comma may be; None where nothing is doubtful."""
        return pair_words(f"{OPTION} {self.path}", self.text.partition("=")[2])

    def words(self, value: Any) -> str:
        """The path with one of its values, as it would be typed."""
        return f"{self.path}={shown(value)}"


def parse(text: str, *, spans: bool) -> Factor:
    """A factor from `PATH=VALUES`: values as in a scene file, separated by commas, or FROM:TO:STEP.

    With `spans` FROM:TO is allowed too, alone. Raises InputError for what is none.
    """
    path, equals, listed = text.partition("=")
    path, listed = path.strip(), listed.strip()
    if not equals or not path or "" in path.split("/"):
        raise wrong(f'"{text}" is not PATH=VALUES', _EXAMPLE)
    if not listed:
        raise wrong(f'"{text}" gives no value', _EXAMPLE)
    no_decimal_comma(f"{OPTION} {path}", listed)
    values: list[Any] = []
    for value in _read(text, listed):
        found = _RANGE.fullmatch(value) if isinstance(value, str) else None
        if found is None:
            values.append(value)
        elif found[3] is not None:
            option = f"{OPTION} {path}"
            values += [_plain(v) for v in stepped(option, value, *(float(g) for g in found.groups()))]
        elif spans:
            return _spanned(text, path, listed, float(found[1]), float(found[2]))
        else:
            raise wrong(f'"{text}" has no step', "write FROM:TO:STEP, or draw from the range by --latin N")
    values = [value for k, value in enumerate(values) if not any(same(value, other) for other in values[:k])]
    if len(values) > MOST_VALUES:
        raise wrong(f'"{text}" has {len(values)} values, {MOST_VALUES} are the most', "take a coarser step")
    return Factor(text, path, tuple(values))


def _read(text: str, listed: str) -> list[Any]:
    try:
        return list(read_text(f"values: [{listed}]", OPTION).data["values"])
    except InputError as error:
        raise wrong(f'"{text}": {error.problems[0].message}', error.problems[0].help or _EXAMPLE) from None


def _spanned(text: str, path: str, listed: str, low: float, high: float) -> Factor:
    if _RANGE.fullmatch(listed) is None:
        raise wrong(f'"{text}" mixes a range without a step with other values', "give the range alone, or a step")
    if not low < high:
        raise wrong(f'"{text}": "{listed}" runs nowhere', "a range rises: FROM:TO")
    return Factor(text, path, (), (low, high))


def _plain(value: float) -> int | float:
    """Whole numbers as such: `bays` takes no 4.0."""
    return int(value) if value == int(value) else value


def shown(value: Any) -> str:
    """A value in few words."""
    return value if isinstance(value, str) else flow(value)


def wrong(message: str, help_: str) -> InputError:
    """What is wrong with the option, and what to write."""
    return option_error(OPTION, message, help_)
