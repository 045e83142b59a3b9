"""The language of what a client is shown: that of `--lang`, else the scene's own, else English."""

from __future__ import annotations

from typing import Annotated, Optional

import typer

#: The option, alike in every command that writes pages.
Lang = Annotated[
    Optional[str],  # noqa: UP045
    typer.Option("--lang", metavar="CODE", help="language: en or de; the scene's project.language if not given"),
]
