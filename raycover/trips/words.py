"""Effects and remedies in plain words, the same on the command line, in JSON and on the plan."""

from __future__ import annotations

import math
from collections.abc import Sequence

from raycover.physics.pattern import Mask
from raycover.scene.nuisances import Nuisance
from raycover.shares import percent
from raycover.signs import margin_words
from raycover.trips.finding import Trips
from raycover.trips.judging import Effect, ZoneHits
from raycover.trips.remedies import Cost, Remedies

_REASONS = {
    "out-of-reach": "beyond its reach",
    "outside-lens": "outside its lens",
    "masked": "masked",
    "too-warm": "the air is too warm",
    "change": "its heat changes too slowly",
    "contrast": "too near to the air's temperature",
    "speed": "too slow, or too fast",
    "cover": "covered too well",
    "none": "too weak",
    "infrared-half": "its infrared half does not answer to it",
    "microwave-half": "its microwave half does not answer to it",
}


def way(effect: Effect, opens: Sequence[str] = ()) -> str:
    """How it gets there: `in sight`, `through Hall/wall 1, 1.6 dB`, and which doors stand open for it."""
    crossed = [c for c in effect.crossings if c.loss_db > 0]
    loss = sum(c.loss_db for c in crossed)
    names = [c.object for c in crossed[:2]] + ([f"{len(crossed) - 2} more"] if len(crossed) > 2 else [])
    cover = -effect.terms.get("cover", 0.0) / 2
    if "cover" in effect.terms:
        names, loss = ["what covers it", *names], loss + cover
    if not names:
        text = "in sight"
    else:
        text = f"through {', '.join(names)}" + (f", {loss:.1f} dB" if math.isfinite(loss) else "")
    if effect.mirror is not None:
        text = f"by way of {effect.mirror}"
    return f"{text}; {' and '.join(opens)} open" if opens else text


def reason(effect: Effect) -> str:
    """What keeps it from tripping, in words; of a unit that triggers first, whether it may then hold it on."""
    if effect.held_db is not None and effect.held_db >= 0:
        return f"{_reason(effect)}; but once on it is held ({margin_words(effect.held_db)})"
    return _reason(effect)


def _reason(effect: Effect) -> str:
    if effect.terms.get("change") == -math.inf:
        return "steady: no signal by itself"
    if effect.reason in ("blocked", "material-loss"):
        word = "hidden" if effect.reason == "blocked" else "too much lost"
        return (
            f"{word} by {effect.blocker}"
            if effect.blocker and word == "hidden"
            else (f"{word} in {effect.blocker}" if effect.blocker else word)
        )
    if effect.reason == "size":
        return "too small an echo" if effect.technology == "microwave" else "too small"
    return _REASONS.get(effect.reason, effect.reason)


def mask_words(mask: Mask) -> str:
    """`azimuth 40° to 75°, 30° to 52° off axis`, in the unit's own frame."""
    turn = "all round" if mask.span_deg >= 360 else f"azimuth {mask.from_deg:.0f}° to {mask.to_deg % 360:.0f}°"
    low, high = mask.off_axis_from_deg, mask.off_axis_to_deg
    return f"{turn}, {low:.0f}° to {high:.0f}° off axis" if low > 0 or high < 180 else turn


def mask_yaml(mask: Mask) -> dict[str, float]:
    """A mask as a scene file takes it."""
    return {
        "from_deg": mask.from_deg,
        "to_deg": mask.to_deg if mask.span_deg >= 360 else mask.to_deg % 360,
        "off_axis_from_deg": mask.off_axis_from_deg,
        "off_axis_to_deg": mask.off_axis_to_deg,
    }


def cost_words(cost: Cost | None) -> str:
    if cost is None:
        return ""
    return "nothing seen is lost" if cost.lost_m2 < 5e-3 else f"{percent(cost.share)} of what is seen is lost"


def mask_verdict(remedy: Remedies) -> str:
    """What the mask does: stops it, helps but not enough, or takes more than the entry allows."""
    mask = remedy.mask
    if not mask.fits:
        return f"takes {percent(mask.share)} of the pattern, {percent(mask.allowed or 0)} is the most"
    if not mask.closes:
        return f"is not enough: {margin_words(mask.margin_db)} is left"
    share = f"{percent(mask.share)} of the pattern" if mask.share >= 5e-4 else "beyond the declared footprint"
    return ", ".join(text for text in (share, cost_words(mask.cost)) if text)


def best_words(remedy: Remedies) -> str:
    """The cheapest that works, with what it costs."""
    if remedy.best == "mask":
        return f"mask {mask_words(remedy.mask.mask)} ({mask_verdict(remedy)})"
    if remedy.best == "sensitivity":
        cost = cost_words(remedy.sensitivity.cost)
        return f"reach at {remedy.sensitivity.to_percent} %" + (f" ({cost})" if cost else "")
    if remedy.move is not None and remedy.best == "move":
        cost = cost_words(remedy.move.cost)
        return f"hang it at {place_words(remedy.move.at)}" + (f" ({cost})" if cost else "")
    return f"keep {remedy.keep_m:.1f} m between them, or put something opaque there"


def zone_words(hits: ZoneHits) -> str:
    """`5 zones of rings 4 and 5 of 8`."""
    if not hits.zones:
        return "between the zones"
    rings = sorted({ring for ring, _ in hits.zones})
    n = len(hits.zones)
    if len(rings) == 1:
        which = f"ring {rings[0]}"
    else:
        near = len(rings) == 2 or rings[-1] - rings[0] + 1 > len(rings)
        which = "rings " + (" and ".join(map(str, rings)) if near else f"{rings[0]} to {rings[-1]}")
    return f"{n} zone{'s' * (n != 1)} of {which} of {hits.n_rings}"


def place_words(at: tuple[float, float]) -> str:
    return f"{at[0]:g}, {at[1]:g}"


def move_words(remedy: Remedies) -> str:
    """Where else it could hang, with what that costs."""
    if remedy.move is None:
        return "nowhere within 3 m"
    cost = cost_words(remedy.move.cost)
    return f"{place_words(remedy.move.at)}" + (f" ({cost})" if cost else "")


def nearest_miss(trips: Trips) -> list[tuple[Nuisance, Effect | None]]:
    """Each nuisance that trips nobody, with the effect that comes nearest to it; None where no unit answers to it."""
    tripping = {r.effect.nuisance for r in trips.remedies}
    found = []
    for source in trips.sources:
        if source.spec.name in tripping:
            continue
        mine = [e for e in trips.effects if e.nuisance == source.spec.name]
        found.append((source.spec, max(mine, key=_nearness, default=None)))
    return found


def _nearness(effect: Effect) -> tuple[bool, float, float]:
    """Of effects without signal the one nearest to it: where a person would be seen, then by distance."""
    return math.isfinite(effect.margin_db), max(effect.margin_db, -1e6), max(effect.person_db, -1e6) - effect.distance_m
