"""Tables on stdout: rich on a terminal, plain aligned columns that never wrap when piped."""

from __future__ import annotations

import sys
from collections.abc import Sequence

import typer


def table(columns: Sequence[str], rows: Sequence[Sequence[str]], *, title: str = "", right: Sequence[int] = ()) -> None:
    """Print a table; `right`: indices of columns set flush right. Line ends in a cell become `; ` when piped."""
    if sys.stdout.isatty():
        _on_terminal(columns, rows, title, right)
        return
    flat = [[cell.replace("\n", "; ") for cell in row] for row in [columns, *rows]]
    widths = [max(len(row[k]) for row in flat) for k in range(len(columns))]
    if title:
        typer.echo(title)
    for row in flat:
        cells = (c.rjust(w) if k in right else c.ljust(w) for k, (c, w) in enumerate(zip(row, widths, strict=True)))
        typer.echo("  ".join(cells).rstrip())


def _on_terminal(columns: Sequence[str], rows: Sequence[Sequence[str]], title: str, right: Sequence[int]) -> None:
    from rich import box
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    grid = Table(title=title or None, title_justify="left", box=box.SIMPLE_HEAD, header_style="bold", pad_edge=False)
    for k, column in enumerate(columns):
        grid.add_column(column, justify="right" if k in right else "left", overflow="fold")
    for row in rows:
        grid.add_row(*(Text(cell) for cell in row))
    Console(highlight=False).print(grid)
