"""The pages of a proof: a storey's plan or an unrolled stair with every place marked, and beside it the verdicts."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import partial
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from raycover.draw import glyphs, palette, sheet, words
from raycover.draw.legend import draw_classes
from raycover.draw.lettering import ENGLISH, Wording
from raycover.draw.mending_panel import mending_items
from raycover.draw.mending_plans import now_and_then
from raycover.draw.page import Box, Page, pdf_of
from raycover.draw.plan import DPI
from raycover.draw.png import save_png
from raycover.draw.projection import Projection, choose_scale
from raycover.draw.proof_groups import Group, Solved, coverage_of, groups_of, planes_of
from raycover.draw.proof_marks import SMALL, draw_area, draw_never, draw_sight, draw_spot, draw_verdict
from raycover.draw.proof_matrix import draw_matrix, matrix_parts
from raycover.draw.proof_panels import OUTLINED, draw_plan_panel, draw_stair_panel, plan_bounds
from raycover.draw.proof_tables import Item, flow, need_items, note_items, remedy_items
from raycover.draw.title_block import draw_block, state_shown
from raycover.draw.true_scale import dated
from raycover.proving.mending import Mending
from raycover.proving.needs import Proof
from raycover.proving.proof_words import assumptions, remedy_note, target_words
from raycover.proving.remedies import Trouble
from raycover.scene.air import air_of
from raycover.solving.coverage import Coverage, PlaneCoverage
from raycover.whole_file import write_whole

Floats = NDArray[np.float64]
#: The drawn part, the strip of its key below, and the column of words (mm).
_PANEL: Box = (10.0, 49.0, 150.0, 176.0)
_KEY_TOP = 46.8
_COLUMN, _COLUMN_TOP, _COLUMN_FOOT = 157.0, 178.0, 30.5
_STRIPS: Box = (12.0, 50.5, 104.0, 174.0)
_SECTION: Box = (107.5, 50.5, 149.0, 174.0)
_RULE_X = 105.8
_GAP = 5.0
#: What draws a sign of the key beside words whose baseline begins at (x, y).
DrawSign = Callable[[Page, float, float], None]


def make_proof(
    proof: Proof,
    troubles: Sequence[Trouble] = (),
    notes: Sequence[str] = (),
    *,
    mendings: Sequence[Mending] = (),
    dpi: float = DPI,
    vector: bool = False,
    wording: Wording = ENGLISH,
) -> list[Page]:
    """The pages of a proof, A4 landscape, matrices last; `notes` are said after the assumptions."""
    groups = list(groups_of(proof))
    solved: Solved = {}
    drafts: list[tuple[Group, list[Item]]] = []
    width = sheet.RIGHT - _COLUMN
    measure = Page(dpi=dpi, vector=vector, wording=wording)
    for group in groups:
        items: list[Item] = []
        for verdict in group.verdicts:
            places = [one.place for one in group.shown if one.verdict is verdict]
            items += need_items(measure, verdict, places, width)
        names = {verdict.need.name for verdict in group.verdicts if verdict.need.never}
        for trouble in troubles:
            if names & set(trouble.needs) and not _said(trouble, groups, group):
                items += remedy_items(measure, trouble, width)
        for mending in mendings:
            if _first_of(mending, groups) is group:
                both = now_and_then(proof, mending)
                plans = None if both is None else both.plans(solved, dpi=dpi)
                items += mending_items(measure, mending, width, plans)
        if group is groups[0]:
            items += note_items(
                measure, "What this rests on", [*assumptions(proof), *remedy_note(troubles, mendings), *notes], width
            )
        drafts += [(group, part) for part in flow(items, _COLUMN_TOP - _COLUMN_FOOT)]
    parts = list(matrix_parts(measure, proof.matrices))
    n = len(drafts) + len(parts)
    pages = [Page(dpi=dpi, vector=vector, wording=wording) for _ in range(n)]
    for number, (page, (group, items)) in enumerate(zip(pages, drafts, strict=False), 1):
        _draw(page, proof, group, items, coverage_of(group, solved), (number, n), dpi)
    for number, (page, part) in enumerate(zip(pages[len(drafts) :], parts, strict=True), len(drafts) + 1):
        draw_matrix(page, proof, part, (number, n))
    return pages


def _first_of(mending: Mending, groups: Sequence[Group]) -> Group:
    """The group that tells what would mend a need: the first that shows it missed."""
    return next(
        group for group in groups for one in group.shown
        if one.verdict.need.name == mending.need and not one.place.met and not one.verdict.need.never
    )  # fmt: skip


def _said(trouble: Trouble, groups: Sequence[Group], here: Group) -> bool:
    """Whether an earlier group has told a unit's remedies."""
    for group in groups:
        if group is here:
            return False
        if {v.need.name for v in group.verdicts if v.need.never} & set(trouble.needs):
            return True
    return False


def draw_proof(
    proof: Proof,
    folder: Path,
    troubles: Sequence[Trouble] = (),
    notes: Sequence[str] = (),
    *,
    mendings: Sequence[Mending] = (),
    dpi: float = DPI,
    wording: Wording = ENGLISH,
) -> list[str]:
    """Write `proof.png` (`proof 2.png`, …) and `proof.pdf` into a folder; their names."""
    pages = make_proof(proof, troubles, notes, mendings=mendings, dpi=dpi, wording=wording)
    names = []
    for number, page in enumerate(pages, 1):
        names.append("proof.png" if number == 1 else f"proof {number}.png")
        save_png(page.pixels(), folder / names[-1], dpi=dpi)
    vectors = make_proof(proof, troubles, notes, mendings=mendings, dpi=150, vector=True, wording=wording)
    title = f"{proof.scene.title}: {wording('proof')}"
    write_whole(folder / "proof.pdf", pdf_of(vectors, title=title, created=dated(proof.scene.date)))
    return [*names, "proof.pdf"]


def _draw(
    page: Page, proof: Proof, group: Group, items: Sequence[Item], coverage: Coverage, number: tuple[int, int],
    dpi: float,
) -> None:  # fmt: skip
    building = group.situation.building
    planes = planes_of(group, coverage)
    if group.stairs is not None:
        stairs = next(s for s in building.stairs if s.name == group.stairs)
        laid, sorts = draw_stair_panel(
            page, building, coverage, planes[0], stairs, group.shown, (_STRIPS, _SECTION), dpi=dpi
        )
        x0, y0, x1, y1 = _PANEL
        page.areas([[[(x0, y0), (x1, y0), (x1, y1), (x0, y1)]]], 24.0, edge=palette.INK, width_pt=0.5)
        page.lines([[(_RULE_X, y0), (_RULE_X, y1)]], palette.RULE, 0.5, 24.0)
        projection: Projection = laid
        where = f"{stairs.name} ({words.level(stairs.foot)} to {words.level(stairs.head)} m), unrolled"
    else:
        projection, sorts, where = _draw_plans(page, group, coverage, planes, dpi)
        sheet.draw_north(page, proof.scene.north_deg)
    _draw_key(page, group, sorts, planes[0].reserve_db)
    y = _COLUMN_TOP
    for item in items:
        item.draw(page, _COLUMN, y, sheet.RIGHT)
        y -= item.height
    _draw_words(page, proof, group, coverage, projection, where, number)


def _draw_plans(
    page: Page, group: Group, coverage: Coverage, planes: Sequence[PlaneCoverage], dpi: float
) -> tuple[Projection, tuple[glyphs.Sort, ...], str]:
    """One panel a storey, side by side or one over another, whichever draws them larger; all at one scale."""
    building = group.situation.building
    parts = [tuple(one for one in group.shown if one.place.site.storey == storey) for storey in group.storeys]
    bounds = [plan_bounds(building, plane, shown) for plane, shown in zip(planes, parts, strict=True)]
    size = np.max([(b[2] - b[0], b[3] - b[1]) for b in bounds], axis=0)
    named = len(building.storeys) > 1
    fits = []
    for across in (True, False):
        frames = _frames(len(planes), across=across, named=named)
        room = frames[0][2] - frames[0][0] - 5.0, frames[0][3] - frames[0][1] - 5.0
        fits.append((choose_scale(float(size[0]), float(size[1]), *room), not across, frames))
    scale, _, frames = min(fits, key=lambda fit: fit[:2])
    sorts: list[glyphs.Sort] = []
    projection = None
    for plane, shown, box, frame in zip(planes, parts, bounds, frames, strict=True):
        projection = Projection.fitted(box, frame, clear=2.5, scale=scale)
        sorts += draw_plan_panel(page, building, coverage, plane, shown, projection, dpi=dpi)
        if named and plane.surface.storey is not None:
            page.text(frame[0], frame[3] + 1.3, plane.surface.storey, 6.5, font="bold")
    assert projection is not None
    where = words_of_storeys([plane.surface.storey for plane in planes])
    return projection, tuple(dict.fromkeys(sorts)), where


def words_of_storeys(names: Sequence[str | None]) -> str:
    return ", ".join(name for name in names if name is not None)


def _frames(n: int, *, across: bool, named: bool) -> list[Box]:
    """Frames of n panels that fill the drawn part, with room for a name over each."""
    x0, y0, x1, y1 = _PANEL
    top = 4.0 if named and n > 1 else 0.0
    if across:
        wide = (x1 - x0 - _GAP * (n - 1)) / n
        return [(x0 + k * (wide + _GAP), y0, x0 + k * (wide + _GAP) + wide, y1 - top) for k in range(n)]
    high = (y1 - y0 - _GAP * (n - 1)) / n
    return [(x0, y1 - (k + 1) * high - k * _GAP, x1, y1 - k * (high + _GAP) - top) for k in range(n)]


def _draw_key(page: Page, group: Group, sorts: Sequence[glyphs.Sort], reserve_db: float) -> None:
    """Classes of the map in a line under the drawing, the marks in the lines below."""
    draw_classes(page, _PANEL[0], _KEY_TOP - 4.0, reserve_db)
    x, y = _PANEL[0], _KEY_TOP - 9.0
    for wide, text, draw in _signs(group, sorts):
        needed = wide + page.lettering.extent(text, "sans", 6.0).width
        if x > _PANEL[0] and x + needed > _PANEL[2] + 1.0:
            x, y = _PANEL[0], y - 5.0
        draw(page, x, y)
        page.text(x + wide, y, text, 6.0)
        x += needed + 4.0


def _signs(group: Group, sorts: Sequence[glyphs.Sort]) -> Iterator[tuple[float, str, DrawSign]]:
    """Every sign of a page: how wide (mm) it is, what it means, and what draws it left of words at (x, y)."""
    nevers = [one for one in group.shown if one.verdict.need.never]
    met = {one.place.met for one in group.shown}

    def verdict(page: Page, x: float, y: float, *, met: bool) -> None:
        draw_verdict(page, (x + SMALL, y + 0.8), met=met, radius=SMALL)

    def oblong(x: float, low: float, high: float) -> list[Floats]:
        return [np.array([(x, low), (x + 5.5, low), (x + 5.5, high), (x, high)])]

    def unit(page: Page, x: float, y: float, *, sort: glyphs.Sort) -> None:
        glyphs.draw_marks(page, [glyphs.Mark(sort, np.array([x + 1.9, y + 0.8]), 0.0)])

    if True in met:
        yield 3.6, "met", partial(verdict, met=True)
    if False in met:
        yield 3.6, "missed", partial(verdict, met=False)
    if nevers:
        yield 7.0, "must not trip a unit", lambda page, x, y: draw_never(page, oblong(x, y - 0.5, y + 2.3))
    if any(one.place.site.kind in OUTLINED[:-2] and not one.verdict.need.never for one in group.shown):
        yield 7.0, "area judged", lambda page, x, y: draw_area(page, oblong(x, y - 0.5, y + 2.3))
    if any(one.place.site.lines for one in group.shown):
        yield 7.0, "way walked", lambda page, x, y: draw_area(page, oblong(x, y + 0.5, y + 1.1))
    if nevers or False in met:
        yield 4.2, "spot that decides", lambda page, x, y: draw_spot(page, (x + 1.5, y + 0.8))
    if any(not one.place.met for one in nevers):
        yield 7.2, "way that trips", lambda page, x, y: draw_sight(page, (x, y + 0.8), (x + 6.0, y + 0.8))
    for sort in dict.fromkeys(sorts):
        yield 6.0, glyphs.WORDS[sort], partial(unit, sort=sort)


def _draw_words(
    page: Page, proof: Proof, group: Group, coverage: Coverage, projection: Projection, where: str,
    number: tuple[int, int],
) -> None:  # fmt: skip
    """Title, headline, scale bar and title block."""
    scene = group.situation.scene
    said = page.said(f"Proof: {target_words(group.heights, group.motion)}, air at {air_of(scene)}")
    subtitle = " · ".join([said, *([where] if where else []), *state_shown(scene)])
    sheet.draw_title(page, proof.scene.title, subtitle)
    n_met = sum(one.place.met for one in group.shown)
    n = len(group.shown)
    sheet.draw_headline(page, f"{n_met} of {n}", _headline(group, n))
    y, x, width = 190.8, sheet.COLUMN, sheet.RIGHT - sheet.COLUMN
    for k, one in enumerate(sorted(group.shown, key=lambda one: not one.place.met)):
        box = [(x + width * k / n, y), (x + width * (k + 1) / n, y), (x + width * (k + 1) / n, y + 1.8),
               (x + width * k / n, y + 1.8)]  # fmt: skip
        page.areas([[box]], 5.0, face=palette.PAPER if one.place.met else palette.INK, edge=palette.INK, width_pt=0.4)
    sheet.draw_scale_bar(page, projection)
    drawing = "Proof of needs, " + (where if where else "plan")
    draw_block(
        page,
        proof.scene,
        drawing=", ".join([drawing, *state_shown(scene)]),
        conditions=words.conditions(coverage, group.situation.building),
        scale=projection.scale,
        number=number,
    )


def _headline(group: Group, n: int) -> tuple[str, str]:
    what = f"place{'s' * (n != 1)} judged {'are' if n != 1 else 'is'}"
    return what, "as needed"
