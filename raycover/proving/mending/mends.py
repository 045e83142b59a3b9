"""Remedies for a need that is missed: a change, what it mends and breaks, what it asks for."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from raycover.detectors import Unit
from raycover.proving.needs import Figures

#: Of so many remedies a need, the first that mend it, the chance in varied cases is asked for.
MOST_CHANCES = 3


@dataclass(frozen=True)
class Mend:
    """A change and what it does to one need.

    `keys` go into the entry of `unit`, or are the whole entry of a new one (`is_new`). `share` (least), `gap_m`
    (widest) and `worst_db` (least) are those of the places it mends or was tried for; `still` tells those that stay
    missed and by how much, `helped` those of them that lack clearly less then, `also` the places of other needs
    that it mends. `broken` are places met now that it would miss, `tripped` never-areas that it would trip, with
    its margin (dB). `taken` are places, met or missed, of which less is seen then though they stay so, with figures
    before and after. The `cost` of one change is 1 to 4, the cheapest 1. `chance`: the share of varied cases in
    which the need is met then, None where not asked. Of walks `walk` tells the one on which it takes longest.

    Of a zone divided (`divide`) `unit` is the zone and `keys` {zones: {it: the entries of its parts}}; no unit is
    `changed`. Of several changes that only together mend it this is the first, `second` the next, done after it;
    figures and harm are those of all, `cost` that of all added.
    """

    unit: str
    kind: str
    words: str
    keys: dict[str, Any]
    is_new: bool
    mended: tuple[str, ...]
    still: tuple[tuple[str, Figures], ...]
    also: tuple[str, ...]
    broken: tuple[str, ...]
    tripped: tuple[tuple[str, float], ...]
    share: float
    gap_m: float
    worst_db: float
    cost: int
    lack: float
    changed: Unit | None = field(repr=False, compare=False)
    pct: float = 100.0
    chance: float | None = None
    second: Mend | None = None
    walk: Figures | None = None
    helped: tuple[tuple[str, Figures], ...] = ()
    taken: tuple[tuple[str, Figures, Figures], ...] = ()

    @property
    def changes(self) -> tuple[Mend, ...]:
        """What is to be done, one after another."""
        return (self,) if self.second is None else (self, *self.second.changes)

    @property
    def kinds(self) -> tuple[str, ...]:
        return tuple(change.kind for change in self.changes)

    @property
    def mends(self) -> bool:
        """Whether all of the need's places are met then, and nothing is lost elsewhere."""
        return not self.still and self.is_harmless

    @property
    def is_harmless(self) -> bool:
        """Whether nothing that was met is lost, and of no place less is seen."""
        return self.harm == 0

    @property
    def harm(self) -> int:
        """How many places lose by it."""
        return len(self.broken) + len(self.tripped) + len(self.taken)

    @property
    def rank(self) -> tuple[Any, ...]:
        """Best first: mends all and harms nothing, then leaves little missing, then costs little."""
        left = len(self.still), round(self.lack, 3)
        return not self.mends, self.harm, *left, self.cost, -round(min(self.worst_db, 6.0), 1)


@dataclass(frozen=True)
class Mending:
    """A need that is missed, and what was tried, best first.

    `lack` is what is missing now, as `Outcome` counts it. Where nothing mends all of several places, changes were tried
    for each by itself but for those in `not_tried`.
    """

    need: str
    missed: tuple[str, ...]
    remedies: tuple[Mend, ...]
    n_tried: int
    lack: float
    not_tried: tuple[str, ...] = ()

    @property
    def best(self) -> Mend | None:
        return self.remedies[0] if self.remedies else None

    @property
    def is_mended(self) -> bool:
        return bool(self.remedies) and self.remedies[0].mends

    @property
    def mended_singly(self) -> tuple[str, ...]:
        """Places that some remedy mends without harm, one or another of them."""
        some = {name for mend in self.remedies if mend.is_harmless for name in mend.mended}
        return tuple(name for name in self.missed if name in some)
