"""`report`: everything about a scene in one HTML file and one PDF, to hand over and sign."""

from __future__ import annotations

import importlib.util
from pathlib import Path

from raycover.cli.printing import data, progress, talk, warn
from raycover.errors import InputError, MissingPart, Position, Problem
from raycover.exchange.files import whole_folder
from raycover.loading import load

#: A date longer than a title block holds is a slip.
_LONGEST_DATE = 20


def report_scene(
    path: Path,
    output: Path,
    *,
    lang: str | None,
    date: str | None,
    with_pdf: bool,
    threads: int | None,
    as_json: bool,
) -> None:
    """Solve, draw and write `report.html` and `report.pdf`."""
    _require(with_pdf=with_pdf)
    if date is not None and not 0 < len(date.strip()) <= _LONGEST_DATE:
        what = f"a date has 1 to {_LONGEST_DATE} characters"
        raise InputError([Problem("bad-option", what, Position("--date"), "write, for example, --date 2026-11-25")])
    from raycover.report.compose import compose
    from raycover.report.figures import draw_figures
    from raycover.report.figures_json import report_json
    from raycover.report.gather import Stages, gather
    from raycover.report.html import html_of
    from raycover.report.words import worded

    scene = load(path)
    words, scene = worded(scene, lang)
    with whole_folder(output) as draft, progress("report") as step:
        stages = Stages(lambda name, done, everything: step(done, everything or None, name))
        report = gather(scene, threads=threads, stages=stages).named(words.assumed)
        drawings = draw_figures(report, words, pdf=with_pdf)
        with stages.stage("writing"):
            content = compose(report, words, drawings, None if date is None else date.strip())
            (draft / "report.html").write_text(html_of(content, drawings, report.logo), encoding="utf-8")
            if with_pdf:
                from raycover.report.pdf import pdf_of

                (draft / "report.pdf").write_bytes(pdf_of(content, drawings, report.logo))
    warn(report.warnings)
    if as_json:
        data(report_json(report, content, words))
    for stage, seconds in stages.seconds.items():
        talk(f"{stage:<12} {seconds:6.1f} s")
    if drawings.missing:
        talk(f"The report has no 3D picture: {drawings.missing}")
    missed = [verdict.need.name for verdict in report.proof.needs if not verdict.met] if report.proof else []
    if missed:
        talk(f"Not met: {', '.join(missed)}")
    talk(f"Written to {output}: report.html{', report.pdf' if with_pdf else ''}")
    talk("A prediction, not a site test: walk-test before hand-over. Not a safety function.")


def _require(*, with_pdf: bool) -> None:
    """Before anything is cast: are the libraries there? Raises MissingPart."""
    wanted = ["jinja2", "typst"] if with_pdf else ["jinja2"]
    absent = [name for name in wanted if importlib.util.find_spec(name) is None]
    if absent:
        more = "; --html-only writes the HTML alone" if absent == ["typst"] else ""
        raise MissingPart(f"a report needs {' and '.join(absent)}: pip install 'raycover[report]'{more}")
