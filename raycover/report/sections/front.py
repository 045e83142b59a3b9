"""The cover, what was asked and assumed, and how to read the report."""

from __future__ import annotations

from raycover import __version__
from raycover.draw import palette
from raycover.draw.glyphs import sort_of
from raycover.proving.proof_words import assumptions
from raycover.report.content import Block, Bullets, Cell, Cover, Figure, Paragraph, Section, Table, Tone, row
from raycover.report.figures import Drawings
from raycover.report.gather import Report
from raycover.report.words import Words, name
from raycover.scene.air import own_air


def cover(report: Report, w: Words, drawings: Drawings, date: str) -> Cover:
    """The first page: project data, the verdict, and what matters most."""
    scene, project = report.scene, report.scene.project
    facts = []
    if project is not None:
        facts = [
            (w(key), name(value))
            for key, value in (
                ("client", project.client), ("site", project.site), ("project number", project.number),
                ("company", project.company), ("author", project.author), ("checked by", project.checked_by),
            )
            if value.strip()
        ]  # fmt: skip
    facts += [
        (w("revision"), name(scene.revision)),
        (w("date"), name(date)),
        (w("made with"), f"raycover {__version__}"),
    ]
    headline, meaning, tone, verdict = _headline(report, w)
    return Cover(
        kind=w("report"),
        title=name(scene.title),
        subtitle=w("report subtitle"),
        facts=tuple(facts),
        headline=headline,
        headline_words=meaning,
        verdict=tone,
        verdict_words=verdict,
        points=tuple(_points(report, w)),
        caution=w("caution short"),
        figure=Figure("view", "", w("view alt", title=name(scene.title))) if "view" in drawings else None,
    )


def _headline(report: Report, w: Words) -> tuple[str, str, Tone, str]:
    """The figure, what it is of, and the verdict in a sentence."""
    proof = report.proof
    if proof is not None:
        n, n_met = len(proof.needs), sum(verdict.met for verdict in proof.needs)
        figure = w("n of m", n=n_met, m=n)
        if proof.met:
            return figure, w("needs are met"), "good", w("verdict met")
        missed = [name(verdict.need.name) for verdict in proof.needs if not verdict.met]
        return figure, w("needs are met"), "bad", w("verdict missed", missed=w.quoted(missed))
    map_name = next(iter(report.coverage), None)
    if map_name is None:
        return "–", "", "", w("verdict none")
    plane = report.coverage[map_name]
    return w.percent(plane.share), w("of map is seen", map=name(map_name)), "", w("verdict none")


def _points(report: Report, w: Words) -> list[str]:
    """What a reader in a hurry should know, worst first."""
    points = []
    worst = min(report.coverage.items(), key=lambda item: item[1].share, default=None)
    if worst is not None:
        plane = worst[1]
        points.append(
            w("point share", map=name(worst[0]), seen=w.percent(plane.share), assured=w.percent(plane.assured_share))
        )
        gaps = [(gap, title) for title, plane in report.coverage.items() for gap in plane.gaps[:1]]
        if gaps:
            gap, title = max(gaps, key=lambda pair: pair[0].area_m2)
            rooms = frozenset(room.name for room in report.building.rooms)
            why = name(w.cause(gap, rooms, stacked=len(report.building.storeys) > 1))
            points.append(
                w("point gap", map=name(title), room=name(gap.room), area=w.area(gap.area_m2), why=why,
                  widest=w.number(gap.widest_m))
            )  # fmt: skip
    unnoticed = [seat for seat in report.coverage.seats if not seat.noticed]
    if report.coverage.seats:
        key = "point seats missed" if unnoticed else "point seats"
        points.append(w(key, n=len(unnoticed), m=len(report.coverage.seats)))
    if len(report.heat) > 1:
        temperatures = list(report.heat)
        first, last = report.heat[temperatures[0]], report.heat[temperatures[-1]]
        falls = {title: first[title].share - last[title].share for title in first}
        title = max(falls, key=lambda key: falls[key])
        if falls[title] >= 0.001:
            points.append(
                w("point heat", map=name(title), from_c=w.short(temperatures[0]), to_c=w.short(temperatures[-1]),
                  before=w.percent(first[title].share), after=w.percent(last[title].share))
            )  # fmt: skip
    failing = [name(line.name) for line in report.lines if not line.holds]
    if failing:
        points.append(w("point lines", lines=w.listed(failing)))
    return points


def job(report: Report, w: Words) -> Section:
    """What was looked at, in what conditions, and what all of it rests on."""
    scene, building = report.scene, report.building
    conditions = scene.conditions
    kinds: dict[str, int] = {}
    for unit in report.coverage.units:
        kinds[unit.kind] = kinds.get(unit.kind, 0) + 1
    rows = [
        (w("rooms"), w("rooms value", n=len(building.rooms), area=w.area(sum(r.polygon.area for r in building.rooms)))),
        (w("detectors"), w("detectors value", n=len(report.coverage.units), kinds=_kinds(kinds, w))),
        (w("state looked at"), w.state(scene.state) if scene.states else w("as drawn")),
        (w("air temperature"), ", ".join([f"{w.short(conditions.ambient_c)} °C", *w.airs(own_air(scene))])),
        (w("reserve"), f"{w.short(conditions.reserve_db)} dB"),
        (w("ways counted"), w("ways reflected" if conditions.reflections else "ways straight")),
        (w("losses"), w(f"losses {conditions.losses}")),
        (w("grid"), f"{w.short(scene.grid)} m"),
        (w("ray tracer"), w("ray tracer value", name=report.coverage.backend, n=w.thousands(report.coverage.n_rays))),
    ]
    blocks: list[Block] = [
        Paragraph(w("job intro")),
        Table(w("job table"), w.columns("what", "value*1"), tuple(row(*r) for r in rows)),
        _maps_asked(report, w),
    ]
    if report.proof is not None:
        blocks += [Paragraph(w("rests on")), Bullets(tuple(name(w.said(text)) for text in assumptions(report.proof)))]
    return Section("job", w("job"), tuple(blocks), own_page=True)


def _kinds(kinds: dict[str, int], w: Words) -> str:
    return w.listed([f"{n} {w(kind)}" for kind, n in sorted(kinds.items())]) if kinds else "–"


def _maps_asked(report: Report, w: Words) -> Table:
    """Each map: where it lies, who is looked for."""
    rows = []
    for title, plane in report.coverage.items():
        surface = plane.surface
        rows.append(
            row(name(title), w.heights(surface.heights, surface.stairs is not None), w.motion(surface.motion),
                f"{w.area(plane.area_m2)} m²")
        )  # fmt: skip
    columns = w.columns("map", "height of map*1", "who*1", "area>")
    return Table(w("maps table"), columns, tuple(rows))


def reading(report: Report, w: Words, drawings: Drawings) -> Section:
    """How to read it: the margin, its classes, causes of gaps, signs of the drawings."""
    reserve = w.short(report.coverage.reserve_db)
    classes = [
        row(Cell(w(palette.CLASS_NAMES[k]), "strong", f"sign class {k}"), w(f"class bounds {k}", reserve=reserve),
            w(f"class means {k}"))
        for k in (3, 2, 1, 0)
        if k not in (1, 2) or report.coverage.reserve_db > 0
    ]  # fmt: skip
    causes = [
        row(Cell(w(f"cause name {key}"), "strong"), w(f"cause means {key}"))
        for key in ("out-of-reach", "outside-lens", "masked", "blocked", "material-loss", "too-warm")
    ]
    sorts = dict.fromkeys(sort_of(unit) for unit in report.coverage.units)
    signs = [row(Cell("", sign=f"sign {sort}"), w(f"sign {sort}")) for sort in sorts]
    signs += [row(Cell("", sign=f"sign {key}"), w(f"sign {key}")) for key in _signs(report)]
    parts = (
        Section(
            "margin",
            w("margin"),
            (
                Paragraph(w("margin means")),
                Table(
                    w("classes table", reserve=reserve),
                    w.columns("class", "margin column", "meaning*1"),
                    tuple(classes),
                ),
            ),
        ),
        Section(
            "gaps",
            w("gaps and causes"),
            (
                Paragraph(w("gaps mean")),
                Table(w("causes table"), w.columns("cause", "meaning*1"), tuple(causes)),
            ),
        ),
        Section(
            "signs",
            w("signs"),
            (Table(w("signs table"), w.columns("sign", "meaning*1"), tuple(signs)),),
        ),
    )
    return Section("reading", w("how to read"), (), parts, own_page=True)


def _signs(report: Report) -> list[str]:
    """The signs that this report's drawings can hold."""
    signs = ["footprint", "limit", "gap"]
    if any(unit.all_masks for unit in report.coverage.units):
        signs.append("masked")
    if report.coverage.seats:
        signs += ["noticed", "unnoticed"]
    if len(report.building.storeys) > 1:
        signs += ["other storey", "void"]
    if report.sections:
        signs.append("section")
    if report.proof is not None:
        signs += ["met", "missed", "area judged", "spot"]
        if any(verdict.need.never for verdict in report.proof.needs):
            signs += ["never", "sight"]
    return signs
