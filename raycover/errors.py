"""The errors raycover raises: one small tree, every user error placed in a file.

`InputError` carries all the problems found, not just the first; the command line prints each with its
file, line and column and leaves with exit code 2. `MissingPart` is for something optional that is not
installed (exit code 3).
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import takewhile


@dataclass(frozen=True)
class Position:
    """A place in a text file; `line` and `column` count from 1. `text` is the line itself."""

    file: str
    line: int = 0
    column: int = 0
    text: str = ""

    def __str__(self) -> str:
        return f"{self.file}:{self.line}:{self.column}" if self.line else self.file


@dataclass(frozen=True)
class Problem:
    """One thing wrong: what (`message`), where, and what to do (`help`). `code` is short and stable."""

    code: str
    message: str
    position: Position
    help: str = ""
    severity: str = "error"

    def frame(self) -> str:
        """Several lines of text: place and message, the offending line with a caret, the help."""
        lines = [f"{self.position}: {self.severity}: {self.message} [{self.code}]"]
        if self.position.text:
            number = str(self.position.line)
            # a control character in the file must not reach the terminal, nor move the caret
            shown = "".join(c if c.isprintable() else " " if c == "\t" else "·" for c in self.position.text)
            start = max(0, self.position.column - 60)  # a very long line is cut around the caret
            cut = shown[start : start + 100]
            more = "…" if len(shown) > start + 100 else ""
            lines.append(f"  {number} | {'…' if start else ''}{cut}{more}")
            lines.append(f"  {' ' * len(number)} | {' ' * (self.position.column - 1 - start + bool(start))}^")
        if self.help:
            lines.append(f"  help: {self.help}")
        return "\n".join(lines)


class RaycoverError(Exception):
    """Root of everything raycover raises on purpose."""

    exit_code = 2


class InputError(RaycoverError):
    """The input is wrong. `problems` holds everything found, in the order of the file."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        found = sorted(problems, key=lambda p: (p.position.file, p.position.line, p.position.column))
        self.problems: tuple[Problem, ...] = tuple(found)
        super().__init__("\n".join(p.frame() for p in found))


def option_error(option: str, message: str, help_: str) -> InputError:
    """What is wrong with an option of a command, and how to write it."""
    return InputError([Problem("bad-option", message, Position(option), help_)])


class Interrupted(RaycoverError):
    """^C; the message says what is kept. The exit code is the one that shells have for it."""

    exit_code = 130


class MissingPart(RaycoverError):
    """Something optional is not installed; the message names the package that brings it."""

    exit_code = 3


def nearest(word: str, known: Sequence[str]) -> str | None:
    """The one of `known` most like `word` (whatever the case of letters), or None when none is near."""
    return _nearest(str(word), tuple(known))


def nearest_file(name: str, known: Sequence[str]) -> str | None:
    """The one of `known` files whose name but for its ending is most like that of `name`, of the same ending first."""
    stem, _, ending = name.rpartition(".") if "." in name[1:] else (name, "", "")
    stems: dict[str, str] = {}
    for one in sorted(known, key=lambda one: not one.endswith(f".{ending}")):
        stems.setdefault(one.rpartition(".")[0] or one, one)
    near = nearest(stem, list(stems))
    return None if near is None else stems[near]


@lru_cache(maxsize=1024)  # a slip of the pen is often repeated through a whole file
def _nearest(word: str, known: tuple[str, ...]) -> str | None:
    folded: dict[str, str] = {}
    for name in known:
        folded.setdefault(name.casefold(), name)
    start = word[:100].casefold()
    near = difflib.get_close_matches(start, list(folded), n=5, cutoff=0.6)
    if not near:
        return None
    # of names equally near, the one that begins like the word: brick-1OO means brick-100, not brick-215
    best = difflib.SequenceMatcher(None, near[0], start).ratio()
    level = [name for name in near if difflib.SequenceMatcher(None, name, start).ratio() == best]
    return folded[max(level, key=lambda name: _shared_start(name, start))]


def _shared_start(one: str, other: str) -> int:
    """How many characters two words begin with alike."""
    return len(list(takewhile(lambda pair: pair[0] == pair[1], zip(one, other, strict=False))))


def did_you_mean(word: str, known: Sequence[str]) -> str:
    """`did you mean "x"?` for the nearest of `known`, or `known: a, b, c` when nothing is near."""
    near = nearest(word, known)
    if near is not None:
        return f'did you mean "{near}"?'
    listed = ", ".join(known[:20]) + (", …" if len(known) > 20 else "")
    return f"known: {listed}" if listed else ""
