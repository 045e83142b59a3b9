"""The tables of the right column: rooms, gaps with their causes, and how many rows of each there is room for."""

from __future__ import annotations

import string
from collections.abc import Iterator, Sequence, Set
from dataclasses import dataclass

from raycover.detectors import Unit
from raycover.draw import palette, words
from raycover.draw.lettering import Lettering, clean, named
from raycover.draw.page import Page
from raycover.shares import percent
from raycover.solving.coverage import PlaneCoverage
from raycover.solving.gaps import Gap

_SIZE, _NOTE = 6.5, 6.0
_PITCH, _HEAD = 3.95, 4.3
#: From a table's rule to its heads, and from its last line to the next rule.
_ABOVE, _BELOW = 3.9, 2.75
#: Gaps smaller than this, or than this share of the area, are only counted: a cell or two at an edge.
_LEAST_M2, _LEAST_SHARE = 0.05, 1e-4
#: The last line of a wrapped cell comes this much closer.
_WRAPPED_PITCH = 2.75


@dataclass(frozen=True)
class Row:
    """Cells of a table row as text; `wrapped` are further lines of its last cell."""

    cells: tuple[str, ...]
    wrapped: tuple[str, ...] = ()
    strong: bool = False

    @property
    def height(self) -> float:
        return _PITCH + _WRAPPED_PITCH * len(self.wrapped)


@dataclass(frozen=True)
class Table:
    """Column heads, their places and alignments (mm from the left edge of the column), rows, a closing note."""

    heads: tuple[str, ...]
    places: tuple[tuple[float, str], ...]
    rows: tuple[Row, ...]
    note: str = ""
    pale_last: bool = False

    @property
    def height(self) -> float:
        lines = sum(r.height for r in self.rows) + (_PITCH if self.note else 0.0)
        return _ABOVE + _HEAD + lines - _PITCH + _BELOW


def as_many_as_fit(
    heads: tuple[str, ...], places: tuple[tuple[float, str], ...], rows: Sequence[Row], height: float,
    most: int | None = None,
) -> Table | None:  # fmt: skip
    """A table of the first rows, `most` of them, that there is room for (mm), and how many more there are; or None."""
    for n in range(len(rows) if most is None else min(len(rows), most), 0, -1):
        made = Table(heads, places, tuple(rows[:n]), f"{len(rows) - n} more" if n < len(rows) else "")
        if made.height <= height:
            return made
    return None


def letters(n: int) -> list[str]:
    """Letters of the gaps: a to z, then aa, ab, …"""

    def all_of_them() -> Iterator[str]:
        yield from string.ascii_lowercase
        for first in string.ascii_lowercase:
            for second in string.ascii_lowercase:
                yield first + second

    several = all_of_them()
    return [next(several) for _ in range(n)]


def detector_table(units: Sequence[Unit], lettering: Lettering, width: float, most: int = 4) -> Table:
    """Which detectors a plan's dots are: each sort with its number, and the first and last name of the file."""
    by_title: dict[str, list[Unit]] = {}
    for unit in units:
        by_title.setdefault(unit.title, []).append(unit)
    rows = []
    for title, some in sorted(by_title.items(), key=lambda item: -len(item[1]))[:most]:
        names = f"{clean(some[0].name)} to {clean(some[-1].name)}" if len(some) > 1 else clean(some[0].name)
        rows.append(Row((lettering.fit(clean(title), "sans", _SIZE, width - 12.0), str(len(some)))))
        rows.append(Row((lettering.fit(f"  {names}", "sans", _SIZE, width - 2.0), "")))
    rest = len(by_title) - min(len(by_title), most)
    more = f"{rest} more sort{'s' * (rest != 1)}; " if rest else ""
    note = f"{more}the schedule has all places"
    return Table(("Detectors, a dot each", ""), ((0.0, "left"), (width, "right")), tuple(rows), note)


def room_table(plane: PlaneCoverage, lettering: Lettering, width: float, n_most: int) -> Table:
    """Rooms with area and shares: all in the scene's order, or the largest and the rest in one line."""
    rooms: list[tuple[str, float, float, float]] = [(named(name), *figures) for name, figures in plane.rooms().items()]
    if plane.surface.room_names == ("extent",):
        rooms = [("Area mapped", *rooms[0][1:])]
    return share_table(plane, rooms, lettering, width, n_most, ("Room", "All rooms"))


def share_table(
    plane: PlaneCoverage,
    rooms: Sequence[tuple[str, float, float, float]],
    lettering: Lettering,
    width: float,
    n_most: int,
    heads: tuple[str, str],
) -> Table:
    """Parts of a plane (name, area, shares seen and assured); `heads` over their names, and for all together."""
    listed, rest = list(rooms), []
    if len(rooms) > n_most:
        # Of rooms alike in size those that are seen worst.
        order = sorted(range(len(rooms)), key=lambda k: (-round(rooms[k][1], 2), rooms[k][2]))
        kept = sorted(order[:n_most])
        listed, rest = [rooms[k] for k in kept], [rooms[k] for k in order[n_most:]]
    name_width = width - 30.5

    def row(name: str, area: float, seen: float, assured: float, *, strong: bool) -> Row:
        font = "bold" if strong else "sans"
        title = lettering.fit(clean(name), font, _SIZE, name_width)  # type: ignore[arg-type]
        return Row((title, words.area(area), percent(seen), percent(assured)), strong=strong)

    rows = [row(*r, strong=False) for r in listed]
    if len(rooms) > 1:
        rows.append(row(heads[1], plane.area_m2, plane.share, plane.assured_share, strong=True))
    return Table(
        (heads[0], "m²", "seen", "assured"),
        ((0, "left"), (width - 24.5, "right"), (width - 12.3, "right"), (width, "right")),
        tuple(rows),
        _rest([r[1] for r in rest], min(r[1] for r in listed)),
    )


def worth_listing(plane: PlaneCoverage) -> Sequence[Gap]:
    """The gaps of a plane that are more than a cell or two at an edge, the largest in any case."""
    least = max(_LEAST_M2, _LEAST_SHARE * plane.area_m2)
    return [gap for gap in plane.gaps if gap.area_m2 >= least] or plane.gaps[:1]


def gap_table(
    plane: PlaneCoverage,
    lettering: Lettering,
    width: float,
    height: float,
    n_most: int,
    stacked: Set[str] = frozenset(),
) -> Table:
    """The largest gaps with their causes that fit in a height (mm); the rest in one line.

    `stacked` are the names of all rooms of a building where they lie one above another.
    """
    heads = ("Gap", "m²", "widest", "why")
    # A first head longer than the English one pushes the others on.
    beside = sum(lettering.extent(head, "bold", _SIZE).width for head in heads[:2]) + 1.0
    on = max(beside - 11.4, 0.0)
    why_at = 23.0 + on
    places = ((0.0, "left"), (11.4 + on, "right"), (21.4 + on, "right"), (why_at, "left"))
    if not plane.gaps:
        note = "No gap: the whole area is seen." if plane.area_m2 else "Nothing to map: no free area."
        return Table(("Gaps",), ((0.0, "left"),), (), note)
    rows: list[Row] = []
    free = height - _ABOVE - _HEAD + _PITCH - _BELOW
    worth = worth_listing(plane)
    names = letters(min(len(worth), n_most))
    rooms = stacked or frozenset(plane.surface.room_names if plane.surface.stairs is None else ())
    for name, gap in zip(names, worth, strict=False):
        why = clean(words.cause(gap, rooms, stacked=bool(stacked)))
        if lettering.extent(why, "sans", _NOTE).width > width - why_at:
            why = clean(words.cause(gap, rooms, short=True, stacked=bool(stacked)))
        lines = lettering.wrap(why, "sans", _NOTE, width - why_at, 2)
        row = Row((name, words.area(gap.area_m2), f"{gap.widest_m:.1f} m", lines[0]), tuple(lines[1:]))
        last = len(rows) + 1 == len(plane.gaps)
        if row.height + (0 if last else _PITCH) > free:
            break
        rows.append(row)
        free -= row.height
    note = _rest([g.area_m2 for g in plane.gaps[len(rows) :]], plane.gaps[len(rows) - 1].area_m2 if rows else 0.0)
    return Table(heads, places, tuple(rows), note, pale_last=True)


def _rest(areas: Sequence[float], smallest_listed: float) -> str:
    """The line for what a table leaves out."""
    if not areas:
        return ""
    total = words.area(sum(areas))
    word = "smaller" if max(areas) < smallest_listed - 5e-3 else "more"
    return f"1 {word}, {total} m²" if len(areas) == 1 else f"{len(areas)} {word}, together {total} m²"


def draw_table(page: Page, table: Table, x: float, top: float, right: float) -> float:
    """Draw a table whose rule lies at `top`; where the next rule may lie."""
    page.rule(x, right, top, 0.5)
    y = top - _ABOVE
    for head, (place, ha) in zip(table.heads, table.places, strict=True):
        page.text(x + place, y, head, _SIZE, font="bold", ha=ha)  # type: ignore[arg-type]
    y -= _HEAD
    for index, row in enumerate(table.rows):
        if row.strong and index:
            page.rule(x, right, y + 2.95, 0.4, palette.RULE)
        for k, (text, (place, ha)) in enumerate(zip(row.cells, table.places, strict=True)):
            pale = table.pale_last and k == len(row.cells) - 1
            font = "bold" if row.strong or (table.pale_last and k == 0) else "sans"
            page.text(
                x + place, y, text, _NOTE if pale else _SIZE, font=font, ha=ha,  # type: ignore[arg-type]
                color=palette.SECOND_INK if pale else palette.INK,
            )  # fmt: skip
        for line in row.wrapped:
            y -= _WRAPPED_PITCH
            page.text(x + table.places[-1][0], y, line, _NOTE, color=palette.SECOND_INK)
        y -= _PITCH
    if table.note:
        page.text(x, y, table.note, _NOTE, color=palette.SECOND_INK)
        y -= _PITCH
    return y + _PITCH - _BELOW
