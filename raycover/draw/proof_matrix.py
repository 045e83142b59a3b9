"""A page for each matrix of a proof: places down, units across, and who trips from where."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from raycover.draw import palette, sheet
from raycover.draw.lettering import clean, named
from raycover.draw.page import Page
from raycover.draw.title_block import draw_block
from raycover.proving.matrices import NEITHER, UNWANTED, WANTED, Matrix
from raycover.proving.needs import Proof
from raycover.proving.proof_words import MATRIX_KEY, cell_words, matrix_words

#: Where the table stands (mm): its top right corner and the lowest foot.
_TOP, _FOOT = 176.0, 50.0
#: A cell is so wide at least and at most, and so high at least and at most; text grows with its height.
_CELL, _WIDEST = 7.8, 22.0
_HIGH, _HIGHEST = 5.2, 9.0
_NAMES, _UNITS = (14.0, 60.0), (6.0, 30.0)
_SIZE, _LARGE, _NOTE = 6.0, 7.5, 6.0


@dataclass(frozen=True)
class MatrixPart:
    """What of a matrix one page holds: rows and units from … to; room for names, size of a cell (mm), of type (pt).

    `upright`: units' names are too long to stand level over their columns.
    """

    matrix: Matrix
    rows: slice
    units: slice
    names_mm: float
    heads_mm: float
    cell_mm: float
    high_mm: float
    size_pt: float
    upright: bool


def matrix_parts(page: Page, matrices: tuple[Matrix, ...]) -> Iterator[MatrixPart]:
    """Every matrix in pages, no more rows and units on one than can be read."""
    for matrix in matrices:
        most = max(len(matrix.units), 1)
        high = min(max((_TOP - _UNITS[1] - _FOOT) / len(matrix.rows), _HIGH), _HIGHEST)
        size = _LARGE if high > 7.0 and most <= 16 else _SIZE
        names_mm = float(np.clip(_longest(page, matrix.rows, size), *_NAMES))
        width = sheet.RIGHT - sheet.MARGIN - names_mm
        across = max(int(width / _CELL), 1)
        across = int(np.ceil(most / np.ceil(most / across)))  # alike on all pages
        cell = min(width / min(across, most), _WIDEST)
        longest = _longest(page, matrix.units, size)
        upright = longest > cell
        heads_mm = float(np.clip(longest, *_UNITS)) if upright else _UNITS[0]
        down = int((_TOP - heads_mm - _FOOT) / high)
        for row in range(0, len(matrix.rows), down):
            for unit in range(0, most, across):
                rows, units = slice(row, row + down), slice(unit, unit + across)
                yield MatrixPart(matrix, rows, units, names_mm, heads_mm, cell, high, size, upright)


def _longest(page: Page, names: tuple[str, ...], size_pt: float) -> float:
    return max((page.lettering.extent(named(name), "bold", size_pt).width for name in names), default=0.0) + 3.0


def draw_matrix(page: Page, proof: Proof, part: MatrixPart, number: tuple[int, int]) -> None:
    """One page: the table, its key, and what it says in a sentence."""
    matrix = part.matrix
    state = [matrix.state] if matrix.state else []
    sheet.draw_title(page, proof.scene.title, " · ".join([f"Who trips whom: {matrix.title}", *state]))
    n = len(matrix.crossing)
    sheet.draw_headline(page, f"{n}", (f"unwanted trip{'s' * (n != 1)}", f"of {int((matrix.kind == UNWANTED).sum())}"))
    _key(page, matrix, _table(page, part) - 6.0)
    reserve = proof.scene.conditions.reserve_db
    draw_block(
        page, proof.scene, drawing="Proof of needs, who trips whom",
        conditions=f"{matrix.air} · reserve {reserve:g} dB", scale=None, number=number,
    )  # fmt: skip


def _table(page: Page, part: MatrixPart) -> float:
    """The table; where its foot lies."""
    matrix = part.matrix
    rows, units = matrix.rows[part.rows], matrix.units[part.units]
    left, top = sheet.MARGIN + part.names_mm, _TOP - part.heads_mm
    right = left + part.cell_mm * len(units)
    for k, name in enumerate(units):
        x = left + (k + 0.5) * part.cell_mm
        if part.upright:
            text = page.lettering.fit(named(name), "bold", part.size_pt, part.heads_mm - 1.5)
            page.text(x + 0.8, top + 1.2, text, part.size_pt, font="bold", color=palette.ACCENT, turn_deg=90)
        else:
            page.text(x, top + 1.5, named(name), part.size_pt, font="bold", color=palette.ACCENT, ha="center")
    page.text(sheet.MARGIN, top + 1.5, "Somebody in", _NOTE, color=palette.SECOND_INK)
    for i, name in enumerate(rows):
        y = top - i * part.high_mm
        page.rule(sheet.MARGIN, right, y, 0.4, palette.RULE)
        text = page.lettering.fit(named(name), "sans", part.size_pt, part.names_mm - 2.0)
        page.text(sheet.MARGIN, y - part.high_mm / 2 - 0.8, text, part.size_pt)
        for k in range(len(units)):
            row, column = i + part.rows.start, k + part.units.start
            share, kind = float(matrix.share[row, column]), int(matrix.kind[row, column])
            _cell(page, (left + k * part.cell_mm, y), (part.cell_mm, part.high_mm), share, kind, part.size_pt)
    foot = top - len(rows) * part.high_mm
    page.rule(sheet.MARGIN, right, foot, 0.4, palette.RULE)
    return foot


def _cell(
    page: Page, at: tuple[float, float], size: tuple[float, float], share: float, kind: int, size_pt: float
) -> None:
    """A cell with its upper left corner at (x, y): framed where wanted, dark where unwanted, plain otherwise."""
    (x, y), (width, high) = at, size
    clear = 0.35
    x0, y0, x1, y1 = x + clear, y - high + clear, x + width - clear, y - clear
    box = [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]
    dark = kind == UNWANTED and share > 0
    if dark:
        page.areas([[box]], 26.0, face=palette.INK)
    elif kind == WANTED:
        page.areas([[box]], 26.0, edge=palette.INK, width_pt=0.9)
    shown = cell_words(share, kind)
    if page.lettering.extent(shown, "bold", size_pt).width > width - 2 * clear - 0.6:
        shown = shown.replace(" ", "").removesuffix("%")
    page.text(
        x + width / 2, y - high / 2 - 0.8, shown, size_pt, font="sans" if kind == NEITHER else "bold", ha="center",
        color=palette.PAPER if dark else palette.SECOND_INK if kind == NEITHER else palette.INK,
    )  # fmt: skip


def _key(page: Page, matrix: Matrix, y: float) -> None:
    """What the cells mean, and the worst of it in words."""
    x = sheet.MARGIN
    for share, kind, text in (
        (0.98, WANTED, "the unit's own"), (0.04, UNWANTED, "another's: unwanted"), (0.3, NEITHER, "a unit of none"),
    ):  # fmt: skip
        _cell(page, (x, y), (11.0, _HIGH), share, kind, _SIZE)
        x += 13.0 + page.text(x + 12.5, y - _HIGH / 2 - 0.8, text, _NOTE).width + 5.0
    said = page.said(clean(matrix_words(matrix)))
    lines = page.lettering.wrap(f"{said[:1].upper()}{said[1:]}. {page.said(MATRIX_KEY)}", "sans", _NOTE, 277.0, 3)
    for number, line in enumerate(lines):
        page.text(sheet.MARGIN, y - _HIGH - 4.0 - 2.9 * number, line, _NOTE, color=palette.SECOND_INK)
