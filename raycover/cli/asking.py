"""Asking questions one by one on a terminal: checked at once, asked again, back a step, a summary to change.

Nothing here knows detectors; what is asked for an entry stands in `entry_questions`.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

from raycover.exchange.data_sheet import Refused

Answers = dict[str, Any]
HELP = (
    "Enter keeps what stands in [brackets]; `back` goes back one question, `?` explains, "
    "Ctrl-C stops and writes nothing."
)


class Back(Exception):
    """The person wants the question before."""


class Stopped(Exception):
    """No more answers come: nothing may be written."""


@dataclass
class Dialog:
    """A terminal, or what stands in for one: `read` takes a prompt and returns a line without its end."""

    read: Callable[[str], str]
    say: Callable[[str], None]

    def line(self, words: str, explain: str) -> str:
        """One line for a prompt, blanks trimmed. Raises Back; `?` is answered here."""
        self.say(words)
        while True:
            answer = self.read("> ").strip()
            if answer in ("?", "help"):
                self.say(f"  {explain}")
            elif answer.lower() in ("back", "<"):
                raise Back
            else:
                return answer

    def refuse(self, answer: str, refused: Refused) -> None:
        """What is wrong with an answer, with a caret under it where it has several words."""
        if refused.column:
            self.say("  " + " " * refused.column + "^")
        self.say(f"  {refused.message}" + (f"; {refused.help}" if refused.help else ""))

    def run(self, steps: Sequence[Step], answers: Answers) -> None:
        """Ask the steps that apply and have no answer yet, in order, into `answers`; `back` asks again.

        Raises Back when `back` is said to the first of them.
        """
        asked: list[Step] = []
        while (step := next((s for s in steps if s.key not in answers and s.applies(answers)), None)) is not None:
            try:
                answers[step.key] = step.ask(self, answers)
                asked.append(step)
            except Back:
                if not asked:
                    raise
                previous = asked.pop()
                answers[f"was {previous.key}"] = answers.pop(previous.key)


class Step(Protocol):
    """Something to ask."""

    @property
    def key(self) -> str: ...

    def applies(self, answers: Answers) -> bool: ...

    def ask(self, dialog: Dialog, answers: Answers) -> Any:
        """The answer. Raises Back."""


@dataclass(frozen=True)
class Question:
    """One figure or line of text. `parse` raises Refused; `default` may depend on the answers so far."""

    key: str
    words: str
    explain: str
    parse: Callable[[str], Any]
    optional: bool = False
    default: Callable[[Answers], Any] | None = None
    shown: Callable[[Any], str] = str
    when: Callable[[Answers], bool] | None = None

    def applies(self, answers: Answers) -> bool:
        return self.when is None or self.when(answers)

    def ask(self, dialog: Dialog, answers: Answers) -> Any:
        known = answers.get(f"was {self.key}")
        if known is None and self.default is not None:
            known = self.default(answers)
        hint = f" [{self.shown(known)}]" if known is not None else " (Enter to leave out)" if self.optional else ""
        if known is not None and self.optional:
            hint += " (- to leave out)"
        while True:
            answer = dialog.line(self.words + hint, self.explain)
            if not answer and known is not None:
                return known
            if self.optional and answer in ("", "-"):
                return None
            if not answer:
                dialog.say("  this one is needed")
                continue
            try:
                return self.parse(answer)
            except Refused as refused:
                dialog.refuse(answer, refused)


def terminal() -> Dialog:
    """The person's terminal: questions on stderr, so that stdout stays data. Raises Stopped at its end."""

    def read(prompt: str) -> str:
        try:
            if sys.stdin.isatty() and sys.stdout.isatty():
                return input(prompt)  # with the line editing that a terminal offers
            sys.stderr.write(prompt)
            sys.stderr.flush()
            line = sys.stdin.readline()
        except (EOFError, KeyboardInterrupt):
            raise Stopped from None
        if not line:
            raise Stopped
        return line

    def say(words: str) -> None:
        sys.stderr.write(words + "\n")
        sys.stderr.flush()

    return Dialog(read, say)
