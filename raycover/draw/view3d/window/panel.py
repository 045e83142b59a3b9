"""The panel beside the picture: the verdict in figures, the legend, the controls, what a clicked place says."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from raycover.draw import palette
from raycover.draw.view3d.floor_map import engrave
from raycover.draw.view3d.window import controls
from raycover.draw.view3d.window.canvas import Canvas
from raycover.draw.view3d.window.verdict import Line
from raycover.scene.air import degrees
from raycover.scene.quantities import COLDEST_C, WARMEST_C
from raycover.shares import percent
from raycover.signs import signed

#: Of the panel, and the least height at which it holds everything, in points.
WIDTH, LOWEST = 340, 700
_LEFT, _RIGHT = 18, WIDTH - 18
_SPAN = _RIGHT - _LEFT
_SMALL = 11.0
#: Shares of the bar's length for the classes, worst first.
_SHARES = (0.25, 0.19, 0.17, 0.39)
_LINE = 14
#: Fewer rows than this a list never has.
_FEWEST_ROWS = 3
_STYLES = {
    "head": ("bold", palette.INK, 11.5), "strong": ("bold", palette.INK, 10.5), "plain": ("sans", palette.INK, 10.5),
    "faint": ("sans", palette.SECOND_INK, 10.5), "doubt": ("sans", palette.ACCENT, 10.5),
}  # fmt: skip
Option = tuple[str, object, bool]


@dataclass(frozen=True)
class Row:
    """A row of the list: its name, a note, a figure at the right; `on` fills its box."""

    value: Any
    name: str
    note: str
    right: str
    on: bool
    chosen: bool


@dataclass(frozen=True)
class Slider:
    """A figure to be set: its name, how it is shown, `span` its lowest, highest and step, the action that sets it."""

    label: str
    text: str
    value: float
    span: tuple[float, float, float]
    does: str


@dataclass(frozen=True)
class Shown:
    """What the panel speaks of, as text and figures. `by_class` (4,) are shares, worst first."""

    title: str
    subtitle: str
    seen: str
    by_class: tuple[float, ...]
    reserve_db: float
    planes: tuple[Option, ...]
    height: float
    heights: tuple[float, float]
    height_text: str
    is_free: bool
    motions: tuple[Option, ...]
    ambient_c: float
    states: tuple[Option, ...]
    tabs: tuple[tuple[str, str, bool], ...]
    rows: tuple[Row, ...]
    row_action: tuple[str, str]
    first: int
    sliders: tuple[Slider, ...]
    masks: tuple[Option, ...]
    list_buttons: tuple[tuple[str, str, bool], ...]
    chosen: tuple[Line, ...]
    verdict: tuple[Line, ...]
    buttons: tuple[tuple[str, str, bool], ...]
    message: str


@dataclass(frozen=True)
class Drawn:
    """The panel with its spots, and how many rows of the list it shows."""

    canvas: Canvas
    n_rows: int


def draw_panel(shown: Shown, height_px: int, scale: float = 1.0) -> Drawn:
    """The panel for a window of some height: everything fits from LOWEST points on; lists take what is left."""
    height = height_px / scale
    canvas = Canvas((WIDTH, height), scale)
    canvas.rule(0, 1, 0, height, palette.RULE)
    y = _head(canvas, shown)
    y = legend(canvas, _LEFT, y, _RIGHT, shown.by_class, shown.reserve_db) + 12
    y = controls.chips(canvas, _LEFT, y, _RIGHT, shown.planes, "plane")
    y = controls.slider(
        canvas, _LEFT, y, _RIGHT, "height of the plane", shown.height_text, shown.height, (*shown.heights, 0.05),
        "height", free=shown.is_free,
    )  # fmt: skip
    y = controls.chips(canvas, _LEFT, y + 3, _RIGHT, shown.motions, "motion", rows=1)
    air = degrees(shown.ambient_c)
    y = controls.slider(canvas, _LEFT, y, _RIGHT, "air", air, shown.ambient_c, (COLDEST_C, WARMEST_C, 1.0), "air")
    if len(shown.states) > 1:
        y = controls.chips(canvas, _LEFT, y + 2, _RIGHT, shown.states, "state", rows=1)
    bottom = _foot(canvas, shown, height)
    y = controls.tabs(canvas, _LEFT, y + 4, _RIGHT, shown.tabs)
    y = _setting(canvas, shown, y)
    below = len(shown.chosen) * _LINE + (6 if shown.chosen else 0) + (30 if shown.list_buttons else 0)
    room = bottom - y - below - 12
    wanted = len(shown.verdict) * _LINE
    rows_wanted = max(min(len(shown.rows), int(room / controls.ROW_H)), 1)
    # The verdict takes up to half of the room, and what the list leaves.
    lines = min(wanted, max(room * 0.5, room - rows_wanted * controls.ROW_H)) // _LINE
    lines = int(max(min(lines, (room - _FEWEST_ROWS * controls.ROW_H) // _LINE), 0))
    n_rows = max(int((room - lines * _LINE) / controls.ROW_H), 1)
    y = _list(canvas, shown, y, n_rows) + 4
    if shown.list_buttons:
        y = controls.buttons(canvas, _LEFT, y + 2, _RIGHT, shown.list_buttons)
    _say(canvas, shown.chosen, y, len(shown.chosen), rule=False)
    _say(canvas, shown.verdict, bottom - lines * _LINE - 2, lines)
    return Drawn(canvas, n_rows)


def _setting(canvas: Canvas, shown: Shown, y: float) -> float:
    """What is set at the chosen detector; the y below it."""
    for slider in shown.sliders:
        y = controls.slider(
            canvas, _LEFT, y, _RIGHT, slider.label, slider.text, slider.value, slider.span, slider.does
        )  # fmt: skip
    if shown.masks:
        canvas.text(_LEFT, y + 14, "masks", _SMALL, color=palette.SECOND_INK)
        y = controls.chips(canvas, _LEFT + 44, y, _RIGHT, shown.masks, "mask", rows=2) + 2
    return y


def _head(canvas: Canvas, shown: Shown) -> float:
    size = next((s for s in (21.0, 18.0, 15.0) if canvas.width_of(shown.title, s, "serif") <= _SPAN), 15.0)
    canvas.text(_LEFT, 32, canvas.fitted(shown.title, size, _SPAN, "serif"), size, font="serif")
    canvas.rule(_LEFT, _RIGHT, 41, 2, palette.INK)
    y = 58.0
    for line in canvas.wrapped(shown.subtitle, _SMALL, _SPAN, 2):
        canvas.text(_LEFT, y, line, _SMALL, color=palette.SECOND_INK)
        y += 14
    y = 104.0
    detected = float(sum(shown.by_class[palette.SEEN :]))
    width = canvas.text(_LEFT, y, percent(detected), 30, font="serif")
    canvas.text(_LEFT + width + 12, y - 14, canvas.fitted(shown.seen, _SMALL, _SPAN - width - 12), _SMALL)
    assured = f"{percent(float(shown.by_class[palette.ASSURED]))} assured"
    canvas.text(_LEFT + width + 12, y, assured, _SMALL, color=palette.SECOND_INK)
    return y + 10


def legend(canvas: Canvas, x: float, y: float, right: float, shares: Sequence[float], reserve_db: float) -> float:
    """The map's colours against dB, with names and shares (4, worst first) of the classes; the y below it."""
    parts = palette.classes(reserve_db)
    used = [k for k in range(4) if parts[k].to_db > parts[k].from_db]
    scale = (right - x) / sum(_SHARES[k] for k in used)
    at = x
    for k in used:
        part, end = parts[k], at + _SHARES[k] * scale
        wide = canvas.px(end) - canvas.px(at) - 2 * canvas.px(1)
        bar = np.repeat(palette.legend_image(k, reserve_db, wide).transpose(1, 0, 2), canvas.px(14), axis=0).copy()
        if k <= palette.DOUBTFUL:
            engrave(bar, np.full(bar.shape[:2], k, np.int8), 1.0, 6.0 * canvas.scale)
        canvas.box((at, y - 1, end, y + 15), edge=palette.INK)
        canvas.pixels_at(at + 1, y, bar)
        name = "bold" if canvas.width_of(part.name, 10.0, "bold") <= end - at else "sans"
        canvas.text((at + end) / 2, y + 42, part.name, 10.0, font=name, ha="middle")  # type: ignore[arg-type]
        canvas.text((at + end) / 2, y + 55, percent(float(shares[k])), 10.0, ha="middle")
        marks = [(end, part.to_db)] if k < palette.ASSURED else [((at + end) / 2, part.middle_db)]
        for place, value in marks:
            canvas.box((place, y + 14, place + 1, y + 18), fill=palette.INK)
            canvas.text(place, y + 28, signed(value), 9.5, font="bold" if value == 0 else "sans", ha="middle")
        at = end
    canvas.text(right, y + 28, "dB", 9.5, color=palette.SECOND_INK, ha="right")
    return y + 58


def _list(canvas: Canvas, shown: Shown, y: float, n_rows: int) -> float:
    select, toggle = shown.row_action
    first = min(max(shown.first, 0), max(len(shown.rows) - n_rows, 0))
    some = shown.rows[first : first + n_rows]
    right = _RIGHT - (12 if len(shown.rows) > n_rows else 0)
    top = y
    for row in some:
        if row.chosen:
            canvas.box((_LEFT - 6, y, right + 4, y + controls.ROW_H), fill=controls.CHOSEN)
        box = (_LEFT, y + 4, _LEFT + 12, y + 16)
        tint = palette.INK if select == "door" else palette.ACCENT
        canvas.box(box, fill=tint if row.on else palette.PAPER, edge=tint)
        ink = palette.INK if row.on else palette.SECOND_INK
        room = right - _LEFT - 36 - canvas.width_of(row.right, 10.0)
        name = canvas.fitted(row.name, _SMALL, max(room - canvas.width_of(row.note, 10.0), 0.55 * room), "bold")
        width = canvas.text(_LEFT + 20, y + 14, name, _SMALL, font="bold", color=ink)
        end = right - canvas.width_of(row.right, 10.0) - 8
        note = canvas.fitted(row.note, 10.0, end - _LEFT - 28 - width) if row.note else ""
        canvas.text(_LEFT + 28 + width, y + 14, note, 10.0, color=palette.SECOND_INK)
        canvas.text(right, y + 14, row.right, 10.0, color=ink, ha="right")
        canvas.spot((_LEFT - 6, y, _LEFT + 17, y + controls.ROW_H), toggle, row.value)
        canvas.spot((_LEFT + 17, y, right + 4, y + controls.ROW_H), select, row.value)
        y += controls.ROW_H
    controls.scroll_bar(canvas, _RIGHT, top, top + n_rows * controls.ROW_H, first, n_rows, len(shown.rows))
    if not shown.rows:
        canvas.text(_LEFT, y + 14, "none", _SMALL, color=palette.SECOND_INK)
        y += controls.ROW_H
    return y


def _say(canvas: Canvas, lines: Sequence[Line], y: float, most: int, *, rule: bool = True) -> None:
    if not most:
        return
    if rule:
        canvas.rule(_LEFT, _RIGHT, y - 4)
    for n, line in enumerate(lines[:most]):
        font, color, size = _STYLES[line.style]
        text = line.text if n < most - 1 or len(lines) <= most else f"and {len(lines) - most + 1} lines more"
        canvas.text(_LEFT, y + 10 + n * _LINE, canvas.fitted(text, size, _SPAN, font), size, font=font, color=color)  # type: ignore[arg-type]


def _foot(canvas: Canvas, shown: Shown, height: float) -> float:
    """Buttons, message and caution; the y above them."""
    for k, line in enumerate(("A prediction, not a site test: walk-test.", "Not a safety function.")):
        canvas.text(_LEFT, height - 21 + 12 * k, line, 9.5, color=palette.SECOND_INK)
    message = canvas.wrapped(shown.message, 10.5, _SPAN, 3, "bold") if shown.message else []
    top = height - 36 - 13 * len(message)
    for k, line in enumerate(message):
        canvas.text(_LEFT, top + 9 + 13 * k, line, 10.5, font="bold")
    top -= 30
    canvas.rule(_LEFT, _RIGHT, height - 34)
    controls.buttons(canvas, _LEFT, top, _RIGHT, shown.buttons)
    return top - 6
