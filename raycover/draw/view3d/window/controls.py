"""The panel's controls: chips, sliders, tabs, rows that scroll. Drawn flat, each leaving its spots on the canvas."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from raycover.draw import palette
from raycover.draw.view3d.window.canvas import Canvas

#: Ground of what is chosen, and of what can be pressed.
CHOSEN, PRESSABLE = "#F6E9E4", "#F1F2F2"
CHIP_H, ROW_H, SLIDER_H = 20, 20, 30
_SMALL = 11.0


def chips(
    canvas: Canvas, x: float, y: float, right: float, options: Sequence[tuple[str, Any, bool]], does: str,
    *, rows: int = 2,
) -> float:  # fmt: skip
    """Chips (text, value, chosen) in at most `rows` rows; the y below them.

    Where there are too many the row starts so that the chosen one shows, with arrows to step on either side.
    """
    laid = _lay(canvas, options, right - x, rows)
    if laid is None:
        return _stepper(canvas, x, y, right, options, does)
    for row in laid:
        at = x
        for text, value, chosen in row:
            width = _chip_width(canvas, text, right - x)
            _chip(canvas, (at, y, at + width, y + CHIP_H), text, chosen=chosen)
            canvas.spot((at, y, at + width, y + CHIP_H), does, value)
            at += width + 4
        y += CHIP_H + 4
    return y


def _chip_width(canvas: Canvas, text: str, most: float) -> float:
    return min(canvas.width_of(text, _SMALL) + 14, most)


def _lay(
    canvas: Canvas, options: Sequence[tuple[str, Any, bool]], span: float, rows: int
) -> list[list[tuple[str, Any, bool]]] | None:
    laid: list[list[tuple[str, Any, bool]]] = [[]]
    at = 0.0
    for option in options:
        width = _chip_width(canvas, option[0], span)
        if at and at + width > span:
            laid.append([])
            at = 0.0
        laid[-1].append(option)
        at += width + 4
    return laid if len(laid) <= rows else None


def _stepper(
    canvas: Canvas, x: float, y: float, right: float, options: Sequence[tuple[str, Any, bool]], does: str
) -> float:
    now = next((k for k, option in enumerate(options) if option[2]), 0)
    for step, box in ((-1, (x, y, x + 20, y + CHIP_H)), (1, (right - 20, y, right, y + CHIP_H))):
        _chip(canvas, box, "‹" if step < 0 else "›", chosen=False)
        canvas.spot(box, does, options[(now + step) % len(options)][1])
    text = f"{options[now][0]}  ({now + 1} of {len(options)})"
    _chip(canvas, (x + 24, y, right - 24, y + CHIP_H), text, chosen=options[now][2])
    return y + CHIP_H + 4


def _chip(canvas: Canvas, box: tuple[float, float, float, float], text: str, *, chosen: bool) -> None:
    canvas.box(box, fill=palette.INK if chosen else PRESSABLE)
    color = palette.PAPER if chosen else palette.INK
    text = canvas.fitted(text, _SMALL, box[2] - box[0] - 8)
    canvas.text((box[0] + box[2]) / 2, box[3] - 6, text, _SMALL, color=color, ha="middle")


def slider(
    canvas: Canvas, x: float, y: float, right: float, label: str, shown: str, value: float,
    span: tuple[float, float, float], does: str, *, free: bool = True,
) -> float:  # fmt: skip
    """A slider with its label and value above the track; `free` False draws the knob hollow. The y below it."""
    canvas.text(x, y + 10, label, _SMALL, color=palette.SECOND_INK)
    canvas.text(right, y + 10, shown, _SMALL, font="bold", ha="right")
    low, high, _ = span
    track = y + 20
    canvas.box((x, track - 1, right, track + 1), fill=palette.RULE)
    at = x + 5 + (right - x - 10) * min(max((value - low) / (high - low), 0.0), 1.0)
    canvas.disc(at, track, 5.5, palette.INK if free else palette.PAPER, palette.INK)
    canvas.spot((x + 5, y + 12, right - 5, y + SLIDER_H), does, None, span)
    return y + SLIDER_H


def tabs(canvas: Canvas, x: float, y: float, right: float, names: Sequence[tuple[str, str, bool]]) -> float:
    """Tabs (text, value, chosen) over a rule; the y below them."""
    at = x
    for text, value, chosen in names:
        width = canvas.text(
            at, y + 13, text, 12.0, font="bold" if chosen else "sans",
            color=palette.INK if chosen else palette.SECOND_INK,
        )  # fmt: skip
        if chosen:
            canvas.rule(at, at + width, y + 18, 2, palette.INK)
        canvas.spot((at - 4, y, at + width + 8, y + 20), "tab", value)
        at += width + 18
    canvas.rule(x, right, y + 19)
    return y + 24


def scroll_bar(canvas: Canvas, right: float, y: float, bottom: float, first: int, shown: int, total: int) -> None:
    """How far a list of rows is scrolled; a click pages."""
    if shown >= total:
        return
    canvas.box((right - 5, y, right, bottom), fill=PRESSABLE)
    top = y + (bottom - y) * first / total
    canvas.box((right - 5, top, right, max(top + (bottom - y) * shown / total, top + 12)), fill=palette.THIRD_INK)
    middle = (y + bottom) / 2
    canvas.spot((right - 12, y, right + 4, middle), "scroll", -shown)
    canvas.spot((right - 12, middle, right + 4, bottom), "scroll", shown)


def buttons(
    canvas: Canvas, x: float, y: float, right: float, names: Sequence[tuple[str, str, bool]], gap: float = 5
) -> float:
    """Buttons (text, action, can be pressed) of one width each side by side; the y below them."""
    width = (right - x - gap * (len(names) - 1)) / len(names)
    for k, (text, does, can) in enumerate(names):
        left = x + k * (width + gap)
        box = (left, y, left + width, y + 22)
        canvas.box(box, fill=PRESSABLE, edge=palette.RULE)
        color = palette.INK if can else palette.THIRD_INK
        canvas.text(left + width / 2, y + 15, text, _SMALL, color=color, ha="middle")
        if can:
            canvas.spot(box, does)
    return y + 28
