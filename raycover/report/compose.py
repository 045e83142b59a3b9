"""The content of a report: its sections in their order, for HTML and PDF alike."""

from __future__ import annotations

from raycover import __version__
from raycover.draw.true_scale import dated
from raycover.draw.words import today
from raycover.report.content import Content, Section, numbered
from raycover.report.figures import Drawings
from raycover.report.gather import Report
from raycover.report.sections import closing, front, kit, sources
from raycover.report.sections.coverage import coverage
from raycover.report.sections.needs import needs
from raycover.report.sections.sensitivity import sensitivity
from raycover.report.words import Words, name


def compose(report: Report, w: Words, drawings: Drawings, date: str | None = None) -> Content:
    """Everything that is told. `date` wins over the scene's, which wins over today."""
    scene = report.scene
    given = date if date is not None else scene.date
    day = date if date is not None else w.on_drawing(scene.date or today())
    sections: list[Section] = [
        front.job(report, w),
        front.reading(report, w, drawings),
        needs(report, w, drawings),
        coverage(report, w, drawings),
        sensitivity(report, w, drawings),
        kit.schedule(report, w),
        sources.entries(report, w),
    ]
    if report.lines:
        sections.append(kit.lines(report, w))
    sections += [
        sources.materials(report, w),
        closing.method(report, w),
        closing.warnings(report, w),
        closing.cautions(report, w),
    ]
    project = scene.project
    client = name(project.client) if project is not None else ""
    running = " · ".join(part for part in (name(scene.title), client) if part)
    foot = f"raycover {__version__} · {w('revision')} {name(scene.revision)} · {name(day)}"
    return Content(
        language=w.code,
        decimal_comma=w.base.decimal_comma,
        title=f"{name(scene.title)}: {w('report')}",
        cover=front.cover(report, w, drawings, day),
        contents_title=w("contents"),
        sections=numbered(sections),
        running=running,
        foot=foot,
        page_of=w("page of", n="{n}", m="{m}"),
        date=day,
        day=dated(today() if given is None else given),
    )
