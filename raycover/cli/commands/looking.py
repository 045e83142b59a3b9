"""Commands that show where people are seen: `map`, `view`, `probe`, `compare`, `heat`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Optional

import typer

from raycover.cli.options import AsJson, InState, Lang, ResultsIn, SceneFile, Threads


def map_(
    scene: SceneFile,
    output: ResultsIn = Path("pictures"),
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


def probe(
    scene: SceneFile,
    at: Annotated[
        str, typer.Option("--at", metavar="X,Y,Z", help="the point, absolute, in metres; X,Y alone with --plane")
    ],
    plane: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option("--plane", metavar="NAME", help="as this plane of the scene asks: its heights, motion and body"),
    ] = None,
    motion: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option("--motion", help="any, tangential, radial or presence; the plane's, or any, if not given"),
    ] = None,
    body: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option("--body", help="for microwave: walker, seated or breathing; as declared if not given"),
    ] = None,
    target_m2: Annotated[
        Optional[float],  # noqa: UP045
        typer.Option("--target-m2", metavar="M2", help="instead of --body: radar cross section of what moves, in m²"),
    ] = None,
    state: InState = None,
    json: AsJson = False,
) -> None:
    """Why is this point seen or not: every detector, ray by ray."""
    from raycover.cli.asked_target import Asked
    from raycover.cli.probing import probe_scene

    probe_scene(scene, at, Asked(plane, motion, body, target_m2), as_json=json, state=state)


def compare_(
    scene: SceneFile,
    other: Annotated[Optional[Path], typer.Argument(metavar="[OTHER]", help="a second scene file")] = None,  # noqa: UP045
    states: Annotated[
        Optional[tuple[str, str]],  # noqa: UP045
        typer.Option("--states", metavar="A B", help="two states of the one scene, the one drawn by its name"),
    ] = None,
    output: ResultsIn = Path("pictures"),
    lang: Lang = None,
    threads: Threads = None,
    json: AsJson = False,
) -> None:
    """What differs between two states of a scene, or two scenes: side by side, and a map a plane."""
    from raycover.cli import comparing

    comparing.compare_scenes(scene, other, states, output, lang=lang, threads=threads, as_json=json)


def heat_(
    scene: SceneFile,
    ambient: Annotated[
        str, typer.Option("--ambient", metavar="C[,C…]", help="air temperatures in °C, or FROM:TO:STEP")
    ] = "20,25,30,35",
    output: ResultsIn = Path("pictures"),
    lang: Lang = None,
    threads: Threads = None,
    json: AsJson = False,
) -> None:
    """What warm air leaves: maps at several temperatures side by side, and the reach of each model."""
    from raycover.cli import heating

    heating.heat_scene(scene, ambient, output, lang=lang, threads=threads, as_json=json)
