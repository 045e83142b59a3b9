"""What other conditions change: warm air, doors open or closed, states of the scene."""

from __future__ import annotations

from collections.abc import Sequence

from raycover.physics.infrared import WARM_FROM_C
from raycover.report.content import Block, Column, Figure, Paragraph, Section, Table, row
from raycover.report.figures import Drawings, shown_small
from raycover.report.gather import Report
from raycover.report.words import Words, name
from raycover.scene.air import own_air
from raycover.solving.coverage import Coverage


def sensitivity(report: Report, w: Words, drawings: Drawings) -> Section:
    """The section on other conditions."""
    parts = [_heat(report, w, drawings)]
    if report.doors:
        cases = [(w(f"doors {way}"), variant.coverage) for way, variant in report.doors.items()]
        parts.append(_cases("doors", report, w, drawings, cases))
    if report.states:
        cases = [(w.state(report.scene.state), report.coverage)]
        cases += [(name(variant.name), variant.coverage) for variant in report.states]
        parts.append(_cases("states", report, w, drawings, cases))
    return Section("sensitivity", w("sensitivity"), (Paragraph(w("sensitivity intro")),), tuple(parts), own_page=True)


def _heat(report: Report, w: Words, drawings: Drawings) -> Section:
    if not report.heat:
        return Section("heat", w("warm air"), (Paragraph(w("no infrared")),))
    blocks: list[Block] = [Paragraph(w("heat intro", warm=w.short(WARM_FROM_C)))]
    if rooms_c := own_air(report.scene):
        blocks.append(Paragraph(w("heat rooms", rooms=w.listed(w.airs(rooms_c)))))
    cases = [(f"{w.short(value)} °C", coverage) for value, coverage in report.heat.items()]
    blocks.append(_shares(w("heat table"), cases, w))
    temperatures = [Column(title, "right") for title, _ in cases]
    rows = [
        row(
            f"{name(w.said(r.title))}, {w.short(r.mounting)} m",
            w.motion(r.motion),
            *(w.number(x.plan_m) for x in r.reaches),
        )
        for r in report.summer
    ]
    columns = (*w.columns("model mounting*1.4", "who*1"), *temperatures)
    blocks.append(Table(w("reach table"), columns, tuple(rows), w("reach note")))
    _figure(blocks, "heat", report, w, drawings)
    return Section("heat", w("warm air"), tuple(blocks))


def _cases(key: str, report: Report, w: Words, drawings: Drawings, cases: Sequence[tuple[str, Coverage]]) -> Section:
    blocks: list[Block] = [Paragraph(w(f"{key} intro"))]
    if _alike(cases):
        return Section(key, w(f"sensitivity {key}"), (Paragraph(f"{w(f'{key} intro')} {w(f'{key} alike')}"),))
    if len(cases) <= 5:
        blocks.append(_shares(w(f"{key} table"), cases, w))
    else:
        blocks += [_shares(w(f"{key} table"), cases[k : k + 5], w) for k in range(0, len(cases), 5)]
    rows = []
    for title in report.coverage:
        if not any(coverage[title].gaps for _, coverage in cases if title in coverage):
            continue
        for case, coverage in cases:
            gaps = coverage[title].gaps if title in coverage else ()
            rows.append(
                row(name(title), case, str(len(gaps)), w.area(gaps[0].area_m2) if gaps else "–",
                    w.number(max(gap.widest_m for gap in gaps)) if gaps else "–",
                    name(gaps[0].room) if gaps else "–")
            )  # fmt: skip
    if (airs := _airs(cases, w)) is not None:
        blocks.append(airs)
    columns = w.columns("map*1", "state*1", "number of gaps>", "largest m2>", "widest m>", "largest in*0.8")
    if rows:
        blocks.append(Table(w("gaps by state"), columns, tuple(rows), small=len(rows) > 12))
    _figure(blocks, key, report, w, drawings)
    return Section(key, w(f"sensitivity {key}"), tuple(blocks))


def _airs(cases: Sequence[tuple[str, Coverage]], w: Words) -> Table | None:
    """The air of each case, that of rooms with their own beside it; None where all have the same."""
    if all((c.ambient_c, c.rooms_c) == (cases[0][1].ambient_c, cases[0][1].rooms_c) for _, c in cases):
        return None
    rows = [
        row(case, ", ".join([f"{w.short(coverage.ambient_c)} °C", *w.airs(coverage.rooms_c)]))
        for case, coverage in cases
    ]
    return Table(w("airs by state"), w.columns("state*1", "air temperature*2"), tuple(rows))


def _alike(cases: Sequence[tuple[str, Coverage]]) -> bool:
    """Whether no share of any map differs by so much as its last figure shows."""
    first = cases[0][1]
    return all(
        title in first
        and abs(plane.share - first[title].share) < 5e-4
        and abs(plane.assured_share - first[title].assured_share) < 5e-4
        for _, coverage in cases[1:]
        for title, plane in coverage.items()
    )


def _figure(blocks: list[Block], key: str, report: Report, w: Words, drawings: Drawings) -> None:
    if key in drawings:
        shown = name(shown_small(report.coverage) or "")
        blocks.append(Figure(key, w(f"{key} caption", map=shown), w(f"{key} alt", map=shown)))


def _shares(caption: str, cases: Sequence[tuple[str, Coverage]], w: Words) -> Table:
    """Share seen (assured) of each map in each case."""
    rows = []
    for title in cases[0][1]:
        cells = [
            w("seen assured", seen=w.percent(c[title].share), assured=w.percent(c[title].assured_share))
            if title in c
            else "–"
            for _, c in cases
        ]
        rows.append(row(name(title), *cells))
    columns = (*w.columns("map*1"), *(Column(case, "right") for case, _ in cases))
    return Table(caption, columns, tuple(rows), w("seen assured note"))
