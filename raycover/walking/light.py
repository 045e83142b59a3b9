"""When the light is on: each time a detector notices someone it stays on for the hold time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from raycover.building.parts import Floats

Bools = NDArray[np.bool_]
Stretch = tuple[float, float]


@dataclass(frozen=True)
class Light:
    """The light where someone is, along a track: that of the room they are in. `on` (t,).

    `waits`: stretches (s) in the dark from a threshold, or the start, until somebody notices; `left`: those in which
    it goes off although someone is there. `off_at_s` is when the last room's light goes off, None if it was never on.
    """

    on: Bools
    off_at_s: float | None
    waits: tuple[Stretch, ...]
    left: tuple[Stretch, ...]


def light_on(time_s: Floats, noticed: Bools, hold_s: float) -> Bools:
    """(t,) whether the last notice is less than the hold time ago."""
    last = np.maximum.accumulate(np.where(noticed, time_s, -np.inf))
    return np.asarray(time_s - last < hold_s - 1e-9)


def light_by_hand(time_s: Floats, noticed: Bools, entered: Bools, hold_s: float) -> Bools:
    """(t,) on where someone switched it on when they came in (`entered`), off once the hold time has run out."""
    on = light_on(time_s, noticed | entered, hold_s)
    begins = on & ~np.concatenate([[False], on[:-1]])
    # Each stretch counts if it began by hand; switched on again while on it goes on.
    stretch = np.cumsum(begins)
    by_hand = np.isin(stretch, np.unique(stretch[entered & on]))
    after = np.maximum.accumulate(np.where(entered, np.arange(len(on)), -1))
    first = np.concatenate([[0], np.flatnonzero(begins)])
    return np.asarray(on & by_hand & (after >= first[stretch]))


def lit(time_s: Floats, on: Bools, thresholds_s: Sequence[float], off_at_s: float | None) -> Light:
    """A light from when it is on along a track; `thresholds_s`: when someone enters a room, the start included."""
    dark = stretches(time_s, ~on)
    entered = [any(abs(begin - at) < 1e-6 for at in thresholds_s) for begin, _ in dark]
    return Light(
        on,
        off_at_s,
        tuple(d for d, first in zip(dark, entered, strict=True) if first),
        tuple(d for d, first in zip(dark, entered, strict=True) if not first),
    )


def off_at(time_s: Floats, noticed: Bools, hold_s: float) -> float | None:
    """When (s) the hold time after the last notice ends, None where nobody is noticed."""
    last = np.flatnonzero(noticed)
    return float(time_s[last[-1]]) + hold_s if len(last) else None


def stretches(time_s: Floats, chosen: Bools) -> list[Stretch]:
    """(from, to) in s of every run of chosen steps: from its first step to the next step that is not chosen."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], chosen, [False]]).astype(np.int8)))
    last = len(time_s) - 1
    return [
        (float(time_s[a]), float(time_s[min(b, last)]))
        for a, b in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)
    ]


def shortest_hold(time_s: Floats, noticed: Bools) -> float | None:
    """The hold time (s) that would just keep the light on from the first notice to the end; None without a notice."""
    at = np.flatnonzero(noticed)
    if not len(at):
        return None
    waits = np.diff(np.concatenate([time_s[at], time_s[-1:]]))
    return float(waits.max())
