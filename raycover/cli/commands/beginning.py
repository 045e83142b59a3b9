"""Commands that begin a scene, and those about raycover itself: `new`, `import`, `schema`, `doctor`, `cache`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Optional

import typer

from raycover.cli.options import AsJson, Force


def new_(
    scene: Annotated[Path, typer.Argument(metavar="SCENE", help="the file to write")] = Path("scene.yaml"),
    force: Force = False,
) -> None:
    """Write a starter scene that runs."""
    from raycover.cli import starting

    starting.new_scene(scene, force=force)


def import_(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="a building model (.ifc) or drawing (.dxf)")],
    output: Annotated[Path, typer.Option("-o", "--output", metavar="SCENE", help="the scene file to write")] = Path(
        "scene.yaml"
    ),
    force: Force = False,
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


def schema_(
    output: Annotated[
        Optional[Path], typer.Option("-o", "--output", metavar="FILE", help="file to write; stdout if not given")  # noqa: UP045
    ] = None,
) -> None:
    """The JSON Schema of scene files, which editors complete keys from."""
    from raycover.cli import starting

    starting.write_schema(output)


def doctor_(json: AsJson = False) -> None:
    """What is installed, what is missing, and what that costs."""
    from raycover.cli import starting

    starting.doctor(as_json=json)


def cache_(
    empty: Annotated[bool, typer.Option("--empty", help="throw away what is kept")] = False,
    json: AsJson = False,
) -> None:
    """Where answers are kept for the next run, and how much room they take."""
    from raycover.cli import caching

    caching.cache_command(empty=empty, as_json=json)
