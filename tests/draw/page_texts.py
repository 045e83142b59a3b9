"""What every sheet must keep to: texts that neither overlap nor leave the page."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from itertools import combinations

from raycover import __version__
from raycover.draw.page import Page


def assert_texts_are_in_place(page: Page, fewest: int = 30, edge: float = 0.0) -> None:
    """No two text boxes overlap, none comes nearer to the paper's edge (mm); a hair of rounding (0.05 mm) aside."""
    boxes = [(text, box) for text, box in page.text_boxes() if text.strip()]
    assert len(boxes) > fewest
    width, height = page.size
    for text, (x0, y0, x1, y1) in boxes:
        assert x0 >= edge, text
        assert y0 >= edge, text
        assert x1 <= width - edge, text
        assert y1 <= height - edge, text
    for (first, a), (second, b) in combinations(boxes, 2):
        shared = (min(a[2], b[2]) - max(a[0], b[0]), min(a[3], b[3]) - max(a[1], b[1]))
        assert min(shared) <= 0.05, f"{first!r} and {second!r} overlap by {min(shared):.2f} mm"


#: Words that an English page cannot do without, and that are no German ones.
_ENGLISH = re.compile(
    r"\b(?:the|of|is|are|and|or|at|to|with|not|from|by|no|any|where|what|which|who|each|needs?|places?|margin|seen|missed|"
    r"met|reach|floor|walls?|through|hidden|beyond|free|sight|doors?|closed|open|yes|on|over|under|it|its|units?|all|as|"
    r"more|there|nobody|noticed|gaps?|largest|sheet|scale|date|project|drawing|below|plane)\b",
    re.IGNORECASE,
)


def assert_words_are_german(texts: Iterable[str], names: Sequence[str]) -> None:
    """No English word is left over, and no decimal point between figures, in what is not a name of the scene."""
    for text in texts:
        rest = text
        for name in sorted(names, key=len, reverse=True):
            rest = rest.replace(name, " ")
        assert not _ENGLISH.search(rest), text
        assert not re.search(r"(?<![\d.])\d+\.\d+(?![\d.])", rest.replace(__version__, "")), text
