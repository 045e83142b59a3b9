"""A report's figures as JSON: coverage, needs, heat, doors, states and lines, as the commands for each say them."""

from __future__ import annotations

from typing import Any

from raycover.exchange.proof import proof_json
from raycover.exchange.schedule_file import COLUMNS, cells
from raycover.exchange.studies import heat_json
from raycover.exchange.summary import stamp, summary
from raycover.kit.bus import LineReport
from raycover.report.content import Content
from raycover.report.gather import Report
from raycover.report.words import Words
from raycover.solving.coverage import Coverage


def report_json(report: Report, content: Content, words: Words) -> dict[str, Any]:
    """The figures that a report tells, and its sections by title."""
    return {
        **stamp(),
        "title": report.scene.title,
        "language": words.code,
        "date": content.date,
        "met": report.met,
        "sections": [section.title for section in content.sections],
        "coverage": summary(report.coverage),
        "proof": None if report.proof is None else proof_json(report.proof, report.troubles, report.mendings),
        "doors": {way: _shares(variant.coverage) for way, variant in report.doors.items()},
        "states": {variant.name: _shares(variant.coverage) for variant in report.states},
        "heat": heat_json(report.heat, report.summer) if report.heat else None,
        "lines": [_line(line) for line in report.lines],
        "schedule": {
            "columns": list(COLUMNS),
            "rows": [cells(entry, words.base) for entry in report.schedule.entries],
        },
        "seconds": {stage: round(value, 2) for stage, value in report.stages.seconds.items()},
    }


def _shares(coverage: Coverage) -> dict[str, Any]:
    return {
        name: {"share": plane.share, "assured_share": plane.assured_share, "gaps": len(plane.gaps)}
        for name, plane in coverage.items()
    }


def _line(line: LineReport) -> dict[str, Any]:
    checks = [{"what": v.what, "figure": v.figure, "limit": v.limit, "holds": v.holds} for v in line.verdicts]
    return {"name": line.name, "holds": line.holds, "current_ma": line.current_ma, "checks": checks}
