"""Commands for what others get: `report`, `slides`, `export`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Optional

import typer

from raycover.cli.options import AsJson, Force, InState, Lang, SceneFile, Threads, refuse


def report_(
    scene: SceneFile,
    output: Annotated[Path, typer.Option("-o", "--output", metavar="DIR", help="folder for the report")] = Path(
        "report"
    ),
    lang: Lang = None,
    date: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option("--date", metavar="DATE", help="date on the report; the scene's, or today, if not given"),
    ] = None,
    html_only: Annotated[bool, typer.Option("--html-only", help="no PDF: needs jinja2 alone")] = False,
    slides: Annotated[
        bool, typer.Option("--slides", help="the same told in slides instead, as by the command slides")
    ] = False,
    threads: Threads = None,
    json: AsJson = False,
) -> None:
    """Everything about a scene in one HTML file and one PDF: verdicts, maps, causes, schedule, sources; to sign."""
    if slides:
        given = {"--date": date is not None, "--html-only": html_only, "--json": json}
        refuse("with --slides", given)
        from raycover.cli import telling

        telling.tell_scene(
            scene, output, after=None, route=None, door=None, with_film=True, state=None, lang=lang, threads=threads
        )
        return
    from raycover.cli import reporting

    reporting.report_scene(scene, output, lang=lang, date=date, with_pdf=not html_only, threads=threads, as_json=json)


def slides_(
    scene: SceneFile,
    output: Annotated[Path, typer.Option("-o", "--output", metavar="DIR", help="folder for the slides")] = Path(
        "slides"
    ),
    after: Annotated[
        Optional[Path],  # noqa: UP045
        typer.Option("--after", metavar="SCENE", help="the proposal: a second scene, shown beside the first"),
    ] = None,
    route: Annotated[Optional[str], typer.Option("--route", metavar="NAME", help="the route that is filmed")] = None,  # noqa: UP045
    door: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option("--door", metavar="NAME", help="the door that is filmed closing; a cubicle's if not given"),
    ] = None,
    film: Annotated[bool, typer.Option("--film/--no-film", help="short films: somebody walks, a door closes")] = True,
    state: InState = None,
    lang: Lang = None,
    threads: Threads = None,
) -> None:
    """Tell a scene in slides: space, need, detectors, coverage, what is hidden and why, before and after, proof."""
    from raycover.cli import telling

    telling.tell_scene(
        scene, output, after=after, route=route, door=door, with_film=film, state=state, lang=lang, threads=threads
    )


def export_(
    scene: SceneFile,
    output: Annotated[
        Path, typer.Option("-o", "--output", metavar="FILE", help="what to write: .dxf, .glb, .html or .gif")
    ] = Path("coverage.dxf"),
    plane: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(
            "--plane", metavar="NAME", help="models and films (.glb, .gif): this plane; the first if not given"
        ),
    ] = None,
    door: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option("--door", metavar="NAME", help="films (.gif): the door that closes; a cubicle's if not given"),
    ] = None,
    cut: Annotated[
        Optional[float],  # noqa: UP045
        typer.Option("--cut", metavar="M", help=".glb, .html: metres above their floor at which walls are cut"),
    ] = None,
    lobes: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option("--lobes", help="models: whose lobes: few (four that speak for the others), all or none"),
    ] = None,
    force: Force = False,
    state: InState = None,
    threads: Threads = None,
) -> None:
    """Solve a scene; write it for others: a DXF over the plan it was taken from, a 3D model, a page, a door's film."""
    from raycover.cli import exporting

    options = exporting.ModelOptions(plane, cut, lobes, door)
    exporting.export_scene(scene, output, state=state, threads=threads, force=force, options=options)
