"""The panel beside the window: what is shown, the legend, the keys. An image drawn by matplotlib."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from raycover.draw import palette, words
from raycover.draw.legend import distribution
from raycover.draw.lettering import clean
from raycover.draw.page import MM_PER_INCH, Page
from raycover.draw.view3d.margin_bar import draw_margin_bar, rectangle
from raycover.surfaces import Surface

_DPI = 100.0
WIDTH_PX = 330

KEYS = (
    ("1 … 9", "plane by number"),
    ("n  p", "next, previous plane"),
    ("→  ←", "step through detectors"),
    ("a", "all detectors again"),
    ("d", "detectors on, off"),
    ("l", "lobes on, off"),
    ("w", "walls low, high"),
    ("g", "gaps hatched, plain"),
    ("t  i", "plan, oblique view"),
    ("v", "from the next side"),
    ("s", "save a picture"),
    ("h", "help on, off"),
    ("q", "close"),
)
HELP = (
    ("drag, left button", "turn the building"),
    ("drag, middle button, or left with shift", "move it"),
    ("wheel, or drag with the right button", "nearer, farther"),
    ("→ or ←", "one detector: its map, its lobe"),
    ("a", "back to all of them together"),
)


@dataclass(frozen=True)
class Shown:
    """What the panel speaks of. `margin_db` and `area` (any shape) are those of the maps shown, `parts` of them."""

    title: str
    surface: Surface
    margin_db: NDArray[np.float32]
    area: NDArray[np.float64]
    parts: int
    reserve_db: float
    ambient_c: float
    plane_name: str
    plane_number: int
    n_planes: int
    detector: str | None
    detector_title: str
    detector_number: int
    n_detectors: int
    states: tuple[tuple[str, str], ...]
    message: str


def panel_image(shown: Shown, height_px: int) -> NDArray[np.uint8]:
    """The panel (height, WIDTH_PX, 3), row 0 at the top."""
    width, height = WIDTH_PX / _DPI * MM_PER_INCH, height_px / _DPI * MM_PER_INCH
    page = Page(dpi=_DPI, size=(width + 1e-3, height + 1e-3))
    left, right = 6.0, width - 6.0
    span = right - left
    letter = page.lettering
    title, size = letter.fit_size(clean(shown.title), "serif", (16, 13, 11), span)
    y = height - 11.0
    page.text(left, y, title, size, font="serif")
    y -= 6.4
    page.rule(left, right, y + 2.2, 1.0)
    y -= 3.0
    plane = f"{clean(shown.plane_name)}, plane {shown.plane_number} of {shown.n_planes}"
    page.text(left, y, letter.fit(plane, "bold", 9, span), 9, font="bold")
    for line in letter.wrap(words.subtitle(shown.surface, shown.ambient_c), "sans", 8, span, 3):
        y -= 4.4
        page.text(left, y, line, 8, color=palette.SECOND_INK)
    y -= 7.0
    who = "all detectors together" if shown.detector is None else clean(shown.detector)
    number = f"{shown.detector_number} of {shown.n_detectors}"
    which = f"{shown.n_detectors} of them" if shown.detector is None else number
    page.text(left, y, letter.fit(who, "bold", 9, span - 24), 9, font="bold", color=palette.ACCENT)
    page.text(right, y, which, 8, ha="right", color=palette.SECOND_INK)
    y -= 4.4
    if shown.detector is not None:
        page.text(left, y, letter.fit(clean(shown.detector_title), "sans", 8, span), 8, color=palette.SECOND_INK)
    y -= 11.0
    shares = distribution(shown.margin_db, shown.area, shown.reserve_db).by_class
    detected, assured = float(shares[palette.SEEN :].sum()), float(shares[palette.ASSURED])
    figure = page.text(left, y, words.percent(detected), 22, font="serif")
    what = f"of the {words.mapped(shown.surface)}" if shown.parts == 1 else f"of {shown.parts} maps"
    page.text(left + figure.width + 3.5, y + 3.4, f"{what} is seen,", 8, color=palette.SECOND_INK)
    page.text(left + figure.width + 3.5, y - 0.4, f"{words.percent(assured)} assured", 8, color=palette.SECOND_INK)
    y -= 7.5
    page.text(left, y, "Margin over the limit, dB", 8.5, font="bold")
    bar = float(np.clip(height_px / 1250, 0.45, 0.78))
    y = draw_margin_bar(page, list(shares), shown.reserve_db, (left, right), y - 3.4, bar)
    y -= 6.5
    page.rule(left, right, y + 2.6, 0.5, palette.RULE)
    room = y - 15.0
    step = float(np.clip((room - 4.0) / (len(KEYS) + len(shown.states) / 2 + 1), 2.9, 4.9))
    text_pt = float(np.clip(step * 1.72, 5.6, 8.0))
    y -= step * 0.6
    for key, does in KEYS:
        page.text(left, y, key, text_pt, font="bold")
        page.text(left + 15.5, y, does, text_pt)
        state = dict(shown.states).get(key)
        if state is not None:
            page.text(right, y, state, text_pt, ha="right", color=palette.SECOND_INK)
        y -= step
    if shown.message:
        for line in letter.wrap(clean(shown.message), "sans", 7, span, 2):
            page.text(left, y, line, 7, color=palette.ACCENT)
            y -= 3.6
    page.rule(left, right, 11.2, 0.5, palette.RULE)
    for k, line in enumerate(("A prediction, not a site test: walk-test.", "Not a safety function.")):
        page.text(left, 7.6 - 3.6 * k, line, 6.6, color=palette.SECOND_INK)
    return page.pixels()


def help_image() -> NDArray[np.uint8]:
    """A card (h, w, 3) on how to move about, row 0 at the top."""
    width, height = 128.0, 52.0
    page = Page(dpi=_DPI, size=(width + 1e-3, height + 1e-3))
    page.areas([[rectangle((0.3, 0.3, width - 0.3, height - 0.3))]], 5.0, edge=palette.INK, width_pt=1.0)
    page.text(7.0, height - 10.5, "Moving about", 14, font="serif")
    page.rule(7.0, width - 7.0, height - 13.5, 0.8)
    y = height - 20.0
    for what, does in HELP:
        page.text(7.0, y, what, 8.5, font="bold")
        page.text(width - 7.0, y, does, 8.5, ha="right")
        y -= 5.6
    page.text(7.0, 4.5, "h puts this away; every key is listed on the right", 7.5, color=palette.SECOND_INK)
    return page.pixels()
