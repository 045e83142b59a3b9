"""Results as JSON: the summary of a coverage, the views of a probe."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

import raycover
from raycover.asking.probe import View
from raycover.asking.upright import SectionField
from raycover.detectors import Unit
from raycover.errors import Problem
from raycover.rays.ray_scene import Crossing
from raycover.solving.casting import CAUSES
from raycover.solving.chance_maps import ChanceMaps, PlaneChances
from raycover.solving.coverage import Coverage, PlaneCoverage
from raycover.solving.doubt import MISS_RATE
from raycover.solving.seats import SeatView
from raycover.spreads import SOURCES

#: Bumped when a meaning changes; additions leave it.
VERSION = 1


def stamp() -> dict[str, Any]:
    """What every JSON carries."""
    return {"version": VERSION, "raycover": raycover.__version__}


def conditions_json(ambient_c: float, reserve_db: float, rooms_c: Mapping[str, float]) -> dict[str, Any]:
    """The scene's air and reserve, and the air of rooms which have their own."""
    return {"ambient_c": ambient_c, "reserve_db": reserve_db, **rooms_json(rooms_c)}


def rooms_json(rooms_c: Mapping[str, float]) -> dict[str, Any]:
    """{room: °C} of rooms with an air of their own; nothing where there are none."""
    return {"rooms_c": dict(rooms_c)} if rooms_c else {}


def summary(
    coverage: Coverage, chances: ChanceMaps | None = None, sections: Sequence[SectionField] = ()
) -> dict[str, Any]:
    """Figures of every plane, section and detector; areas in m². With `chances` how firm they are."""
    return {**stamp(), **_figures(coverage, chances, sections)}


def states_summary(
    found: Mapping[str, tuple[Coverage, ChanceMaps | None, Sequence[SectionField]]],
) -> dict[str, Any]:
    """What a summary has beside the figures of its first state: that state's name, and every state's figures."""
    return {
        "state": next(iter(found)),
        "states": {name: _figures(*made) for name, made in found.items()},
    }


def _figures(coverage: Coverage, chances: ChanceMaps | None, sections: Sequence[SectionField]) -> dict[str, Any]:
    detectors: dict[str, dict[str, Any]] = {name: {} for name in coverage.detector_names}
    dual = {unit.name: combining_json(unit) for unit in coverage.units if unit.halves}
    for plane_name, plane in coverage.items():
        for name, (seen, alone) in zip(coverage.detector_names, plane.detector_areas(), strict=True):
            detectors[name][plane_name] = {"detected_m2": _round(seen), "alone_m2": _round(alone)}
    return {
        "title": coverage.title,
        "conditions": conditions_json(coverage.ambient_c, coverage.reserve_db, coverage.rooms_c),
        **({} if coverage.corrections is None else {"corrections": coverage.corrections.model_dump()}),
        "planes": {
            name: plane_figures(plane) | ({} if chances is None else {"chances": chance_figures(chances[name])})
            for name, plane in coverage.items()
        },
        **({} if chances is None else {"doubt": _doubt(chances)}),
        "sections": {field.name: _section(field) for field in sections},
        "detectors": detectors,
        **({"dual": dual} if dual else {}),
        "seats": {seat.name: _seat(seat) for seat in coverage.seats},
        **_reflections(coverage),
        "rays": coverage.n_rays,
        "seconds": _round(coverage.seconds),
        "backend": coverage.backend,
        "warnings": [problem(p) for p in coverage.warnings],
        "caution": "A prediction, not a site test: walk-test before hand-over. Not a safety function.",
    }


def _section(field: SectionField) -> dict[str, Any]:
    """A section's figures: of the people zone that it cuts."""
    return {
        "area_m2": _round(float(field.zone_area.sum())),
        "share": _round(field.share),
        "assured_share": _round(field.assured_share),
        "detectors": [field.units[k].name for k in field.in_cut],
    }


def _reflections(coverage: Coverage) -> dict[str, Any]:
    """Ways by mirrors, where they were counted."""
    if (found := coverage.reflections) is None:
        return {}
    figures = {"images": dict(found.n_images), "ways": found.n_ways, "left_out_db": _round(found.left_out_db)}
    return {"reflections": figures}


def plane_figures(plane: PlaneCoverage) -> dict[str, Any]:
    area, seen = plane.area_m2, plane.area_where(plane.detected)
    return {
        "area_m2": _round(area),
        "detected_m2": _round(seen),
        "share": plane.share,
        "assured_share": plane.assured_share,
        "plane": plane.surface.plane or plane.surface.name,
        "storey": plane.surface.storey,
        "stairs": plane.surface.stairs,
        "target": plane.surface.target,
        "motion": plane.surface.motion,
        "target_m2": plane.surface.target_m2,
        "heights_m": list(plane.surface.heights),
        "rooms": {
            name: {"area_m2": _round(room_area), "share": share, "assured_share": assured}
            for name, (room_area, share, assured) in plane.rooms().items()
        },
        "gaps": [
            {
                "area_m2": _round(gap.area_m2),
                "widest_m": _round(gap.widest_m),
                "at": [_round(v) for v in gap.at],
                "room": gap.room,
                "cause": CAUSES[gap.cause],
                "blocked_by": gap.blocked_by,
                "detector": gap.detector,
                **({"half": gap.half} if gap.half else {}),
            }
            for gap in plane.gaps
        ],
    }


def chance_figures(chances: PlaneChances) -> dict[str, Any]:
    """How firm a plane is: shares of its area, and of each room in the mean and in the worst twentieth of the cases."""
    return {
        "firm_share": chances.firm_share,
        "expected_share": chances.expected_share,
        "one_in_twenty_share": _one_in_twenty(chances.share),
        "rooms": {
            name: {"expected_share": float(share.mean()), "one_in_twenty_share": _one_in_twenty(share)}
            for name, share in chances.rooms.items()
        },
    }


def _one_in_twenty(share: NDArray[np.floating]) -> float:
    """What one case in twenty falls to or below."""
    return float(np.quantile(share, 0.05, method="lower"))


def _doubt(chances: ChanceMaps) -> dict[str, Any]:
    """What was varied, by whose word, and how the bands stood against computed truths."""
    spreads = chances.draws.doubt.model_dump()
    return {
        **spreads,
        "clo": list(spreads["clo"]),
        "sources": {s.key: {"what": s.what, "source": s.source, "status": s.status} for s in SOURCES},
        "miss_rate": {
            "share": MISS_RATE.share,
            "rooms": MISS_RATE.n_rooms,
            "rooms_held": MISS_RATE.n_rooms_held,
            "points": MISS_RATE.n_points,
            "date": MISS_RATE.date,
            "how": MISS_RATE.how,
        },
    }


def _seat(seat: SeatView) -> dict[str, Any]:
    """Whether a seated person is noticed there: the best detector, at the height it notices best."""
    return {
        "at": [_round(v) for v in seat.at],
        "noticed": seat.noticed,
        "margin_db": finite(seat.margin_db),
        "height_m": _round(seat.height_m),
        "detector": seat.detector,
        "cause": seat.cause,
        "blocked_by": seat.blocked_by,
        **({"half": seat.half} if seat.half else {}),
    }


def probe_json(point: Sequence[float], views: Sequence[View], ambient_c: float) -> dict[str, Any]:
    """A probe's views in the air (°C) at the point; numbers that are infinite become null."""
    return {
        **stamp(),
        "point": list(point),
        "ambient_c": ambient_c,
        "detected": any(view.detected for view in views),
        "detectors": [_view(view) for view in views],
    }


def _view(view: View) -> dict[str, Any]:
    """One detector's view; of a dual one also how it is set, the half that decides, and each half by itself."""
    dual = {}
    if view.halves:
        halves = {half.unit.kind: {k: v for k, v in _view(half).items() if k != "name"} for half in view.halves}
        dual = {**combining_json(view.unit), "decided_by": view.decided_by, "halves": halves}
    return {
        "name": view.name,
        "detected": view.detected,
        "margin_db": finite(view.margin_db),
        "distance_m": view.distance_m,
        "cause": view.cause,
        **({"derived_motions": derived} if (derived := view.unit.derived_motions) else {}),
        "crossings": [_crossing(c) for c in view.crossings],
        "ways": [
            {
                "mirror": way.mirror,
                "construction": way.construction,
                "margin_db": finite(way.margin_db),
                "length_m": way.length_m,
                "incidence_deg": way.incidence_deg if way.mirror is not None else None,
                "reflection_loss_db": way.reflect_db,
                "crossings": [_crossing(c) for c in way.crossings],
            }
            for way in view.ways
        ],
        "left_out_db": view.left_out_db,
        **dual,
    }


def combining_json(unit: Unit) -> dict[str, Any]:
    """How a dual unit is set; nothing of others."""
    if not unit.halves:
        return {}
    return {"combine": unit.combine, **({"trigger": unit.trigger} if unit.combine == "trigger-then-hold" else {})}


def _crossing(crossing: Crossing) -> dict[str, Any]:
    return {
        "object": crossing.object,
        "part_of": crossing.owner,
        "construction": crossing.construction,
        "distance_m": crossing.distance_m,
        "incidence_deg": crossing.incidence_deg,
        "loss_db": finite(crossing.loss_db),
    }


def problem(found: Problem) -> dict[str, Any]:
    return {
        "severity": found.severity,
        "code": found.code,
        "message": found.message,
        "file": found.position.file,
        "line": found.position.line,
        "column": found.position.column,
        "help": found.help,
    }


def finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _round(value: float) -> float:
    return round(float(value), 6)
