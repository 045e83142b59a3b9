"""What a proof says in words: what was asked, what was assumed, what a remedy costs."""

from __future__ import annotations

import math
from collections.abc import Sequence

from raycover.kit.aisle_words import ALONG_AISLES, answers_to_across
from raycover.kit.unit_words import combining_words
from raycover.listing import listed, some_of
from raycover.proving.matrices import UNWANTED, WANTED, Matrix
from raycover.proving.mending import Mending
from raycover.proving.needs import Figures, NeedVerdict, PlaceVerdict, Proof
from raycover.proving.remedies import Remedy, Trouble
from raycover.scene.need_sets import OURS
from raycover.scene.needs import NeedSpec
from raycover.solving.doubt import MISS_RATE

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
        who = "any unit" if need.whose is None else f"units of other {'zones' if need.zones else 'aisles'}"
        if need.beyond_aisles is not None and need.whose is not None:
            who = "units of the aisles"
        if need.whose == "own":
            who = "any unit of its own"
        if need.detectors is not None:
            who = listed(need.detectors, "or")
        air = f", air at {need.ambient_c:g} °C" if need.ambient_c is not None else ""
        return f"must not trip {who}, {need.reserve_db:g} dB clear{air}"
    parts = []
    if need.routes is not None:
        parts.append("nobody goes unnoticed for the hold time")
    if need.first_within is not None:
        parts.append(
            f"noticed within {need.first_within:g} m of {'the threshold' if need.aisles is None else 'either end'}"
        )
    if need.least_share is not None:
        by = f" by {need.by} units" if need.by > 1 else ""
        parts.append(f"all of it seen{by}" if need.least_share >= 1 else f"{100 * need.least_share:g} % of it seen{by}")
    elif need.by > 1:
        parts.append(f"{need.by} units at every spot")
    if need.largest_area is not None:
        parts.append(f"no larger than {need.largest_area:g} m²")
    if need.largest_gap is not None:
        parts.append(f"no gap wider than {need.largest_gap:g} m")
    if need.detectors is not None:
        parts.append(f"by {listed(need.detectors, 'or')}" if need.by == 1 else f"of {listed(need.detectors)}")
    if need.whose is not None:
        whose = {"own": "its own", "others": "the others'"}[need.whose]
        parts.append(f"{'by' if need.by == 1 else 'of'} {whose} units")
    if need.ambient_c is not None:
        parts.append(f"air at {need.ambient_c:g} °C")
    return ", ".join(parts)


def why_words(need: NeedSpec) -> str:
    """Why it is asked, and by whose word; empty where nobody says."""
    why = "" if need.why is None else need.why[:1].upper() + need.why[1:]
    if need.source is None:
        return why
    return f"{why} ({need.source})" if why else f"Source: {need.source}"


def places_words(names: Sequence[str]) -> str:
    """Places that are told with their need (`Every cubicle: WC 3`), those of a need together, a few of each."""
    grouped: dict[str, list[str]] = {}
    for name in names:
        need, colon, place = name.rpartition(": ")
        grouped.setdefault(need if colon else name, []).extend([place] if colon else [])
    return some_of([f"{need}: {some_of(places, 3)}" if places else need for need, places in grouped.items()])


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
    if verdict.need.only_area:
        return f"{place.figures.area_m2:.1f} m²"
    if way is None:
        n = len(place.units)
        if not n and verdict.need.whose is not None:
            return "no unit of its own" if verdict.need.whose == "own" else "no unit of another"
        return f"only {n} unit{'s' * (n != 1)} for it" if n else "no detector"
    if verdict.need.first_within is not None:
        return f"{place.figures.line}: {way.words}"
    if verdict.need.routes is not None:
        return f"{way.words}; hold time {place.figures.hold_s:g} s"
    if verdict.need.never and not math.isfinite(place.figures.worst_db):
        return "nothing gets there"
    return way.words


def seen_words(share: float) -> str:
    """A share as a figure that says 0 or 100 only where it is just that."""
    if 0 < share < 0.005:
        return "< 1 %"
    return f"{100 * min(share, 1.0):.0f} %" if share > 1 - 1e-9 or share < 0.995 else "> 99 %"


#: What the marks of a matrix mean.
MATRIX_KEY = (
    "Share of a row's floor from which a unit trips. Bold in a frame: the row's own unit; ! and a dark field: a unit "
    "of another row, unwanted; plain: a unit of none of them."
)


def cell_words(share: float, kind: int) -> str:
    """A cell of a matrix: `98 %`, `! 4 %` unwanted; empty where nothing trips that need not."""
    if kind == WANTED:
        return seen_words(share)
    if share <= 0:
        return ""
    return f"! {seen_words(share)}" if kind == UNWANTED else seen_words(share)


def matrix_words(matrix: Matrix) -> str:
    """A sentence on a matrix: who is tripped from where it should not be, who has no unit of its own."""
    parts = []
    if matrix.crossing:
        row, unit, share = matrix.crossing[0]
        n = len(matrix.crossing)
        worst = f"the worst {unit} from {seen_words(share)} of {row}"
        parts.append(f"{n} unwanted trip{'s' * (n != 1)}, {worst}")
    else:
        parts.append("no unwanted trip")
    own = (matrix.kind == WANTED).any(axis=1)
    lacking = [name for name, some in zip(matrix.rows, own, strict=True) if not some and name in matrix.lacking]
    places = [name for name in lacking if "beyond" not in name]
    if places:
        parts.append(f"no unit of its own: {listed(places)}")
    return "; ".join(parts)


def first_words(first_m: float | None) -> str:
    """After how many metres somebody is noticed: `0.80 m`, `never`."""
    if first_m is None:
        return ""
    return f"{first_m:.2f} m" if math.isfinite(first_m) else "never"


def walked_words(found: Figures) -> str:
    """What a walk is judged by: metres until it is noticed, or the longest time that it is not."""
    if found.longest_s is None:
        return first_words(found.first_m)
    return f"{found.longest_s:.0f} s" if math.isfinite(found.longest_s) else "always"


def found_words(need: NeedSpec, found: Figures) -> str:
    """What was found at a place, by what its need is judged by: `seen 98 %`, `noticed after 0.80 m`."""
    if need.never:
        return f"trips from {seen_words(found.share)}"
    if found.longest_s is not None:
        return f"unnoticed {'for ' if math.isfinite(found.longest_s) else ''}{walked_words(found)}"
    if found.first_m is not None:
        return f"noticed after {first_words(found.first_m)}" if math.isfinite(found.first_m) else "never noticed"
    if need.only_area:
        return f"{found.area_m2:.1f} m²"
    return f"seen {seen_words(found.share)}"


def target_words(heights: Sequence[float], motion: str) -> str:
    """Who is looked for: `a person at 0.3, 1.0 or 1.6 m, any declared motion`."""
    shown = [f"{round(h + 1e-9, 2):g}" for h in heights]
    at = f"{listed(shown, 'or')} m" if len(shown) > 1 else f"{shown[0]} m"
    who = "a person" if len(shown) > 1 else "somebody"
    where = "on the floor" if tuple(heights) == (0.0,) else f"at {at}"
    return f"{who} {where}, {_MOTION[motion]}"


def remedy_cost(remedy: Remedy) -> str:
    """What a remedy costs inside: needs missed first, then shares, then area."""
    parts = []
    if remedy.missed:
        parts.append(f"misses {some_of(remedy.missed, 3)}")
    if remedy.share_lost > 5e-4:
        lost_pct = 100 * remedy.share_lost
        parts.append(f"−{lost_pct:.{0 if lost_pct >= 1 else 1}f} % of {remedy.lost_at}")
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
            "Remedies: a unit moved, turned, tilted, raised, set or unmasked, another model of the catalogue, one more "
            "unit; two of them where none mends a need alone. Seen, gap and margin are the worst of the places mended."
        )
    return said


def _asks_any_way_along(verdict: NeedVerdict) -> bool:
    """Whether an aisle must be seen, by any motion, and infrared that sees walking across better counts there."""
    if verdict.need.never or verdict.need.walked or verdict.need.aisles is None:
        return False
    counting = {k for place in verdict.places if place.site.motion == "any" for k in place.units}
    return answers_to_across(verdict.situation.units[k] for k in counting)


def assumptions(proof: Proof) -> list[str]:
    """What the verdicts rest on, a sentence each."""
    said = []
    if proof.assumed:
        said.append(
            "The scene says no needs: every cubicle with its doors closed, every flight and landing are assumed."
        )
    if any(need.need.set is not None and need.need.source != OURS for need in proof.needs):
        said.append(
            "What is asked after a published code is evidence for a need, never a statement of compliance: local codes "
            "and the authority decide."
        )
    if proof.left_out:
        said.append(f"Left out, since nothing of the kind stands there: {listed(proof.left_out)}.")
    sites = [place.site for verdict in proof.needs for place in verdict.places]
    targets = dict.fromkeys((site.heights, site.motion) for site in sites)
    for heights, motion in targets:
        still = "; sitting still is another need (motion: presence)" if motion == "any" else ""
        said.append(f"Looked for: {target_words(heights, motion)}{still}.")
    if any(_asks_any_way_along(verdict) for verdict in proof.needs):
        said.append(ALONG_AISLES)
    if any(site.kind == "cubicle" for site in sites):
        said.append("In cubicles the middle of a body keeps 0.25 m from panels and walls.")
    if proof.scene.corrections is not None and proof.scene.corrections.in_force:
        said.append(f"Corrected by a test on site: {proof.scene.corrections.words()}.")
    if any(site.kind == "door" and site.floor is not None for site in sites):
        said.append(
            "Into aisles people walk from each open end, half way across and straight on; units count by "
            "their declared footprints and the direction walked."
        )
    if any(site.kind == "door" and site.floor is None for site in sites):
        said.append(
            "By doors people walk in from the threshold, square to the wall and at 45° to either side, as far as that "
            "is free; the room's own units count, by their declared footprints and the direction walked."
        )
    if any(site.kind == "way" for site in sites):
        said.append(
            "On routes the units of the room one is in count, by their declared footprints; who sits is noticed by "
            "small movements only."
        )
    conditions = proof.scene.conditions
    losses = "averaged over ±10 % of every thickness" if conditions.losses == "averaged" else "as drawn, coherent"
    said.append(f"Losses: slabs of ITU-R P.2040 at their incidence, {losses}.")
    paths = "straight only" if not conditions.reflections else "straight and by one reflection in large surfaces"
    said.append(f"Ways: {paths}; nothing passes around edges (no diffraction).")
    units = [unit for verdict in proof.needs for unit in verdict.situation.units if unit.halves]
    for words in dict.fromkeys(combining_words(unit) for unit in units):
        asked = " (small movements: held; any other: triggered)" if "trigger" in words else ""
        said.append(f"Dual units: {words}{asked}.")
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
