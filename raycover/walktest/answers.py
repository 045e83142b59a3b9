"""Answers of a walk test, as they come back."""

from __future__ import annotations

from dataclasses import dataclass

from raycover.errors import Position


@dataclass(frozen=True)
class Answer:
    """One answer: the point's number, the ground it was given at (x, y, z in m; z None where nobody wrote it), the
    move, the units that count (all if empty), whether somebody was noticed, a remark."""

    number: int
    at: tuple[float, float, float | None]
    move: str
    watch: tuple[str, ...]
    seen: bool
    remark: str
    position: Position


@dataclass(frozen=True)
class Answers:
    """A filled-in table: its answers, how many points were left without one, the state they were given in."""

    answers: tuple[Answer, ...]
    n_blank: int
    state: str | None
