"""The words of a proof, flowing down a column and over to the next page: needs, remedies, what was assumed."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from raycover.draw import palette
from raycover.draw.lettering import Font, clean, named
from raycover.draw.page import Page
from raycover.draw.proof_marks import SMALL, draw_verdict
from raycover.proving.needs import NeedVerdict, PlaceVerdict
from raycover.proving.proof_words import (
    asked_words,
    chance_words,
    remedy_cost,
    seen_words,
    walked_words,
    way_words,
    why_words,
)
from raycover.proving.remedies import Remedy, Trouble
from raycover.signs import margin_words

_SIZE, _NOTE = 6.5, 6.0
_LINE, _WRAPPED = 3.95, 2.75
#: Of the way's words so many lines at most.
_MOST_LINES = 3
#: Of a sentence so many.
_MOST_NOTE_LINES = 8


@dataclass(frozen=True)
class Item:
    """A piece of the column: its height (mm) and what draws it with its top at y; `tied` to the next one.

    `heads` are drawn again over it where it comes first in a column.
    """

    height: float
    draw: Callable[[Page, float, float, float], None]
    tied: bool = False
    heads: tuple[Item, ...] = ()


def need_items(page: Page, verdict: NeedVerdict, places: Sequence[PlaceVerdict], width: float) -> Iterator[Item]:
    """A need's heading, the heads of its table, and a row a place."""
    chance = any(place.probability is not None for place in places)
    names = max(page.lettering.extent(_place_name(page, place), "sans", _SIZE).width for place in places)
    columns = _Columns(width, names, chance=chance, gap=verdict.need.largest_gap is not None)
    heading = Item(9.9, lambda page, x, y, right: _need_heading(page, verdict, x, y, right), tied=True)
    columns_of = Item(4.2, lambda page, x, y, right: columns.heads(page, verdict, x, y), tied=True)
    heads = (heading, columns_of)
    yield heading
    if said := why_words(verdict.need):
        why = page.lettering.wrap(clean(said), "sans", _NOTE, width - 4.2, _MOST_LINES)
        yield Item(_WRAPPED * len(why) + 0.9, lambda page, x, y, right: _lines(page, why, x + 4.2, y + 0.3), tied=True)
    yield columns_of
    for place in places:
        lines = page.lettering.wrap(
            page.way(clean(way_words(verdict, place))), "sans", _NOTE, width - columns.way, _MOST_LINES
        )
        yield Item(
            _LINE + _WRAPPED * (len(lines) - 1),
            lambda page, x, y, right, place=place, lines=lines: columns.row(page, verdict, place, lines, x, y),  # type: ignore[misc]
            heads=heads,
        )
    yield Item(2.4, lambda page, x, y, right: None)


def _need_heading(page: Page, verdict: NeedVerdict, x: float, y: float, right: float) -> None:
    page.rule(x, right, y, 0.5)
    draw_verdict(page, (x + SMALL + 0.1, y - 3.2), met=verdict.met, radius=SMALL)
    words = verdict.words
    if verdict.probability is not None:
        words = f"{words} ({chance_words(verdict.probability)})"
    extent = page.text(right, y - 4.1, page.said(words), _SIZE, font="bold", ha="right")
    name = page.lettering.fit(named(verdict.need.name), "bold", 7.5, right - x - extent.width - 7.0)
    page.text(x + 4.2, y - 4.1, name, 7.5, font="bold")
    asked = page.said(clean(asked_words(verdict.need)))
    page.text(
        x + 4.2, y - 7.7, page.lettering.fit(asked, "sans", _NOTE, right - x - 4.2), _NOTE,
        color=palette.SECOND_INK,
    )  # fmt: skip


def _lines(page: Page, lines: Sequence[str], x: float, y: float) -> None:
    for number, line in enumerate(lines):
        page.text(x, y - 2.0 - number * _WRAPPED, line, _NOTE, color=palette.SECOND_INK)


def _place_name(page: Page, place: PlaceVerdict) -> str:
    if place.site.piece < 0 and place.site.kind not in ("seat", "door"):
        return named(place.site.short)
    name = clean(place.site.short)  # a word of the package's is in it
    return page.said(name[:1].upper() + name[1:] if place.site.piece >= 0 else name)


class _Columns:
    """Where the columns of a need's table stand (mm from its left edge)."""

    def __init__(self, width: float, names: float, *, chance: bool, gap: bool) -> None:
        self.width = width
        self.name_width = float(np.clip(names + 0.5, 12.0, 22.0 if gap else 27.0))
        self.verdict = self.name_width + 1.0
        x = self.verdict + 17.0
        self.seen = x
        self.gap = (x := x + 11.0) if gap else None
        self.margin = (x := x + 14.5)
        self.chance = (x := x + 11.0) if chance else None
        self.unit = x + 2.5
        self.way = self.unit + 9.5

    def heads(self, page: Page, verdict: NeedVerdict, x: float, y: float) -> None:
        never = verdict.need.never
        seen = "trips" if never else "seen" if verdict.need.first_within is None else "first"
        seen = "longest" if verdict.need.routes is not None else seen
        heads: list[tuple[float | None, str, str]] = [
            (0.0, "Place", "left"), (self.verdict, "clear" if never else "met", "left"),
            (self.seen, seen, "right"), (self.gap, "gap", "right"),
            (self.margin, "margin", "right"), (self.chance, "chance", "right"), (self.unit, "unit", "left"),
            (self.way, "way to the spot that decides", "left"),
        ]  # fmt: skip
        for place, text, ha in heads:
            if place is not None:
                page.text(x + place, y - 2.6, text, _NOTE, color=palette.SECOND_INK, ha=ha)  # type: ignore[arg-type]

    def row(
        self, page: Page, verdict: NeedVerdict, place: PlaceVerdict, lines: Sequence[str], x: float, y: float
    ) -> None:
        found = place.figures
        base = y - 2.9
        name = _place_name(page, place)
        page.text(x, base, page.lettering.fit(name, "sans", _SIZE, self.name_width), _SIZE)
        draw_verdict(page, (x + self.verdict + SMALL, base + 0.8), met=place.met, radius=SMALL)
        page.text(x + self.verdict + 3.4, base, "yes" if place.met else "no", _SIZE, font="bold")
        for number, line in enumerate(lines):
            page.text(x + self.way, base - number * _WRAPPED, line, _NOTE)
        if verdict.need.only_area:
            return
        seen = walked_words(found) if verdict.need.walked else seen_words(found.share)
        page.text(x + self.seen, base, seen, _SIZE, ha="right")
        if self.gap is not None:
            page.text(x + self.gap, base, f"{found.largest_gap_m:.1f} m", _SIZE, ha="right")
        page.text(x + self.margin, base, margin_words(found.worst_db), _SIZE, ha="right")
        if self.chance is not None:
            page.text(x + self.chance, base, chance_words(place.probability), _SIZE, ha="right")
        unit = "" if place.way is None else page.lettering.fit(named(place.way.unit), "bold", _NOTE, 9.0)
        page.text(x + self.unit, base, unit, _NOTE, font="bold", color=palette.ACCENT)


def remedy_items(page: Page, trouble: Trouble, width: float) -> Iterator[Item]:
    """What would stop a unit from being tripped, best first."""
    cost_at, stops_at, left_at, quiet_at = width * 0.63, width * 0.375, width * 0.535, width * 0.61

    def heads(page: Page, x: float, y: float, right: float) -> None:
        heads = (
            (0.0, "Remedy, best first", "left"),
            (stops_at, "stops it", "left"),
            (left_at, "margin", "right"),
            (quiet_at, "quiet", "right"),
            (cost_at, "what it costs inside", "left"),
        )
        for place, text, ha in heads:
            page.text(x + place, y - 2.6, text, _NOTE, color=palette.SECOND_INK, ha=ha)  # type: ignore[arg-type]

    over = (
        Item(6.2, lambda page, x, y, right: _trouble_heading(page, trouble, x, y, right), tied=True),
        Item(4.2, heads, tied=True),
    )
    yield from over
    for remedy in trouble.remedies:
        said = remedy.words if not remedy.note else f"{remedy.words} ({remedy.note})"
        words = page.lettering.wrap(page.said(clean(said)), "sans", _NOTE, stops_at - 1.5, _MOST_LINES)
        cost_font: Font = "bold" if remedy.missed else "sans"
        costs = page.lettering.wrap(
            page.said(clean(remedy_cost(remedy))), cost_font, _NOTE, width - cost_at, _MOST_LINES
        )

        def row(
            page: Page,
            x: float,
            y: float,
            right: float,
            *,
            remedy: Remedy = remedy,
            words: Sequence[str] = words,
            costs: Sequence[str] = costs,
            font: Font = cost_font,
        ) -> None:
            base = y - 2.9
            draw_verdict(page, (x + stops_at + SMALL, base + 0.8), met=remedy.stops, radius=SMALL)
            page.text(x + stops_at + 3.4, base, "yes" if remedy.stops else "no", _SIZE, font="bold")
            left = margin_words(remedy.worst_db) if remedy.stops else "–"
            page.text(x + left_at, base, left, _SIZE, ha="right")
            page.text(x + quiet_at, base, chance_words(remedy.quiet), _SIZE, ha="right")
            for number, line in enumerate(words):
                page.text(x, base - number * _WRAPPED, line, _NOTE)
            for number, line in enumerate(costs):
                page.text(x + cost_at, base - number * _WRAPPED, line, _NOTE, font=font)

        yield Item(_LINE + _WRAPPED * (max(len(words), len(costs)) - 1), row, heads=over)
    yield Item(2.4, lambda page, x, y, right: None)


def _trouble_heading(page: Page, trouble: Trouble, x: float, y: float, right: float) -> None:
    page.rule(x, right, y, 0.5)
    text = f"What would keep {trouble.unit} from being tripped from {' and '.join(trouble.needs)}"
    page.text(x, y - 4.1, page.lettering.fit(page.said(clean(text)), "bold", _SIZE, right - x), _SIZE, font="bold")


def note_items(page: Page, heading: str, notes: Sequence[str], width: float) -> Iterator[Item]:
    """Sentences under a heading."""
    if not notes:
        return

    def head(page: Page, x: float, y: float, right: float) -> None:
        page.rule(x, right, y, 0.5)
        page.text(x, y - 3.9, heading, _SIZE, font="bold")

    over = Item(5.4, head, tied=True)
    yield over
    for note in notes:
        lines = page.lettering.wrap(page.said(clean(note)), "sans", _NOTE, width, _MOST_NOTE_LINES)

        def draw(page: Page, x: float, y: float, right: float, *, lines: Sequence[str] = lines) -> None:
            for number, line in enumerate(lines):
                page.text(x, y - 2.5 - number * _WRAPPED, line, _NOTE, color=palette.SECOND_INK)

        yield Item(_WRAPPED * len(lines) + 0.5, draw, heads=(over,))


def flow(items: Sequence[Item], height: float) -> list[list[Item]]:
    """Items in columns of a height (mm), tied ones with what follows them."""
    columns: list[list[Item]] = [[]]
    free = height
    position = 0
    while position < len(items):
        end = position + 1
        while items[end - 1].tied and end < len(items):
            end += 1
        together = items[position:end]
        needed = sum(item.height for item in together)
        if needed > free and columns[-1]:
            columns.append(list(together[0].heads))
            free = height - sum(item.height for item in columns[-1])
        columns[-1] += together
        free -= needed
        position = end
    return columns
