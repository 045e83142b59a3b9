"""What is seen: every map with its figures, rooms, gaps and their causes; people seated; the 3D picture."""

from __future__ import annotations

import numpy as np

from raycover.asking.upright import PEOPLE_ZONE_M
from raycover.draw import palette
from raycover.draw.legend import distribution
from raycover.draw.tables import letters
from raycover.report.content import Block, Cell, Figure, Paragraph, Section, Table, row
from raycover.report.figures import Drawings, gaps_listed
from raycover.report.gather import Report
from raycover.report.words import Words, name
from raycover.solving.coverage import PlaneCoverage

#: Rooms beyond so many are told together.
_MOST_ROOMS = 40


def coverage(report: Report, w: Words, drawings: Drawings) -> Section:
    """The section on maps."""
    parts = [_map(report, w, drawings, title, plane) for title, plane in report.coverage.items()]
    if report.coverage.seats:
        parts.append(_seats(report, w))
    if report.sections:
        parts.append(_sections(report, w, drawings))
    blocks: list[Block] = [Paragraph(w("coverage intro")), _overview(report, w)]
    if "view" in drawings:
        first = next(iter(report.coverage.by_plane()))
        blocks.append(Figure("view", w("view caption", map=name(first)), w("view alt", title=name(report.scene.title))))
    elif drawings.missing:
        blocks.append(Paragraph(w("view missing", why=drawings.missing), "note"))
    return Section("coverage", w("coverage"), tuple(blocks), tuple(parts), own_page=True)


def _overview(report: Report, w: Words) -> Table:
    rows = []
    for title, plane in report.coverage.items():
        gaps = plane.gaps
        rows.append(
            row(name(title), w.area(plane.area_m2), w.percent(plane.share), w.percent(plane.assured_share),
                str(len(gaps)), w.area(gaps[0].area_m2) if gaps else "–",
                w.number(max(g.widest_m for g in gaps)) if gaps else "–")
        )  # fmt: skip
    columns = w.columns(
        "map*1", "area m2>", "seen column>", "assured column>", "number of gaps>", "largest m2>", "widest m>"
    )
    return Table(w("overview table"), columns, tuple(rows), w("overview note"))


def _map(report: Report, w: Words, drawings: Drawings, title: str, plane: PlaneCoverage) -> Section:
    surface = plane.surface
    drawing = drawings[f"map {title}"]
    what = w(
        "map caption",
        map=name(title),
        who=w.motion(surface.motion),
        where=w.heights(surface.heights, surface.stairs is not None),
    )
    caption = f"{what} {w('scale', n=drawing.scale)}" if drawing.scale is not None else f"{what} {w('unrolled')}"
    alt = w("map alt", map=name(title), seen=w.percent(plane.share), n=len(plane.gaps))
    blocks: list[Block] = [Figure(f"map {title}", caption, alt), _classes(plane, w)]
    if surface.stairs is None and len(surface.room_names) > 1:
        blocks.append(_rooms(plane, w))
    blocks.append(_gaps(report, w, title, plane))
    return Section(f"map-{title}", w("map title", map=name(title)), tuple(blocks), own_page=True)


def _classes(plane: PlaneCoverage, w: Words) -> Table:
    """Area and share of each class, with its colour."""
    found = distribution(plane.margin_db, np.asarray(plane.surface.area, np.float64), plane.reserve_db)
    reserve = w.short(plane.reserve_db)
    rows = [
        row(
            Cell(w(palette.CLASS_NAMES[k]), sign=f"sign class {k}"), w(f"class bounds {k}", reserve=reserve),
            w.area(plane.area_m2 * float(found.by_class[k])), w.percent(float(found.by_class[k])),
        )
        for k in (3, 2, 1, 0)
        if k not in (1, 2) or plane.reserve_db > 0
    ]  # fmt: skip
    columns = w.columns("class", "margin column", "area m2>", "share>")
    return Table(w("classes of map"), columns, tuple(rows))


def _rooms(plane: PlaneCoverage, w: Words) -> Table:
    rooms = list(plane.rooms().items())
    order = sorted(range(len(rooms)), key=lambda k: rooms[k][1][1])[:_MOST_ROOMS]
    listed = [rooms[k] for k in sorted(order)]
    rows = [
        row(name(title), w.area(area), w.percent(seen), w.percent(assured)) for title, (area, seen, assured) in listed
    ]
    left = len(rooms) - len(listed)
    columns = w.columns("room", "area m2>", "seen column>", "assured column>")
    return Table(w("rooms table"), columns, tuple(rows), w("rooms left", n=left) if left else "")


def _gaps(report: Report, w: Words, title: str, plane: PlaneCoverage) -> Table | Paragraph:
    """The gaps that carry letters, with causes; the others in one line."""
    if not plane.gaps:
        return Paragraph(w("no gap"))
    stacked = len(report.building.storeys) > 1
    rooms = frozenset(room.name for room in report.building.rooms)
    n = gaps_listed(report, title)
    rows = [
        row(
            Cell(letter, "strong"), name(gap.room), w.area(gap.area_m2), w.number(gap.widest_m), w.point(gap.at[:2]),
            name(w.cause(gap, rooms, stacked=stacked)), name(gap.detector or "–"),
        )
        for letter, gap in zip(letters(n), plane.gaps[:n], strict=True)
    ]  # fmt: skip
    rest = plane.gaps[n:]
    note = w("gaps left", n=len(rest), area=w.area(sum(gap.area_m2 for gap in rest))) if rest else ""
    columns = w.columns("gap", "room", "area m2>", "widest m>", "at xy", "cause*1", "nearest detector")
    return Table(w("gaps table"), columns, tuple(rows), note)


def _sections(report: Report, w: Words, drawings: Drawings) -> Section:
    """Vertical cuts: who is seen at which height."""
    blocks: list[Block] = [Paragraph(w("sections intro", zone=w.short(PEOPLE_ZONE_M)))]
    rows = [
        row(
            Cell(f"{name(field.name)}–{name(field.name)}", "strong"), name(field.spec.title or "–"),
            w.motion(field.spec.motion), w.percent(field.share), w.percent(field.assured_share),
        )
        for field in report.sections
    ]  # fmt: skip
    columns = w.columns("section", "section title*1", "who*1", "seen column>", "assured column>")
    blocks.append(Table(w("sections table"), columns, tuple(rows), w("sections note", zone=w.short(PEOPLE_ZONE_M))))
    for field in report.sections:
        label = f"{name(field.name)}–{name(field.name)}"
        caption = w("section caption", name=label, depth=w.short(field.spec.depth))
        scale = drawings[f"section {field.name}"].scale
        seen = w.percent(field.share)
        blocks.append(
            Figure(f"section {field.name}", f"{caption} {w('scale', n=scale)}", w("section alt", name=label, seen=seen))
        )
    return Section("sections", w("sections"), tuple(blocks), own_page=True)


def _seats(report: Report, w: Words) -> Section:
    """Every place of a seated person, those that are missed first."""
    seats = sorted(report.coverage.seats, key=lambda seat: seat.noticed)
    rows = []
    for seat in seats:
        why = "" if seat.noticed else w(f"cause name {seat.cause}") if seat.cause != "none" else ""
        if seat.blocked_by and not seat.noticed:
            why = f"{why}: {name(seat.blocked_by)}"
        verdict = Cell(w("yes"), "good", "sign noticed") if seat.noticed else Cell(w("no"), "bad", "sign unnoticed")
        rows.append(row(name(w.said(seat.name)), verdict, w.margin(seat.margin_db), name(seat.detector or "–"), why))
    columns = w.columns("seat*1", "noticed", "margin db>", "detector", "cause*1")
    return Section("seats", w("seats"), (Paragraph(w("seats intro")), Table(w("seats table"), columns, tuple(rows))))
