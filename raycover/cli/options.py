"""Options that several commands share. Nothing heavy is imported here."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Optional

import typer

SceneFile = Annotated[Path, typer.Argument(metavar="SCENE", help="scene file (YAML)")]
AsJson = Annotated[bool, typer.Option("--json", help="machine output on stdout")]
Threads = Annotated[Optional[int], typer.Option("--threads", min=1, max=256, help="default: all cores")]  # noqa: UP045
InState = Annotated[Optional[str], typer.Option("--state", metavar="NAME", help="a state of the scene")]  # noqa: UP045
ResultsIn = Annotated[Path, typer.Option("-o", "--output", metavar="DIR", help="folder for the results")]
Force = Annotated[bool, typer.Option("--force", help="overwrite a file that is there")]
#: Of what a client is shown: that given, else the scene's own, else English. Alike in every command that writes pages.
Lang = Annotated[
    Optional[str],  # noqa: UP045
    typer.Option("--lang", metavar="CODE", help="language: en or de; the scene's project.language if not given"),
]


def refuse(when: str, given: dict[str, bool]) -> None:
    """Refuse the first option that is given though it means nothing."""
    for option in (name for name, is_given in given.items() if is_given):
        raise typer.BadParameter(f"has no meaning {when}", param_hint=option)
