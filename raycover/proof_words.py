"""What a proof says in words: what was asked, what was assumed, what a remedy costs."""

from __future__ import annotations

import math
from collections.abc import Sequence

from raycover.doubt import MISS_RATE
from raycover.mending import Mend, Mending
from raycover.mending.changes import COST_WORDS
from raycover.needs import Figures, NeedVerdict, PlaceVerdict, Proof
from raycover.remedies import Remedy, Trouble
from raycover.scene.needs import NeedSpec

CAUTION = "A prediction, not a site test: walk-test before hand-over. Not a safety function."
_MOTION = {
    "any": "any declared motion",
    "tangential": "walking across",
    "radial": "walking toward a unit",
    "presence": "seated, small movements",
}


def asked_words(need: NeedSpec) -> str:
    """What a need asks, in a few words."""
    if need.never:
        who = "any unit" if need.detectors is None else listed(need.detectors, "or")
        air = f", air at {need.ambient_c:g} °C" if need.ambient_c is not None else ""
        return f"must not trip {who}, {need.reserve_db:g} dB clear{air}"
    parts = []
    if need.least_share is not None:
        by = f" by {need.by} units" if need.by > 1 else ""
        parts.append(f"all of it seen{by}" if need.least_share >= 1 else f"{100 * need.least_share:g} % of it seen{by}")
    elif need.by > 1:
        parts.append(f"{need.by} units at every spot")
    if need.largest_gap is not None:
        parts.append(f"no gap wider than {need.largest_gap:g} m")
    if need.detectors is not None:
        parts.append(f"by {listed(need.detectors, 'or')}" if need.by == 1 else f"of {listed(need.detectors)}")
    if need.ambient_c is not None:
        parts.append(f"air at {need.ambient_c:g} °C")
    return ", ".join(parts)


def why_words(need: NeedSpec) -> str:
    """Why it is asked, and by whose word; empty where nobody says."""
    why = "" if need.why is None else need.why[:1].upper() + need.why[1:]
    if need.source is None:
        return why
    return f"{why} ({need.source})" if why else f"Source: {need.source}"


def listed(names: Sequence[str], word: str = "and") -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} {word} {names[-1]}"


def margin_words(margin_db: float) -> str:
    """`+4.2 dB`; `none` where nothing gets through."""
    return f"{margin_db:+.1f} dB".replace("-", "−") if math.isfinite(margin_db) else "none"


def chance_words(probability: float | None) -> str:
    """A probability as a per cent that says 0 or 100 only where no case went otherwise."""
    if probability is None:
        return ""
    if 0 < probability < 0.01:
        return "< 1 %"
    if 0.99 < probability < 1:
        return "> 99 %"
    return f"{100 * probability:.0f} %"


def way_words(verdict: NeedVerdict, place: PlaceVerdict) -> str:
    """The way to the spot that decides, or why it is missed."""
    way = place.way
    if way is None:
        n = len(place.units)
        return f"only {n} unit{'s' * (n != 1)} for it" if n else "no detector"
    if verdict.need.never and not math.isfinite(place.figures.worst_db):
        return "nothing gets there"
    return way.words


def seen_words(share: float) -> str:
    """A share as a figure that says 0 or 100 only where it is just that."""
    if 0 < share < 0.005:
        return "< 1 %"
    return f"{100 * min(share, 1.0):.0f} %" if share > 1 - 1e-9 or share < 0.995 else "> 99 %"


def target_words(heights: Sequence[float], motion: str) -> str:
    """Who is looked for: `a person at 0.3, 1.0 or 1.6 m, any declared motion`."""
    shown = [f"{round(h, 2):g}" for h in heights]
    at = f"{listed(shown, 'or')} m" if len(shown) > 1 else f"{shown[0]} m"
    who = "a person" if len(shown) > 1 else "somebody"
    where = "on the floor" if tuple(heights) == (0.0,) else f"at {at}"
    return f"{who} {where}, {_MOTION[motion]}"


def remedy_cost(remedy: Remedy) -> str:
    """What a remedy costs inside: needs missed first, then shares, then area."""
    parts = []
    if remedy.missed:
        parts.append(f"misses {listed(remedy.missed)}")
    if remedy.share_lost > 5e-4:
        parts.append(f"−{100 * remedy.share_lost:.0f} % of {remedy.lost_at}")
    name, lost = remedy.largest_area_lost
    if lost >= 0.05:
        parts.append(f"−{lost:.1f} m² on the map {name}")
    return ", ".join(parts) if parts else "nothing"


def remedy_note(troubles: Sequence[Trouble], mendings: Sequence[Mending] = ()) -> list[str]:
    """What the columns of the remedies mean, where there are any."""
    said = []
    if troubles:
        said.append("Quiet: share of the varied cases in which the unit, so changed, is not tripped from there.")
    if mendings:
        said.append(
            "Remedies are tried one at a time: a unit moved by at most 1 m, turned, tilted, raised, another model of "
            "the catalogue, one more unit. Seen, gap and margin are the worst of the places mended."
        )
    return said


def mending_title(mending: Mending) -> str:
    """What a table of remedies for a missed need is about."""
    where = "" if mending.missed == (mending.need,) else f" at {some_of(mending.missed)}"
    return f"{mending.need} is missed{where}; what would mend it, tried by casting"


def some_of(names: Sequence[str], most: int = 4) -> str:
    """Names, the first few where there are many."""
    return listed(names) if len(names) <= most else f"{', '.join(names[: most - 1])} and {len(names) - most + 1} more"


def mend_words(mend: Mend) -> str:
    """What a remedy changes, with its unit."""
    return mend.words if mend.is_new else f"{mend.unit}: {mend.words}"


def mends_words(mend: Mend, mending: Mending) -> str:
    """Whether a remedy mends a need: `yes`, `2 of 4`, `no`."""
    if not mend.still:
        return "yes" if mend.mends else "but"
    return f"{len(mend.mended)} of {len(mending.missed)}" if mend.mended else "no"


def mend_harm(mend: Mend) -> str:
    """What a remedy breaks: needs met now, never-areas that it would trip."""
    parts = [f"misses {some_of(mend.broken)}"] if mend.broken else []
    parts += [f"trips from {name} ({margin_words(margin)})" for name, margin in mend.tripped]
    return ", ".join(parts)


def mend_effect(mend: Mend) -> str:
    """What else a remedy does: harm first, then what stays missed, then what it mends besides."""
    parts = [harm] if (harm := mend_harm(mend)) else []
    if mend.still and mend.mended:
        parts.append("still missed: " + some_of([f"{name} ({seen_words(f.share)})" for name, f in mend.still], 3))
    if mend.also:
        parts.append(f"mends {some_of(mend.also)}, too")
    return "; ".join(parts) if parts else "breaks nothing"


def cost_words(mend: Mend) -> str:
    """What a remedy asks for: `a setting`, `one more unit`."""
    return COST_WORDS[mend.cost]


def mending_verdict(mending: Mending) -> str:
    """Where nothing tried mends a need: what comes nearest and what it leaves; nothing where something does."""
    if mending.is_mended:
        return ""
    best = mending.best
    if best is None:
        return f"None of {mending.n_tried} changes tried brings more of it into view."
    left = [f"{name} ({_figures_words(figures)})" for name, figures in best.still]
    what = f"leaves {some_of(left)}" if left else mend_harm(best)
    return f"None of {mending.n_tried} changes tried mends all of it alone; the best {what}."


def _figures_words(figures: Figures) -> str:
    gap = f", gap {figures.largest_gap_m:.2f} m" if figures.largest_gap_m > 0 else ""
    return f"{seen_words(figures.share)} seen{gap}"


def assumptions(proof: Proof) -> list[str]:
    """What the verdicts rest on, a sentence each."""
    said = []
    if proof.assumed:
        said.append(
            "The scene says no needs: every cubicle with its doors closed, every flight and landing are assumed."
        )
    if proof.left_out:
        said.append(f"Left out, since nothing of the kind stands there: {listed(proof.left_out)}.")
    sites = [place.site for verdict in proof.needs for place in verdict.places]
    targets = dict.fromkeys((site.heights, site.motion) for site in sites)
    for heights, motion in targets:
        still = "; sitting still is another need (motion: presence)" if motion == "any" else ""
        said.append(f"Looked for: {target_words(heights, motion)}{still}.")
    if any(site.kind == "cubicle" for site in sites):
        said.append("In cubicles the middle of a body keeps 0.25 m from panels and walls.")
    if proof.scene.corrections is not None and proof.scene.corrections.in_force:
        said.append(f"Corrected by a test on site: {proof.scene.corrections.words()}.")
    conditions = proof.scene.conditions
    losses = "averaged over ±10 % of every thickness" if conditions.losses == "averaged" else "as drawn, coherent"
    said.append(f"Losses: slabs of ITU-R P.2040 at their incidence, {losses}.")
    paths = "straight only" if not conditions.reflections else "straight and by one reflection in large surfaces"
    said.append(f"Ways: {paths}; nothing passes around edges (no diffraction).")
    if proof.n_cases:
        doubt = proof.scene.doubt
        said.append(
            f"Chance: share of {proof.n_cases} varied cases in which it holds (nothing trips where nothing must): "
            f"thickness ±{doubt.thickness_percent:g} %, materials, a person's cross section s.d. "
            f"{doubt.cross_section_db:g} dB, mounting ±{doubt.mounting:g} m, aim ±{doubt.aim_deg:g}°, "
            f"reach ±{doubt.reach_percent:g} %."
        )
        if any("microwave" in unit.technologies for verdict in proof.needs for unit in verdict.situation.units):
            said.append(MISS_RATE.words)
    said.append("Margin: the lowest of a place, the highest where nothing must trip; 0 dB just triggers.")
    return said
