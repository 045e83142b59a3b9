"""How the figures come about, what the program warns of, cautions, and the place to sign."""

from __future__ import annotations

from raycover.report.content import Bullets, Paragraph, Section, Signatures
from raycover.report.gather import Report
from raycover.report.words import Words, name


def method(report: Report, w: Words) -> Section:
    """The formula in plain words, what is left out, and what is known of how good it is."""
    kinds = {kind for unit in report.coverage.units for kind in unit.technologies}
    points = [w("method distance"), w("method footprint")]
    if "infrared" in kinds:
        points.append(w("method infrared"))
    if "microwave" in kinds:
        points.append(w("method microwave"))
        if (found := report.coverage.reflections) is not None:
            points.append(w("method mirrors", n=w.thousands(found.n_ways), db=w.number(found.left_out_db)))
    if any(unit.halves for unit in report.coverage.units):
        points.append(w("method dual"))
    points += [w("method person"), w("method cells", grid=w.short(report.scene.grid)), w("method left out")]
    return Section("method", w("method"), (Paragraph(w("method intro")), Bullets(tuple(points))), own_page=True)


def warnings(report: Report, w: Words) -> Section:
    """What the program warns of."""
    if not report.warnings:
        return Section("warnings", w("warnings"), (Paragraph(w("no warnings")),))
    said = tuple(name(w.warning(problem)) for problem in report.warnings)
    return Section("warnings", w("warnings"), (Paragraph(w("warnings intro")), Bullets(said)))


def cautions(report: Report, w: Words) -> Section:
    """The usual cautions, then who signs."""
    project = report.scene.project
    author = name(project.author) if project is not None else ""
    checked = name(project.checked_by) if project is not None else ""
    client = name(project.client) if project is not None else ""
    rows = ((w("prepared by"), author), (w("checked by"), checked), (w("accepted by"), client))
    return Section(
        "cautions",
        w("cautions"),
        (
            Paragraph(w("caution prediction"), "caution"),
            Paragraph(w("caution safety"), "caution"),
            Paragraph(w("caution work"), "caution"),
            Paragraph(w("caution makers"), "caution"),
            Signatures(("", w("name"), w("date"), w("signature")), rows),
        ),
        own_page=True,
    )
