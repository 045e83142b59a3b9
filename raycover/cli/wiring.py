"""`bus` and `schedule`: control lines checked; what is to be ordered, fixed and set."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from raycover.cli.printing import data, talk, warn
from raycover.cli.tables import table
from raycover.detectors import masks_of
from raycover.errors import InputError, Position, Problem
from raycover.exchange.files import write_bytes_whole
from raycover.exchange.schedule_file import COLUMNS, cells, write_schedule
from raycover.kit.bus import LineReport, check_lines, unwired
from raycover.kit.schedule import make_schedule
from raycover.language import language
from raycover.loading import load

_CAUTION = "A check of figures, no statement that an installation complies: makers' data sheets and local rules decide."


def bus(path: Path, *, as_json: bool) -> None:
    """Check every line; exit code 1 where a limit is passed."""
    scene = load(path)
    if not scene.lines:
        raise InputError(
            [
                Problem(
                    "no-lines",
                    "the scene has no control lines to check",
                    scene.position(),
                    "add lines: [{name: L1, detectors: [D1], supply_ma: 200, cable: {length: 120}}]",
                )
            ]
        )
    reports = check_lines(scene)
    loose = unwired(scene)
    if as_json:
        data(_bus_json(reports, loose))
    else:
        for report in reports:
            _print_line(report)
        if loose:
            talk(f"On no line: {', '.join(loose)}")
        talk(_CAUTION)
    if not all(report.holds for report in reports):
        sys.exit(1)


def _print_line(report: LineReport) -> None:
    rows = [
        [item.what, str(item.count), f"{item.current_ma:g}", f"{item.total_ma:g}", "assumed" if item.assumed else ""]
        for item in report.items
    ]
    table(["on the line", "number", "mA each", "mA", ""], rows, title=f"Line {report.name}", right=(1, 2, 3))
    rows = [
        [v.what, f"{v.figure:.4g} {v.unit}".strip(), f"{v.limit:g} {v.unit}".strip(),
         *(("holds", "") if v.holds else ("exceeded", v.advice))]
        for v in report.verdicts
    ]  # fmt: skip
    table(["check", "figure", "limit", "", "what to do"], rows, right=(1, 2))
    for note in report.notes:
        talk(f"line {report.name}: {note}")


def _bus_json(reports: tuple[LineReport, ...], loose: list[str]) -> dict[str, Any]:
    return {
        "raycover_bus": 1,
        "lines": [
            {
                "name": r.name,
                "holds": r.holds,
                "current_ma": r.current_ma,
                "devices": [
                    {"what": i.what, "count": i.count, "current_ma": i.current_ma, "assumed": i.assumed, "gear": i.gear}
                    for i in r.items
                ],
                "checks": [
                    {"what": v.what, "figure": v.figure, "limit": v.limit, "unit": v.unit, "holds": v.holds}
                    for v in r.verdicts
                ],
                "notes": list(r.notes),
            }
            for r in reports
        ],
        "on_no_line": loose,
    }


def schedule(path: Path, output: Path | None, *, lang: str, masks: Path | None, as_json: bool) -> None:
    """Print the schedule, or write it as .csv or .xlsx; `masks` also as a drawing to cut."""
    words = language(lang)
    if output is not None and output.suffix.lower() not in (".csv", ".xlsx"):
        raise InputError(
            [
                Problem(
                    "bad-option", f'"{output.name}" is neither .csv nor .xlsx', Position("-o"), "write -o schedule.xlsx"
                )
            ]
        )
    scene = load(path)
    made = make_schedule(scene)
    warn(scene.warnings)
    for sensor in made.sensors:
        if sensor.near_glazing:
            talk(f"zone {sensor.zone}: its daylight sensor stands near glazing: it sees the window, not the room")
    if masks is not None:
        masked = [
            (d.name, e.title, masks_of(d.masks)) for d, e in zip(scene.detectors, made.entries, strict=True) if d.masks
        ]
        if not masked:
            talk("No detector has a mask: no drawing to cut.")
        else:
            from raycover.draw.mask_template import make_templates
            from raycover.draw.page import pdf_of
            from raycover.report.words import words_for

            wording = words_for(scene, lang).wording
            pages = make_templates(scene.title, masked, revision=scene.revision, date=scene.date, wording=wording)
            write_bytes_whole(masks, pdf_of(pages, title=f"{scene.title}: {wording('masks to cut')}"))
            talk(f"Masks to cut written to {masks}")
    if output is not None:
        write_schedule(made, words, scene.title, output)
        n = len(made.entries)
        talk(f"Schedule of {n} detector{'s' * (n != 1)} written to {output}")
    if as_json:
        data(
            {
                "raycover_schedule": 1,
                "columns": list(COLUMNS),
                "rows": [cells(entry, words) for entry in made.entries],
                "quantities": [list(row) for row in made.quantities],
            }
        )
    elif output is None:
        shown = [[_text(cell, words) for cell in cells(entry, words)] for entry in made.entries]
        kept = [k for k in range(len(COLUMNS)) if any(row[k] for row in shown)]
        heads = [words[COLUMNS[k]] for k in kept]
        table(heads, [[row[k] for k in kept] for row in shown], title=words["schedule"])
        rows = [[title, words[status], str(n)] for title, status, n in made.quantities]
        table([words["title"], words["status"], words["number"]], rows, title=words["quantities"], right=(2,))


def _text(cell: Any, words: Any) -> str:
    if cell is None:
        return ""
    return cell if isinstance(cell, str) else words.number(float(cell))
