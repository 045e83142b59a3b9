"""Reading a filled-in walk test: every row's place and answer, or everything that is wrong with the table at once."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from functools import cache
from pathlib import Path

from raycover.errors import InputError, Position, Problem, did_you_mean, nearest
from raycover.exchange.cells import Cell, read_cells
from raycover.language import Language, language, languages
from raycover.scene.quantities import LARGEST_M
from raycover.walktest.answers import Answer, Answers
from raycover.walktest.marking import code_of
from raycover.walktest.moves import MOVES

#: Columns of a table; what must be there, and what else they may be called.
COLUMNS = ("no", "storey", "room", "place", "x_m", "y_m", "z_m", "from_walls", "move", "how", "watch", "expected",
           "chance", "why", "state", "code", "seen", "remark")  # fmt: skip
_NEEDED = ("no", "x_m", "y_m", "seen")
_ALSO = {"x": "x_m", "y": "y_m", "z": "z_m", "number": "no", "noticed": "seen", "point": "no"}
_YES = {"yes", "y", "ja", "j", "1", "x", "true", "wahr", "✓", "✔", "☑", "☒", "seen", "noticed"}
_NO = {"no", "n", "nein", "0", "-", "–", "false", "falsch", "☐"}
_NUMBER = re.compile(r"[+\-−]?\d+(?:[.,]\d+)?|[+\-−]?[.,]\d+")
_FEET = re.compile(r"(ft|feet|foot|in|inch|inches|yd)\b|['\"′″]", re.IGNORECASE)
_FOOT = 0.3048


def heads(words: Language) -> tuple[str, ...]:
    """The columns' names in a language, in their order."""
    return tuple(words[f"walk test {name}"] for name in COLUMNS)


@cache
def _known_heads() -> dict[str, str]:
    """{what a column may be called in any language: its name}."""
    found = dict(_ALSO)
    for code in languages():
        words = language(code)
        found |= {_as_key(head): name for head, name in zip(heads(words), COLUMNS, strict=True)}
    return found


@cache
def _known_moves() -> dict[str, str]:
    """{what a move is called in any language: its key}."""
    return {language(code)[f"move {key}"].lower(): key for code in languages() for key in MOVES}


@cache
def _words_for_all() -> frozenset[str]:
    return frozenset({"", "any", "all", *(language(code)["watch any"].lower() for code in languages())})


def read_results(path: Path) -> Answers:
    """The answers of a table (.csv or .xlsx), rows without one skipped and counted.

    Raises InputError with every problem of the table, MissingPart for a workbook without openpyxl.
    """
    grid = read_cells(path, (*COLUMNS, *_known_heads()))
    problems: list[Problem] = []
    head = next((k for k, row in enumerate(grid.rows) if _is_head(row)), None)
    if head is None:
        where = grid.rows[0][0].position if grid.rows else Position(str(path))
        raise InputError(
            [Problem("no-columns", "no row names the columns of a walk test", where,
                     f"the first row names them: {', '.join(_NEEDED)} and, if there are any, {_others()}")]
        )  # fmt: skip
    columns = _columns(grid.rows[head], problems)
    if problems:
        raise InputError(problems)
    reader = _Reader(columns, len(grid.rows[head]), grid.delimiter, problems)
    for row in grid.rows[head + 1 :]:
        reader.take(row)
    if not reader.answers and not problems:
        where = Position(str(path))
        problems.append(Problem("no-answers", f"none of {reader.n_blank} points has an answer", where,
                                "write yes or no in the column seen"))  # fmt: skip
    if problems:
        raise InputError(problems)
    return Answers(tuple(reader.answers), reader.n_blank, reader.state)


def _others() -> str:
    return ", ".join(name for name in ("move", "z_m", "watch", "state", "code", "remark"))


def _key(cell: Cell) -> str:
    name = _as_key(cell.text)
    return _known_heads().get(name, name)


def _as_key(text: str) -> str:
    return text.lower().replace(" ", "_").strip("_:.")


def _is_head(row: tuple[Cell, ...]) -> bool:
    names = [_key(cell) for cell in row]
    return sum(name in COLUMNS for name in names) >= 2


def _columns(row: tuple[Cell, ...], problems: list[Problem]) -> dict[str, int]:
    """{column: where it stands}."""
    found: dict[str, int] = {}
    for k, cell in enumerate(row):
        name = _key(cell)
        if name[:1] in ("x", "y", "z") and _FEET.search(name.replace("_", " ")):
            problems.append(Problem("other-units", f'the column "{cell.text}" is in another unit', cell.position,
                                    "give places in metres, in columns x_m and y_m"))  # fmt: skip
        if name in found:
            problems.append(
                Problem("same-column", f'two columns are called "{cell.text}"', cell.position, "take one out")
            )
        if name in COLUMNS:
            found.setdefault(name, k)
    spare = [_key(cell) for cell in row if cell.text and _key(cell) not in COLUMNS]
    for name in _NEEDED:
        if name not in found and not problems:
            near = nearest(name, spare)
            hint = f'is "{near}" meant?' if near else f"add it; {', '.join(_NEEDED)} must be there"
            problems.append(Problem("missing-column", f'there is no column "{name}"', row[0].position, hint))
    return found


class _Reader:
    """Reads row after row; what is wrong goes to `problems`."""

    def __init__(self, columns: Mapping[str, int], width: int, delimiter: str, problems: list[Problem]) -> None:
        self.columns, self.width, self.delimiter, self.problems = columns, width, delimiter, problems
        self.answers: list[Answer] = []
        self.n_blank = 0
        self.state: str | None = None
        self._state_at: Position | None = None
        self._first: dict[tuple[object, ...], Answer] = {}
        self._numbers: dict[int, Position] = {}

    def _problem(self, code: str, message: str, where: Position, help_: str) -> None:
        self.problems.append(Problem(code, message, where, help_))

    def _cell(self, row: tuple[Cell, ...], name: str) -> Cell:
        k = self.columns.get(name)
        if k is None or k >= len(row):
            last = row[-1].position
            return Cell("", Position(last.file, last.line, last.column, last.text))
        return row[k]

    def take(self, row: tuple[Cell, ...]) -> None:
        before = len(self.problems)
        if len(row) > self.width and any(cell.text for cell in row[self.width :]):
            comma = " (a comma for decimals needs semicolons between the columns)" if self.delimiter == "," else ""
            self._problem("too-many-cells", f"the row has {len(row)} cells, the heading {self.width}{comma}",
                          row[self.width].position, "put texts with the separator in quotes")  # fmt: skip
            return
        seen = self._seen(self._cell(row, "seen"))
        number = self._number(self._cell(row, "no"))
        x, y = (self._metres(self._cell(row, name), name, needed=True) for name in ("x_m", "y_m"))
        z = self._metres(self._cell(row, "z_m"), "z_m", needed=False)
        move = self._move(self._cell(row, "move"))
        watch = self._watch(self._cell(row, "watch"))
        self._state(self._cell(row, "state"))
        if len(self.problems) > before or number is None or x is None or y is None or move is None:
            return
        here = self._cell(row, "no").position
        if not self._as_handed_out(row, number, (x, y, z), move, watch):
            return
        if seen is None:
            self.n_blank += 1
            return
        answer = Answer(number, (x, y, z), move, watch, seen, self._cell(row, "remark").text, here)
        key = (round(x, 2), round(y, 2), None if z is None else round(z, 2), move, watch)
        if (first := self._first.get(key)) is not None:
            twice = "the same place and move are" if first.number != number else f"point {number} is"
            if first.seen == seen:
                self._problem("same-point", f"{twice} there twice (first on line {first.position.line})", here,
                              "take one of the two rows out")  # fmt: skip
            else:
                self._problem(
                    "contradiction", f"{twice} answered yes and no (first on line {first.position.line})", here,
                    "keep the answer that holds; if it was noticed now and then, write that as a remark",
                )  # fmt: skip
            return
        if number in self._numbers:
            self._problem("same-number", f"two points have the number {number} (first on line "
                          f"{self._numbers[number].line})", here, "give your own point another number")  # fmt: skip
            return
        self._first[key], self._numbers[number] = answer, here
        self.answers.append(answer)

    def _seen(self, cell: Cell) -> bool | None:
        word = cell.text.lower().rstrip(".!")
        if not word:
            return None
        if word not in _YES | _NO:
            self._problem("no-answer", f'"{cell.text}" is neither yes nor no', cell.position,
                          "write yes or no (1 or 0, x, ja or nein do as well), or leave it empty")  # fmt: skip
        return word in _YES

    def _number(self, cell: Cell) -> int | None:
        if re.fullmatch(r"\d{1,4}(?:\.0)?", cell.text):
            return int(float(cell.text))
        what = f'"{cell.text}" is no number of a point' if cell.text else "the row has no number"
        self._problem(
            "no-number", what, cell.position, "give the number on the sheet, or one of your own for a new point"
        )
        return None

    def _metres(self, cell: Cell, name: str, *, needed: bool) -> float | None:
        text = re.sub(r"\s*m$", "", cell.text)
        if not text:
            if needed:
                self._problem("no-place", f"the row has no {name}", cell.position,
                              "points are known by their place: keep x_m and y_m as on the sheet")  # fmt: skip
            return None
        if not _NUMBER.fullmatch(text):
            if _FEET.search(text):
                self._problem(
                    "other-units", f'"{cell.text}" is in another unit', cell.position, "give places in metres"
                )
            else:
                self._problem("not-a-number", f'"{cell.text}" is no number of metres', cell.position,
                              "write 3.20 or 3,20")  # fmt: skip
            return None
        value = float(text.replace(",", ".").replace("−", "-"))
        if not math.isfinite(value) or abs(value) > LARGEST_M:
            self._problem("too-far", f"{cell.text} m is beyond any building", cell.position, "give places in metres")
            return None
        return value

    def _move(self, cell: Cell) -> str | None:
        word = cell.text.lower() or "walk"
        if word in _known_moves():
            return _known_moves()[word]
        self._problem("unknown-move", f'"{cell.text}" is no move', cell.position, did_you_mean(word, tuple(MOVES)))
        return None

    def _watch(self, cell: Cell) -> tuple[str, ...]:
        if cell.text.lower() in _words_for_all():
            return ()
        return tuple(name.strip() for name in re.split(r"[;,]", cell.text) if name.strip())

    def _state(self, cell: Cell) -> None:
        if not cell.text:
            return
        if self.state is not None and cell.text != self.state:
            first = self._state_at.line if self._state_at is not None else 0
            self._problem("two-states", f'this row is of state "{cell.text}", others of "{self.state}" (line {first})',
                          cell.position, "reconcile the answers of one state at a time")  # fmt: skip
            return
        self.state, self._state_at = cell.text, cell.position

    def _as_handed_out(
        self,
        row: tuple[Cell, ...],
        number: int,
        at: tuple[float, float, float | None],
        move: str,
        watch: tuple[str, ...],
    ) -> bool:
        """Whether a row's code still fits its place: nobody moved a point, or mixed up rows."""
        cell = self._cell(row, "code")
        if not cell.text:
            return True
        x, y, z = at[0], at[1], 0.0 if at[2] is None else at[2]

        def fits(x: float, y: float, z: float) -> bool:
            return code_of(number, (x, y, z), move, watch) == cell.text.upper()

        if fits(x, y, z):
            return True
        what, where = f"point {number} is not as its sheet has it: number, place, move or units were changed", row[0]
        for factor, unit in ((_FOOT, "feet"), (0.001, "millimetres"), (0.01, "centimetres")):
            if fits(x * factor, y * factor, z * factor) or fits(x * factor, y * factor, z):
                self._problem("other-units", f"point {number}: its place is in {unit}", self._cell(row, "x_m").position,
                              "give places in metres")  # fmt: skip
                return False
        if fits(y, x, z):
            what, where = f"point {number}: x and y are swapped", self._cell(row, "x_m")
        self._problem("moved", what, where.position,
                      "put it back as handed out; if you stood elsewhere, write where and empty its code")  # fmt: skip
        return False
