"""Needs with their verdicts, place by place; why places are missed, and what would stop a unit that sees too far."""

from __future__ import annotations

from collections.abc import Sequence

from raycover.proving.matrices import UNWANTED, WANTED, Matrix
from raycover.proving.needs import NeedVerdict, PlaceVerdict
from raycover.proving.proof_words import (
    asked_words,
    cell_words,
    chance_words,
    matrix_words,
    walked_words,
    way_words,
    why_words,
)
from raycover.report.content import Block, Cell, Column, Figure, Paragraph, Section, Table, Tone, row
from raycover.report.figures import Drawings
from raycover.report.gather import Report
from raycover.report.sections.remedies import mended, overspill
from raycover.report.words import Words, name
from raycover.scene.needs import NeedSpec

#: So many detectors a table of who trips whom.
_MOST_UNITS = 12


def needs(report: Report, w: Words, drawings: Drawings) -> Section:
    """The section on needs; where nothing is asked it says so."""
    proof = report.proof
    if proof is None:
        return Section("needs", w("needs"), (Paragraph(w("no needs")),))
    blocks: list[Block] = [Paragraph(w("needs intro"))]
    if proof.assumed:
        blocks.append(Paragraph(w("needs assumed"), "note"))
    rows = [_need_row(verdict, w) for verdict in proof.needs]
    stated = ("state",) if any(verdict.situation.scene.states for verdict in proof.needs) else ()
    columns = w.columns("need*1", "asked*1.6", *stated, "places", "verdict", "chance>")
    blocks.append(
        Table(w("needs table"), columns, tuple(rows), w("chance means", n=proof.n_cases) if proof.n_cases else "")
    )
    for figure, group, storey in drawings.groups:
        names = w.quoted(list(dict.fromkeys(name(one.verdict.need.name) for one in group.shown)))
        where = name(storey or group.stairs or "")
        caption = w("need caption where" if where else "need caption", needs=names, where=where)
        n_met = sum(one.place.met for one in group.shown)
        blocks.append(Figure(figure, caption, w("need alt", needs=names, n=n_met, m=len(group.shown))))
    if proof.left_out:
        blocks.append(Paragraph(w("needs left out", names=w.quoted([name(n) for n in proof.left_out])), "note"))
    parts = [_places(verdict, w) for verdict in proof.needs]
    if proof.matrices:
        parts.append(_matrices(proof.matrices, w))
    if report.troubles:
        parts.append(overspill(report.troubles, w))
    if report.mendings:
        parts.append(mended(report.mendings, w))
    return Section("needs", w("needs"), tuple(blocks), tuple(parts), own_page=True)


def _verdict(met: bool, w: Words) -> Cell:
    return Cell(w("met") if met else w("missed"), "good" if met else "bad", "sign met" if met else "sign missed")


def _need_row(verdict: NeedVerdict, w: Words) -> tuple[Cell, ...]:
    n_met = sum(place.met for place in verdict.places)
    scene = verdict.situation.scene
    stated = [w.state(scene.state)] if scene.states else []
    return row(
        Cell(name(verdict.need.name), "strong"), _asked(verdict.need, w), *stated,
        w("n of m", n=n_met, m=len(verdict.places)), _verdict(verdict.met, w), chance_words(verdict.probability) or "–",
    )  # fmt: skip


def _asked(need: NeedSpec, w: Words) -> str:
    """What is asked, and why, by whose word, where the scene says so."""
    asked, why = name(w.said(asked_words(need))), name(why_words(need))
    return f"{asked}. {why}" if why else asked


def _matrices(matrices: Sequence[Matrix], w: Words) -> Section:
    """Who trips whom: a row an aisle or zone, a column a detector, some columns a table."""
    blocks: list[Block] = [Paragraph(w("matrix intro"))]
    for matrix in matrices:
        note = name(w.said(matrix_words(matrix)))
        if not matrix.units:
            blocks.append(Paragraph(f"{name(w.said(matrix.title))}: {note}"))
        for start in range(0, len(matrix.units), _MOST_UNITS):
            chosen = range(start, min(start + _MOST_UNITS, len(matrix.units)))
            rows = tuple(
                row(Cell(name(title), "strong"), *(_trip(float(share[k]), int(kind[k])) for k in chosen))
                for title, share, kind in zip(matrix.rows, matrix.share, matrix.kind, strict=True)
            )
            columns = (*w.columns("row*1"), *(Column(name(matrix.units[k]), "right") for k in chosen))
            blocks.append(Table(name(w.said(matrix.title)), columns, rows, note, small=True))
    return Section("matrix", w("matrix"), tuple(blocks))


def _trip(share: float, kind: int) -> Cell:
    """A cell of a matrix: strong for a row's own detector, marked where one of another row trips."""
    if share <= 0:
        return Cell(cell_words(share, kind))
    tone: Tone = "strong" if kind == WANTED else "bad" if kind == UNWANTED else "pale"
    return Cell(cell_words(share, kind), tone)


def _places(verdict: NeedVerdict, w: Words) -> Section:
    """Places of a need with figures; the worst spot of each and the way there."""
    never = verdict.need.never
    rows = [_place_row(verdict, place, w) for place in verdict.places]
    walked = {"first after": verdict.need.first_within, "unnoticed for": verdict.need.routes}
    figure = "trips" if never else next((key for key, asked in walked.items() if asked is not None), "seen column")
    asked = ("clear*1.3" if never else "met column*1.3", f"{figure}>*0.95")
    narrow = never or verdict.need.walked  # gaps are what a never-need wants, and no matter to who walks
    gap = () if narrow else ("widest m>*0.95",)
    label = "place*2.6" if verdict.need.routes else "place*1.3"  # a route's name says where from and where to
    columns = w.columns(
        label, *asked, *gap, "margin db>*1.15", "chance>*0.95", "unit*1", "worst place*1.9", "way there*2.6"
    )
    if narrow:
        rows = [(*some[:3], *some[4:]) for some in rows]
    said = name(w.said(verdict.words))
    title = w("places of need", need=name(verdict.need.name), verdict=said)
    note = w("never note" if never else "place note")
    return Section(
        f"need-{verdict.need.name}",
        name(verdict.need.name),
        (Table(title, columns, tuple(rows), note, small=True),),
    )


def _label(place: PlaceVerdict, w: Words) -> str:
    """A place's name: flights and landings in the language, what the scene names as it is."""
    site = place.site
    if site.piece >= 0:
        return name(f"{site.owner}, {w.said(site.label)}")
    return name(w.said(site.label) if site.kind in ("seat", "door") else w.on_drawing(site.label))


def _place_row(verdict: NeedVerdict, place: PlaceVerdict, w: Words) -> tuple[Cell, ...]:
    found, way = place.figures, place.way
    label, met, said = Cell(_label(place, w), "strong"), _verdict(place.met, w), name(w.way(way_words(verdict, place)))
    if verdict.need.only_area:
        return row(label, met, *["–"] * 6, said)
    return row(
        label,
        met,
        w.said(walked_words(found)) if verdict.need.walked else w.percent(found.share),
        w.number(found.largest_gap_m, 2),
        w.margin(found.worst_db),
        chance_words(place.probability) or "–",
        name(way.unit) if way is not None else "–",
        w.point(way.at) if way is not None else "–",
        said,
    )
