"""A dual unit along a track: what its two halves notice, combined over time.

`or`: whoever either half notices; `and`: whoever both notice at once. With `trigger-then-hold` nothing counts until the
infrared half triggers, or both notice at once; from then on a trigger of either half restarts the hold time, and once
that has run out it takes a trigger again. Where the light is switched on by hand, that is the trigger.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from raycover.building.parts import Floats
from raycover.detectors import Unit
from raycover.walking.light import light_on

Bools = NDArray[np.bool_]


def held_from(time_s: Floats, starts: Bools, holds: Bools, hold_s: float) -> Bools:
    """(t,) which of the triggers that may hold do so: those from a start on, no pause between as long as the hold time.

    `starts` (t,) are triggers too.
    """
    at = np.flatnonzero(holds | starts)
    counting = np.zeros(len(time_s), bool)
    if not len(at):
        return counting
    # Triggers nearer to each other than the hold time are one run: it counts from its first start on.
    run = np.concatenate([[0], np.cumsum(np.diff(time_s[at]) >= hold_s - 1e-9)])
    first = np.full(run[-1] + 1, len(time_s))
    begins = starts[at]
    np.minimum.at(first, run[begins], at[begins])
    counting[at] = at >= first[run]
    return counting


def combined_along(
    unit: Unit,
    time_s: Floats,
    margins: tuple[Floats, Floats],
    noticed: tuple[Bools, Bools],
    triggers: tuple[Bools, Bools],
    hold_s: float,
    *,
    by_hand: bool,
) -> tuple[Floats, Bools, Bools]:
    """Margin, notice and triggers (t,) of a dual unit from those of its infrared and its microwave half.

    `hold_s` is the hold time of the light that it switches. Where that light is on, a unit of `trigger-then-hold` has
    the higher margin, else that which triggers.
    """
    either, both = noticed[0] | noticed[1], noticed[0] & noticed[1]
    any_trigger = triggers[0] | triggers[1]
    higher, lower = np.maximum(*margins), np.minimum(*margins)
    if unit.combine == "and":
        return lower, both, both & any_trigger
    if unit.combine == "or" or by_hand:
        return higher, either, any_trigger
    starts = both & any_trigger if unit.trigger == "both" else triggers[0]
    counting = held_from(time_s, starts, any_trigger, hold_s)
    on = light_on(time_s, counting, hold_s)
    held = np.concatenate([[False], on[:-1]])
    to_start = lower if unit.trigger == "both" else margins[0]
    return np.where(held, higher, to_start), on & either, counting
