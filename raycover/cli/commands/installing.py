"""Commands for what is ordered, wired and tested on site: `bus`, `schedule`, `walktest`, `reconcile`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Optional

import typer

from raycover.cli.options import AsJson, InState, Lang, ResultsIn, SceneFile


def bus_(scene: SceneFile, json: AsJson = False) -> None:
    """Check control lines: addresses, current, voltage drop, hold timers; exit code 1 where a limit is passed."""
    from raycover.cli import wiring

    wiring.bus(scene, as_json=json)


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


def reconcile_(
    scene: SceneFile,
    results: Annotated[Path, typer.Argument(metavar="RESULTS", help="the filled-in table, .csv or .xlsx")],
    output: ResultsIn = Path("walktest"),
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
