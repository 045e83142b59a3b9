"""`raycover COMMAND`: the commands, their options, and how errors leave.

Nothing heavy is imported here: `--help` must come at once.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated, Optional

import typer

from raycover.cli import models, probe_command, sweep_command
from raycover.cli.number_options import Commands
from raycover.cli.signs import let_all_print
from raycover.cli.speaking import Lang

app = typer.Typer(
    name="raycover",
    cls=Commands,
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    help="Where presence and motion detectors see people in a building, where not, and why.",
    epilog="A prediction, not a site test: walk-test before hand-over. Not a safety function.",
)
app.add_typer(models.app, name="models")

SceneFile = Annotated[Path, typer.Argument(metavar="SCENE", help="scene file (YAML)")]
AsJson = Annotated[bool, typer.Option("--json", help="machine output on stdout")]
Threads = Annotated[Optional[int], typer.Option("--threads", min=1, max=256, help="default: all cores")]  # noqa: UP045

InState = Annotated[Optional[str], typer.Option("--state", metavar="NAME", help="a state of the scene")]  # noqa: UP045


@app.command("map")
def map_(
    scene: SceneFile,
    output: Annotated[Path, typer.Option("-o", "--output", metavar="DIR", help="folder for the results")] = Path(
        "pictures"
    ),
    view: Annotated[bool, typer.Option("--view/--no-view", help="draw the 3D picture too")] = True,
    state: Annotated[
        Optional[list[str]],  # noqa: UP045
        typer.Option("--state", metavar="NAME", help="a state of the scene; give it again for more"),
    ] = None,
    all_states: Annotated[bool, typer.Option("--all-states", help="the scene as drawn and every state")] = False,
    pdf: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option("--pdf", metavar="PAPER", help="plans as PDF at true scale too, on A4, A3, A2, A1 or A0"),
    ] = None,
    scale: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option("--scale", metavar="N", help="with --pdf: 50 for 1:50, or auto (the finest that fits)"),
    ] = None,
    svg: Annotated[
        bool, typer.Option("--svg", help="plans and sections as SVG too, on the paper of --pdf or A4")
    ] = False,
    dpi: Annotated[
        Optional[int],  # noqa: UP045
        typer.Option("--dpi", metavar="N", help="dots an inch of plans and sections as PNG: 200, or 300 for print"),
    ] = None,
    isometric: Annotated[bool, typer.Option("--isometric", help="an isometric sheet too")] = False,
    chances: Annotated[
        bool, typer.Option("--chances", help="probability maps too: how surely each place is seen in varied cases")
    ] = False,
    lang: Lang = None,
    threads: Threads = None,
    json: AsJson = False,
) -> None:
    """Solve a scene; write plans, 3D picture, figures and image data."""
    from raycover.cli import solving
    from raycover.cli.paper import sheets_asked

    solving.map_scene(
        scene, output, with_view=view, threads=threads, as_json=json, states=state or (), all_states=all_states,
        sheets=sheets_asked(pdf, scale, svg=svg, dpi=dpi), isometric=isometric, chances=chances, lang=lang,
    )  # fmt: skip


@app.command("view")
def view_(
    scene: SceneFile,
    state: InState = None,
    scale: Annotated[
        float | None, typer.Option(help="size of type and controls, 1 on a plain screen; as the screen is if not given")
    ] = None,
    threads: Threads = None,
) -> None:
    """Look at a scene in a window, hang and move its detectors and see the map follow."""
    from raycover.cli import viewing

    viewing.view_scene(scene, threads=threads, state=state, scale=scale)


app.command("probe")(probe_command.probe)


@app.command("walk")
def walk_(
    scene: SceneFile,
    output: Annotated[
        Optional[Path],  # noqa: UP045
        typer.Option("-o", "--output", metavar="DIR", help="folder for figures, pages or maps, and data"),
    ] = None,
    route: Annotated[Optional[str], typer.Option("--route", metavar="NAME", help="this route only")] = None,  # noqa: UP045
    hold: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option("--hold", metavar="M:SS", help="hold time of all lights; the scene's, or 15:00, if not given"),
    ] = None,
    declared: Annotated[
        bool, typer.Option("--declared", help="declared footprints for all detectors, none simulated")
    ] = False,
    grid: Annotated[
        bool, typer.Option("--grid", help="instead: every cell, walking 1 m in eight directions and seated, by chance")
    ] = False,
    state: InState = None,
    lang: Lang = None,
    threads: Threads = None,
    json: AsJson = False,
) -> None:
    """Walk the scene's routes past its detectors: who is noticed when, and when the light is on."""
    if grid:
        from raycover.cli import grid_walking

        _refuse(
            "with --grid",
            {"--route": route is not None, "--hold": hold is not None, "--declared": declared},
        )  # fmt: skip
        grid_walking.grid_walk_scene(scene, output, state=state, threads=threads, lang=lang, as_json=json)
        return
    _refuse("without --grid", {"--threads": threads is not None})
    from raycover.cli import walking

    walking.walk_scene(scene, output, route=route, hold=hold, declared=declared, state=state, lang=lang, as_json=json)


@app.command("compare")
def compare_(
    scene: SceneFile,
    other: Annotated[Optional[Path], typer.Argument(metavar="[OTHER]", help="a second scene file")] = None,  # noqa: UP045
    states: Annotated[
        Optional[tuple[str, str]],  # noqa: UP045
        typer.Option("--states", metavar="A B", help="two states of the one scene, the one drawn by its name"),
    ] = None,
    output: Annotated[Path, typer.Option("-o", "--output", metavar="DIR", help="folder for the results")] = Path(
        "pictures"
    ),
    lang: Lang = None,
    threads: Threads = None,
    json: AsJson = False,
) -> None:
    """What differs between two states of a scene, or two scenes: side by side, and a map a plane."""
    from raycover.cli import comparing

    comparing.compare_scenes(scene, other, states, output, lang=lang, threads=threads, as_json=json)


@app.command("prove")
def prove_(
    scene: SceneFile,
    output: Annotated[
        Optional[Path],  # noqa: UP045
        typer.Option("-o", "--output", metavar="DIR", help="folder for the proof: pages and figures"),
    ] = None,
    mended: Annotated[
        Optional[Path],  # noqa: UP045
        typer.Option("--mended", metavar="NEW.yaml", help="write the scene with the best remedies in it"),
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="overwrite a mended scene that is there")] = False,
    state: InState = None,
    lang: Lang = None,
    json: AsJson = False,
) -> None:
    """Are the needs of a scene met: every place with its margin and the way there; exit code 1 if one is missed."""
    from raycover.cli import proving

    if not proving.prove_scene(scene, output, state=state, lang=lang, as_json=json, mended=mended, force=force):
        raise typer.Exit(1)


@app.command("walktest")
def walktest_(
    scene: SceneFile,
    output: Annotated[Path, typer.Option("-o", "--output", metavar="DIR", help="folder for the sheet")] = Path(
        "walktest"
    ),
    points: Annotated[int, typer.Option("--points", min=1, max=60, help="how many points at most")] = 24,
    detector: Annotated[
        Optional[list[str]],  # noqa: UP045
        typer.Option("--detector", metavar="NAME", help="watch this unit only; give it again for more; all if none"),
    ] = None,
    paper: Annotated[str, typer.Option("--paper", metavar="SIZE", help="paper of the plans: A4 or A3")] = "A4",
    state: InState = None,
    lang: Lang = None,
    json: AsJson = False,
) -> None:
    """The sheet to take to site: where to stand, what to do, what should happen; as plan and as table to fill in."""
    from raycover.cli import walktesting

    walktesting.walk_test_scene(
        scene,
        output,
        n_points=points,
        detectors=detector or (),
        paper=paper,
        state=state,
        lang=lang,
        as_json=json,
    )


@app.command("reconcile")
def reconcile_(
    scene: SceneFile,
    results: Annotated[Path, typer.Argument(metavar="RESULTS", help="the filled-in table, .csv or .xlsx")],
    output: Annotated[Path, typer.Option("-o", "--output", metavar="DIR", help="folder for the results")] = Path(
        "walktest"
    ),
    state: InState = None,
    lang: Lang = None,
    anyway: Annotated[
        bool, typer.Option("--anyway", help="write the corrected scene even where the answers do not fit it")
    ] = False,
    json: AsJson = False,
) -> None:
    """What came back from site against the prediction; where the answers support it, a corrected scene."""
    from raycover.cli import walktesting

    walktesting.reconcile_scene(scene, results, output, state=state, lang=lang, as_json=json, anyway=anyway)


@app.command("trips")
def trips_(
    scene: SceneFile,
    output: Annotated[
        Optional[Path], typer.Option("-o", "--output", metavar="DIR", help="folder for trips.png and trips.json")  # noqa: UP045
    ] = None,
    state: InState = None,
    lang: Lang = None,
    threads: Threads = None,
    json: AsJson = False,
) -> None:
    """What may trip detectors though nobody is there, what stops it, and which detectors disturb each other."""
    from raycover.cli import tripping

    tripping.trip_scene(scene, output, state=state, lang=lang, threads=threads, as_json=json)


@app.command("bus")
def bus_(scene: SceneFile, json: AsJson = False) -> None:
    """Check control lines: addresses, current, voltage drop, hold timers; exit code 1 where a limit is passed."""
    from raycover.cli import wiring

    wiring.bus(scene, as_json=json)


@app.command("schedule")
def schedule_(
    scene: SceneFile,
    output: Annotated[
        Optional[Path],  # noqa: UP045
        typer.Option("-o", "--output", metavar="FILE", help="write it as .csv or .xlsx; printed if not given"),
    ] = None,
    lang: Annotated[str, typer.Option("--lang", metavar="CODE", help="language of the words: en or de")] = "en",
    masks: Annotated[
        Optional[Path],  # noqa: UP045
        typer.Option("--masks", metavar="FILE", help="masks to cut, 1:1, as PDF"),
    ] = None,
    json: AsJson = False,
) -> None:
    """The detector schedule: what is ordered, fixed, set and addressed; masks to cut."""
    from raycover.cli import wiring

    wiring.schedule(scene, output, lang=lang, masks=masks, as_json=json)


@app.command("heat")
def heat_(
    scene: SceneFile,
    ambient: Annotated[
        str, typer.Option("--ambient", metavar="C[,C…]", help="air temperatures in °C, or FROM:TO:STEP")
    ] = "20,25,30,35",
    output: Annotated[Path, typer.Option("-o", "--output", metavar="DIR", help="folder for the results")] = Path(
        "pictures"
    ),
    lang: Lang = None,
    threads: Threads = None,
    json: AsJson = False,
) -> None:
    """What warm air leaves: maps at several temperatures side by side, and the reach of each model."""
    from raycover.cli import heating

    heating.heat_scene(scene, ambient, output, lang=lang, threads=threads, as_json=json)


app.command("sweep")(sweep_command.sweep)


@app.command("place")
def place_(
    scene: SceneFile,
    output: Annotated[Path, typer.Option("-o", "--output", metavar="SCENE", help="the new scene file to write")] = Path(
        "proposal.yaml"
    ),
    models: Annotated[
        Optional[list[str]],  # noqa: UP045
        typer.Option("--models", metavar="NAME", help="entry offered; may be repeated; the scene's if not given"),
    ] = None,
    keep: Annotated[
        Optional[list[str]],  # noqa: UP045
        typer.Option("--keep", metavar="NAME", help="detector that stays, B* for all that begin so; may be repeated"),
    ] = None,
    pitch: Annotated[
        Optional[float],  # noqa: UP045
        typer.Option("--pitch", min=0.1, max=100.0, help="metres between candidates, 1 if not given"),
    ] = None,
    regular: Annotated[
        Optional[bool],  # noqa: UP045
        typer.Option("--regular/--free", help="of equal layouts the one in fewest straight lines"),
    ] = None,
    seconds: Annotated[
        float, typer.Option("--seconds", min=1.0, max=86_400.0, help="time for the optimiser; the best so far is kept")
    ] = 60.0,
    force: Annotated[bool, typer.Option("--force", help="overwrite a file that is there")] = False,
    json: AsJson = False,
) -> None:
    """Propose the fewest detectors that meet the needs; write them as a new scene; exit code 1 if one is missed."""
    from raycover.cli import placing

    if not placing.place_scene(
        scene, output, models=models or (), keep=keep or (), pitch=pitch, regular=regular, seconds=seconds,
        force=force, as_json=json,
    ):  # fmt: skip
        raise typer.Exit(1)


@app.command("report")
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
        _refuse("with --slides", given)
        from raycover.cli import telling

        telling.tell_scene(
            scene, output, after=None, route=None, door=None, with_film=True, state=None, lang=lang, threads=threads
        )
        return
    from raycover.cli import reporting

    reporting.report_scene(scene, output, lang=lang, date=date, with_pdf=not html_only, threads=threads, as_json=json)


@app.command("check")
def check_(
    scene: SceneFile,
    strict: Annotated[bool, typer.Option("--strict", help="warnings too end in exit code 2")] = False,
    draw: Annotated[bool, typer.Option("--draw", help="draw the building alone, nothing solved")] = False,
    output: Annotated[
        Path, typer.Option("-o", "--output", metavar="DIR", help="folder for the drawings of --draw")
    ] = Path("pictures"),
    view: Annotated[bool, typer.Option("--view/--no-view", help="with --draw, the 3D picture too")] = True,
    lang: Lang = None,
    json: AsJson = False,
) -> None:
    """Is the file sound, and does the building stand: everything wrong or doubtful, with its line."""
    from raycover.cli import checking

    checking.check_scene(
        scene, strict=strict, as_json=json, draw_in=output if draw else None, with_view=view, lang=lang
    )


@app.command("import")
def import_(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="a building model (.ifc) or drawing (.dxf)")],
    output: Annotated[Path, typer.Option("-o", "--output", metavar="SCENE", help="the scene file to write")] = Path(
        "scene.yaml"
    ),
    force: Annotated[bool, typer.Option("--force", help="overwrite a file that is there")] = False,
    units: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option("--units", help="drawings: mm, cm, dm, m, in or ft, where the file is silent or wrong"),
    ] = None,
    rooms: Annotated[
        Optional[list[str]],  # noqa: UP045
        typer.Option("--rooms", metavar="LAYER", help="drawings: layer of room outlines, * allowed; may be repeated"),
    ] = None,
    partitions: Annotated[
        Optional[list[str]],  # noqa: UP045
        typer.Option("--partitions", metavar="LAYER", help="drawings: layer of walls within rooms; may be repeated"),
    ] = None,
    height: Annotated[
        Optional[float],  # noqa: UP045
        typer.Option("--height", help="drawings: height of rooms and walls in metres, 2.8 if not given"),
    ] = None,
    walls: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option("--walls", help="drawings: what walls are made of, stud-wall-100 if not given"),
    ] = None,
    json: AsJson = False,
) -> None:
    """Write a scene from a plan that others drew."""
    from raycover.cli import importing
    from raycover.importing.dxf_options import DxfOptions

    told = DxfOptions(units, tuple(rooms or ()), tuple(partitions or ()), height, walls)
    importing.import_file(file, output, force=force, as_json=json, dxf=told)


@app.command("export")
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
    force: Annotated[bool, typer.Option("--force", help="overwrite a file that is there")] = False,
    state: InState = None,
    threads: Threads = None,
) -> None:
    """Solve a scene; write it for others: a DXF over the plan it was taken from, a 3D model, a page, a door's film."""
    from raycover.cli import exporting

    options = exporting.ModelOptions(plane, cut, lobes, door)
    exporting.export_scene(scene, output, state=state, threads=threads, force=force, options=options)


@app.command("slides")
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


@app.command("new")
def new_(
    scene: Annotated[Path, typer.Argument(metavar="SCENE", help="the file to write")] = Path("scene.yaml"),
    force: Annotated[bool, typer.Option("--force", help="overwrite a file that is there")] = False,
) -> None:
    """Write a starter scene that runs."""
    from raycover.cli import starting

    starting.new_scene(scene, force=force)


@app.command("schema")
def schema_(
    output: Annotated[
        Optional[Path], typer.Option("-o", "--output", metavar="FILE", help="file to write; stdout if not given")  # noqa: UP045
    ] = None,
) -> None:
    """The JSON Schema of scene files, which editors complete keys from."""
    from raycover.cli import starting

    starting.write_schema(output)


@app.command("doctor")
def doctor_(json: AsJson = False) -> None:
    """What is installed, what is missing, and what that costs."""
    from raycover.cli import starting

    starting.doctor(as_json=json)


@app.command("cache")
def cache_(
    empty: Annotated[bool, typer.Option("--empty", help="throw away what is kept")] = False,
    json: AsJson = False,
) -> None:
    """Where answers are kept for the next run, and how much room they take."""
    from raycover.cli import caching

    caching.cache_command(empty=empty, as_json=json)


def _refuse(when: str, given: dict[str, bool]) -> None:
    """Refuse the first option that is given though it means nothing."""
    for option in (name for name, is_given in given.items() if is_given):
        raise typer.BadParameter(f"has no meaning {when}", param_hint=option)


def _version(asked: bool) -> None:
    if asked:
        from raycover import __version__

        typer.echo(f"raycover {__version__}")
        raise typer.Exit


@app.callback()
def _options(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="print the version")
    ] = False,
    cache: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(
            "--cache", metavar="DIR|off", help="where answers are kept for the next run (default: your cache folder)"
        ),
    ] = None,
) -> None:
    """Options before the command."""
    from raycover.cli.caching import use

    use(cache)


def main(args: list[str] | None = None) -> None:
    """Run the command line: user errors as messages on stderr, never a traceback.

    Exit 0 done, 1 a need is missed, 2 the input is wrong, 3 something optional is not installed.
    """
    from raycover.cli.caching import say_trouble
    from raycover.errors import RaycoverError

    let_all_print()
    try:
        app(args)
    except RaycoverError as error:
        print(error, file=sys.stderr)
        sys.exit(error.exit_code)
    except MemoryError:
        print("out of memory: make grid coarser, or map fewer planes", file=sys.stderr)
        sys.exit(2)
    except SystemExit as left:
        if isinstance(left.__context__, BrokenPipeError):  # whoever reads the pipe has had enough
            sys.exit(0)
        raise
    finally:
        say_trouble()


if __name__ == "__main__":
    main()
