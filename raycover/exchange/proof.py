"""A proof as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from raycover.exchange.summary import finite, rooms_json, stamp
from raycover.proving.matrices import NEITHER, UNWANTED, WANTED, Matrix
from raycover.proving.mending import Mend, Mending
from raycover.proving.mending_words import cost_words
from raycover.proving.needs import Figures, NeedVerdict, PlaceVerdict, Proof
from raycover.proving.proof_words import CAUTION, assumptions
from raycover.proving.remedies import Remedy, Trouble
from raycover.proving.way_words import Way
from raycover.scene.air import own_air


def proof_json(proof: Proof, troubles: Sequence[Trouble] = (), mendings: Sequence[Mending] = ()) -> dict[str, Any]:
    """Every need with its places; margins that are infinite are null."""
    return {
        **stamp(),
        "title": proof.scene.title,
        "met": proof.met,
        "assumed": proof.assumed,
        "needs": [_need(verdict) for verdict in proof.needs],
        "matrices": [_matrix(matrix) for matrix in proof.matrices],
        "remedies": [
            {"detector": t.unit, "needs": list(t.needs), "tried": [_remedy(r) for r in t.remedies]} for t in troubles
        ],
        "mending": [_mending(mending) for mending in mendings],
        "left_out": list(proof.left_out),
        "assumptions": assumptions(proof),
        "caution": CAUTION,
    }


def _need(verdict: NeedVerdict) -> dict[str, Any]:
    need = verdict.need
    site = verdict.places[0].site
    return {
        "name": need.name,
        "set": need.set,
        "why": need.why,
        "source": need.source,
        "never": need.never,
        "met": verdict.met,
        "verdict": verdict.words,
        "probability": verdict.probability,
        "assumed": verdict.assumed,
        "state": verdict.situation.scene.state,
        "doors": need.doors if need.doors is None or isinstance(need.doors, str) else need.doors.model_dump(),
        "asked": (
            {"clear_db": need.reserve_db}
            if need.never
            else {
                "share": need.least_share,
                "largest_gap_m": need.largest_gap,
                "by": need.by,
                "largest_area_m2": need.largest_area,
                "first_within_m": need.first_within,
            }
        ),
        "ambient_c": verdict.situation.scene.conditions.ambient_c,
        **rooms_json(own_air(verdict.situation.scene)),
        "motion": site.motion,
        "heights_m": list(site.heights),
        "detectors": need.detectors,
        "whose": need.whose,
        "places": [_place(verdict, place) for place in verdict.places],
    }


def _matrix(matrix: Matrix) -> dict[str, Any]:
    """Who trips whom: `share[row][detector]` of a row's floor, and whether that is wanted, unwanted or neither."""
    kinds = {WANTED: "wanted", UNWANTED: "unwanted", NEITHER: "neither"}
    return {
        "title": matrix.title,
        "state": matrix.state or None,
        "rows": [{"name": n, "area_m2": round(float(a), 6)} for n, a in zip(matrix.rows, matrix.area_m2, strict=True)],
        "detectors": list(matrix.units),
        "share": [[round(float(v), 6) for v in row] for row in matrix.share],
        "kind": [[kinds[int(v)] for v in row] for row in matrix.kind],
    }


def _place(verdict: NeedVerdict, place: PlaceVerdict) -> dict[str, Any]:
    site, found = place.site, place.figures
    return {
        "name": site.name,
        "kind": site.kind if site.floor is None else "aisle end",
        "met": place.met,
        "probability": place.probability,
        "area_m2": round(float(site.area.sum()), 6) if site.kind not in ("seat", "door", "way") else None,
        "units": [verdict.situation.units[k].name for k in place.units],
        "outline_m2": round(found.area_m2, 6),
        **_figures(found),
        "worst": _way(place.way) if place.way is not None else None,
    }


def _way(way: Way) -> dict[str, Any]:
    return {
        "at": [round(v, 6) for v in way.at],
        "detector": way.unit,
        "distance_m": way.distance_m,
        "cause": way.cause,
        "path": way.words,
        "loss_db": finite(way.loss_db),
        "by": None
        if way.by is None
        else {"object": way.by.object, "incidence_deg": way.by.incidence_deg, "loss_db": finite(way.by.loss_db)},
        "crossings": [
            {
                "object": c.object,
                "construction": c.construction,
                "distance_m": finite(c.distance_m),
                "incidence_deg": c.incidence_deg,
                "loss_db": finite(c.loss_db),
            }
            for c in way.crossings
        ],
    }


def _remedy(remedy: Remedy) -> dict[str, Any]:
    return {
        "kind": remedy.kind,
        "remedy": remedy.words,
        "keys": remedy.keys,
        "stops": remedy.stops,
        "margin_db": finite(remedy.worst_db),
        "limit_db": remedy.limit_db,
        "quiet": remedy.quiet,
        "would_miss": list(remedy.missed),
        "share_lost": remedy.share_lost,
        "share_lost_at": remedy.lost_at,
        "area_lost_m2": {name: round(value, 6) for name, value in remedy.area_lost_m2.items()},
        "note": remedy.note,
    }


def _mending(mending: Mending) -> dict[str, Any]:
    return {
        "need": mending.need,
        "missed": list(mending.missed),
        "mended": mending.is_mended,
        "n_tried": mending.n_tried,
        "not_tried": list(mending.not_tried),
        "remedies": [_mend(mend) for mend in mending.remedies],
    }


def _mend(mend: Mend) -> dict[str, Any]:
    return {
        "kind": mend.kind,
        "detector": mend.unit,
        "new": mend.is_new,
        "remedy": mend.words,
        "keys": mend.keys,
        "mends": mend.mends,
        "mended": list(mend.mended),
        "still_missed": [{"name": name, **_figures(figures)} for name, figures in mend.still],
        "helped": [name for name, _ in mend.helped],
        "also_mends": list(mend.also),
        "would_miss": list(mend.broken),
        "would_trip": [{"name": name, "margin_db": finite(margin)} for name, margin in mend.tripped],
        "takes": [
            {"name": name, "before": _figures(before), "after": _figures(after)} for name, before, after in mend.taken
        ],
        "share": mend.share,
        "largest_gap_m": round(mend.gap_m, 6),
        "margin_db": finite(mend.worst_db),
        "chance": mend.chance,
        "first_m": None if mend.walk is None or mend.walk.first_m is None else finite(mend.walk.first_m),
        "longest_unnoticed_s": (
            None if mend.walk is None or mend.walk.longest_s is None else finite(mend.walk.longest_s)
        ),
        "cost": mend.cost,
        "asks_for": cost_words(mend),
        # Of a remedy of several changes: those to do after this one. One of kind divide has zones as keys.
        "then": [
            {"kind": c.kind, "detector": c.unit, "new": c.is_new, "remedy": c.words, "keys": c.keys}
            for c in mend.changes[1:]
        ],
    }


def _figures(found: Figures) -> dict[str, Any]:
    return {
        "share": found.share,
        "first_m": None if found.first_m is None else finite(found.first_m),
        "longest_unnoticed_s": None if found.longest_s is None else finite(found.longest_s),
        "hold_s": None if found.longest_s is None else found.hold_s,
        "largest_gap_m": round(found.largest_gap_m, 6),
        "margin_db": finite(found.worst_db),
    }
