"""Edits of a design, one after another, with the way back and forth. What a design is, nobody here asks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Generic, TypeVar

T = TypeVar("T")
#: So many steps back are kept.
MOST = 500


@dataclass(frozen=True)
class Edit(Generic[T]):
    """What an edit led to, in words; edits of one `thread` that follow each other count as one."""

    design: T
    words: str
    thread: str | None = None


class Edits(Generic[T]):
    """The designs that edits went through. `now` is where they stand."""

    def __init__(self, first: T) -> None:
        self._steps: list[Edit[T]] = [Edit(first, "")]
        self._at = 0

    @property
    def now(self) -> T:
        return self._steps[self._at].design

    @property
    def can_undo(self) -> bool:
        return self._at > 0

    @property
    def can_redo(self) -> bool:
        return self._at + 1 < len(self._steps)

    def do(self, design: T, words: str, thread: str | None = None) -> None:
        """Go on to a design; what was undone before is forgotten. A design that is no other is no edit."""
        if design == self.now:
            return
        last = self._steps[self._at]
        joins = thread is not None and last.thread == thread and self._at > 0 and not self.can_redo
        del self._steps[self._at + (0 if joins else 1) :]
        self._steps.append(Edit(design, words, thread))
        if len(self._steps) > MOST:
            del self._steps[0]
        self._at = len(self._steps) - 1

    def part(self) -> None:
        """Let the next edit count by itself, whatever its thread."""
        last = self._steps[self._at]
        self._steps[self._at] = Edit(last.design, last.words)

    def undo(self) -> str | None:
        """Go a step back; the words of what was undone, None where there is nothing."""
        if not self.can_undo:
            return None
        self._at -= 1
        return self._steps[self._at + 1].words

    def redo(self) -> str | None:
        """Go a step forth again; the words of what was done, None where there is nothing."""
        if not self.can_redo:
            return None
        self._at += 1
        return self._steps[self._at].words
