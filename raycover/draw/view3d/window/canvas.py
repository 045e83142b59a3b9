"""Flat drawing for panel, cards and labels, with places that can be clicked. Fast enough for every frame.

Lengths are in points: pixels of a plain screen, of which a finer one has `scale` pixels each.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from raycover.draw import palette
from raycover.draw.lettering import Font, font_path

Box = tuple[float, float, float, float]  # left, top, right, bottom in points from the upper left corner
#: Discs are drawn this much finer, then made small.
_FINER = 4


@dataclass(frozen=True)
class Spot:
    """A place that answers to the mouse. `does` names the action, `value` what it is given.

    With a `span` (low, high, step) it is a slider: the value comes from where along the box the mouse is.
    """

    box: Box
    does: str
    value: Any = None
    span: tuple[float, float, float] | None = None

    def holds(self, x: float, y: float) -> bool:
        x0, y0, x1, y1 = self.box
        return x0 <= x < x1 and y0 <= y < y1

    def value_at(self, x: float) -> Any:
        """What the action is given when the mouse is at x."""
        if self.span is None:
            return self.value
        low, high, step = self.span
        share = min(max((x - self.box[0]) / (self.box[2] - self.box[0]), 0.0), 1.0)
        return round(round((low + share * (high - low)) / step) * step, 6)


@lru_cache(maxsize=64)
def type_of(font: Font, size_px: float) -> Any:
    """A font of a size in pixels."""
    return ImageFont.truetype(str(font_path(font)), size_px)


class Canvas:
    """A white sheet of `size` (width, height) points; `spots` are the places on it that can be clicked."""

    def __init__(self, size: tuple[float, float], scale: float = 1.0, background: str = palette.PAPER) -> None:
        self.size, self.scale = size, scale
        self.image = Image.new("RGB", (self.px(size[0]), self.px(size[1])), background)
        self.spots: list[Spot] = []
        self._written: list[tuple[str, Any, str, tuple[int, int]]] = []
        self._draw = ImageDraw.Draw(self.image)

    def px(self, length: float) -> int:
        """A length in whole pixels."""
        return round(length * self.scale)

    def text(
        self, x: float, y: float, text: str, size: float, *, font: Font = "sans", color: str = palette.INK,
        ha: Literal["left", "middle", "right"] = "left",
    ) -> float:  # fmt: skip
        """One line, y its baseline; its width."""
        anchor = {"left": "ls", "middle": "ms", "right": "rs"}[ha]
        at, letters = (self.px(x), self.px(y)), type_of(font, size * self.scale)
        self._draw.text(at, text, font=letters, fill=color, anchor=anchor)
        self._written.append((text, letters, anchor, at))
        return self.width_of(text, size, font)

    def rule(self, x0: float, x1: float, y: float, width: float = 1, color: str = palette.RULE) -> None:
        self.box((x0, y, x1, y + width), fill=color)

    def box(self, box: Box, *, fill: str | None = None, edge: str | None = None) -> None:
        """A rectangle, right and lower bounds left out; its edge a point wide, inside."""
        x0, y0, x1, y1 = (self.px(v) for v in box)
        if x1 > x0 and y1 > y0:
            bounds = (x0, y0, x1 - 1, y1 - 1)
            self._draw.rectangle(bounds, fill=fill, outline=edge, width=max(self.px(1), 1))

    def pixels_at(self, x: float, y: float, pixels: NDArray[np.uint8]) -> None:
        """A picture (h, w, 3), row 0 at the top, with its upper left corner at (x, y), a pixel a pixel."""
        self.image.paste(Image.fromarray(np.ascontiguousarray(pixels)), (self.px(x), self.px(y)))

    def disc(self, x: float, y: float, radius: float, fill: str, edge: str | None = None) -> None:
        """A smooth disc about (x, y)."""
        radius, rim = radius * self.scale, 1.2 * self.scale
        side = round(2 * radius) + 3
        big = Image.new("L", (side * _FINER,) * 2, 0)
        inner = Image.new("L", big.size, 0)
        middle = side * _FINER / 2
        for image, r in ((big, radius * _FINER), (inner, (radius - rim) * _FINER)):
            ImageDraw.Draw(image).ellipse((middle - r, middle - r, middle + r, middle + r), fill=255)
        place = (round(x * self.scale - side / 2), round(y * self.scale - side / 2))
        for mask, color in ((big, edge or fill), (inner, fill)):
            self.image.paste(color, place, mask.resize((side, side), Image.Resampling.LANCZOS))

    def spot(self, box: Box, does: str, value: Any = None, span: tuple[float, float, float] | None = None) -> None:
        """Make a place answer to the mouse."""
        self.spots.append(Spot(box, does, value, span))

    def text_boxes(self) -> list[tuple[str, Box]]:
        """Every text with its bounding box, in pixels."""
        found = []
        for text, font, anchor, (x, y) in self._written:
            left, top, right, bottom = font.getbbox(text, anchor=anchor)
            found.append((text, (x + left, y + top, x + right, y + bottom)))
        return found

    def pixels(self) -> NDArray[np.uint8]:
        """(h, w, 3), row 0 at the top."""
        return np.asarray(self.image)

    def width_of(self, text: str, size: float, font: Font = "sans") -> float:
        """How wide a text comes out here, in points."""
        return float(type_of(font, size * self.scale).getlength(text)) / self.scale

    def fitted(self, text: str, size: float, width: float, font: Font = "sans") -> str:
        """The text, shortened with an ellipsis where it is wider than `width`."""
        if self.width_of(text, size, font) <= width:
            return text
        n = len(text)
        while n and self.width_of(text[:n].rstrip() + "…", size, font) > width:
            n -= 1
        return text[:n].rstrip() + "…"

    def wrapped(self, text: str, size: float, width: float, most: int, font: Font = "sans") -> list[str]:
        """The text in at most `most` lines, the last shortened where it does not fit."""
        lines: list[str] = []
        rest: Sequence[str] = text.split(" ")
        while rest and len(lines) < most:
            n = 1
            while n < len(rest) and self.width_of(" ".join(rest[: n + 1]), size, font) <= width:
                n += 1
            last = len(lines) == most - 1
            lines.append(self.fitted(" ".join(rest if last else rest[:n]), size, width, font))
            rest = rest[n:]
        return lines
