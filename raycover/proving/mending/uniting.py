"""One new unit for two that hang near each other, where it misses no more than both: between them, judged on all cells.

Needs are mended one after the other, each by what is best for it: the second new unit may then hang beside the first,
where one between them would do for both.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from itertools import combinations
from typing import Any

import numpy as np

from raycover.proving.hanging import ROUND_M, HangingPlaces
from raycover.proving.mending.changes import COST
from raycover.proving.mending.mends import Mend
from raycover.proving.mending.then import proof_then
from raycover.proving.needs import Proof

#: Units no farther apart (m) than so are near each other: a designer would hang one. Common practice, no source. One
#: for both is looked for so many pairs at most.
_NEAR_M, _PAIRS = 1.5, 2
#: Places tried lie in quarters of that apart about the middle, so many each way.
_EACH_WAY = 2
Entry = Mapping[str, Any]


def near_each_other(entries: Mapping[str, Entry]) -> list[tuple[str, str]]:
    """Names of pairs of new units that hang near each other, the nearest first, by their entries."""
    apart = [
        (math.dist((*a["at"], a["mounting"]), (*b["at"], b["mounting"])), one, other)
        for (one, a), (other, b) in combinations(entries.items(), 2)
        if a.get("room") == b.get("room")
    ]
    return [(one, other) for far, one, other in sorted(apart) if far <= _NEAR_M][:_PAIRS]


def one_for_both(rest: Proof, both: Proof, first: Entry, second: Entry) -> dict[str, Any] | None:
    """The entry of one unit that misses no more than both, beside what is there without them (`rest`); None if none.

    Only the unit tried is cast. It is of the kind of the first or the second, and called as the first.
    """
    missed = missed_in(both)
    for entry in _between(both, first, second):
        if missed_in(proof_then(rest, _as_mend(entry))) <= missed:
            return entry
    return None


def missed_in(proof: Proof) -> set[tuple[int, str]]:
    """The places that are missed, by the number of their need and their name."""
    found = ((k, place) for k, verdict in enumerate(proof.needs) for place in verdict.places)
    return {(k, place.site.name) for k, place in found if not place.met}


def _between(both: Proof, first: Entry, second: Entry) -> Iterator[dict[str, Any]]:
    """Entries of either kind at places between, the nearest to the middle first."""
    situation = both.needs[0].situation
    hanging = HangingPlaces(situation.scene, situation.building)
    kinds = [dict(first)]
    if _kind(first) != _kind(second):
        kinds.append({**second, "name": first["name"]})
    middle = np.mean([first["at"], second["at"]], axis=0)
    apart = math.dist(first["at"], second["at"])
    steps = np.arange(-_EACH_WAY, _EACH_WAY + 1) * max(apart / 4, ROUND_M)
    about = np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2)
    places = np.round((middle + about[np.argsort((about**2).sum(axis=1), kind="stable")]) / ROUND_M) * ROUND_M
    for entry, name in zip(kinds, (first["name"], second["name"]), strict=False):
        unit = next(unit for unit in situation.units if unit.name == name)
        if unit.is_one_sided:  # one on a wall looks away from it
            continue
        for x, y in hanging.near(unit, places - unit.position[:2]).tolist():
            yield {**entry, "at": [round(x, 3), round(y, 3)]}


def _kind(entry: Entry) -> dict[str, Any]:
    return {key: value for key, value in entry.items() if key not in ("name", "at")}


def _as_mend(entry: dict[str, Any]) -> Mend:
    return Mend(
        unit=entry["name"], kind="one more", words="", keys=entry, is_new=True, mended=(), still=(), also=(), broken=(),
        tripped=(), share=0.0, gap_m=0.0, worst_db=0.0, cost=COST["one more"], lack=0.0, changed=None,
    )  # fmt: skip
