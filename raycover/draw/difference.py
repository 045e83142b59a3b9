"""A difference plan: what is gained and lost between two coverages of one plane, on one sheet.

Colours are those of the diverging map broc (F. Crameri, Scientific colour maps, doi:10.5281/zenodo.1243862): blue
for less, olive for more, white in between. What is lost lies in engraved shade, as gaps do on the plans, so that a
grey print tells it from what is gained.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from raycover.building.parts import Building
from raycover.draw import hatching, palette, plan, sheet, tables, words
from raycover.draw.drawing import Strokes
from raycover.draw.lettering import ENGLISH, Wording, clean, named
from raycover.draw.mapping import PaperMap, paper_map
from raycover.draw.page import Page
from raycover.draw.plan_page import PlanPage
from raycover.draw.png import save_png
from raycover.draw.projection import Projection
from raycover.draw.storeys import shown_storey, units_by_storey
from raycover.draw.title_block import draw_surround
from raycover.scene.schema import Scene
from raycover.shares import percent
from raycover.signs import signed
from raycover.solving.comparing import GAINED, KEPT, LOST, NEITHER, Comparison, PlaneChange, changes

Floats = NDArray[np.float64]
#: Changes of margin beyond this (dB) take the end colours of what is seen both times.
_FULL_DB = 6.0
_STEP_DB = 0.5
#: Places on the map: lost, gained, and the ends of what is kept.
_LOST_AT, _GAINED_AT, _WEAKER_AT, _STRONGER_AT = 0.13, 0.80, 0.33, 0.63
_NEITHER = "#C3C9CD"
_MOST_ROOMS, _MOST_CHANGES = 9, 12
_WORDS = {GAINED: "gained", KEPT: "seen both times", LOST: "lost", NEITHER: "seen neither time"}


@lru_cache(maxsize=1)
def _broc() -> NDArray[np.uint8]:
    return np.round(palette.colour_map("broc") * 255).astype(np.uint8)


def _at(position: ArrayLike) -> NDArray[np.uint8]:
    table = _broc()
    return table[np.clip((np.asarray(position) * len(table)).astype(int), 0, len(table) - 1)]


def change_rgb(code: NDArray[np.int8], difference_db: ArrayLike) -> NDArray[np.uint8]:
    """Colours (…, 3) of what became of places (…,) and of the change of margin (dB, NaN counts as none)."""
    steps = np.floor(np.nan_to_num(np.asarray(difference_db, float)) / _STEP_DB + 0.5) * _STEP_DB
    share = np.clip(steps / _FULL_DB, -1.0, 1.0)
    middle = 0.5
    kept = np.where(share < 0, middle + share * (middle - _WEAKER_AT), middle + share * (_STRONGER_AT - middle))
    rgb = _at(kept)
    rgb[code == LOST], rgb[code == GAINED] = _at(_LOST_AT), _at(_GAINED_AT)
    rgb[code == NEITHER] = [int(_NEITHER[k : k + 2], 16) for k in (1, 3, 5)]
    rgb[code < 0] = 255
    return rgb


def draw_difference(
    scene: Scene,
    building: Building,
    found: Comparison,
    plane_name: str,
    path: str | Path,
    *,
    what_changes: Sequence[str] = (),
    sheet_number: tuple[int, int] = (1, 1),
    dpi: float = plan.DPI,
    wording: Wording = ENGLISH,
) -> None:
    """Save the difference plan of one plane as a PNG, A4 landscape, over the building as it is afterwards.

    `scene` gives words only; `what_changes` are lines that say what differs. The file appears whole or not at
    all. Raises KeyError for a plane that the two do not share, OSError where the file cannot be written.
    """
    page = make_difference(
        scene, building, found, plane_name,
        what_changes=what_changes, sheet_number=sheet_number, dpi=dpi, wording=wording,
    )  # fmt: skip
    save_png(page.pixels(), path, dpi=dpi)


def make_difference(
    scene: Scene,
    building: Building,
    found: Comparison,
    plane_name: str,
    *,
    what_changes: Sequence[str] = (),
    sheet_number: tuple[int, int] = (1, 1),
    dpi: float = plan.DPI,
    wording: Wording = ENGLISH,
) -> Page:
    """The page that `draw_difference` saves; `plane_name` is that of a flat map, not of an unrolled stair."""
    change = found.planes[plane_name]
    shown = shown_storey(building, change.after)
    outlines = plan.outlines_of(scene, shown, change.after)
    projection = Projection.fitted(plan.bounds_of(shown, change.after, outlines), sheet.FRAME)
    page = Page(dpi=dpi, wording=wording)
    sketch = PlanPage.on(page, projection)
    pictures = [
        paper_map(p.surface, p.margin_db, p.reserve_db, outlines, projection, dpi=dpi)
        for p in (change.before, change.after)
    ]
    limits = _draw_map(page, pictures[0], pictures[1], sketch.strokes)
    sketch.draw_storey(shown, change.after.surface)
    mine, _ = units_by_storey(building, shown, change.after, found.coverages[1].units)
    marked = sketch.mark_units(mine)
    sketch.draw_stairs(building, shown)
    key = sheet.Key(marked.sorts, False, False, marked.masked)
    _draw_column(page, found, change, key, limits, what_changes)
    shade = _shade(pictures[0], pictures[1])
    sketch.write_names(shade, marked, shown, plan.named_rooms(scene, change.after, outlines))
    _draw_surround(page, scene, found, change, projection, sheet_number)
    return page


def _draw_map(page: Page, before: PaperMap, after: PaperMap, strokes: Strokes) -> tuple[bool, bool]:
    """Colours, hatches and both limit lines; which of these there are."""
    code = _codes(before, after)
    with np.errstate(invalid="ignore"):
        rgb = change_rgb(code, after.margin_db - before.margin_db)
    alpha = np.where(code >= 0, 255, 0).astype(np.uint8)
    page.image(np.concatenate([rgb, alpha[..., None]], axis=-1), after.box, 1.0)
    for which, spacing in ((LOST, hatching.NOT_SEEN_MM), (NEITHER, hatching.DOUBTFUL_MM)):
        lines = hatching.hatch_lines(code == which, after.box, spacing)
        page.lines(lines, palette.PAPER, hatching.WIDTH_PT, 2.0, alpha=hatching.OPACITY, clip=after.box)
    old, new = before.limit_lines(), after.limit_lines()
    page.lines(old, palette.PAPER, 1.1, 2.9, alpha=0.8, clip=after.box)
    page.lines(old, palette.INK, 0.5, 3.0, dashes=(2.2, 1.6), clip=after.box)
    page.lines(new, palette.INK, 0.7, 3.1, clip=after.box)
    strokes.add(old, 0.5)
    strokes.add(new, 0.8)
    return bool(old), bool(new)


def _codes(before: PaperMap, after: PaperMap) -> NDArray[np.int8]:
    """What became of each pixel, by class, so that the picture agrees with the plans of either."""
    seen = [np.where(p.classes < 0, np.nan, np.where(p.classes >= palette.SEEN, 1.0, -1.0)) for p in (before, after)]
    return changes(seen[0], seen[1])


def _shade(before: PaperMap, after: PaperMap) -> PaperMap:
    """Where text must be white: on what is lost."""
    code = _codes(before, after)
    classes = np.where(code < 0, -1, np.where(code == LOST, palette.NOT_SEEN, palette.ASSURED)).astype(np.int8)
    return PaperMap(after.margin_db, classes, after.box, after.reserve_db)


def _draw_column(
    page: Page,
    found: Comparison,
    change: PlaneChange,
    key: sheet.Key,
    limits: tuple[bool, bool],
    what_changes: Sequence[str],
) -> None:
    before, after = change.before, change.after
    what = "floor" if after.surface.heights == (0.0,) else "area"
    beside = (f"points of the {what} seen:", f"{percent(before.share)} → {percent(after.share)}")
    sheet.draw_headline(page, signed(100 * (after.share - before.share), ".1f"), beside)
    areas = {code: change.area_of(code) for code in _WORDS}
    _draw_bar(page, areas)
    y = _draw_legend(page, areas, found.labels, limits)
    width = sheet.RIGHT - sheet.COLUMN
    y = tables.draw_table(page, _room_table(page, change, width), sheet.COLUMN, y, sheet.RIGHT)
    free = y - sheet.COLUMN_FOOT - key.height
    notes = _change_table(page, what_changes, width, free)
    if notes is not None:
        tables.draw_table(page, notes, sheet.COLUMN, y, sheet.RIGHT)
    sheet.draw_key(page, key)


def _draw_bar(page: Page, areas: dict[int, float]) -> None:
    """Shares of gained, seen both times, neither and lost as one bar under the headline figure."""
    x, y, height = sheet.COLUMN, 190.8, 1.8
    width, total = sheet.RIGHT - sheet.COLUMN, sum(areas.values()) or 1.0
    for code in (GAINED, KEPT, NEITHER, LOST):
        part = width * areas[code] / total
        if part > 0.02:
            box = [(x, y), (x + part, y), (x + part, y + height), (x, y + height)]
            page.areas([[box]], 5.0, face=palette.hex_of(change_rgb(np.array([code], np.int8), [0.0])[0]))
            x += part
    outline = [(sheet.COLUMN, y), (sheet.RIGHT, y), (sheet.RIGHT, y + height), (sheet.COLUMN, y + height)]
    page.areas([[outline]], 5.1, edge=palette.INK, width_pt=0.5)


def _draw_legend(page: Page, areas: dict[int, float], labels: tuple[str, str], limits: tuple[bool, bool]) -> float:
    """Swatches with areas, the scale of changes, the limit lines; where the next rule may lie."""
    left, right = sheet.COLUMN, sheet.RIGHT
    total = sum(areas.values()) or 1.0
    names = [page.lettering.fit(clean(label), "sans", 6.5, right - left - 8) for label in labels]
    page.text(left, 184.6, "before", 6, color=palette.SECOND_INK)
    page.text(left + 8.6, 184.6, page.lettering.fit(names[0], "sans", 6.5, right - left - 8.6), 6.5)
    page.text(left, 180.8, "after", 6, color=palette.SECOND_INK)
    page.text(left + 8.6, 180.8, page.lettering.fit(names[1], "sans", 6.5, right - left - 8.6), 6.5)
    page.text(right - 11.0, 176.2, "m²", 6.5, font="bold", ha="right")
    y = 170.6
    for code in (GAINED, KEPT, LOST, NEITHER):
        box = (left, y - 0.9, left + 6.5, y + 2.7)
        _swatch(page, code, box)
        page.text(left + 8.6, y, _WORDS[code], 6.5, font="bold")
        page.text(right - 11.0, y, words.area(areas[code]), 6.5, ha="right")
        page.text(right, y, percent(areas[code] / total), 6.5, ha="right")
        y -= 5.3
    y -= 1.2
    page.text(left, y, "Margin after less before, dB", 7, font="bold")
    y -= 6.4
    _draw_scale(page, (left, y, right, y + 3.6))
    y -= 7.4
    for there, dashes, width, text in (
        (limits[0], (2.2, 1.6), 0.5, "limit before, 0 dB"),
        (limits[1], None, 0.7, "limit after, 0 dB"),
    ):
        if there:
            page.lines([[(left, y + 0.8), (left + 6.5, y + 0.8)]], palette.INK, width, 25.0, dashes=dashes)
            page.text(left + 8.6, y, text, 6.5)
            y -= 4.3
    return y + 1.0


def _swatch(page: Page, code: int, box: tuple[float, float, float, float]) -> None:
    x0, y0, x1, y1 = box
    page.image(change_rgb(np.full((2, 2), code, np.int8), np.zeros((2, 2))), box, 5.0)
    if code in (LOST, NEITHER):
        spacing = hatching.NOT_SEEN_MM if code == LOST else hatching.DOUBTFUL_MM
        lines = hatching.hatch_lines(np.ones((8, 8), bool), box, spacing, step=0.05)
        page.lines(lines, palette.PAPER, hatching.WIDTH_PT, 5.1, alpha=hatching.OPACITY)
    page.areas([[[(x0, y0), (x1, y0), (x1, y1), (x0, y1)]]], 5.2, edge=palette.INK, width_pt=0.4)


def _draw_scale(page: Page, box: tuple[float, float, float, float]) -> None:
    """The colours of what is seen both times against the change of margin."""
    x0, y0, x1, y1 = box
    steps = np.linspace(-_FULL_DB, _FULL_DB, 256)
    page.image(np.repeat(change_rgb(np.full((1, 256), KEPT, np.int8), steps[None]), 2, axis=0), box, 5.0)
    page.areas([[[(x0, y0), (x1, y0), (x1, y1), (x0, y1)]]], 5.2, edge=palette.INK, width_pt=0.4)
    for value in (-6, -3, 0, 3, 6):
        x = x0 + (value + _FULL_DB) / (2 * _FULL_DB) * (x1 - x0)
        page.lines([[(x, y0), (x, y0 - 0.7)]], palette.INK, 0.5, 5.3)
        ha: Any = "left" if value == -6 else "right" if value == 6 else "center"
        page.text(x, y0 - 3.3, signed(value), 6.5, ha=ha)


def _room_table(page: Page, change: PlaneChange, width: float) -> tables.Table:
    """Shares of each room before and after: all, or those that change most and the rest in one line."""
    before, after = change.before.rooms(), change.after.rooms()
    names = [name for name in after if after[name][0] > 0]
    if change.after.surface.room_names == ("extent",):
        names = list(after)
    order = sorted(names, key=lambda n: -abs(after[n][1] - before[n][1]) if n in before else -2.0)
    kept = [n for n in names if n in order[:_MOST_ROOMS]]

    def shown(name: str) -> str:
        return "Area mapped" if name == "extent" else named(name)

    rows = [
        tables.Row(
            (
                page.lettering.fit(shown(name), "sans", 6.5, width - 30.5),
                words.area(after[name][0]),
                percent(before[name][1]) if name in before else "–",
                percent(after[name][1]),
            )
        )
        for name in kept
    ]
    n_left = len(names) - len(kept)
    note = f"{n_left} more that change{'s' if n_left == 1 else ''} less" if n_left else ""
    places = ((0.0, "left"), (width - 24.5, "right"), (width - 12.3, "right"), (width, "right"))
    return tables.Table(("Room, seen", "m²", "before", "after"), places, tuple(rows), note)


def _change_table(page: Page, lines: Sequence[str], width: float, height: float) -> tables.Table | None:
    """What differs, one line each, as many as there is room for."""
    said = [page.lettering.wording.label(clean(line)) for line in lines]
    rows = [tables.Row((page.lettering.fit(line, "sans", 6.5, width),)) for line in said]
    return tables.as_many_as_fit(("What differs",), ((0.0, "left"),), rows, height, _MOST_CHANGES)


def _draw_surround(
    page: Page,
    scene: Scene,
    found: Comparison,
    change: PlaneChange,
    projection: Projection,
    sheet_number: tuple[int, int],
) -> None:
    surface = change.after.surface
    labels = f"{found.labels[0]} → {found.labels[1]}"
    draw_surround(
        page,
        scene,
        projection,
        subtitle=f"{words.difference(surface)}: {labels}",
        drawing=f"Difference plan, {surface.name}",
        conditions=labels,
        number=sheet_number,
    )
