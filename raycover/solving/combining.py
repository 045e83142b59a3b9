"""What a dual unit answers: its two halves, each asked by itself, and their margins combined.

- `or`: noticed where either half notices; the margin is the higher of the two.
- `and`: both must; the lower.
- `trigger-then-hold`: the infrared half, or both, must notice before anything is switched on; from then on either half
  holds it. So there are two questions. Whether somebody sitting there stays noticed (motion `presence`) is holding, the
  higher margin; whether somebody who moves is noticed anew (every other motion, `any` too) is triggering, the infrared
  margin, or the lower of both. Common practice, no source.

A half notices a person, not a point: of the heights of one person each half counts by its best (`people`).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from raycover.detectors import Unit

Floats = NDArray[np.floating]
Index = NDArray[np.integer]
Question = Literal["trigger", "hold"]
#: Margins at or below this stand for none; keeps order among what has none.
_NONE_DB = -1e3


def question_of(motion: str) -> Question:
    """What a plane or need of a motion asks of a unit that triggers first and then holds."""
    return "hold" if motion == "presence" else "trigger"


def rule_of(unit: Unit, question: Question) -> Literal["higher", "lower", "infrared"]:
    """How the margins of a dual unit's halves become one."""
    if unit.combine == "trigger-then-hold":
        if question == "hold":
            return "higher"
        return "lower" if unit.trigger == "both" else "infrared"
    return "lower" if unit.combine == "and" else "higher"


def combined_db(unit: Unit, motion: str, margins: Sequence[Floats]) -> Floats:
    """One margin of those of a unit's `parts`, arrays that broadcast; that of a plain unit is its own."""
    if len(margins) == 1:
        return margins[0]
    infrared, microwave = margins
    rule = rule_of(unit, question_of(motion))
    if rule == "infrared":
        return infrared
    return np.maximum(infrared, microwave) if rule == "higher" else np.minimum(infrared, microwave)


def combined_bits(unit: Unit, question: Question, bits: Sequence[NDArray[np.uint8]]) -> NDArray[np.uint8]:
    """The same of what parts notice or not, run by run as bits."""
    if len(bits) == 1:
        return bits[0]
    rule = rule_of(unit, question)
    if rule == "infrared":
        return bits[0]
    return bits[0] | bits[1] if rule == "higher" else bits[0] & bits[1]


def over_parts(unit: Unit, motion: str, ask: Callable[[Unit], Floats]) -> Floats:
    """Ask each part of a unit for its margins and combine them."""
    return combined_db(unit, motion, [ask(part) for part in unit.parts])


def deciding(unit: Unit, motion: str, margins: Sequence[Floats], potentials: Sequence[Floats]) -> Index:
    """(n,) which of a unit's parts its margin hangs on: the better, the worse, or that which triggers.

    Where margins (n,) of both are −inf, distance alone tells the nearer to noticing.
    """
    rule = rule_of(unit, question_of(motion))
    if len(margins) == 1 or rule == "infrared":
        return np.zeros(len(margins[0]), np.intp)
    score = np.stack(
        [
            np.where(np.isfinite(m), m, _NONE_DB + np.maximum(p, _NONE_DB))
            for m, p in zip(margins, potentials, strict=True)
        ]
    )
    return np.asarray(score.argmax(axis=0) if rule == "higher" else score.argmin(axis=0))


def for_people(unit: Unit, motion: str, margins: Sequence[Floats], which: Index, people: Index) -> tuple[Floats, Index]:
    """Margins (n,) of points that belong to `people` (n,), and the parts they hang on, from those point by point.

    Each half counts by its best point of a person. The best of a person's points is then exactly what both halves
    together make of them; it stands at the point where the half that decides sees best.
    """
    combined, which = np.array(combined_db(unit, motion, margins)), np.array(which)
    if len(margins) == 1 or not len(people):
        return combined, which
    order = np.argsort(people, kind="stable")
    begins = np.diff(people[order], prepend=people[order[0]] - 1) != 0
    starts, person = np.flatnonzero(begins), np.cumsum(begins) - 1
    sorted_ = [margin[order] for margin in margins]
    best = [np.maximum.reduceat(margin, starts) for margin in sorted_]
    decides = deciding(unit, motion, best, best)
    at_best = np.flatnonzero(np.choose(decides[person], sorted_) >= np.choose(decides, best)[person])
    first = order[at_best[np.unique(person[at_best], return_index=True)[1]]]
    combined[first] = np.maximum(combined[first], combined_db(unit, motion, best))
    which[first] = decides
    return combined, which
