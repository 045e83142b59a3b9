"""Lines of a still's key that every page with the picture shares: seated people, and the shells of lobes."""

from __future__ import annotations

from typing import TYPE_CHECKING

from raycover.draw.lettering import clean
from raycover.draw.page import Page
from raycover.draw.view3d.margin_bar import rectangle
from raycover.draw.view3d.stage import UNNOTICED

if TYPE_CHECKING:
    from raycover.draw.view3d.still import Composed

#: From the left of a line to its words, and from line to line (mm).
TEXT_X, STEP = 12.0, 6.6
_PT = 9.5


def n_signs(composed: Composed) -> int:
    """How many lines `seated_sign` and `shell_signs` take."""
    return bool(composed.unnoticed) + bool(composed.lobes) + any(some.any() for some in composed.through)


def seated_sign(page: Page, composed: Composed, left: float, y: float) -> float:
    """The figure of seated people whom nobody notices, where there are some; the y of the next line."""
    if not composed.unnoticed:
        return y
    page.discs([(left + 4.0, y + 1.9)], 0.8, 5.0, face=UNNOTICED)
    page.areas([[rectangle((left + 2.9, y - 0.7, left + 5.1, y + 1.0))]], 5.0, face=UNNOTICED)
    page.text(left + TEXT_X, y, "seated, not noticed", _PT)
    return y - STEP


def shell_signs(page: Page, composed: Composed, left: float, right: float, y: float) -> float:
    """The shells of lobes, where some are drawn, and what of them lies beyond a wall; the y of the next line."""
    if composed.lobes:
        names = [clean(lobe.name) for lobe in composed.lobes]
        text = f"seen by {' and by '.join(names)}, in 3D"
        y = _shell(page, left, right, y, text, ("#F7DDB5", "#B5701C"))
    if any(some.any() for some in composed.through):
        y = _shell(page, left, right, y, "what has passed a wall", ("#D9BFD5", "#7A4571"))
    return y


def _shell(page: Page, left: float, right: float, y: float, text: str, colours: tuple[str, str]) -> float:
    face, edge = colours
    page.areas([[rectangle((left, y - 0.6, left + 8.0, y + 2.9))]], 4.0, face=face, edge=edge, width_pt=0.7)
    page.text(left + TEXT_X, y, page.lettering.fit(text, "sans", _PT, right - left - TEXT_X), _PT)
    return y - STEP
