"""A sweep's rows as one table: CSV and JSON. Nothing in them depends on when or how fast they were solved."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from typing import Any

from raycover.asking.studying import PlaneFigures
from raycover.exchange.studies import plane_json
from raycover.exchange.summary import stamp
from raycover.sweeping.planned import Plan
from raycover.sweeping.rows import Figures
from raycover.sweeping.values import shown

#: Figures of a plane: the end of the column's name, and how it is written.
_COLUMNS = {
    "share": lambda p: f"{p.share:.5f}",
    "assured_share": lambda p: f"{p.assured_share:.5f}",
    "largest_gap_m2": lambda p: f"{p.gap_m2:.3f}",
    "widest_gap_m": lambda p: f"{p.gap_widest_m:.3f}",
    "gap_cause": lambda p: p.gap_cause,
    "gap_by": lambda p: p.gap_by or "",
}
Found = Mapping[int, Figures | str]


def planes_of(found: Found) -> list[str]:
    """Every plane that any row has, in the order in which they come."""
    rows = (found[row] for row in sorted(found))
    return list(dict.fromkeys(name for row in rows if isinstance(row, Figures) for name in row.planes))


def problem_of(figures: Figures | str) -> str:
    """Why a row has no figures, empty where it has."""
    return figures if isinstance(figures, str) else figures.problem


def sweep_csv(plan: Plan, found: Found) -> str:
    """One line a row, in the order of the plan: its scene, its values, its figures."""
    planes = planes_of(found)
    judged = any(job.needs for job in plan.jobs)
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    heads = [f"{plane} {column}" for plane in planes for column in _COLUMNS]
    needs = ["needs_met", "needs", "needs_missed"] if judged else []
    writer.writerow(
        ["row", "scene", *(f.path for f in plan.factors), *heads, "seats", "seats_unnoticed", *needs, "problem"]
    )
    for job in plan.jobs:
        figures = found[job.row]
        start = [job.row + 1, plan.sources[job.scene].name, *map(shown, plan.values(job))]
        problem = problem_of(figures)
        if isinstance(figures, str) or problem:
            blank = [""] * (len(heads) + 2 + len(needs))
            writer.writerow([*start, *blank, problem])
            continue
        cells = [_cell(figures.planes.get(plane), column) for plane in planes for column in _COLUMNS]
        proof = [figures.needs_met, figures.needs, "; ".join(figures.missed)] if judged else []
        writer.writerow([*start, *cells, figures.seats, figures.seats_unnoticed, *proof, ""])
    return text.getvalue()


def _cell(plane: PlaneFigures | None, column: str) -> str:
    return "" if plane is None else str(_COLUMNS[column](plane))


def sweep_json(plan: Plan, found: Found) -> dict[str, Any]:
    """The same with everything: values as they are, areas, where the largest gap is."""
    return {
        **stamp(),
        "factors": [
            {"path": f.path, **({"from": f.span[0], "to": f.span[1]} if f.span else {"values": list(f.values)})}
            for f in plan.factors
        ],
        "rows": [_row(plan, index, found[job.row]) for index, job in enumerate(plan.jobs)],
        "caution": "A prediction, not a site test: walk-test before hand-over. Not a safety function.",
    }


def _row(plan: Plan, index: int, figures: Figures | str) -> dict[str, Any]:
    job = plan.jobs[index]
    values = dict(zip((f.path for f in plan.factors), plan.values(job), strict=True))
    made: dict[str, Any] = {"row": job.row + 1, "scene": plan.sources[job.scene].name, "values": values}
    if isinstance(figures, str) or figures.problem:
        return {**made, "problem": problem_of(figures)}
    made["planes"] = {name: plane_json(plane) for name, plane in figures.planes.items()}
    made |= {"seats": figures.seats, "seats_unnoticed": figures.seats_unnoticed}
    if job.needs:
        made["needs"] = {"met": figures.needs_met, "of": figures.needs, "missed": list(figures.missed)}
    return made
