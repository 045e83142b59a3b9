"""What would stop detectors that see too far, and what would mend needs whose places are missed."""

from __future__ import annotations

from raycover.proving.mending import Mending
from raycover.proving.mending_words import mend_rows, mending_notes
from raycover.proving.proof_words import chance_words, remedy_cost
from raycover.proving.remedies import Trouble
from raycover.report.content import Block, Cell, Paragraph, Section, Table, row
from raycover.report.words import Words, name


def overspill(troubles: tuple[Trouble, ...], w: Words) -> Section:
    """Detectors that are tripped from where nobody may, with what would stop it and what that costs."""
    blocks: list[Block] = [Paragraph(w("remedies intro"))]
    for trouble in troubles:
        rows = [
            row(
                name(w.said(remedy.words)), Cell(w("yes"), "good") if remedy.stops else Cell(w("no"), "bad"),
                w.margin(remedy.worst_db), chance_words(remedy.quiet) or "–", name(w.said(remedy_cost(remedy))),
                name(w.said(remedy.note)),
            )
            for remedy in trouble.remedies
        ]  # fmt: skip
        columns = w.columns("remedy*1.3", "stops it", "margin left>", "quiet>", "costs inside*1", "remark*1")
        title = w("remedies table", unit=name(trouble.unit), needs=w.quoted([name(n) for n in trouble.needs]))
        blocks.append(Table(title, columns, tuple(rows), small=True))
    blocks.append(Paragraph(w("remedies note"), "note"))
    return Section("remedies", w("remedies"), tuple(blocks))


def mended(mendings: tuple[Mending, ...], w: Words) -> Section:
    """Needs whose places are missed, with the changes that were tried, best first."""
    blocks: list[Block] = [Paragraph(w("mending intro"))]
    for mending in mendings:
        rows = tuple(
            row(
                name(w.said(one.words)),
                Cell(w.said(one.mends), "good" if one.mend.mends else "bad"),
                w.percent(one.mend.share) if one.mend.walk is None else name(w.said(one.seen)),
                w.number(one.mend.gap_m, 2),
                w.margin(one.mend.worst_db),
                one.chance,
                name(w.said(one.cost)),
                name(w.said(one.effect)),
            )
            for one in mend_rows(mending)
        )
        columns = w.columns(
            "remedy*2", "mends it*0.9", "seen column>*0.9", "widest m>*0.9", "margin db>*1", "chance>*0.9",
            "asks for*1.2", "and else*1.8",
        )  # fmt: skip
        verdict = name(w.said(mending_notes(mending)))
        if rows:
            missed = w.quoted([name(w.said(label)) for label in mending.missed[:6]])
            title = w("mending table", need=name(mending.need), places=missed)
            blocks.append(Table(title, columns, rows, verdict, small=True))
        elif verdict:
            blocks.append(Paragraph(f"{w('quoted', name=name(mending.need))}: {verdict}"))
    return Section("mending", w("mending"), tuple(blocks))
