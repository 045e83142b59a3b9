"""The words and small plans of a proof that say what would mend a need: remedies best first, now and then."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from raycover.draw import palette
from raycover.draw.lettering import Font, clean
from raycover.draw.page import Box, Page
from raycover.draw.proof_marks import SMALL, draw_verdict
from raycover.draw.proof_tables import Item
from raycover.listing import listed
from raycover.proving.mending import Mend, Mending
from raycover.proving.mending_words import MendRow, mend_rows, mend_words, mending_notes, mending_title, seen_head

_SIZE, _NOTE = 6.5, 6.0
_LINE, _WRAPPED = 3.95, 2.75
_MOST_LINES, _MOST_WORDS = 6, 14
#: Two small plans side by side: the space between them and for words above (mm).
_BETWEEN, _ABOVE = 4.0, 6.6
#: What draws a small plan in a box (mm): of the need as it stands, and as it would be.
DrawPlan = Callable[[Page, Box], None]


@dataclass(frozen=True)
class SmallPlans:
    """What draws the need as it stands and as it would be, and how high (mm) a plan of a width (mm) is."""

    now: DrawPlan
    then: DrawPlan
    height: Callable[[float], float]


def mending_items(page: Page, mending: Mending, width: float, plans: SmallPlans | None = None) -> Iterator[Item]:
    """A need's heading, a row a remedy, what stays missing, and two small plans where the best one helps."""
    columns = _Columns(width, seen_head(mending), gap=any(mend.gap_m > 0 for mend in mending.remedies))
    title = page.lettering.wrap(page.said(clean(mending_title(mending))), "bold", _SIZE, width, 2)

    def head(page: Page, x: float, y: float, right: float) -> None:
        page.rule(x, right, y, 0.5)
        for number, line in enumerate(title):
            page.text(x, y - 4.1 - number * _WRAPPED, line, _SIZE, font="bold")

    over = [Item(6.2 + _WRAPPED * (len(title) - 1), head, tied=True)]
    if mending.remedies:
        over.append(Item(4.2, columns.heads, tied=True))
    yield from over
    for one in mend_rows(mending):
        yield columns.row(page, one, tuple(over))
    if said := mending_notes(mending):
        lines = page.lettering.wrap(page.said(clean(said)), "sans", _NOTE, width, _MOST_LINES)

        def note(page: Page, x: float, y: float, right: float) -> None:
            for number, line in enumerate(lines):
                page.text(x, y - 2.9 - number * _WRAPPED, line, _NOTE, color=palette.SECOND_INK)

        yield Item(_LINE + _WRAPPED * (len(lines) - 1), note)
    if plans is not None and mending.best is not None:
        yield _plans(page, mending.best, width, plans)
    yield Item(2.4, lambda page, x, y, right: None)


class _Columns:
    """Where the columns of a table of remedies stand (mm from its left edge)."""

    def __init__(self, width: float, head: str, *, gap: bool) -> None:
        self.seen_head = {"unnoticed for": "longest", "noticed after": "after"}.get(head, head)
        self.words = width * (0.34 if gap else 0.38)
        self.mends = self.words + 1.5
        self.seen = self.mends + 20.0
        self.gap = self.seen + 10.0 if gap else None
        self.margin = (self.seen if self.gap is None else self.gap) + 14.0
        self.chance = self.margin + 10.5
        self.effect = self.chance + 2.5
        self.width = width

    def heads(self, page: Page, x: float, y: float, right: float) -> None:
        heads: tuple[tuple[float | None, str, str], ...] = (
            (0.0, "Remedy, best first", "left"), (self.mends, "mends it", "left"), (self.seen, self.seen_head, "right"),
            (self.gap, "gap", "right"), (self.margin, "margin", "right"), (self.chance, "chance", "right"),
            (self.effect, "what it asks for, and else", "left"),
        )  # fmt: skip
        for place, text, ha in heads:
            if place is not None:
                page.text(x + place, y - 2.6, text, _NOTE, color=palette.SECOND_INK, ha=ha)  # type: ignore[arg-type]

    def row(self, page: Page, one: MendRow, heads: tuple[Item, ...]) -> Item:
        words = page.lettering.wrap(page.said(clean(one.words)), "sans", _NOTE, self.words, _MOST_WORDS)
        effect = f"{page.said(one.cost)}; {page.said(clean(one.effect))}"
        font: Font = "bold" if one.harms else "sans"
        effects = page.lettering.wrap(effect, font, _NOTE, self.width - self.effect, _MOST_LINES)

        def draw(page: Page, x: float, y: float, right: float) -> None:
            base = y - 2.9
            draw_verdict(page, (x + self.mends + SMALL, base + 0.8), met=one.mend.mends, radius=SMALL)
            page.text(x + self.mends + 3.4, base, page.said(one.mends), _SIZE, font="bold")
            page.text(x + self.seen, base, one.seen, _SIZE, ha="right")
            if self.gap is not None:
                page.text(x + self.gap, base, f"{one.mend.gap_m:.1f} m", _SIZE, ha="right")
            page.text(x + self.margin, base, one.margin, _SIZE, ha="right")
            page.text(x + self.chance, base, one.chance, _SIZE, ha="right")
            for number, line in enumerate(words):
                page.text(x, base - number * _WRAPPED, line, _NOTE)
            for number, line in enumerate(effects):
                page.text(x + self.effect, base - number * _WRAPPED, line, _NOTE, font=font)

        return Item(_LINE + _WRAPPED * (max(len(words), len(effects)) - 1), draw, heads=heads)


def _briefly(mend: Mend) -> str:
    """What a remedy changes, for a caption: of several changes the units and zones."""
    return mend_words(mend) if mend.second is None else f"{listed([c.unit for c in mend.changes])} changed or new"


def _plans(page: Page, best: Mend, width: float, plans: SmallPlans) -> Item:
    half = (width - _BETWEEN) / 2
    height = plans.height(half) + _ABOVE + 1.0
    captions: Sequence[str] = ("As it stands", f"With the first: {_briefly(best)}")

    def draw(page: Page, x: float, y: float, right: float) -> None:
        for k, (caption, plan) in enumerate(zip(captions, (plans.now, plans.then), strict=True)):
            left = x + k * (half + _BETWEEN)
            page.text(
                left, y - 4.6, page.lettering.fit(page.said(clean(caption)), "bold", _NOTE, half), _NOTE, font="bold"
            )
            plan(page, (left, y - height + 1.0, left + half, y - _ABOVE))

    return Item(height, draw)
