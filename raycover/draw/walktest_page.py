"""The sheet that goes to site: a plan a storey with numbered points, and the table to fill in by hand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from raycover.draw import palette, sheet, tables, words
from raycover.draw.lettering import ENGLISH, Wording, clean
from raycover.draw.page import PAPERS, Page, pdf_of
from raycover.draw.plan import DPI
from raycover.draw.png import save_png
from raycover.draw.projection import Projection
from raycover.draw.title_block import draw_block, state_shown
from raycover.draw.true_scale import dated
from raycover.draw.walktest_plan import Numbered, bounds_with, draw_storey_with, storey_shown
from raycover.proving.proof_words import chance_words
from raycover.scene.air import air_of
from raycover.walktest.making import Point, WalkTest
from raycover.whole_file import write_whole

#: The table's first line of text, and the foot of the page's words (mm).
_TOP, _FOOT = 178.0, 31.5
_SIZE, _NOTE = 6.5, 6.0
_LINE, _ROW = 2.75, 6.9
_BOX = 3.4


@dataclass(frozen=True)
class _Column:
    """A column of the table: its head, where it begins and how wide it is (mm)."""

    head: str
    x: float
    width: float


_COLUMNS = tuple(
    _Column(head, x, width)
    for head, x, width in (
        ("No", 10.0, 6.0), ("Room, place", 17.0, 32.0), ("From the walls", 50.5, 42.0), ("x, y (m)", 94.0, 19.0),
        ("What to do", 114.5, 36.0), ("Expected", 152.0, 15.0), ("Why here", 168.5, 58.0), ("yes", 229.0, 5.5),
        ("no", 236.0, 5.5), ("Remark", 243.5, 43.5),
    )
)  # fmt: skip


def draw_walk_test(
    test: WalkTest, folder: Path, *, paper: str = "A4", dpi: float = DPI, wording: Wording = ENGLISH
) -> list[str]:
    """Write `walk-test.pdf` and a PNG a page (`walk-test.png`, `walk-test 2.png`, …) into a folder; their names.

    Plans come on `paper` (A4 or A3), tables on A4.
    """
    names = []
    for number, page in enumerate(make_walk_test_pages(test, paper=paper, dpi=dpi, wording=wording), 1):
        names.append("walk-test.png" if number == 1 else f"walk-test {number}.png")
        save_png(page.pixels(), folder / names[-1], dpi=dpi)
    vectors = make_walk_test_pages(test, paper=paper, dpi=150, vector=True, wording=wording)
    pdf = pdf_of(vectors, title=f"{test.scene.title}: {wording('walk test')}", created=dated(test.scene.date))
    write_whole(folder / "walk-test.pdf", pdf)
    return [*names, "walk-test.pdf"]


def make_walk_test_pages(
    test: WalkTest, *, paper: str = "A4", dpi: float = DPI, vector: bool = False, wording: Wording = ENGLISH
) -> list[Page]:
    """Plans, then tables."""
    measure = Page(dpi=dpi, vector=vector, wording=wording)
    parts = _parted(measure, test.points)
    storeys = test.storeys
    n = len(storeys) + len(parts)
    pages = [
        _plan_page(test, storey, (number, n), Page(dpi=dpi, size=PAPERS[paper], vector=vector, wording=wording))
        for number, storey in enumerate(storeys, 1)
    ]
    for number, rows in enumerate(parts, len(storeys) + 1):
        pages.append(_table_page(test, rows, (number, n), Page(dpi=dpi, vector=vector, wording=wording)))
    return pages


def _plan_page(test: WalkTest, storey: str | None, number: tuple[int, int], page: Page) -> Page:
    points = [point for point in test.points if point.storey == storey]
    numbered = [Numbered(p.number, p.at[:2], feet=tuple(m.foot for m in p.measured)) for p in points]
    shown = storey_shown(test.building, storey)
    projection = Projection.fitted(bounds_with(shown, numbered), sheet.frame_on(page.size), clear=6.0)
    marked = draw_storey_with(
        page, test.building, shown, test.units, numbered, projection, ways=test.ways.get(storey, ()),
        dpi=page.dpi,
    )  # fmt: skip
    where = f", {storey}" if storey is not None else ""
    upper, lower = page.moved(page.wider, page.taller), page.moved(page.wider, 0.0)
    sheet.draw_title(page.moved(0.0, page.taller), test.scene.title, _subtitle(test, where))
    sheet.draw_frame(page, projection)
    sheet.draw_scale_bar(upper, projection)
    sheet.draw_north(upper, test.scene.north_deg)
    _block(page, test, f"Walk test{where}", projection.scale, number)
    metres = sum(float(np.linalg.norm(np.diff(way, axis=0), axis=1).sum()) for way in test.ways.get(storey, ()))
    many = "s" * (len(points) != 1)
    sheet.draw_headline(upper, str(len(points)), (f"point{many} to test{where},", f"{metres:.0f} m to walk"))
    page.moved(page.wider, page.taller).rule(sheet.COLUMN, sheet.RIGHT, 191.7, 1.1)
    key = sheet.Key(marked.sorts, False, False, marked.masked)
    foot = sheet.COLUMN_FOOT + key.height + 9.5
    table = _short_table(page, points, 187.0 - foot + page.taller)
    tables.draw_table(upper, table, sheet.COLUMN, 187.0, sheet.RIGHT)
    top = sheet.COLUMN_FOOT + key.height + 5.0
    lower.rule(sheet.COLUMN, sheet.RIGHT, top + 4.4, 0.5)
    lower.lines([[(sheet.COLUMN, top + 0.8), (sheet.COLUMN + 4.6, top + 0.8)]], palette.ACCENT, 0.55, 25.0,
                dashes=(2.2, 1.6))  # fmt: skip
    lower.text(sheet.COLUMN + 6.5, top, "way from point to point", 6.0)
    lower.lines([[(sheet.COLUMN + 33.0, top + 0.8), (sheet.COLUMN + 37.0, top + 0.8)]], palette.SECOND_INK, 0.35, 25.0)
    lower.discs([(sheet.COLUMN + 37.0, top + 0.8)], 0.35, 25.0, face=palette.SECOND_INK)
    lower.text(sheet.COLUMN + 38.5, top, "measured", 6.0)
    sheet.draw_key(lower, key)
    return page


def _subtitle(test: WalkTest, where: str = "") -> str:
    watched = list(dict.fromkeys(name for point in test.points for name in point.watch))
    what = f"watch {', '.join(watched)} only" if watched else "noticed by any detector counts"
    return " · ".join([f"Walk test{where}: {what}", *state_shown(test.scene)])


def _block(page: Page, test: WalkTest, drawing: str, scale: int | None, number: tuple[int, int]) -> None:
    conditions = [air_of(test.scene), words.doors(test.building) or "no doors"]
    draw_block(
        page, test.scene, drawing=", ".join([drawing, *state_shown(test.scene)]), conditions=" · ".join(conditions),
        scale=scale, number=number,
    )  # fmt: skip


def _short_table(page: Page, points: Sequence[Point], height: float) -> tables.Table:
    """Numbers with what is done there and what is expected; as many as there is room for."""
    width = sheet.RIGHT - sheet.COLUMN
    places = ((0.0, "left"), (7.0, "left"), (width, "right"))
    answers = max((page.lettering.extent(point.expected, "sans", 6.5).width for point in points), default=0.0)
    room = width - places[1][0] - answers - 1.5
    said = [page.lettering.fit(clean(f"{p.move.key}, {p.place or p.room}"), "sans", _SIZE, room) for p in points]
    rows = [tables.Row((str(p.number), what, p.expected)) for p, what in zip(points, said, strict=True)]
    kept = rows
    while kept and tables.Table(("No",), places[:1], tuple(kept), "more").height > height:
        kept = kept[:-1]
    note = f"{len(rows) - len(kept)} more in the table" if len(kept) < len(rows) else ""
    return tables.Table(("No", "do", "expected"), places, tuple(kept), note)


@dataclass(frozen=True)
class _Row:
    """A row of the table: a point, and the lines of each cell in the order of the columns."""

    point: Point
    lines: tuple[tuple[str, ...], ...]

    @property
    def height(self) -> float:
        return max(_ROW, 2.6 + _LINE * max(len(lines) for lines in self.lines))


def _row(page: Page, point: Point) -> _Row:
    place = (
        point.room if not point.place else point.place if point.room in point.place else f"{point.room}, {point.place}"
    )
    walls = [m.words for m in point.measured] or ["outside every room"]
    texts = ("", place, "", f"{point.at[0]:.2f}, {point.at[1]:.2f}", point.move.said(point.unit),
             f"{point.expected}", _why(page, point), "", "", "")  # fmt: skip
    lines = [
        tuple(page.lettering.wrap(clean(text), "sans", _NOTE, column.width, 2)) if text else ()
        for text, column in zip(texts, _COLUMNS, strict=True)
    ]
    lines[0] = (str(point.number),)
    lines[5] = (point.expected, chance_words(point.chance))
    lines[2] = tuple(page.lettering.fit(clean(text), "sans", _NOTE, _COLUMNS[2].width) for text in walls)
    return _Row(point, tuple(lines))


def _why(page: Page, point: Point) -> str:
    """Why a point is there, in the page's language."""
    if page.lettering.wording is ENGLISH:
        return point.why
    wording = page.lettering.wording
    return wording.done(point.why_in(wording.label, wording.course))


def _parted(page: Page, points: Sequence[Point]) -> list[list[_Row]]:
    """Rows page by page."""
    parts: list[list[_Row]] = [[]]
    free = _TOP - 9.0 - _FOOT
    for point in points:
        row = _row(page, point)
        if row.height > free and parts[-1]:
            parts.append([])
            free = _TOP - 9.0 - _FOOT
        parts[-1].append(row)
        free -= row.height
    return parts


def _table_page(test: WalkTest, rows: Sequence[_Row], number: tuple[int, int], page: Page) -> Page:
    sheet.draw_title(page, test.scene.title, _subtitle(test))
    for x, label in ((150.0, "Tested by"), (222.0, "Date, air °C")):
        page.text(x, 188.4, label, _NOTE, color=palette.SECOND_INK)
        page.rule(x + 17.0, x + 65.0, 187.6, 0.4)
    page.rule(sheet.MARGIN, sheet.RIGHT, _TOP + 4.4, 1.1)
    for column in _COLUMNS:
        page.text(column.x, _TOP, column.head, _SIZE, font="bold")
    y = _TOP - 3.0
    page.rule(sheet.MARGIN, sheet.RIGHT, y, 0.5)
    for row in rows:
        _draw_row(page, row, y)
        y -= row.height
        page.rule(sheet.MARGIN, sheet.RIGHT, y, 0.3, palette.RULE)
    _block(page, test, "Walk test, table", None, number)
    page.text(
        sheet.MARGIN, 28.6, "First set the shortest hold time, or the units' test mode. At each point ten seconds of "
        "the movement, after ten of rest; tick yes if a unit's light or the lamp answers.", _NOTE,
        color=palette.SECOND_INK,
    )  # fmt: skip
    return page


def _draw_row(page: Page, row: _Row, top: float) -> None:
    for k, (column, lines) in enumerate(zip(_COLUMNS, row.lines, strict=True)):
        for number, line in enumerate(lines):
            font = "bold" if k == 0 else "sans"
            size = 7.5 if k == 0 else _NOTE
            color = palette.SECOND_INK if column.head == "Why here" else palette.INK
            page.text(column.x, top - 3.5 - number * _LINE, line, size, font=font, color=color)  # type: ignore[arg-type]
        if column.head in ("yes", "no"):
            x0, y1 = column.x, top - 1.6
            box = [(x0, y1 - _BOX), (x0 + _BOX, y1 - _BOX), (x0 + _BOX, y1), (x0, y1)]
            page.areas([[box]], 5.0, edge=palette.INK, width_pt=0.6)
