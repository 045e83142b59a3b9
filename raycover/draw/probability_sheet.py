"""What probability plans and probability sheets of stairs share: the map's colours and lines, the column, the words."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from raycover.draw import chance_palette, hatching, palette, sheet, tables, words
from raycover.draw.drawing import Strokes
from raycover.draw.lettering import clean, named
from raycover.draw.mapping import PaperMap
from raycover.draw.page import Page
from raycover.draw.projection import Projection
from raycover.draw.title_block import draw_block, state_shown
from raycover.scene.schema import Scene
from raycover.shares import percent
from raycover.solving.chance_maps import ChanceMaps, PlaneChances
from raycover.solving.coverage import PlaneCoverage

Floats = NDArray[np.float64]
_BAR_WIDTH, _BAR_HEIGHT = 6.5, 46.0
_MOST_ROOMS = 8
_HISTOGRAM = 20


@dataclass(frozen=True)
class Varied:
    """One plane in varied cases, with lines (`notes`) that say what was varied."""

    maps: ChanceMaps
    chances: PlaneChances
    notes: Sequence[str] = ()

    @property
    def as_plane(self) -> PlaneCoverage:
        """The plane with its probabilities in place of its margins, on the scale that maps are resampled on."""
        scaled = chance_palette.to_scale(self.chances.probability)
        return replace(self.chances.plane, margin_db=scaled, reserve_db=chance_palette.HALF)

    def draw_column(self, page: Page, key: sheet.Key, lines: bool) -> None:
        """Headline, legend, rooms, what was varied, and the key; `lines` whether the map has any."""
        plane = self.chances.plane
        what = f"of the {words.mapped(plane.surface)} is firm;"
        sheet.draw_headline(page, percent(self.chances.firm_share), (what, f"as drawn {percent(plane.share)}"))
        edges = (0.0, *chance_palette.BOUNDS, 2.0)
        shares = [self.chances.share_of(low, high) for low, high in pairwise(edges)]
        _draw_bar(page, shares)
        y = _draw_legend(page, self.chances, shares, lines)
        width = sheet.RIGHT - sheet.COLUMN
        y = tables.draw_table(page, _room_table(page, self.chances, width), sheet.COLUMN, y, sheet.RIGHT)
        varied = _note_table(page, self.notes, width, y - sheet.COLUMN_FOOT - key.height)
        if varied is not None:
            tables.draw_table(page, varied, sheet.COLUMN, y, sheet.RIGHT)
        sheet.draw_key(page, key)

    def draw_words(
        self,
        page: Page,
        scene: Scene,
        projection: Projection,
        sheet_number: tuple[int, int],
        drawing: str,
        where: str,
    ) -> None:
        """Title, scale bar and title block; `drawing` is what the sheet is called, `where` the storey or stair."""
        state = state_shown(scene)
        sheet.draw_title(page, scene.title, words.chances(self.chances.plane.surface, state, where))
        sheet.draw_scale_bar(page, projection)
        draw_block(
            page,
            scene,
            drawing=", ".join([drawing, *state]),
            conditions=f"{self.maps.draws.n} varied cases · seed {self.maps.draws.doubt.seed}",
            scale=projection.scale,
            number=sheet_number,
        )


def draw_chance_map(page: Page, picture: PaperMap, strokes: Strokes) -> bool:
    """Colours, hatches and the lines of 50 and 95 %; whether there are any."""
    rgb = chance_palette.chance_rgb(chance_palette.from_scale(picture.margin_db), picture.classes)
    alpha = np.where(picture.classes >= 0, 255, 0).astype(np.uint8)
    page.image(np.concatenate([rgb, alpha[..., None]], axis=-1), picture.box, 1.0)
    for index, spacing in (
        (chance_palette.HARDLY, hatching.NOT_SEEN_MM),
        (chance_palette.SELDOM, hatching.DOUBTFUL_MM),
    ):
        lines = hatching.hatch_lines(picture.classes == index, picture.box, spacing)
        page.lines(lines, palette.PAPER, hatching.WIDTH_PT, 2.0, alpha=hatching.OPACITY, clip=picture.box)
    # The line between two classes is found as the limit is on plans: by what lies on its upper side.
    firm = np.where(picture.classes < 0, -1, np.where(picture.classes == chance_palette.FIRM, palette.SEEN, 0))
    firm_map = PaperMap(picture.margin_db, firm.astype(np.int8), picture.box, picture.reserve_db)
    half, sure = picture.limit_lines(), firm_map.limit_lines()
    page.lines(half, palette.INK, 0.5, 3.0, dashes=(2.2, 1.6), clip=picture.box)
    page.lines(sure, palette.INK, 0.7, 3.1, clip=picture.box)
    strokes.add(half, 0.5)
    strokes.add(sure, 0.8)
    return bool(half or sure)


def _middle_rgb(index: int) -> str:
    edges = (0.0, *chance_palette.BOUNDS, 1.0)
    return palette.hex_of(chance_palette.chance_rgb([(edges[index] + edges[index + 1]) / 2])[0])


def _draw_bar(page: Page, shares: Sequence[float]) -> None:
    """Shares of the four classes as one bar under the headline figure, best first."""
    x, y, width, height = sheet.COLUMN, 190.8, sheet.RIGHT - sheet.COLUMN, 1.8
    for index in reversed(range(4)):
        part = width * shares[index]
        if part > 0.02:
            box = [(x, y), (x + part, y), (x + part, y + height), (x, y + height)]
            page.areas([[box]], 5.0, face=_middle_rgb(index))
            x += part
    outline = [(sheet.COLUMN, y), (sheet.RIGHT, y), (sheet.RIGHT, y + height), (sheet.COLUMN, y + height)]
    page.areas([[outline]], 5.1, edge=palette.INK, width_pt=0.5)


def _draw_legend(page: Page, chances: PlaneChances, shares: Sequence[float], lines: bool) -> float:
    """The colours against the share of the cases, the area at each, the classes in words; where the next rule lies."""
    x, right = sheet.COLUMN, sheet.RIGHT
    foot = 184.0 - _BAR_HEIGHT - 4.8
    page.text(x, 184.0, "Seen in this share of the cases", 7, font="bold")
    page.text(x + 18.6, foot + _BAR_HEIGHT + 1.6, f"share of the {words.mapped(chances.plane.surface)}", 6,
              color=palette.SECOND_INK)  # fmt: skip

    def at(share: float) -> float:
        return foot + share * _BAR_HEIGHT

    edges = (0.0, *chance_palette.BOUNDS, 1.0)
    for index, (low, high) in enumerate(pairwise(edges)):
        box = (x, at(low), x + _BAR_WIDTH, at(high))
        steps = low + (np.arange(64) + 0.5) / 64 * (high - low)
        page.image(np.repeat(chance_palette.chance_rgb(steps)[:, None], 2, axis=1), box, 5.0)
        if index < chance_palette.MOSTLY:
            spacing = hatching.NOT_SEEN_MM if index == chance_palette.HARDLY else hatching.DOUBTFUL_MM
            hatch = hatching.hatch_lines(np.ones((8, 8), bool), box, spacing, step=0.05)
            page.lines(hatch, palette.PAPER, hatching.WIDTH_PT, 5.1, alpha=hatching.OPACITY)
        block = [(box[0], box[1]), (box[2], box[1]), (box[2], box[3]), (box[0], box[3])]
        page.areas([[block]], 5.2, edge=palette.INK, width_pt=0.4)
    for value, text in ((0.0, "0"), (0.05, "5"), (0.5, "50"), (0.95, "95"), (1.0, "100 %")):
        place = at(value) + {0.0: -0.9, 0.05: 0.9, 0.95: -0.9, 1.0: 0.9}.get(value, 0.0)
        page.lines([[(x + _BAR_WIDTH, at(value)), (x + _BAR_WIDTH + 0.7, at(value)), (x + _BAR_WIDTH + 1.5, place)]],
                   palette.INK, 0.5, 5.3)  # fmt: skip
        page.text(x + _BAR_WIDTH + 2.0, place - 0.8, text, 6.5)
    _histogram(page, x + 18.6, at, chances)
    places = (at(0.025) - 0.6, at(0.275), at(0.725), at(0.975) + 0.6)
    for index, place in enumerate(places):
        page.text(x + 26.2, place - 0.8, chance_palette.CLASS_NAMES[index], 6.5, font="bold")
        page.text(right, place - 0.8, percent(shares[index]), 6.5, ha="right")
    y = foot - 5.6
    if lines:
        page.lines([[(x, y + 0.8), (x + 4.6, y + 0.8)]], palette.INK, 0.7, 25.0)
        page.text(x + 6.0, y, "95 %", 6.5)
        page.lines([[(x + 17.0, y + 0.8), (x + 21.6, y + 0.8)]], palette.INK, 0.5, 25.0, dashes=(2.2, 1.6))
        page.text(x + 23.0, y, "50 % of the cases", 6.5)
        y -= 4.3
    return y + 1.4


def _histogram(page: Page, x: float, at: Callable[[float], float], chances: PlaneChances) -> None:
    longest = 6.4
    edges = np.linspace(0, 1, _HISTOGRAM + 1)
    share = [chances.share_of(low, 2.0 if high == 1 else high) for low, high in pairwise(edges)]
    top = max(*share, 1e-9)
    for (low, high), part in zip(pairwise(edges), share, strict=True):
        if part > 0:
            y0, y1, width = at(low) + 0.12, at(high) - 0.12, max(longest * part / top, 0.15)
            middle = (low + high) / 2
            edge = palette.SECOND_INK if middle >= chance_palette.BOUNDS[2] else None  # pale on white
            face = palette.hex_of(chance_palette.chance_rgb([middle])[0])
            page.areas(
                [[[(x, y0), (x + width, y0), (x + width, y1), (x, y1)]]], 5.0, face=face, edge=edge, width_pt=0.3
            )
    page.lines([[(x, at(0.0)), (x, at(1.0))]], palette.INK, 0.5, 5.5)


def _room_table(page: Page, chances: PlaneChances, width: float) -> tables.Table:
    """Each room: share seen as drawn, and in nine of ten and in the worst twentieth of the cases."""
    figures = chances.plane.rooms()
    names = [name for name in figures if figures[name][0] > 0]
    order = sorted(names, key=lambda n: -figures[n][0])[:_MOST_ROOMS]
    rows = []
    for name in (n for n in names if n in order):
        shown = "Area mapped" if name == "extent" else named(name)
        cases = chances.rooms[name]
        rows.append(
            tables.Row(
                (
                    page.lettering.fit(shown, "sans", 6.5, width - 33.0),
                    percent(figures[name][1]),
                    percent(float(cases.mean())),
                    percent(float(np.quantile(cases, 0.05, method="lower"))),
                )
            )
        )
    if len(names) > 1:
        cases = chances.share
        rows.append(
            tables.Row(
                (
                    "All",
                    percent(chances.plane.share),
                    percent(chances.expected_share),
                    percent(float(np.quantile(cases, 0.05, method="lower"))),
                ),
                strong=True,
            )
        )
    left = len(names) - len(order)
    note = f"{left} smaller rooms are not listed" if left > 1 else "1 smaller room is not listed" if left else ""
    places = ((0.0, "left"), (width - 24.0, "right"), (width - 12.2, "right"), (width, "right"))
    return tables.Table(("Room, seen", "drawn", "mean", "1 in 20"), places, tuple(rows), note)


def _note_table(page: Page, notes: Sequence[str], width: float, height: float) -> tables.Table | None:
    """What was varied, one line each, as many as there is room for."""
    for n in range(len(notes), 0, -1):
        rows = tuple(tables.Row((page.lettering.fit(clean(line), "sans", 6.5, width),)) for line in notes[:n])
        note = f"{len(notes) - n} more" if n < len(notes) else ""
        made = tables.Table(("What was varied",), ((0.0, "left"),), rows, note)
        if made.height <= height:
            return made
    return None
