"""A table as somebody sends it back, from whatever spreadsheet: cells that know where they stand."""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from zipfile import BadZipFile

from raycover.errors import InputError, MissingPart, Position, Problem

#: A table of answers is no larger than this (bytes).
_MOST_BYTES = 5_000_000
_DELIMITERS = (";", ",", "\t")


@dataclass(frozen=True)
class Cell:
    """The text of a cell without blanks around it, and where it stands."""

    text: str
    position: Position


@dataclass(frozen=True)
class Grid:
    """Rows of cells, empty rows left out; `delimiter` of a text file, empty for a workbook."""

    rows: tuple[tuple[Cell, ...], ...]
    delimiter: str


def read_cells(path: Path, known: Sequence[str]) -> Grid:
    """The cells of a .csv or .xlsx file; `known` names of columns tell the header, and so the delimiter.

    Raises InputError where it cannot be read, MissingPart for a workbook without openpyxl.
    """
    name = str(path)
    try:
        content = path.read_bytes()
    except OSError as error:
        raise _unreadable(name, error.strerror or str(error)) from error
    if len(content) > _MOST_BYTES:
        raise _unreadable(name, f"it has {len(content) / 1e6:.0f} MB; a table of answers has far less than 5")
    if content[:2] == b"PK":
        return Grid(tuple(_workbook(path, content)), "")
    text = _decoded(content)
    if "\0" in text:
        raise _unreadable(name, "it is no text; save it as CSV")
    delimiter = max(_DELIMITERS, key=lambda d: _n_known(text, d, known))
    rows = list(_rows(text, delimiter, name))
    return Grid(tuple(row for row in rows if any(cell.text for cell in row)), delimiter)


def _unreadable(name: str, why: str) -> InputError:
    return InputError([Problem("cannot-read", f"cannot read: {why}", Position(name), "name the filled-in table")])


def _decoded(content: bytes) -> str:
    """UTF-8, or UTF-16 by its mark, else what Western spreadsheets write."""
    if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return content.decode("utf-16", errors="replace")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return content.decode("cp1252", errors="replace")


def _n_known(text: str, delimiter: str, known: Sequence[str]) -> int:
    """How many of the columns the first line that has any would hold with a delimiter."""
    for line in text.splitlines()[:50]:
        names = [part.strip().strip('"').lower() for part in line.split(delimiter)]
        if n := sum(name in known for name in names):
            return n
    return 0


def _rows(text: str, delimiter: str, name: str) -> Iterator[tuple[Cell, ...]]:
    """Cells by RFC 4180: quotes hold delimiters and line ends, two quotes are one."""
    lines = text.splitlines()
    row: list[Cell] = []
    part, quoted, begun = "", False, (1, 1)
    fresh = True
    for number, line in enumerate(lines, 1):
        if not quoted:
            begun, fresh, part = (number, 1), True, ""
        column = 0
        while column < len(line):
            c = line[column]
            if quoted:
                if c == '"' and line[column + 1 : column + 2] == '"':
                    part, column = part + '"', column + 1
                elif c == '"':
                    quoted = False
                else:
                    part += c
            elif c == '"' and fresh:
                quoted, fresh = True, False
            elif c == delimiter:
                row.append(_cell(part, begun, name, lines))
                part, fresh, begun = "", True, (number, column + 2)
            else:
                part, fresh = part + c, fresh and c.isspace()
            column += 1
        if quoted:
            part += "\n"
            continue
        row.append(_cell(part, begun, name, lines))
        yield tuple(row)
        row = []
    if quoted:
        where = Position(name, begun[0], begun[1], lines[begun[0] - 1])
        raise InputError([Problem("open-quote", "a quote is opened and never closed", where, 'close it with "')])


def _cell(part: str, begun: tuple[int, int], name: str, lines: Sequence[str]) -> Cell:
    indent = len(part) - len(part.lstrip())
    return Cell(part.strip(), Position(name, begun[0], begun[1] + indent, lines[begun[0] - 1]))


def _workbook(path: Path, content: bytes) -> Iterator[tuple[Cell, ...]]:
    try:
        from openpyxl import load_workbook
    except ImportError as error:
        raise MissingPart("reading XLSX needs openpyxl: pip install 'raycover[xlsx]'; .csv works without") from error
    try:
        book = load_workbook(io.BytesIO(content), read_only=True, data_only=True)
    except (BadZipFile, KeyError, ValueError, OSError) as error:
        raise _unreadable(str(path), "it is no workbook") from error
    for number, values in enumerate(book.worksheets[0].iter_rows(values_only=True), 1):
        cells = tuple(
            Cell(_as_text(value), Position(str(path), number, column, "")) for column, value in enumerate(values, 1)
        )
        if any(cell.text for cell in cells):
            yield cells
    book.close()


def _as_text(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.12g}"
    return str(value).strip()
