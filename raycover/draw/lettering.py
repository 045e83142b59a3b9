"""Type: bundled fonts, free text made safe to draw, and its size on paper.

Only fonts that come with matplotlib are used, by file, so that every machine draws the same page.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Literal

import matplotlib
from matplotlib.backends.backend_agg import RendererAgg
from matplotlib.font_manager import FontProperties, get_font

Font = Literal["sans", "bold", "oblique", "serif", "italic"]
_FILES: dict[str, str] = {
    "sans": "DejaVuSans.ttf",
    "bold": "DejaVuSans-Bold.ttf",
    "oblique": "DejaVuSans-Oblique.ttf",
    "serif": "STIXGeneral.ttf",
    "italic": "STIXGeneralItalic.ttf",
}
#: What stands in for a font that lacks a character of the text.
_STAND_IN: dict[str, Font] = {"serif": "sans", "italic": "oblique"}
_STAND_IN_SIZE = 0.86
#: An empty box, the usual sign for a character that no font here holds.
_UNKNOWN = "\u25a1"
_ELLIPSIS = "…"
#: A word that ends in a figure, a unit that follows it, and what comes before a figure that bounds something.
_NUMBER = re.compile(r"[0-9]$")
_UNIT = re.compile(r"(?:%|‰|dB|dBi|mm|cm|m|m²|s|min|h|°C|°|GHz|MHz|W|V|mA|lx|m/s)[.,;:)]*$")
_BOUND = re.compile(r"(?:^|[(\s])[<>±≤≥~]$")


def font_path(font: Font) -> Path:
    return Path(matplotlib.get_data_path()) / "fonts" / "ttf" / _FILES[font]


@lru_cache(maxsize=8)
def _characters(font: Font) -> frozenset[int]:
    return frozenset(get_font(str(font_path(font))).get_charmap())


def drawn_in(text: str, font: Font, size_pt: float) -> FontProperties:
    """The font where it holds every character of the text, else its stand-in, a little smaller to match."""
    known = _characters(font)
    if font not in _STAND_IN or all(ord(c) in known for c in text):
        return properties(font, size_pt)
    return properties(_STAND_IN[font], size_pt * _STAND_IN_SIZE)


class Told(str):
    """A text that stands on a drawing as it is, whatever its language: what somebody gave a name to, and what has
    been put into the language already. Put together with others it is a plain text again.
    """

    __slots__ = ()


def named(text: str) -> Told:
    """A name that somebody gave, made drawable: no wording translates it, though it be a word of the sheets."""
    return Told(clean(text))


def clean(text: str) -> str:
    """Free text as one line that the fonts here can draw: characters none of them holds become a box."""
    if isinstance(text, Told):
        return Told(_drawable(text))
    return _drawable(text)


def _drawable(text: str) -> str:
    known = _characters("sans")
    spaced = "".join(" " if c.isspace() else c for c in unicodedata.normalize("NFC", text))
    kept = (c for c in spaced if unicodedata.category(c) not in ("Cc", "Cf", "Cs", "Co", "Cn"))
    return " ".join("".join(c if ord(c) in known else _UNKNOWN for c in kept).split())


def _unbroken(text: str) -> list[str]:
    """Words of a text, a number and its unit as one: no line ends between 98 and %."""
    found: list[str] = []
    for word in text.split(" "):
        if found and ((_UNIT.match(word) and _NUMBER.search(found[-1])) or _BOUND.search(found[-1])):
            found[-1] += f" {word}"
        else:
            found.append(word)
    return found


@lru_cache(maxsize=64)
def properties(font: Font, size_pt: float) -> FontProperties:
    return FontProperties(fname=str(font_path(font)), size=size_pt)


@dataclass(frozen=True)
class Extent:
    """Size of a line of text on paper (mm): width, height above the baseline, depth below it."""

    width: float
    above: float
    below: float

    @property
    def height(self) -> float:
        return self.above + self.below


@dataclass(frozen=True)
class Wording:
    """Another language than English: `label` puts whole texts of drawings into it, `sentence` what is said of
    results, `course` ways of signals. What is `Told` stays as it is.
    """

    label: Callable[[str], str]
    sentence: Callable[[str], str]
    course: Callable[[str], str]

    def __call__(self, text: str) -> str:
        """A text as it stands on a drawing."""
        return text if isinstance(text, Told) else self.done(self.label(text))

    def said(self, text: str) -> str:
        """A sentence on results."""
        return text if isinstance(text, Told) else self.done(self.sentence(text))

    def way(self, text: str) -> str:
        """A way of a signal, or why there is none."""
        return text if isinstance(text, Told) else self.done(self.course(text))

    def done(self, text: str) -> str:
        """A text, or a part of one, that is not looked up again."""
        return text if self.label is _as_is else Told(text)


def _as_is(text: str) -> str:
    return text


#: Texts as they are.
ENGLISH = Wording(_as_is, _as_is, _as_is)


@dataclass
class Lettering:
    """Measures text with the renderer that will draw it; `wording` puts it into another language first."""

    renderer: RendererAgg
    mm_per_px: float
    wording: Wording = ENGLISH
    _known: dict[tuple[str, bool, Font, float], Extent] = field(default_factory=dict)

    def extent(self, text: str, font: Font, size_pt: float) -> Extent:
        """Extent of one line, no lower than the font's tall and deep letters together."""
        key = (text, isinstance(text, Told), font, size_pt)
        if key not in self._known:
            text = self.worded(text)
            prop = drawn_in(text, font, size_pt)
            width, height, depth = self.renderer.get_text_width_height_descent(text, prop, ismath=False)
            _, line, line_depth = self.renderer.get_text_width_height_descent("lp", prop, ismath=False)
            above = max(height - depth, line - line_depth)
            mm = self.mm_per_px
            self._known[key] = Extent(width * mm, above * mm, max(depth, line_depth) * mm)
        return self._known[key]

    def worded(self, text: str) -> str:
        """The text as it will be drawn."""
        return self.wording(text) if self.wording is not ENGLISH else text

    def fit(self, text: str, font: Font, size_pt: float, width: float) -> str:
        """The text, shortened with an ellipsis where it is wider than `width` (mm)."""
        if self.extent(text, font, size_pt).width <= width:
            return text
        text = self.worded(text)
        low, high = 0, len(text)
        while low < high:
            middle = (low + high + 1) // 2
            if self.extent(self._part(text[:middle].rstrip() + _ELLIPSIS), font, size_pt).width <= width:
                low = middle
            else:
                high = middle - 1
        return self._part(text[:low].rstrip() + _ELLIPSIS)

    def _part(self, text: str) -> str:
        """A part of a text that is in its language already."""
        return text if self.wording is ENGLISH else self.wording.done(text)

    def fit_size(self, text: str, font: Font, sizes_pt: Sequence[float], width: float) -> tuple[str, float]:
        """The largest of falling sizes in which the text fits whole; shortened at the smallest if none."""
        for size in sizes_pt:
            if self.extent(text, font, size).width <= width:
                return text, size
        return self.fit(text, font, sizes_pt[-1], width), sizes_pt[-1]

    def wrap(self, text: str, font: Font, size_pt: float, width: float, n_lines: int) -> list[str]:
        """The text in at most `n_lines` lines, broken at blanks, the last one shortened where need be."""
        text = self.worded(text)
        words = _unbroken(text)

        def part(n_from: int, n_to: int | None) -> str:
            return self._part(" ".join(words[n_from:n_to]))

        if n_lines == 2 and self.extent(text, font, size_pt).width > width:
            # Two lines of like length read better than a full one with a word left over.
            breaks = [(part(0, k), part(k, None)) for k in range(1, len(words))]
            longer = [max(self.extent(half, font, size_pt).width for half in pair) for pair in breaks]
            if longer and min(longer) <= width:
                return list(breaks[longer.index(min(longer))])
        lines: list[str] = []
        while words and len(lines) < n_lines - 1:
            n = 1
            while n < len(words) and self.extent(part(0, n + 1), font, size_pt).width <= width:
                n += 1
            lines.append(self.fit(part(0, n), font, size_pt, width))
            words = words[n:]
        if words:
            lines.append(self.fit(part(0, None), font, size_pt, width))
        return lines
