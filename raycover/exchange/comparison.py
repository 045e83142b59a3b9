"""A comparison of two coverages as JSON."""

from __future__ import annotations

from typing import Any

from raycover.exchange.summary import conditions_json, plane_figures, stamp
from raycover.solving.comparing import GAINED, KEPT, LOST, NEITHER, SMALLEST_DB, Comparison

CAUTION = "A prediction, not a site test: walk-test before hand-over. Not a safety function."


def comparison_json(found: Comparison) -> dict[str, Any]:
    """Shares, gaps and detectors' areas (m²) before and after, and what was gained and lost in between."""
    planes: dict[str, Any] = {}
    for name, plane in found.planes.items():
        before, after = plane_figures(plane.before), plane_figures(plane.after)
        planes[name] = {
            "before": before,
            "after": after,
            "share_change": after["share"] - before["share"],
            "assured_share_change": after["assured_share"] - before["assured_share"],
            "shared_m2": round(plane.shared_m2, 6),
            "gained_m2": round(plane.area_of(GAINED), 6),
            "lost_m2": round(plane.area_of(LOST), 6),
            "kept_m2": round(plane.area_of(KEPT), 6),
            "neither_m2": round(plane.area_of(NEITHER), 6),
            "stronger_m2": round(plane.stronger_m2, 6),
            "weaker_m2": round(plane.weaker_m2, 6),
            "smallest_change_db": SMALLEST_DB,
        }
    detectors: dict[str, dict[str, Any]] = {name: {} for name in found.detector_names}
    for plane_name in found.planes:
        for name, pair in found.detector_areas(plane_name).items():
            detectors[name][plane_name] = {
                when: None if areas is None else {"detected_m2": round(areas[0], 6), "alone_m2": round(areas[1], 6)}
                for when, areas in zip(("before", "after"), pair, strict=True)
            }
    return {
        **stamp(),
        "before": _which(found, 0),
        "after": _which(found, 1),
        "planes": planes,
        "detectors": detectors,
        "only_before": list(found.unpaired[0]),
        "only_after": list(found.unpaired[1]),
        "warnings": found.mismatches,
        "caution": CAUTION,
    }


def _which(found: Comparison, index: int) -> dict[str, Any]:
    coverage = found.coverages[index]
    return {
        "label": found.labels[index],
        "title": coverage.title,
        "conditions": conditions_json(coverage.ambient_c, coverage.reserve_db, coverage.rooms_c),
    }
