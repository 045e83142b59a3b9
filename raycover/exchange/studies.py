"""Studies as JSON and CSV: air temperatures, mounting heights, loads."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from typing import Any

from raycover.asking.studying import PlaneFigures, Step, Study
from raycover.asking.summer import SummerRow
from raycover.exchange.summary import rooms_json
from raycover.solving.coverage import Coverage

VERSION = 1


def heat_json(found: Mapping[float, Coverage], rows: Sequence[SummerRow]) -> dict[str, Any]:
    """What each air temperature leaves: shares by plane and each model's reach."""
    return {
        "raycover_heat": VERSION,
        "temperatures": [
            {
                "ambient_c": ambient,
                **rooms_json(coverage.rooms_c),
                "planes": {
                    name: {"share": plane.share, "assured_share": plane.assured_share, "area_m2": plane.area_m2}
                    for name, plane in coverage.items()
                },
            }
            for ambient, coverage in found.items()
        ],
        "reach": [
            {
                "title": row.title,
                "kind": row.kind,
                "mounting_m": row.mounting,
                "motion": row.motion,
                "plane_m": row.plane_m,
                "detectors": list(row.detectors),
                "at": [
                    {"ambient_c": r.ambient_c, "contrast": r.contrast, "slant_m": r.slant_m, "plan_m": r.plan_m}
                    for r in row.reaches
                ],
            }
            for row in rows
        ],
    }


def study_json(study: Study) -> dict[str, Any]:
    """Every step of a study with its figures."""
    return {
        "raycover_study": VERSION,
        "detectors": list(study.detectors),
        "rooms": list(study.rooms),
        "steps": [_step(step) for step in study.steps],
    }


def plane_json(plane: PlaneFigures) -> dict[str, Any]:
    """The figures of one plane."""
    return {
        "area_m2": plane.area_m2,
        "share": plane.share,
        "assured_share": plane.assured_share,
        "largest_gap_m2": plane.gap_m2,
        "widest_gap_m": plane.gap_widest_m,
        "gap_at": list(plane.gap_at) if plane.gap_at is not None else None,
        "gap_cause": plane.gap_cause,
        "gap_by": plane.gap_by,
    }


def _step(step: Step) -> dict[str, Any]:
    values = {
        "mounting_m": step.change.mounting,
        "tilt_deg": step.change.tilt_deg,
        "turn_deg": step.change.turn_deg,
        "ambient_c": step.change.ambient_c,
        "racks": step.change.racks,
    }
    planes = {name: plane_json(plane) for name, plane in step.planes.items()}
    unseen = step.unseen
    people = (
        None if unseen is None else {"tall_m": unseen.tall_m, "adult_m2": unseen.adult_m2, "child_m2": unseen.child_m2}
    )
    return {**{k: v for k, v in values.items() if v is not None}, "planes": planes, "unseen": people}


def study_csv(study: Study) -> str:
    """One line a step and plane."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(
        [
            "mounting_m", "tilt_deg", "turn_deg", "ambient_c", "racks", "plane", "area_m2", "share", "assured_share",
            "largest_gap_m2", "widest_gap_m", "gap_cause", "gap_by", "unseen_tall_m", "unseen_adult_m2",
            "unseen_child_m2",
        ]
    )  # fmt: skip
    for step in study.steps:
        c, u = step.change, step.unseen
        people = ["", "", ""]
        if u is not None:
            tall = "over 2" if u.tall_m is None else f"{u.tall_m:g}"
            people = [tall, f"{u.adult_m2:.3f}", f"{u.child_m2:.3f}"]
        for name, p in step.planes.items():
            values = ["" if v is None else f"{v:g}" for v in (c.mounting, c.tilt_deg, c.turn_deg, c.ambient_c)]
            figures = [f"{p.area_m2:.3f}", f"{p.share:.5f}", f"{p.assured_share:.5f}", f"{p.gap_m2:.3f}"]
            writer.writerow(
                [*values, c.racks, name, *figures, f"{p.gap_widest_m:.3f}", p.gap_cause, p.gap_by or "", *people]
            )
    return text.getvalue()
