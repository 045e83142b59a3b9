"""Two changes where no single one mends a need: the best single ones done in turn, and what would then do the rest.

Few firsts and few seconds are tried; what is told of a pair is judged on all cells of every need, with both done.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from raycover.proving.cases import name_of
from raycover.proving.mending.bench import lack_of, with_need, worst_walk
from raycover.proving.mending.losses import is_less
from raycover.proving.mending.mends import Mend
from raycover.proving.mending.then import proof_then
from raycover.proving.needs import Figures, NeedVerdict, Proof

#: So many single changes are followed up, no two of a kind.
MOST_FIRSTS = 3
#: Of the seconds that mend the rest so many are told for each first.
_MOST_SECONDS = 2
#: What searches a proof for single changes that mend a need.
Search = Callable[[Proof, NeedVerdict], Sequence[Mend]]


def find_pairs(proof: Proof, verdict: NeedVerdict, singles: Sequence[Mend], search: Search) -> list[Mend]:
    """Pairs that mend a need and harm nothing, made of the best single changes and of what `search` adds to them."""
    found: dict[frozenset[str], Mend] = {}
    for first in _firsts(singles):
        then = proof_then(proof, first)
        number = next(k for k, one in enumerate(proof.needs) if one is verdict)
        n_told = 0
        for second in sorted(search(then, then.needs[number]), key=lambda mend: mend.rank):
            if n_told >= _MOST_SECONDS or not second.mends:
                break
            both = _told(proof, verdict, replace(first, second=second), proof_then(then, second))
            if both.mends:
                n_told += 1
                found.setdefault(frozenset(f"{c.unit} {c.words}" for c in both.changes), both)
    return list(found.values())


def _firsts(singles: Sequence[Mend]) -> list[Mend]:
    """Changes that harm nothing, best first, one of a kind: where they mend something, another may mend the rest."""
    kept: dict[str, Mend] = {}
    for mend in sorted(singles, key=lambda mend: mend.rank):
        if mend.is_harmless:
            kept.setdefault(mend.kind, mend)
    return list(kept.values())[:MOST_FIRSTS]


def _told(proof: Proof, verdict: NeedVerdict, both: Mend, then: Proof) -> Mend:
    """What two changes do, by the proof with both done."""
    mended: list[tuple[str, Figures]] = []
    still: list[tuple[str, Figures]] = []
    also: list[str] = []
    broken: list[str] = []
    tripped: list[tuple[str, float]] = []
    taken: list[tuple[str, Figures, Figures]] = []
    for one, other in zip(proof.needs, then.needs, strict=True):
        for before, after in zip(one.places, other.places, strict=True):
            name = with_need(one, before.site)
            if before.met and not after.met:
                if one.need.never:
                    tripped.append((name, after.figures.worst_db))
                else:
                    broken.append(name)
                continue
            if before.met == after.met and is_less(one.need, before.figures, after.figures):
                taken.append((name, before.figures, after.figures))
            if not before.met and not one.need.never:
                if one is verdict:
                    (mended if after.met else still).append((name_of(one.situation, before.site), after.figures))
                elif after.met:
                    also.append(name)
    told = [figures for _, figures in (mended or still)]
    assert both.second is not None
    return replace(
        both,
        mended=tuple(name for name, _ in mended),
        still=tuple(still),
        also=tuple(dict.fromkeys(also)),
        broken=tuple(dict.fromkeys(broken)),
        tripped=tuple(tripped),
        taken=tuple(taken),
        share=min(figures.share for figures in told),
        gap_m=max(figures.largest_gap_m for figures in told),
        worst_db=min(figures.worst_db for figures in told),
        cost=both.cost + both.second.cost,
        walk=worst_walk(told),
        helped=(),
        lack=sum(lack_of(verdict.need, figures) for _, figures in still),
    )
