"""Which combinations of values are solved: all of them, or a Latin hypercube of a given number."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import product
from typing import Any

import numpy as np

from raycover.errors import InputError, Position, Problem
from raycover.sweeping.values import Factor

#: More rows than these are not solved in one sweep, scenes counted.
MOST_ROWS = 5000
#: Drawn numbers are rounded to this many decimals, so that they can be typed again.
DECIMALS = 4

Values = tuple[Any, ...]


def every(factors: Sequence[Factor], n_scenes: int = 1) -> list[Values]:
    """All combinations, the last factor changing first. Raises InputError for more than `MOST_ROWS` rows."""
    _check(math.prod(len(factor.values) for factor in factors), n_scenes, "--set", "take coarser steps, or --latin N")
    return list(product(*(factor.values for factor in factors)))


def latin(factors: Sequence[Factor], n: int, seed: int, n_scenes: int = 1) -> list[Values]:
    """`n` combinations of which each has a stratum of every factor to itself.

    A span is cut into `n` equal strata, one value drawn from each; of a list each value comes equally often, but for
    one where `n` is no multiple of its length. McKay, Beckman, Conover (1979), Technometrics 21, 239-245.
    """
    from scipy.stats import qmc

    _check(n, n_scenes, "--latin", "ask for fewer")
    drawn = qmc.LatinHypercube(d=len(factors), seed=np.random.default_rng(seed)).random(n)
    columns = [_of(factor, drawn[:, k]) for k, factor in enumerate(factors)]
    return list(zip(*columns, strict=True))


def _of(factor: Factor, drawn: np.ndarray) -> list[Any]:
    if factor.span is not None:
        low, high = factor.span
        exact = low + (high - low) * drawn
        short = np.round(exact, DECIMALS)
        # What rounding would take into the next stratum stays as it is.
        strata = np.floor((np.stack([exact, short]) - low) / (high - low) * len(drawn))
        return [float(v) for v in np.where(strata[0] == strata[1], short, exact)]
    index = np.minimum((drawn * len(factor.values)).astype(int), len(factor.values) - 1)
    return [factor.values[k] for k in index]


def _check(n: int, n_scenes: int, option: str, help_: str) -> None:
    if n * n_scenes > MOST_ROWS:
        scenes = f" of {n_scenes} scenes" if n_scenes > 1 else ""
        message = f"{n * n_scenes} combinations{scenes} are more than {MOST_ROWS}"
        raise InputError([Problem("bad-option", message, Position(option), help_)])
