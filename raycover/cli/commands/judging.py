"""Commands that say whether something is as it should be: `check`, `prove`, `walk`, `trips`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Optional

import typer

from raycover.cli.options import AsJson, InState, Lang, SceneFile, Threads, refuse


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

        refuse(
            "with --grid",
            {"--route": route is not None, "--hold": hold is not None, "--declared": declared},
        )  # fmt: skip
        grid_walking.grid_walk_scene(scene, output, state=state, threads=threads, lang=lang, as_json=json)
        return
    refuse("without --grid", {"--threads": threads is not None})
    from raycover.cli import walking

    walking.walk_scene(scene, output, route=route, hold=hold, declared=declared, state=state, lang=lang, as_json=json)


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
