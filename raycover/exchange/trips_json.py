"""What may trip falsely, as JSON. Infinite numbers become null."""

from __future__ import annotations

import math
from typing import Any

from raycover.exchange.summary import conditions_json, finite, stamp
from raycover.trips import Cost, Effect, Interference, Remedies, Trips, UnitMasks
from raycover.trips.interference import RULE
from raycover.trips.places import Source
from raycover.trips.words import mask_yaml, reason, way


def trips_json(trips: Trips) -> dict[str, Any]:
    """Every nuisance with each unit that answers to it, the worst first; units that disturb each other."""
    opens = {source.spec.name: source.spec.opens for source in trips.sources}
    remedies = {(r.effect.nuisance, r.effect.unit): r for r in trips.remedies}
    return {
        **stamp(),
        "conditions": conditions_json(trips.ambient_c, trips.reserve_db, trips.rooms_c),
        "nuisances": [_nuisance(source, trips.source_air_c[source.spec.name]) for source in trips.sources],
        "effects": [
            {**_effect(e, opens[e.nuisance]), "remedies": _remedies(remedies.get((e.nuisance, e.unit)))}
            for e in trips.effects
        ],
        "masks_together": [_together(m) for m in trips.masks],
        "interference": {"rule": RULE, "pairs": [_pair(p) for p in trips.interference]},
        "caution": "A prediction, not a site test: walk-test before hand-over. Not a safety function.",
    }


def _nuisance(source: Source, ambient_c: float) -> dict[str, Any]:
    """What was taken for granted of a nuisance: `assumed` names the keys that its kind filled in."""
    spec = source.spec
    low, high = source.points.min(axis=0), source.points.max(axis=0)
    change, flicker = spec.heat
    used = {
        "size": list(spec.extent) if spec.through is None else None,
        "height": spec.middle if spec.through is None else None,
        "cross_section_m2": spec.echo_m2,
        "speed_mps": list(spec.speeds_mps) if spec.echo_m2 is not None else None,
        "surface_c": spec.surface_at(ambient_c),
        "change_s": change,
        "flicker_hz": flicker,
        "moves": spec.motion,
    }
    said = set(spec.model_fields_set) | ({"surface_c"} if spec.above_ambient_k is not None else set())
    said |= {"change_s", "flicker_hz"} if {"change_s", "flicker_hz", "steady"} & said else set()
    return {
        "name": spec.name,
        "kind": spec.kind,
        "from": [round(float(v), 6) for v in low],
        "to": [round(float(v), 6) for v in high],
        **used,
        "assumed": [key for key, value in used.items() if key not in said and value is not None],
        "source": spec.default.source,
    }


def _effect(effect: Effect, opens: list[str]) -> dict[str, Any]:
    return {
        "nuisance": effect.nuisance,
        "kind": effect.kind,
        "detector": effect.unit,
        "technology": effect.technology,
        **({} if effect.halves is None else {"halves": {k: finite(v) for k, v in effect.halves.items()}}),
        **({} if effect.held_db is None else {"held_db": finite(effect.held_db)}),
        "verdict": effect.verdict,
        "margin_db": finite(effect.margin_db),
        "person_db": finite(effect.person_db),
        "terms_db": {name: finite(value) for name, value in effect.terms.items()},
        "at": [round(v, 6) for v in effect.at],
        "distance_m": round(effect.distance_m, 6),
        "way": way(effect, opens),
        "reason": reason(effect) if effect.verdict == "no" else None,
        "zones": None
        if effect.zones is None
        else {
            "hit": [list(zone) for zone in effect.zones.zones],
            "n_rings": effect.zones.n_rings,
            "generic": effect.zones.generic,
            "signal_db": finite(effect.zones.signal_db),
        },
        "mirror": effect.mirror,
        "crossings": [{"object": c.object, "loss_db": finite(c.loss_db)} for c in effect.crossings],
    }


def _remedies(found: Remedies | None) -> dict[str, Any] | None:
    if found is None:
        return None
    mask, less = found.mask, found.sensitivity
    return {
        "best": found.best,
        "ways": list(found.ways),
        "mask": {
            **mask_yaml(mask.mask),
            "share": round(mask.share, 6),
            "largest_share": mask.allowed,
            "fits": mask.fits,
            "closes": mask.closes,
            "left_db": finite(mask.margin_db),
            "cost": _cost(mask.cost),
        },
        "sensitivity": {"to_percent": less.to_percent, "cost": _cost(less.cost)},
        "move": None
        if found.move is None
        else {
            "at": list(found.move.at),
            "by_m": found.move.by_m,
            "margin_db": finite(found.move.margin_db),
            "cost": _cost(found.move.cost),
        },
        "keep_m": round(found.keep_m, 3),
    }


def _cost(cost: Cost | None) -> dict[str, Any] | None:
    if cost is None:
        return None
    planes = {name: round(lost, 6) for name, lost in cost.planes.items()}
    return {"lost_m2": round(cost.lost_m2, 6), "share": cost.share, "planes_m2": planes}


def _together(masks: UnitMasks) -> dict[str, Any]:
    return {
        "detector": masks.unit,
        "nuisances": list(masks.nuisances),
        "share": round(masks.share, 6),
        "largest_share": masks.allowed,
        "fits": masks.fits,
        "cost": _cost(masks.cost),
    }


def _pair(pair: Interference) -> dict[str, Any]:
    return {
        "detectors": list(pair.units),
        "band": pair.band,
        "flagged": pair.flagged,
        "index_db": round(pair.index_db, 3),
        "distance_m": round(pair.distance_m, 3),
        "loss_db": round(pair.loss_db, 3) if math.isfinite(pair.loss_db) else None,
        "clear_m": round(pair.clear_m, 3),
    }
