"""`raycover COMMAND`: which commands there are, the options before them, and how errors leave.

Nothing heavy is imported here: `--help` must come at once.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import Annotated, Optional

import typer

from raycover.cli import models
from raycover.cli.commands import beginning, designing, installing, judging, looking, sharing
from raycover.cli.number_options import Commands
from raycover.cli.signs import let_all_print

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
#: In the order in which `--help` lists them.
COMMANDS: dict[str, Callable[..., None]] = {
    "map": looking.map_,
    "view": looking.view_,
    "probe": looking.probe,
    "walk": judging.walk_,
    "compare": looking.compare_,
    "prove": judging.prove_,
    "walktest": installing.walktest_,
    "reconcile": installing.reconcile_,
    "trips": judging.trips_,
    "bus": installing.bus_,
    "schedule": installing.schedule_,
    "heat": looking.heat_,
    "sweep": designing.sweep,
    "place": designing.place_,
    "report": sharing.report_,
    "check": judging.check_,
    "import": beginning.import_,
    "export": sharing.export_,
    "slides": sharing.slides_,
    "new": beginning.new_,
    "schema": beginning.schema_,
    "doctor": beginning.doctor_,
    "cache": beginning.cache_,
}
for _name, _command in COMMANDS.items():
    app.command(_name)(_command)


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
