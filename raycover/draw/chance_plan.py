"""Plans of a grid walk: how likely somebody is noticed, in four classes, with the direction noticed least.

The map's colours are those of the margins: light for what is noticed, engraved shade for what is not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from raycover.building.parts import Building
from raycover.detectors import Unit
from raycover.draw import hatching, palette, plan, sheet, tables
from raycover.draw.lettering import ENGLISH, Wording, named
from raycover.draw.mapping import paper_map
from raycover.draw.page import Page
from raycover.draw.plan_page import PlanPage, draw_layers
from raycover.draw.png import save_png
from raycover.draw.projection import Projection
from raycover.draw.storeys import shown_storey, units_by_storey
from raycover.draw.title_block import draw_surround, state_shown
from raycover.scene.air import air_of
from raycover.scene.schema import Scene
from raycover.shares import percent
from raycover.solving.surfaces import Surface
from raycover.walking.grid_walk import HEADINGS_RAD, GridWalk
from raycover.walking.sensing import MODEL_CAUTION

Single = NDArray[np.float32]
Floats = NDArray[np.float64]
#: Bounds of the classes, worst to best, and their names.
BOUNDS = (0.0, 0.25, 0.5, 0.9, 1.0)
NAMES = ("hardly noticed", "doubtful", "likely noticed", "noticed")
#: A reserve stands for the class bounds on the map of margins.
_RESERVE_DB = 3.0
#: Marks of the direction noticed least lie this far apart (mm), where it differs from the best by this much.
_MARK_MM, _MARK_LONG_MM, _MARK_FROM = 6.5, 3.0, 0.6


@dataclass(frozen=True)
class ChanceMap:
    """One map of a grid walk: `key` in file names, what its title says, and of what its shares are."""

    key: str
    title: str
    of: str
    marks: bool = False

    def values(self, found: GridWalk) -> Single:
        return {
            "walking": found.mean,
            "worst": found.worst,
            "across": found.tangential,
            "toward": found.radial,
            "seated": found.seated,
        }[self.key]


MAPS = (
    ChanceMap("walking", "Chance of being noticed, walking 1 m, mean of eight directions", "of all walks", marks=True),
    ChanceMap("worst", "Chance of being noticed, walking 1 m in the direction noticed least", "of walks that way"),
    ChanceMap("across", "Chance of being noticed, walking 1 m across a detector's line of sight", "of walks across"),
    ChanceMap("toward", "Chance of being noticed, walking 1 m toward a detector or away", "of walks toward"),
    ChanceMap("seated", "Chance of being noticed, seated for half a minute and moving an arm", "of ways to face"),
)
#: What a row of the table is called.
_ROWS = {
    "walking": "walking, all ways",
    "worst": "in the worst way",
    "across": "across line of sight",
    "toward": "toward it, or away",
    "seated": "seated, arm moving",
}


@dataclass(frozen=True, eq=False)
class _Shown:
    """What the drawing of a storey asks of a plane."""

    surface: Surface
    units: Sequence[Unit]

    def detector_areas(self) -> list[tuple[float, float]]:
        return [(0.0, 0.0)] * len(self.units)


def as_margin_db(chance: Single) -> Single:
    """Chances as margins (dB) that fall into the same class and place of the colour map; NaN stays."""
    ends = [palette.classes(_RESERVE_DB)[0].from_db, *(c.to_db for c in palette.classes(_RESERVE_DB))]
    # single precision has 0.9 a little below 0.9
    inside = np.interp(np.nan_to_num(chance) + 1e-6, BOUNDS, ends)
    return np.where(np.isnan(chance), np.nan, inside).astype(np.float32)


def mean_and_shares(chance: Single, area: Floats) -> tuple[float, list[float]]:
    """Mean chance and the share of the area in each class, worst first; zeros where nothing is mapped."""
    there = np.isfinite(chance)
    weight = np.where(there, area, 0.0)
    total = float(weight.sum())
    if total == 0:
        return 0.0, [0.0] * 4
    classes = palette.class_of(as_margin_db(chance), _RESERVE_DB)
    shares = [float(weight[classes == k].sum()) / total for k in range(4)]
    return float((np.nan_to_num(chance) * weight).sum()) / total, shares


def means_and_shares(chance: Single, area: Floats, room: NDArray[np.integer], n_rooms: int) -> tuple[Floats, Floats]:
    """As `mean_and_shares`, of each room: (n_rooms,) and (n_rooms, 4)."""
    there = np.isfinite(chance) & (room >= 0)
    rooms, weight = room[there], area[there]
    classes = palette.class_of(as_margin_db(chance), _RESERVE_DB)[there]
    parts = np.bincount(rooms * 4 + classes, weight, 4 * n_rooms).reshape(n_rooms, 4)
    summed = np.bincount(rooms, chance[there] * weight, n_rooms)
    total = np.maximum(np.bincount(rooms, weight, n_rooms), 1e-300)
    return summed / total, parts / total[:, None]


def draw_chance(
    scene: Scene,
    building: Building,
    units: Sequence[Unit],
    found: GridWalk,
    which: ChanceMap,
    path: str | Path,
    *,
    sheet_number: tuple[int, int] = (1, 1),
    dpi: float = plan.DPI,
    wording: Wording = ENGLISH,
) -> None:
    """Save one map of a grid walk as a PNG, A4 landscape. The file appears whole or not at all."""
    page = make_chance(scene, building, units, found, which, sheet_number=sheet_number, dpi=dpi, wording=wording)
    save_png(page.pixels(), path, dpi=dpi)


def make_chance(
    scene: Scene,
    building: Building,
    units: Sequence[Unit],
    found: GridWalk,
    which: ChanceMap,
    *,
    sheet_number: tuple[int, int] = (1, 1),
    dpi: float = plan.DPI,
    wording: Wording = ENGLISH,
) -> Page:
    """The page that `draw_chance` saves."""
    surface = found.surface
    there: Any = _Shown(surface, units)
    shown = shown_storey(building, there)
    outlines = plan.outlines_of(scene, shown, there)
    projection = Projection.fitted(plan.bounds_of(shown, there, outlines), sheet.FRAME)
    page = Page(dpi=dpi, wording=wording)
    sketch = PlanPage.on(page, projection)
    values = which.values(found)
    picture = paper_map(surface, as_margin_db(_filled(values, surface)), _RESERVE_DB, outlines, projection, dpi=dpi)
    has_limit = draw_layers(page, picture, sketch.strokes)
    sketch.draw_storey(shown, surface)
    mine, _ = units_by_storey(building, shown, there, units)
    marked = sketch.mark_units(mine)
    sketch.draw_stairs(building, shown)
    ticks = _worst_ways(found, projection, marked.centres) if which.marks else []
    page.lines(ticks, palette.PAPER, 2.0, 4.0, alpha=0.85, clip=projection.frame, cap="round")
    page.lines(ticks, palette.INK, 0.8, 4.1, clip=projection.frame, cap="round")
    key = sheet.Key(marked.sorts, False, False, marked.masked)
    _draw_column(page, found, which, key, has_limit=has_limit, has_ticks=bool(ticks))
    rooms = None
    if plan.extent_of(scene, there) is None:
        inside = surface.inside
        areas = np.bincount(surface.room[inside], surface.area[inside], minlength=len(outlines)).tolist()
        rooms = (outlines, list(surface.room_names), areas)
    sketch.write_names(picture, marked, shown, rooms)
    _draw_surround(page, scene, found, which, projection, sheet_number)
    return page


def _filled(values: Single, surface: Surface) -> Single:
    """Where somebody could be but nobody can walk, the chance of the nearest cell, so that no hole is drawn."""
    from scipy.ndimage import distance_transform_edt

    gone = surface.inside & np.isnan(values)
    if not gone.any() or not np.isfinite(values).any():
        return np.where(gone, 0.0, values).astype(np.float32)
    near = distance_transform_edt(np.isnan(values), return_distances=False, return_indices=True)
    return np.where(gone, values[tuple(near)], values).astype(np.float32)


def _worst_ways(found: GridWalk, projection: Projection, centres: Floats) -> list[Floats]:
    """Strokes (2, 2) on paper along the direction noticed least, every few millimetres where it matters."""
    surface = found.surface
    step = max(round(_MARK_MM / projection.mm_per_m / surface.grid), 1)
    with np.errstate(invalid="ignore"):
        chosen = found.best - found.worst >= _MARK_FROM
    sparse = np.zeros(surface.shape, bool)
    sparse[step // 2 :: step, step // 2 :: step] = True
    rows, columns = np.nonzero(chosen & sparse)
    middle = projection.to_paper(np.stack([surface.x[columns], surface.y[rows]], axis=1))
    heading = HEADINGS_RAD[found.worst_heading[rows, columns]]
    half = np.stack([np.cos(heading), np.sin(heading)], axis=1) * _MARK_LONG_MM / 2
    free = np.ones(len(middle), bool)
    if len(centres):
        free = np.linalg.norm(middle[:, None] - centres[None], axis=-1).min(axis=1) > 4.0
    return [np.stack([m - h, m + h]) for m, h in zip(middle[free], half[free], strict=True)]


def _draw_column(
    page: Page, found: GridWalk, which: ChanceMap, key: sheet.Key, *, has_limit: bool, has_ticks: bool
) -> None:
    area = np.asarray(found.surface.area, float)
    mean, shares = mean_and_shares(which.values(found), area)
    sheet.draw_headline(page, percent(mean), (which.of, "are noticed"))
    sheet.draw_class_bar(page, shares)
    y = _draw_legend(page, shares, has_limit=has_limit, has_ticks=has_ticks)
    width = sheet.RIGHT - sheet.COLUMN
    y = tables.draw_table(page, _ways_table(found, which, area, width), sheet.COLUMN, y, sheet.RIGHT)
    rooms = _room_table(page, found, which, area, width)
    if rooms.height < y - sheet.COLUMN_FOOT - key.height - 12:
        y = tables.draw_table(page, rooms, sheet.COLUMN, y, sheet.RIGHT)
    page.rule(sheet.COLUMN, sheet.RIGHT, y, 0.5)
    y -= 4.0
    for line in page.lettering.wrap(MODEL_CAUTION, "sans", 6, width, 4):
        page.text(sheet.COLUMN, y, line, 6, color=palette.SECOND_INK)
        y -= 2.8
    sheet.draw_key(page, key)


def _draw_legend(page: Page, shares: list[float], *, has_limit: bool, has_ticks: bool) -> float:
    """Swatches of the classes with their chances and shares; where the next rule may lie."""
    left, right, y = sheet.COLUMN, sheet.RIGHT, 182.0
    page.text(left, y, "Chance of being noticed", 7, font="bold")
    page.text(right, y, "of the area", 6.5, ha="right", color=palette.SECOND_INK)
    y -= 6.2
    for k in reversed(range(4)):
        _swatch(page, k, (left, y - 0.9, left + 6.5, y + 2.7))
        page.text(left + 8.6, y, NAMES[k], 6.5, font="bold")
        low, high = (f"{100 * b:g}" for b in BOUNDS[k : k + 2])
        page.text(left + 29.0, y, f"{low}–{high} %", 6.5)
        page.text(right, y, percent(shares[k]), 6.5, ha="right")
        y -= 5.3
    if has_limit:
        page.lines([[(left, y + 0.8), (left + 6.5, y + 0.8)]], palette.INK, 0.7, 25.0)
        page.text(left + 8.6, y, "noticed by half", 6.5)
        y -= 4.3
    if has_ticks:
        page.lines([[(left + 1.7, y + 0.8), (left + 4.7, y + 0.8)]], palette.INK, 0.8, 25.0, cap="round")
        page.text(left + 8.6, y, f"way noticed least, by {100 * _MARK_FROM:g} % or more", 6.5)
        y -= 4.3
    return y + 1.0


def _swatch(page: Page, index: int, box: tuple[float, float, float, float]) -> None:
    x0, y0, x1, y1 = box
    # The whole class from left to right: a colour that the map hardly has would be lost in the picture's palette.
    page.image(np.repeat(palette.legend_image(index, _RESERVE_DB, 64).reshape(1, 64, 3), 2, axis=0), box, 5.0)
    if index in (palette.NOT_SEEN, palette.DOUBTFUL):
        spacing = hatching.NOT_SEEN_MM if index == palette.NOT_SEEN else hatching.DOUBTFUL_MM
        lines = hatching.hatch_lines(np.ones((8, 8), bool), box, spacing, step=0.05)
        page.lines(lines, palette.PAPER, hatching.WIDTH_PT, 5.1, alpha=hatching.OPACITY)
    page.areas([[[(x0, y0), (x1, y0), (x1, y1), (x0, y1)]]], 5.2, edge=palette.INK, width_pt=0.4)


def _ways_table(found: GridWalk, which: ChanceMap, area: Floats, width: float) -> tables.Table:
    """Every map's mean chance, and the area noticed by half at least."""
    rows = []
    for one in MAPS:
        mean, shares = mean_and_shares(one.values(found), area)
        rows.append(tables.Row((_ROWS[one.key], percent(mean), percent(shares[2] + shares[3])), strong=one == which))
    places = ((0.0, "left"), (width - 13.5, "right"), (width, "right"))
    return tables.Table(("Noticed", "mean", "by half"), places, tuple(rows))


def _room_table(page: Page, found: GridWalk, which: ChanceMap, area: Floats, width: float) -> tables.Table:
    surface, inside = found.surface, found.surface.inside
    n_rooms, room = len(surface.room_names), np.where(inside, surface.room, -1)
    mean, shares = means_and_shares(which.values(found), area, room, n_rooms)
    size = np.bincount(surface.room[inside], area[inside], n_rooms)
    rows = []
    for k in np.flatnonzero(size > 0).tolist():
        name = surface.room_names[k]
        title = page.lettering.fit("Area mapped" if name == "extent" else named(name), "sans", 6.5, width - 28)
        figures = percent(float(mean[k])), percent(float(shares[k, 2] + shares[k, 3]))
        rows.append((size[k], tables.Row((title, *figures))))
    kept = sorted(range(len(rows)), key=lambda k: -rows[k][0])[:8]
    note = f"{len(rows) - len(kept)} smaller rooms" if len(rows) > len(kept) else ""
    places = ((0.0, "left"), (width - 13.5, "right"), (width, "right"))
    return tables.Table(("Room", "mean", "by half"), places, tuple(rows[k][1] for k in sorted(kept)), note)


def _draw_surround(
    page: Page,
    scene: Scene,
    found: GridWalk,
    which: ChanceMap,
    projection: Projection,
    sheet_number: tuple[int, int],
) -> None:
    surface = found.surface
    state = state_shown(scene)
    where = [surface.storey] if surface.storey is not None else []
    draw_surround(
        page,
        scene,
        projection,
        subtitle=" · ".join([f"{which.title}, air at {air_of(scene)}", *where, *state]),
        drawing=", ".join([f"Grid walk: {_ROWS[which.key]}", *where, *state]),
        conditions=f"{air_of(scene)} · simulated detectors",
        number=sheet_number,
    )
