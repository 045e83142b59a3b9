"""`--pdf PAPER --scale N --svg --dpi N` of `map`: what was asked for, checked before anything is solved."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

from raycover.errors import did_you_mean, option_error

#: Dots an inch of PNGs: on screen unless asked otherwise, at least and at most.
SCREEN_DPI, _LEAST_DPI, _MOST_DPI = 200, 72, 600


@dataclass(frozen=True)
class Paper:
    """A sheet by name and a scale by its denominator; without one, the finest round scale that fits."""

    name: str
    scale: int | None


@dataclass(frozen=True)
class Sheets:
    """In which forms sheets are written: as PNG of some `dpi` always, as PDF on `paper`, as SVG (there, else on A4)."""

    paper: Paper | None = None
    svg: bool = False
    dpi: int = SCREEN_DPI

    @property
    def vectors(self) -> tuple[tuple[str, Paper], ...]:
        """(ending, paper) of the vector files wanted."""
        paper = self.paper if self.paper is not None else Paper("A4", None)
        wanted = ((".pdf", self.paper is not None), (".svg", self.svg))
        return tuple((ending, paper) for ending, on in wanted if on)


#: PNG alone.
SCREEN = Sheets()


def sheets_asked(pdf: str | None, scale: str | None, *, svg: bool = False, dpi: int | None = None) -> Sheets:
    """What the options ask for. Raises InputError for a paper, scale or resolution that is none."""
    if dpi is not None and not _LEAST_DPI <= dpi <= _MOST_DPI:
        raise option_error(
            "--dpi", f"expects {_LEAST_DPI} to {_MOST_DPI} dots an inch, got {dpi}", "write --dpi 300 for print"
        )
    return Sheets(_paper_asked(pdf, scale), svg, SCREEN_DPI if dpi is None else dpi)


def _paper_asked(pdf: str | None, scale: str | None) -> Paper | None:
    from raycover.draw.page import PAPERS

    if pdf is None:
        if scale is not None:
            raise option_error("--scale", "a scale needs paper", "write --pdf A3 --scale 100")
        return None
    if pdf.upper() not in PAPERS:
        raise option_error("--pdf", f'unknown paper "{pdf}"', did_you_mean(pdf.upper(), sorted(PAPERS)))
    if scale is None or scale.lower() == "auto":
        return Paper(pdf.upper(), None)
    found = re.fullmatch(r"\s*(?:1\s*:\s*)?(\d{1,6})\s*", scale)
    if not found or int(found[1]) < 1:
        raise option_error(
            "--scale", f'expects 50, 100, another whole number or auto, got "{scale}"', "write --scale 100"
        )
    return Paper(pdf.upper(), int(found[1]))


def fitting(paper: Paper, draw: Callable[[], None]) -> None:
    """Draw a sheet. Raises InputError where it does not fit on its paper."""
    from raycover.draw.projection import DoesNotFit

    try:
        draw()
    except DoesNotFit as error:
        width, depth = error.size_m
        raise option_error(
            "--scale",
            f"{width:.1f} × {depth:.1f} m do not fit on {paper.name} at 1:{error.scale}",
            f"write --scale {error.fitting}, --scale auto, or take larger paper",
        ) from None
