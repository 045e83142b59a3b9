"""`probe`: its options; nothing heavy is imported here."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Optional

import typer


def probe(
    scene: Annotated[Path, typer.Argument(metavar="SCENE", help="scene file (YAML)")],
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
    state: Annotated[Optional[str], typer.Option("--state", metavar="NAME", help="a state of the scene")] = None,  # noqa: UP045
    json: Annotated[bool, typer.Option("--json", help="machine output on stdout")] = False,
) -> None:
    """Why is this point seen or not: every detector, ray by ray."""
    from raycover.cli.asked_target import Asked
    from raycover.cli.probing import probe_scene

    probe_scene(scene, at, Asked(plane, motion, body, target_m2), as_json=json, state=state)
