"""Fewer new units: one that the others make needless is left out, one hangs for two where it misses no more than both.

Needs are mended one after the other, each by what is best for it: a later new unit may do what an earlier one was hung
for, or hang where one between them would do for both. Whatever is tried is judged on all cells of all needs.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from itertools import combinations
from typing import Any

import numpy as np

from raycover.detectors import Unit
from raycover.proving.hanging import ROUND_M, HangingPlaces
from raycover.proving.mending.changes import COST
from raycover.proving.mending.losses import misses_no_more_of
from raycover.proving.mending.mends import Mend
from raycover.proving.mending.then import judged_then, proof_then
from raycover.proving.needs import Proof, Situation

#: One for both is looked for so many pairs of a room at most, the nearest first.
_PAIRS = 3
#: Places tried lie in quarters of that apart about the middle, so many each way.
_EACH_WAY = 2
Entry = Mapping[str, Any]


def pairs_of(entries: Mapping[str, Entry]) -> list[tuple[str, str]]:
    """Names of pairs of new units of a room, the nearest to each other first, by their entries."""
    apart = [
        (math.dist((*a["at"], a["mounting"]), (*b["at"], b["mounting"])), one, other)
        for (one, a), (other, b) in combinations(entries.items(), 2)
        if a.get("room") == b.get("room")
    ]
    return [(one, other) for _, one, other in sorted(apart)][:_PAIRS]


def one_for_both(rest: Proof, both: Proof, first: Entry, second: Entry) -> dict[str, Any] | None:
    """The entry of one unit that misses no more than both, beside what is there without them (`rest`); None if none.

    Only the unit tried is cast. It is of the kind of the first or the second, and called as the first.
    """
    if len(rest.needs) != len(both.needs):
        return None
    pairs = list(zip(rest.needs, both.needs, strict=True))
    lost = [k for k, (now, was) in enumerate(pairs) if not misses_no_more_of(now, was)]
    for entry in _between(both, first, second):
        mend = _as_mend(entry)
        if all(misses_no_more_of(judged_then(rest.needs[k], mend), both.needs[k]) for k in lost) and misses_no_more(
            proof_then(rest, mend), both
        ):
            return entry
    return None


def misses_no_more(now: Proof, before: Proof) -> bool:
    """Whether no place is missed that was met, and of none that stays missed less is seen than was."""
    same = len(now.needs) == len(before.needs)
    return same and all(misses_no_more_of(a, b) for a, b in zip(now.needs, before.needs, strict=True))


def _between(both: Proof, first: Entry, second: Entry) -> Iterator[dict[str, Any]]:
    """Entries of either kind at places between, the nearest to the middle first."""
    kinds = [dict(first)]
    if _kind(first) != _kind(second):
        kinds.append({**second, "name": first["name"]})
    middle = np.mean([first["at"], second["at"]], axis=0)
    apart = math.dist(first["at"], second["at"])
    steps = np.arange(-_EACH_WAY, _EACH_WAY + 1) * max(apart / 4, ROUND_M)
    about = np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2)
    places = np.round((middle + about[np.argsort((about**2).sum(axis=1), kind="stable")]) / ROUND_M) * ROUND_M
    for entry, name in zip(kinds, (first["name"], second["name"]), strict=False):
        found = _unit_of(both, name)
        if found is None or found[1].is_one_sided:  # one on a wall looks away from it
            continue
        situation, unit = found
        hanging = HangingPlaces(situation.scene, situation.building)
        for x, y in hanging.near(unit, places - unit.position[:2]).tolist():
            yield {**entry, "at": [round(x, 3), round(y, 3)]}


def _unit_of(proof: Proof, name: str) -> tuple[Situation, Unit] | None:
    """A unit by name, in the first situation of the needs that has it; None where none has."""
    situations = (verdict.situation for verdict in proof.needs)
    return next(((s, unit) for s in situations for unit in s.units if unit.name == name), None)


def _kind(entry: Entry) -> dict[str, Any]:
    return {key: value for key, value in entry.items() if key not in ("name", "at")}


def _as_mend(entry: dict[str, Any]) -> Mend:
    return Mend(
        unit=entry["name"], kind="one more", words="", keys=entry, is_new=True, mended=(), still=(), also=(), broken=(),
        tripped=(), share=0.0, gap_m=0.0, worst_db=0.0, cost=COST["one more"], lack=0.0, changed=None,
    )  # fmt: skip
