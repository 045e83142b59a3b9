"""The legend: the map's colours against dB, the share of the area at each, the four classes in words."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from raycover.draw import hatching, palette
from raycover.shares import percent
from raycover.signs import minus, signed

if TYPE_CHECKING:
    from raycover.draw.page import Box, Page

Floats = NDArray[np.float64]
At = Callable[[float], float]
_BAR_WIDTH, _BAR_HEIGHT, _PARTING = 6.5, 48.0, 0.55
_TICK_PITCH, _NAME_PITCH = 2.9, 4.0
#: Right of the bar's left edge (mm): where the bars of shares begin and how long they are, where names of classes
#: begin; and what parts these from their shares.
_BARS, _BARS_LONG, _NAMES, _BETWEEN = 16.2, 9.8, 27.6, 1.5


@dataclass(frozen=True)
class Distribution:
    """Shares of a plane's area: by class (4,), worst first, and by dB: `share` (n,) between `edges` (n + 1,)."""

    by_class: Floats
    edges: Floats
    share: Floats


def distribution(margin_db: NDArray[np.float32], area: NDArray[np.floating], reserve_db: float) -> Distribution:
    """Shares by class and by dB; what is not seen is spread evenly over its class."""
    inside = ~np.isnan(margin_db)
    margin, weight = margin_db[inside].astype(float), area[inside]
    total = weight.sum() or 1.0
    by_class = np.bincount(palette.class_of(margin, reserve_db), weight, minlength=4)[:4] / total
    parts = palette.classes(reserve_db)
    edges, shares = [parts[0].from_db], []
    for index, part in enumerate(parts):
        width = part.to_db - part.from_db
        if width <= 0:
            continue
        n = max(round(width), 1)
        steps = np.linspace(part.from_db, part.to_db, n + 1)
        if index == palette.NOT_SEEN:
            share = np.full(n, by_class[0] / n)
        else:
            mine = palette.class_of(margin, reserve_db) == index
            slot = np.clip(((margin[mine] - part.from_db) / width * n).astype(int), 0, n - 1)
            share = np.bincount(slot, weight[mine], minlength=n) / total
        edges += list(steps[1:])
        shares.append(share)
    return Distribution(by_class, np.array(edges), np.concatenate(shares))


def spread(places: Floats, pitch: float) -> Floats:
    """Places (n,), rising, moved as little as it takes to stand at least `pitch` apart."""
    moved = np.array(places, float)
    for _ in range(100):
        gap = np.diff(moved)
        short = np.maximum(pitch - gap, 0)
        if short.max(initial=0) < 1e-3:
            break
        moved[:-1] -= short / 2
        moved[1:] += short / 2
    return moved


def draw_swatch(page: Page, index: int, reserve_db: float, box: Box) -> None:
    """A small oblong (mm) in the colours and hatch of a class."""
    page.image(np.repeat(palette.legend_image(index, reserve_db).transpose(1, 0, 2), 2, axis=0), box, 5.0)
    if index < palette.SEEN:
        spacing = hatching.NOT_SEEN_MM if index == palette.NOT_SEEN else hatching.DOUBTFUL_MM
        lines = hatching.hatch_lines(np.ones((8, 8), bool), box, spacing, step=0.05)
        page.lines(lines, palette.PAPER, hatching.WIDTH_PT, 5.1, alpha=hatching.OPACITY)
    corners = [(box[0], box[1]), (box[2], box[1]), (box[2], box[3]), (box[0], box[3])]
    page.areas([[corners]], 5.2, edge=palette.INK, width_pt=0.4)


def draw_legend(
    page: Page, x: float, y: float, right: float, found: Distribution, reserve_db: float, what: str
) -> None:
    """Draw the legend with the foot of its bar at (x, y), its right edge at `right` (mm)."""
    at, parts = draw_bar(page, x, y, reserve_db)
    page.text(x + _BARS, y + _BAR_HEIGHT + 1.2, f"share of the {what}", 6, color=palette.SECOND_INK)
    rows = [
        (palette.CLASS_NAMES[index], percent(float(found.by_class[index])), place - 0.8)
        for index, place in class_places(at, parts)
    ]
    # Names longer than the English ones take room from the bars.
    extent = page.lettering.extent
    widest = max(extent(name, "bold", 6.5).width + extent(share, "sans", 6.5).width for name, share, _ in rows)
    short = max(widest + _BETWEEN - (right - x - _NAMES), 0.0)
    _histogram(page, x + _BARS, at, found, reserve_db, _BARS_LONG - short)
    for name, share, y_text in rows:
        page.text(x + _NAMES - short, y_text, name, 6.5, font="bold")
        page.text(right, y_text, share, 6.5, ha="right")


def draw_bar(page: Page, x: float, y: float, reserve_db: float) -> tuple[At, tuple[palette.MarginClass, ...]]:
    """The bar of colours with its foot at (x, y) and its ticks; where a margin lies on it, and the classes."""
    parts = palette.classes(reserve_db)
    low, high = parts[0].from_db, parts[-1].to_db
    per_db = _BAR_HEIGHT / (high - low)

    def at(db: float) -> float:
        return y + (db - low) * per_db

    page.text(x, y + _BAR_HEIGHT + 4.8, "Margin over the limit, dB", 7, font="bold")
    for index, part in enumerate(parts):
        bottom = at(part.from_db) + (_PARTING / 2 if index else 0)
        top = at(part.to_db) - (_PARTING / 2 if index < 3 else 0)
        if top - bottom < 0.2:
            continue
        box = (x, bottom, x + _BAR_WIDTH, top)
        page.image(np.repeat(palette.legend_image(index, reserve_db), 2, axis=1), box, 5.0)
        if index < palette.SEEN:
            spacing = hatching.NOT_SEEN_MM if index == palette.NOT_SEEN else hatching.DOUBTFUL_MM
            lines = hatching.hatch_lines(np.ones((8, 8), bool), box, spacing, step=0.05)
            page.lines(lines, palette.PAPER, hatching.WIDTH_PT, 5.1, alpha=hatching.OPACITY)
        block = [(x, bottom), (x + _BAR_WIDTH, bottom), (x + _BAR_WIDTH, top), (x, top)]
        page.areas([[block]], 5.2, edge=palette.INK, width_pt=0.4)
    _ticks(page, x + _BAR_WIDTH, at, parts, reserve_db)
    return at, parts


def class_places(at: At, parts: tuple[palette.MarginClass, ...]) -> list[tuple[int, float]]:
    """(class, height on the page) for the names of those classes that have a width."""
    drawn = [i for i, p in enumerate(parts) if p.to_db > p.from_db]
    middles = np.array([(at(parts[i].from_db) + at(parts[i].to_db)) / 2 for i in drawn])
    return list(zip(drawn, spread(middles, _NAME_PITCH).tolist(), strict=True))


def _ticks(page: Page, x: float, at: At, parts: tuple[palette.MarginClass, ...], reserve_db: float) -> None:
    values = sorted({-reserve_db, 0.0, reserve_db, reserve_db + palette.ABOVE_DB / 2, parts[-1].to_db})
    places = spread(np.array([at(v) for v in values]), _TICK_PITCH)
    for value, place in zip(values, places, strict=True):
        page.lines([[(x, at(value)), (x + 0.7, at(value)), (x + 1.5, place)]], palette.INK, 0.5, 5.3)
        font = "bold" if value == 0 else "sans"
        page.text(x + 2.0, place - 0.8, signed(value), 6.5, font=font)  # type: ignore[arg-type]


def _histogram(page: Page, x: float, at: At, found: Distribution, reserve_db: float, longest: float) -> None:
    top = max(float(found.share.max(initial=0.0)), 1e-9)
    middles = (found.edges[1:] + found.edges[:-1]) / 2
    colours = palette.margin_rgb(middles, reserve_db)
    for k, share in enumerate(found.share):
        if share <= 0:
            continue
        bottom, high = at(float(found.edges[k])) + 0.12, at(float(found.edges[k + 1])) - 0.12
        if palette.class_of(middles[k], reserve_db) == palette.NOT_SEEN:
            bottom, high = bottom - 0.12, high + 0.12
        width = max(longest * share / top, 0.15)
        box = [(x, bottom), (x + width, bottom), (x + width, high), (x, high)]
        edge = palette.SECOND_INK if middles[k] >= reserve_db else None  # pale on white
        page.areas([[box]], 5.0, face=palette.hex_of(colours[k]), edge=edge, width_pt=0.3)
    page.lines([[(x, at(float(found.edges[0]))), (x, at(float(found.edges[-1])))]], palette.INK, 0.5, 5.5)


def draw_classes(page: Page, x: float, y: float, reserve_db: float) -> None:
    """The four classes in one line, worst first: colour, hatch, name and bounds; y is the words' baseline."""
    for index, part in enumerate(palette.classes(reserve_db)):
        if part.to_db <= part.from_db:
            continue
        box = (x, y - 0.6, x + 6.0, y + 2.4)
        draw_swatch(page, index, reserve_db, box)
        low, high = (minus(f"{v:+g}") if v else "0" for v in (part.from_db, part.to_db))
        bound = f"over {low}" if index == palette.ASSURED else f"under {high}" if not index else f"{low} to {high}"
        text = f"{palette.CLASS_NAMES[index]}, {bound} dB"
        x += 7.4 + page.text(x + 7.4, y, text, 6.0).width + 4.0
