"""What is said of remedies for a need that is missed: what they change, mend and break, what they ask for."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from raycover.listing import listed, some_of
from raycover.proving.mending import MOST_CHANCES, Mend, Mending
from raycover.proving.mending.bench import worst_walk
from raycover.proving.mending.changes import BESIDE_WORDS, COST, COST_WORDS, MANY_WORDS, TWICE_WORDS
from raycover.proving.needs import Figures
from raycover.proving.proof_words import chance_words, places_words, seen_words, walked_words
from raycover.signs import margin_words

#: Stands for a chance that was not asked for.
NOT_TRIED = "–"


@dataclass(frozen=True)
class MendRow:
    """A remedy in words, as tables of remedies tell it: what it changes, whether it mends and with what figures, what
    it asks for and what else it does. `harms`: something is lost by it elsewhere.
    """

    mend: Mend
    words: str
    mends: str
    seen: str
    margin: str
    chance: str
    cost: str
    effect: str

    @classmethod
    def of(cls, mend: Mend, mending: Mending) -> MendRow:
        return cls(
            mend, mend_words(mend), mends_words(mend, mending), mend_seen(mend), margin_words(mend.worst_db),
            chance_words(mend.chance) or NOT_TRIED, cost_words(mend), mend_effect(mend),
        )  # fmt: skip

    @property
    def harms(self) -> bool:
        return not self.mend.is_harmless


def mend_rows(mending: Mending) -> list[MendRow]:
    """The remedies of a missed need in words, best first."""
    return [MendRow.of(mend, mending) for mend in mending.remedies]


def mending_title(mending: Mending) -> str:
    """What a table of remedies for a missed need is about."""
    where = "" if mending.missed == (mending.need,) else f" at {some_of(mending.missed)}"
    return f"{mending.need} is missed{where}; what would mend it, tried by casting"


def mend_words(mend: Mend) -> str:
    """What a remedy changes, with its unit; of two changes one after the other."""
    return "; and ".join(c.words if c.is_new else f"{c.unit}: {c.words}" for c in mend.changes)


def mend_seen(mend: Mend) -> str:
    """How much is seen with a remedy done; of walks how long, or how far, somebody goes unnoticed."""
    return seen_words(mend.share) if mend.walk is None else walked_words(mend.walk)


def seen_head(mending: Mending) -> str:
    """The head of the column of that."""
    walk = next((mend.walk for mend in mending.remedies if mend.walk is not None), None)
    if walk is None:
        return "seen"
    return "unnoticed for" if walk.longest_s is not None else "noticed after"


def mends_words(mend: Mend, mending: Mending) -> str:
    """Whether a remedy mends a need: `yes`, `2 of 4`, `no`."""
    if not mend.still:
        return "yes" if mend.mends else "but"
    return f"{len(mend.mended)} of {len(mending.missed)}" if mend.mended else "no"


def mend_harm(mend: Mend) -> str:
    """What a remedy costs elsewhere: needs that it misses, never-areas that it trips, places of which less is seen."""
    parts = [f"misses {places_words(mend.broken)}"] if mend.broken else []
    parts += [f"trips from {name} ({margin_words(margin)})" for name, margin in mend.tripped]
    if mend.taken:
        parts.append("sees less of " + some_of([f"{name} ({_less(b, a)})" for name, b, a in mend.taken], 3))
    return ", ".join(parts)


def mend_effect(mend: Mend) -> str:
    """What else a remedy does: harm first, then what stays missed, then what it mends besides."""
    parts = [harm] if (harm := mend_harm(mend)) else []
    if mend.still and mend.mended:
        parts.append(f"mends {some_of(mend.mended, 3)}")
    elif len(mend.still) > 1 and mend.helped:
        parts.append("helps " + some_of([f"{name} ({_seen(f)})" for name, f in mend.helped], 3))
    if mend.still and mend.mended:
        parts.append("still missed: " + some_of([f"{name} ({_seen(f)})" for name, f in mend.still], 3))
    if mend.also:
        parts.append(f"mends {places_words(mend.also)}, too")
    return "; ".join(parts) if parts else "breaks nothing"


def cost_words(mend: Mend) -> str:
    """What a remedy asks for: `a setting`, `one more unit and a setting`, `two more units`."""
    counts = Counter(COST[change.kind] for change in mend.changes)
    words = COST_WORDS if len(mend.changes) == 1 else BESIDE_WORDS
    told = [
        words[cost] if n == 1 else TWICE_WORDS[cost] if n == 2 else f"{n} {MANY_WORDS[cost]}"
        for cost, n in sorted(counts.items(), reverse=True)
    ]
    return listed(told)


def mending_verdict(mending: Mending) -> str:
    """Where nothing tried mends a need: what comes nearest and what it leaves; nothing where something does."""
    if mending.is_mended:
        return ""
    best = mending.best
    if len(mending.missed) > 1 and (singly := mending.mended_singly):
        return _one_by_one_words(mending, singly)
    if best is None:
        return f"None of {mending.n_tried} changes tried brings clearly more of it into view."
    n = len(mending.missed)
    helped = best.helped if n > 1 else ()
    left = [f"{name} ({_figures_words(figures)})" for name, figures in helped or best.still]
    what = f"{'helps' if helped else 'leaves'} {some_of(left)}" if left else mend_harm(best)
    whole = "all of it" if n == 1 else f"any of the {n} places"
    said = f"None of {mending.n_tried} changes tried mends {whole}, alone or in pairs; the best {what}."
    return f"{said} {_not_looked_at(mending)}".strip()


def _one_by_one_words(mending: Mending, singly: Sequence[str]) -> str:
    """Where some places are mended by one change, others by another: which are, which are not."""
    left = [name for name in mending.missed if name not in (*singly, *mending.not_tried)]
    said = [
        f"No single change mends all {len(mending.missed)} places ({mending.n_tried} tried, alone and in pairs).",
        f"A change of its own is listed for {some_of(singly, 8)}.",
    ]
    if left:
        said.append(f"Nothing tried mends {some_of(left, 8)}.")
    return " ".join([*said, _not_looked_at(mending)]).strip()


def _not_looked_at(mending: Mending) -> str:
    left = mending.not_tried
    return f"Not looked at by themselves: {some_of(left, 8)}." if left else ""


def _figures_words(figures: Figures) -> str:
    gap = f", gap {figures.largest_gap_m:.2f} m" if figures.largest_gap_m > 0 else ""
    return f"{_seen(figures)} seen{gap}" if worst_walk([figures]) is None else f"unnoticed {_seen(figures)}"


def chance_note(mending: Mending) -> str:
    """Of remedies whose chance was not asked for; nothing where all have theirs."""
    if all(mend.chance is not None for mend in mending.remedies):
        return ""
    return f"{NOT_TRIED} in chance: not tried, since only the first {MOST_CHANCES} that mend it are."


def mending_notes(mending: Mending) -> str:
    """What stands below a table of remedies."""
    return " ".join(said for said in (mending_verdict(mending), chance_note(mending)) if said)


def _less(before: Figures, after: Figures) -> str:
    """What is seen less: a share, or where that is the same the wider gap."""
    if worst_walk([after]) is not None:
        return f"{_seen(after)} instead of {_seen(before)}"
    if f"{after.share:.3f}" != f"{before.share:.3f}":
        return f"{after.share:.1%} instead of {before.share:.1%}"
    return f"gap {after.largest_gap_m:.2f} m instead of {before.largest_gap_m:.2f} m"


def _seen(figures: Figures) -> str:
    return seen_words(figures.share) if worst_walk([figures]) is None else walked_words(figures)
