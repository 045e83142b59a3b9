"""Commands that try other designs: `sweep`, `place`."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Optional

import typer

from raycover.cli.options import AsJson, Force, ResultsIn, SceneFile


def sweep(
    scene: Annotated[list[Path], typer.Argument(metavar="SCENE...", help="scene file (YAML); several with --set")],
    settings: Annotated[
        Optional[list[str]],  # noqa: UP045
        typer.Option("--set", metavar="PATH=VALUES", help="'detectors/D*/mounting=6:14:0.5'; repeat for more"),
    ] = None,
    latin: Annotated[
        Optional[int],  # noqa: UP045
        typer.Option(
            "--latin", metavar="N", min=1, help="with --set: N rows of a Latin hypercube, not all combinations"
        ),
    ] = None,
    seed: Annotated[int, typer.Option("--seed", min=0, help="with --latin: another number, other rows")] = 0,
    needs: Annotated[bool, typer.Option("--needs", help="with --set: judge the needs of every row too")] = False,
    pictures: Annotated[
        int, typer.Option("--pictures", metavar="N", min=0, max=50, help="with --set: draw the N best and worst rows")
    ] = 0,
    rows: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option("--rows", metavar="N[,N…]", help="with --set: draw these rows"),
    ] = None,
    plane: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option("--plane", metavar="NAME", help="with --set: the plane drawn, the first if not given"),
    ] = None,
    processes: Annotated[
        Optional[int],  # noqa: UP045
        typer.Option("--processes", min=1, max=256, help="with --set: default all cores"),
    ] = None,
    cluster: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option("--cluster", metavar="tcp://HOST:PORT", help="with --set: solve on a Dask cluster"),
    ] = None,
    detector: Annotated[
        Optional[list[str]],  # noqa: UP045
        typer.Option("--detector", metavar="NAME", help="which to vary, B* for all that begin so; may be repeated"),
    ] = None,
    mounting: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option("--mounting", metavar="M", help="mounting heights in m: 8, or 6,8,10, or FROM:TO:STEP"),
    ] = None,
    tilt: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option("--tilt", metavar="DEG", help="tilts in degrees, likewise"),
    ] = None,
    turn: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option("--turn", metavar="DEG", help="turns in degrees, likewise"),
    ] = None,
    share: Annotated[
        Optional[float],  # noqa: UP045
        typer.Option("--share", min=0.0, max=1.0, help="share of every plane that is needed, 0.95 say"),
    ] = None,
    output: ResultsIn = Path("pictures"),
    lang: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option("--lang", metavar="CODE", help="language of the pictures: en or de; the scene's if not given"),
    ] = None,
    json: AsJson = False,
) -> None:
    """What other values change: of some detectors with charts, or (--set) of anything in the scene, as a table."""
    varied = {"--detector": detector, "--mounting": mounting, "--tilt": tilt, "--turn": turn}
    tabled = {
        "--latin": latin, "--seed": seed, "--needs": needs, "--pictures": pictures, "--rows": rows, "--plane": plane,
        "--processes": processes, "--cluster": cluster,
    }  # fmt: skip
    if settings or len(scene) > 1:
        from raycover.cli.sweeping_values import Asked, sweep_values

        _refuse(varied, "goes without --set", "vary it too: --set 'detectors/NAME/mounting=6:14:0.5'")
        asked = Asked(settings or (), latin, seed, needs, share, pictures, rows, plane, processes, cluster, lang)
        sweep_values(scene, output, asked, as_json=json)
        return
    from raycover.cli import sweeping

    _refuse(tabled, "goes with --set", "say what varies: --set 'conditions/ambient_c=20,30'")
    sweeping.sweep_scene(
        scene[0],
        detector or (),
        output,
        mounting=mounting,
        tilt=tilt,
        turn=turn,
        share=share,
        lang=lang,
        as_json=json,
    )


def _refuse(options: Mapping[str, object], message: str, help_: str) -> None:
    """Raises InputError for options that were given to the other kind of sweep."""
    from raycover.errors import InputError, Position, Problem

    given = [option for option, value in options.items() if value]
    if given:
        raise InputError([Problem("bad-option", message, Position(option), help_) for option in given])


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
    force: Force = False,
    json: AsJson = False,
) -> None:
    """Propose the fewest detectors that meet the needs; write them as a new scene; exit code 1 if one is missed."""
    from raycover.cli import placing

    if not placing.place_scene(
        scene, output, models=models or (), keep=keep or (), pitch=pitch, regular=regular, seconds=seconds,
        force=force, as_json=json,
    ):  # fmt: skip
        raise typer.Exit(1)
