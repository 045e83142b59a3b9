"""What an importer hands back: the scene as text, and a report of what was mapped, guessed and left out."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

#: Called with (done, all) as the work goes on.
Progress = Callable[[int, int], None]
#: Names listed behind a count before the rest is "and n more".
_MOST_NAMES = 12


@dataclass
class Report:
    """Mapped things by kind with their number; guesses by what was guessed; things left out by reason. With names."""

    mapped: dict[str, int] = field(default_factory=dict)
    guessed: dict[str, list[str]] = field(default_factory=dict)
    left_out: dict[str, list[str]] = field(default_factory=dict)

    def map(self, kind: str, n: int = 1) -> None:
        if n:
            self.mapped[kind] = self.mapped.get(kind, 0) + n

    def guess(self, what: str, name: str) -> None:
        _once(self.guessed.setdefault(what, []), name)

    def leave(self, why: str, name: str) -> None:
        _once(self.left_out.setdefault(why, []), name)

    def lines(self) -> Iterator[str]:
        """The report for people, one thing a line."""
        counted = ", ".join(f"{n} {kind}" for kind, n in self.mapped.items())
        yield f"mapped: {counted or 'nothing'}"
        for title, table in (("guessed", self.guessed), ("left out", self.left_out)):
            for what, names in table.items():
                yield f"{title}: {what} ({len(names)}): {_listed(names)}"

    def as_json(self) -> dict[str, Any]:
        return {"mapped": self.mapped, "guessed": self.guessed, "left_out": self.left_out}


@dataclass(frozen=True)
class Imported:
    """A scene file's whole text, sound as `raycover check` sees it, with the report on how it came about."""

    text: str
    report: Report


def _once(names: list[str], name: str) -> None:
    if not names or names[-1] != name:
        names.append(name)


def _listed(names: Iterable[str]) -> str:
    all_names = list(names)
    more = len(all_names) - _MOST_NAMES
    return ", ".join(all_names[:_MOST_NAMES]) + (f" and {more} more" if more > 0 else "")
