"""What commands say: data on stdout, talk and progress on stderr."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import Any

import typer
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

from raycover.errors import Problem
from raycover.ranges import numbers, pair_words, values_words
from raycover.signs import minus


def talk(text: str) -> None:
    """A line for the person, on stderr; long lines stay whole."""
    Console(stderr=True, highlight=False).print(text, soft_wrap=True, markup=False)


def asked_numbers(option: str, text: str, low: float, high: float, unit: str) -> list[float]:
    """`ranges.numbers`; what a list with a range in it comes to is told at once."""
    found = numbers(option, text, low, high, unit)
    if (words := values_words(option, text, found)) is not None:
        talk(f"{words} {unit}")
    if (words := pair_words(option, text)) is not None:
        talk(words)
    return found


def warn(problems: Iterable[Problem]) -> None:
    for problem in problems:
        talk(problem.frame())


def data(value: Any) -> None:
    """JSON on stdout, escaped where stdout is not UTF-8. Infinities never get here: a JSON of ours has none."""
    plain = (sys.stdout.encoding or "").lower().replace("-", "") != "utf8"
    typer.echo(json.dumps(value, ensure_ascii=plain, allow_nan=False))


@contextmanager
def progress(label: str) -> Iterator[Any]:
    """A bar on stderr, gone when done; yields a callback (done, all), which may name a new stage."""
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn())
    console = Console(stderr=True)  # into a file a bar would leave nothing but an empty line
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as bar:
        task = bar.add_task(label, total=None)

        def step(done: int, everything: int | None, stage: str | None = None) -> None:
            if stage is not None:
                bar.update(task, description=f"{label}: {stage}")
            bar.update(task, completed=done, total=everything)

        yield step


def at_words(point: tuple[float, float, float]) -> str:
    """A point as messages say it."""
    return minus("(" + ", ".join(f"{v:.2f}" for v in point) + ")")
