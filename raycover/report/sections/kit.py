"""What is fixed and wired: the schedule, and control lines checked."""

from __future__ import annotations

from raycover.exchange.schedule_file import COLUMNS, cells
from raycover.report.content import Block, Cell, Column, Paragraph, Section, Table, row
from raycover.report.gather import Report
from raycover.report.words import Words, name

#: Columns of the schedule that hold figures.
_FIGURES = ("x", "y", "mounting", "turn", "tilt", "sensitivity", "hold", "address")
_WORDY = ("title", "model", "remark", "zones", "technology")


def schedule(report: Report, w: Words) -> Section:
    """The schedule on wide paper, without columns that nobody filled, and how many of each there are."""
    made = report.schedule
    entries = [cells(entry, w.base) for entry in made.entries]
    shown = [[name(_text(key, value, w)) for key, value in zip(COLUMNS, some, strict=True)] for some in entries]
    kept = [
        k for k in range(len(COLUMNS)) if any(some[k] for some in shown) and not _plain_zero(COLUMNS[k], entries, k)
    ]
    columns = tuple(
        Column(w(COLUMNS[k]), "right" if COLUMNS[k] in _FIGURES else "left", 1.0 if COLUMNS[k] in _WORDY else 0.0)
        for k in kept
    )
    rows = tuple(tuple(Cell(some[k], "strong" if k == 0 else "") for k in kept) for some in shown)
    blocks: list[Block] = [Paragraph(w("schedule intro"))]
    if rows:
        blocks.append(Table(w("schedule"), columns, rows, small=True))
        numbers = tuple(row(name(title), w(status), str(n)) for title, status, n in made.quantities)
        blocks.append(
            Table(
                w("quantities"),
                w.columns("title*1", "status", "number>"),
                numbers,
            )
        )
    else:
        blocks.append(Paragraph(w("no detectors")))
    if made.sensors:
        sensors = []
        for sensor in made.sensors:
            remarks = (w("near glazing") if sensor.near_glazing else "", name(sensor.note))
            sensors.append(row(name(sensor.zone), w.point(sensor.at), ", ".join(part for part in remarks if part)))
        blocks.append(Table(w("light sensors"), w.columns("zone", "at xy", "remark*1"), tuple(sensors)))
    return Section("schedule", w("schedule"), tuple(blocks), wide=True, own_page=True)


def _text(key: str, value: object, w: Words) -> str:
    if value is None:
        return ""
    if key in ("x", "y", "mounting"):
        return w.number(float(value), 2)  # type: ignore[arg-type]
    return value if isinstance(value, str) else w.short(float(value))  # type: ignore[arg-type]


def _plain_zero(key: str, entries: list[list[str | float | int | None]], k: int) -> bool:
    """A column of tilts or sensitivities that are all as delivered says nothing."""
    usual = {"tilt": 0.0, "sensitivity": 100.0}.get(key)
    return usual is not None and all(some[k] == usual for some in entries)


def lines(report: Report, w: Words) -> Section:
    """Control lines with what hangs on them and each check."""
    blocks: list[Block] = [Paragraph(w("lines intro"))]
    for line in report.lines:
        items = tuple(
            row(
                name(w.said(i.what)),
                str(i.count),
                w.short(i.current_ma),
                w.short(i.total_ma),
                w("assumed") if i.assumed else "",
            )
            for i in line.items
        )
        on_line = w.columns("on the line*1", "number>", "mA each>", "mA in all>", "remark")
        blocks.append(Table(w("line table", line=name(line.name)), on_line, items))
        checks = tuple(
            row(
                name(w.said(v.what)), f"{w.short(v.figure)} {v.unit}".strip(), f"{w.short(v.limit)} {v.unit}".strip(),
                Cell(w("holds"), "good", "sign met") if v.holds else Cell(w("exceeded"), "bad", "sign missed"),
                "" if v.holds else name(w.said(v.advice)),
            )
            for v in line.verdicts
        )  # fmt: skip
        columns = w.columns("check*1", "figure>", "limit>", "verdict", "what to do*1")
        notes = "; ".join(name(w.said(note)) for note in line.notes)
        blocks.append(Table(w("checks table", line=name(line.name)), columns, checks, notes))
    if report.unwired:
        blocks.append(Paragraph(w("on no line", names=", ".join(name(n) for n in report.unwired)), "note"))
    blocks.append(Paragraph(w("lines caution"), "note"))
    return Section("lines", w("lines"), tuple(blocks), own_page=True)
