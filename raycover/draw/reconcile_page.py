"""What came back from site, on the plan: points as predicted or not, figures, and the correction they support."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np

from raycover.draw import palette, sheet, words
from raycover.draw.legend import draw_classes
from raycover.draw.lettering import ENGLISH, Wording, clean
from raycover.draw.page import Box, Page, pdf_of
from raycover.draw.plan import DPI
from raycover.draw.png import save_png
from raycover.draw.projection import Projection
from raycover.draw.proof_tables import Item, flow, note_items
from raycover.draw.title_block import draw_block, state_shown
from raycover.draw.true_scale import dated
from raycover.draw.walktest_plan import (
    SMALL,
    Numbered,
    Sort,
    bounds_with,
    draw_mark,
    draw_storey_with,
    storey_shown,
)
from raycover.scene.air import air_of
from raycover.signs import margin_words
from raycover.solving.coverage import Coverage, PlaneCoverage
from raycover.walktest.reconciling import Estimate, Share, Table
from raycover.walktest.returned import Compared, Returned, conclusions, differing, estimate_words
from raycover.walktest.unknowns import AS_BUILT_DB, LAPSE, NOISE_DB
from raycover.whole_file import write_whole

_PANEL: Box = (10.0, 46.0, 150.0, 176.0)
_COLUMN, _TOP, _FOOT = 159.0, 178.0, 31.0
_SIZE, _NOTE = 6.5, 6.0
_SORTS: tuple[Sort, ...] = (
    "noticed as predicted", "quiet as predicted", "missed though predicted", "noticed though not predicted"
)  # fmt: skip
#: An unknown of whose prior's variance less than this share was taken away is not listed.
_WORTH = 0.05
#: What an answer is assumed to hang on besides the margin.
ASSUMED = (
    f"An answer is yes with the chance {LAPSE / 2:.0%} + {1 - LAPSE:.0%} · Φ(margin / {NOISE_DB:g} dB): where the feet "
    "stand, how a body is turned, a tick in the wrong row. What the answers say: all unknowns free at once; proposed: "
    "only those that the answers need, the others as they are. ± one standard deviation; before any answer: spreads of "
    f"the scene's doubt, and {AS_BUILT_DB:g} dB for a wall that is not built as drawn. Intervals: 95 %, by Wilson. A "
    "reach is that of a unit with the person who walked: another may differ by several dB."
)


def draw_reconciliation(
    returned: Returned, coverage: Coverage, folder: Path, *, dpi: float = DPI, wording: Wording = ENGLISH
) -> list[str]:
    """Write `reconcile.pdf` and a PNG a page into a folder; their names."""
    names = []
    for number, page in enumerate(make_reconciliation(returned, coverage, dpi=dpi, wording=wording), 1):
        names.append("reconcile.png" if number == 1 else f"reconcile {number}.png")
        save_png(page.pixels(), folder / names[-1], dpi=dpi)
    vectors = make_reconciliation(returned, coverage, dpi=150, vector=True, wording=wording)
    scene = returned.scene
    pdf = pdf_of(vectors, title=f"{scene.title}: {wording('walk test reconciled')}", created=dated(scene.date))
    write_whole(folder / "reconcile.pdf", pdf)
    return [*names, "reconcile.pdf"]


def make_reconciliation(
    returned: Returned, coverage: Coverage, *, dpi: float = DPI, vector: bool = False, wording: Wording = ENGLISH
) -> list[Page]:
    """A page a storey that has points, the words beside the first; what finds no room goes on beside the next.

    `coverage` is that of a walking person, for the map beneath.
    """
    measure = Page(dpi=dpi, vector=vector, wording=wording)
    columns = flow(list(_items(measure, returned)), _TOP - _FOOT)
    storeys = _storeys(returned, coverage)
    n = max(len(storeys), len(columns))
    pages = []
    for k in range(n):
        page = Page(dpi=dpi, vector=vector, wording=wording)
        plane, points = storeys[min(k, len(storeys) - 1)]
        _draw_plan(page, returned, plane, points, (k + 1, n), dpi)
        y = _TOP
        for item in columns[k] if k < len(columns) else []:
            item.draw(page, _COLUMN, y, sheet.RIGHT)
            y -= item.height
        pages.append(page)
    return pages


def _storeys(returned: Returned, coverage: Coverage) -> list[tuple[PlaneCoverage, list[Compared]]]:
    """Maps of storeys with the points on them: a point belongs to the highest storey that lies no higher."""
    flat = [plane for plane in coverage.values() if plane.surface.stairs is None]
    levels = np.array([float(np.min(plane.surface.floor)) for plane in flat])
    found: list[list[Compared]] = [[] for _ in flat]
    for point in returned.points:
        under = np.flatnonzero(levels <= point.at[2] + 0.5)
        best = int(under[np.argmax(levels[under])]) if len(under) else 0
        found[best].append(point)
    return [(plane, points) for plane, points in zip(flat, found, strict=True) if points]


def _draw_plan(
    page: Page,
    returned: Returned,
    plane: PlaneCoverage,
    points: Sequence[Compared],
    number: tuple[int, int],
    dpi: float,
) -> None:
    scene, building = returned.scene, returned.there.building
    storey = plane.surface.storey
    numbered = [Numbered(p.answer.number, p.at[:2], p.verdict) for p in points]  # type: ignore[arg-type]
    shown = storey_shown(building, storey)
    projection = Projection.fitted(bounds_with(shown, numbered), _PANEL, clear=6.0)
    draw_storey_with(page, building, shown, returned.there.units, numbered, projection, plane=plane, dpi=dpi)
    where = f", {storey}" if storey is not None else ""
    subtitle = f"Walk test against prediction{where}; map: where a walking person is noticed"
    sheet.draw_title(page, scene.title, " · ".join([subtitle, *state_shown(scene)]))
    x0, y0, x1, y1 = _PANEL
    page.areas([[[(x0, y0), (x1, y0), (x1, y1), (x0, y1)]]], 24.0, edge=palette.INK, width_pt=0.5)
    sheet.draw_scale_bar(page, projection)
    sheet.draw_north(page, scene.north_deg)
    draw_classes(page, x0, y0 - 4.4, plane.reserve_db)
    x, y = x0, y0 - 9.4
    for k, sort in enumerate(_SORTS):
        draw_mark(page, np.array([x + 1.6, y + 0.8]), sort, radius=SMALL, z=25.0)
        page.text(x + 4.0, y, sort, _NOTE)
        x, y = (x0, y - 4.6) if k == 1 else (x + 62.0, y)
    before = returned.found.before.right
    sheet.draw_headline(page, f"{before.k} of {before.n}", ("points came out", "as predicted"))
    conditions = [air_of(scene), words.doors(building) or "no doors"]
    drawing = ", ".join([f"Walk test reconciled{where}", *state_shown(scene)])
    draw_block(
        page, scene, drawing=drawing, conditions=" · ".join(conditions), scale=projection.scale, number=number
    )  # fmt: skip


def _items(page: Page, returned: Returned) -> Iterator[Item]:
    width = sheet.RIGHT - _COLUMN
    found = returned.found
    notes = list(conclusions(returned))
    if returned.n_blank:
        blank = "point of the sheet has" if returned.n_blank == 1 else "points of the sheet have"
        notes.append(f"{returned.n_blank} {blank} no answer.")
    yield from note_items(page, "What the answers say", notes, width)
    yield _gap()
    heads = ("", "noticed", "not noticed", "share noticed, 95 %")
    yield from _table(heads, (0.0, 50.0, 68.0, 128.0), _two_by_two(found.before), "As predicted and as found")
    if found.supported:
        yield _gap()
        yield from _table(heads, (0.0, 50.0, 68.0, 128.0), _two_by_two(found.after), "With the correction")
    yield _gap()
    spoken = [e for e in found.estimates if e.told >= _WORTH or e.proposed_db is not None]
    yield from _table(
        ("Unknown", "before", "the answers say", "proposed", "decided by"), (0.0, 60.0, 82.0, 103.0, 128.0),
        [_estimate(page, returned, e) for e in spoken], "What could be off, dB",
    )  # fmt: skip
    yield _gap()
    rows = differing(returned.points)
    if rows:
        yield from _differing(page, rows, width, supported=found.supported)
        yield _gap()
    yield from note_items(page, "Assumed", [ASSUMED], width)


def _gap() -> Item:
    return Item(2.6, lambda page, x, y, right: None)


def _two_by_two(table: Table) -> list[tuple[str, ...]]:
    rows = (
        ("predicted to be noticed", table.hits, table.missed, table.noticed_of_predicted),
        ("predicted to go unnoticed", table.false, table.quiet, table.noticed_of_others),
    )
    return [(name, str(yes), str(no), _share(share)) for name, yes, no, share in rows]


def _share(share: Share) -> str:
    if not share.n:
        return "–"
    low, high = share.interval
    return f"{share.k / share.n:.0%} ({low:.0%} to {high:.0%})"


def _estimate(page: Page, returned: Returned, e: Estimate) -> tuple[str, ...]:
    name = page.lettering.fit(clean(e.words), "sans", _SIZE, 46.0)
    said = estimate_words(e.estimate_db, e.sd_db).removesuffix(" dB")
    proposed = "–"
    if e.proposed_db is not None and e.proposed_sd_db is not None:
        proposed = estimate_words(e.proposed_db, e.proposed_sd_db).removesuffix(" dB")
    deciding = ", ".join(str(returned.points[k].answer.number) for k in e.deciding)
    return name, f"± {e.prior_db:.1f}", said, proposed, deciding or "–"


def _table(heads: Sequence[str], places: Sequence[float], rows: Sequence[Sequence[str]], title: str) -> Iterator[Item]:
    """A table under a title: the first column flush left, the others right at their places (mm)."""

    def top(page: Page, x: float, y: float, right: float) -> None:
        page.rule(x, right, y, 0.5)
        page.text(x, y - 3.9, title, _SIZE, font="bold")
        for k, (head, place) in enumerate(zip(heads, places, strict=True)):
            if k:
                page.text(x + place, y - 7.7, head, _NOTE, color=palette.SECOND_INK, ha="right")

    yield Item(9.2, top, tied=True)
    for k, row in enumerate(rows):

        def draw(page: Page, x: float, y: float, right: float, *, row: Sequence[str] = row) -> None:
            for k, (cell, place) in enumerate(zip(row, places, strict=True)):
                page.text(x + place, y - 2.9, cell, _SIZE, ha="right" if k else "left")

        yield Item(3.95, draw, tied=k == 0 and len(rows) > 1)


def _differing(page: Page, points: Sequence[Compared], width: float, *, supported: bool) -> Iterator[Item]:
    """Points that came out otherwise, each with its margin, the way there and what was written beside it."""

    def top(page: Page, x: float, y: float, right: float) -> None:
        page.rule(x, right, y, 0.5)
        page.text(x, y - 3.9, "Points that came out otherwise", _SIZE, font="bold")

    yield Item(5.6, top, tied=True)
    for point in points:
        remark = f" — {point.answer.remark}" if point.answer.remark else ""
        with_it = "" if not supported else f", {margin_words(point.corrected_db)} with the correction"
        text = (
            f"{point.verdict}: {point.unit} {margin_words(point.margin_db)} as the scene stands"
            f"{with_it}; {point.cause}{remark}"
        )
        lines = page.lettering.wrap(page.way(clean(text)), "sans", _NOTE, width - 10.5, 3)

        def draw(
            page: Page, x: float, y: float, right: float, *, point: Compared = point, lines: Sequence[str] = lines
        ) -> None:
            draw_mark(page, np.array([x + SMALL + 0.3, y - 2.1]), point.verdict, radius=SMALL, z=20.0)  # type: ignore[arg-type]
            page.text(x + 4.2, y - 2.9, str(point.answer.number), _SIZE, font="bold")
            for number, line in enumerate(lines):
                page.text(x + 10.0, y - 2.9 - number * 2.75, line, _NOTE)

        yield Item(4.2 + 2.75 * (len(lines) - 1), draw)
