"""What would mend each missed place by itself, where no change mends all places of a need."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from raycover.proving.cases import name_of
from raycover.proving.mending.bench import lack_of
from raycover.proving.mending.changes import COST
from raycover.proving.mending.mends import Mend
from raycover.proving.needs import NeedVerdict, PlaceVerdict

#: So many places are looked at by themselves, those that lack least first.
MOST_PLACES = 6
#: What searches for changes that mend one place and harm nothing, the best first.
Search = Callable[[PlaceVerdict], Sequence[Mend]]


def one_by_one(
    verdict: NeedVerdict, missed: Sequence[PlaceVerdict], told: Sequence[Mend], search: Search
) -> tuple[list[Mend], list[str]]:
    """(a change for each place that none of those told mends as cheaply; names of places not looked at).

    A place that is mended by what was found for another is done.
    """
    found: list[Mend] = []
    skipped: list[str] = []
    looked = 0
    for place in sorted(missed, key=lambda place: lack_of(verdict.need, place.figures)):
        name = name_of(verdict.situation, place.site)
        known = [mend for mend in (*told, *found) if name in mend.mended and mend.is_harmless]
        cost = min((mend.cost for mend in known), default=max(COST.values()))
        if cost <= COST["move"]:
            continue
        if looked >= MOST_PLACES:
            skipped += [] if known else [name]
            continue
        looked += 1
        best = next(iter(search(place)), None)
        if best is not None and (not known or best.cost < cost):
            found.append(best)
    return found, skipped
