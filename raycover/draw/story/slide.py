"""A slide: a title, a picture under it, and the words that go with it where it is read aloud or not seen."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from raycover import __version__
from raycover.draw import palette, words
from raycover.draw.lettering import ENGLISH, Wording, clean
from raycover.draw.page import MM_PER_INCH, Page
from raycover.draw.view3d import still_page
from raycover.draw.view3d.still_page import LEFT, SIZE_PX
from raycover.scene.schema import Scene

#: 13.33 × 7.5 in, the slides' own size, at 144 dots an inch. A hair more: matplotlib rounds down.
DPI = 144.0
SIZE_MM = (SIZE_PX[0] / DPI * MM_PER_INCH + 1e-3, SIZE_PX[1] / DPI * MM_PER_INCH + 1e-3)
#: Baselines of title and subtitle (mm), their sizes (pt), and how wide (mm) they may be beside a headline figure.
TITLE_MM, SUBTITLE_MM, TITLE_PT, SUBTITLE_PT, TITLE_WIDE_MM = 174.6, 166.3, 28.0, 11.5, 241.0
_HEAD_MM = 26.6


@dataclass(frozen=True)
class Slide:
    """One slide. `body` (1080, 1920, 3) is all of it but title and subtitle.

    `alt` says what the picture shows, `notes` what to say with it, cautions among them.
    """

    key: str
    title: str
    subtitle: str
    body: NDArray[np.uint8]
    alt: str
    notes: tuple[str, ...]

    def told_in(self, wording: Wording) -> Slide:
        """The same with its words in another language; the body has been drawn in it."""
        return replace(
            self, title=wording(self.title), subtitle=wording(self.subtitle), alt=wording(self.alt),
            notes=tuple(wording(note) for note in self.notes),
        )  # fmt: skip

    @property
    def pixels(self) -> NDArray[np.uint8]:
        """The whole slide as a picture, its title drawn."""
        page = Page(dpi=DPI, size=SIZE_MM)
        title, size = page.lettering.fit_size(clean(self.title), "serif", (TITLE_PT, 25, 22, 20), TITLE_WIDE_MM)
        page.text(LEFT, TITLE_MM, title, size, font="serif")
        text, size = page.lettering.fit_size(clean(self.subtitle), "sans", (SUBTITLE_PT, 10, 9), TITLE_WIDE_MM)
        page.text(LEFT, SUBTITLE_MM, text, size, color=palette.SECOND_INK)
        return np.minimum(page.pixels(), self.body)


def blank(wording: Wording = ENGLISH) -> Page:
    """An empty slide to draw a body on."""
    return Page(dpi=DPI, size=SIZE_MM, wording=wording)


def draw_foot(page: Page, scene: Scene, note: str = "") -> None:
    """Rule, cautions, and where it comes from: as under a still."""
    date = scene.date if scene.date is not None else words.today()
    below = f"raycover {__version__} · revision {clean(scene.revision)} · {clean(date)}"
    still_page.draw_foot(page, (note, below))
