"""A construction or material on one A4 sheet: layers to scale, losses against angle and frequency, figures, sources."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import numpy as np

from raycover.draw.layer_section import draw_section, scale_for
from raycover.draw.lettering import ENGLISH, Wording, clean, named
from raycover.draw.material_charts import COLOURS, against_angle, against_frequency, key, mirrored_against_angle
from raycover.draw.page import Box, Page
from raycover.draw.palette import RULE, SECOND_INK
from raycover.draw.png import save_png
from raycover.draw.title_block import draw_fields
from raycover.kit.sheet_figures import TABLE_DEG, SheetFigures
from raycover.kit.sheet_words import facts, figure, notes, percent, summary
from raycover.whole_file import write_whole

CAUTION = (
    "A prediction, not a site test: walk-test before hand-over. Not a safety function: escape, stair and emergency "
    "lighting follow local codes. What is built differs from what is drawn."
)
ENDINGS = (".png", ".svg", ".pdf")
_LEFT, _RIGHT = 10.0, 287.0
_SECTION: Box = (10.0, 136.0, 84.0, 173.0)
_LABELS = 91.0
_FREQUENCY: Box = (20.0, 86.0, 132.0, 116.0)
_ANGLE: Box = (164.0, 135.0, 270.0, 172.0)
_MIRRORED: Box = (164.0, 86.0, 270.0, 116.0)
_TABLE_TOP = 70.5
_LONGEST_TEXT = 600


def draw_material_sheet(
    figures: SheetFigures, path: Path, *, version: str = "", dpi: float = 200, wording: Wording = ENGLISH
) -> None:
    """Draw the sheet as PNG, SVG or PDF by its ending; it appears whole or not at all. Raises OSError."""
    ending = path.suffix.lower()
    if ending == ".png":
        save_png(material_page(figures, version=version, dpi=dpi, wording=wording).pixels(), path, dpi=dpi)
        return
    page = material_page(figures, version=version, dpi=dpi, vector=True, wording=wording)
    title = f"{figures.made.name}: {wording('loss of microwave')}"
    created = datetime(2000, 1, 1)  # the same input gives the same bytes
    write_whole(path, page.pdf(title=title, created=created) if ending == ".pdf" else page.svg(title=title))


def material_page(
    figures: SheetFigures, *, version: str = "", dpi: float = 200, vector: bool = False, wording: Wording = ENGLISH
) -> Page:
    """The sheet as a page, before it becomes a file."""
    page = Page(dpi=dpi, vector=vector, wording=wording)
    _heading(page, figures)
    scale = scale_for(figures.made, _SECTION)
    _name(
        page, 10.0, 178.2, "Section", f"cut across, 1 : {scale:g}" if scale >= 1 else f"cut across, {1 / scale:g} : 1"
    )
    draw_section(page, figures.made, _SECTION, scale, _LABELS, 140.0)
    _name(page, 10.0, 122.4, "Against frequency", "straight through")
    against_frequency(page, figures, _FREQUENCY)
    _name(page, 156.0, 178.2, "Against angle", "of incidence, 0° is straight through")
    against_angle(page, figures, _ANGLE)
    _name(page, 156.0, 122.4, "What is mirrored", "of the power, against the same angle")
    mirrored_against_angle(page, figures, _MIRRORED)
    key(page, 156.0, 185.0)
    _table(page, figures)
    _words(page, figures)
    _title_block(page, figures, version)
    return page


def _heading(page: Page, figures: SheetFigures) -> None:
    title, size = page.lettering.fit_size(named(figures.made.name), "serif", (20, 17, 14), 140)
    page.text(_LEFT, 196.8, title, size, font="serif")
    for k, line in enumerate(page.lettering.wrap(clean(summary(figures)[:_LONGEST_TEXT]), "sans", 8, 140, 2)):
        page.text(_LEFT, 190.2 - 4.2 * k, line, 8, color=SECOND_INK)
    x = 156.0
    for band, colour in zip(figures.bands[:2], COLOURS, strict=False):
        value, beside = figure(band)
        extent = page.text(x, 196.6, value, 24, font="serif")
        left = x + extent.width + 3
        page.text(left, 200.6, f"{band.frequency_ghz:g} GHz", 6.5, font="bold", color=colour)
        page.text(left, 196.8, beside, 6.5, color=SECOND_INK)
        x = 222.0
    page.rule(156.0, _RIGHT, 190.6, 1.1)


def _name(page: Page, x: float, y: float, name: str, note: str) -> None:
    extent = page.text(x, y, name, 12, font="italic")
    page.text(x + extent.width + 4, y, note, 6.5, color=SECOND_INK)


def _table(page: Page, figures: SheetFigures) -> None:
    """A row an angle: averaged loss, its spread, coherent, reach left, mirrored, under each frequency."""
    right, bands = 150.0, figures.bands[:2]
    page.rule(_LEFT, right, _TABLE_TOP + 5.4, 0.5)
    page.text(_LEFT, _TABLE_TOP + 1.4, "Angle", 6.5, font="bold")
    width = (right - 22.0) / max(len(bands), 1)
    columns = (("averaged", 0.19), ("from, to", 0.46), ("coherent", 0.64), ("reach left", 0.82), ("mirrored", 1.0))
    for k, (band, colour) in enumerate(zip(bands, COLOURS, strict=False)):
        x = 22.0 + k * width
        page.text(
            x + width, _TABLE_TOP + 2.4, f"{band.frequency_ghz:g} GHz", 6.5, font="bold", color=colour, ha="right"
        )
        for name, share in columns:
            page.text(x + share * width, _TABLE_TOP - 0.8, name, 6, ha="right", color=SECOND_INK)
    page.rule(_LEFT, right, _TABLE_TOP - 2.2, 0.5)
    y = _TABLE_TOP - 5.8
    for angle, coarse, row in zip(TABLE_DEG, figures.rows(), figures.rows(fine=True), strict=True):
        page.text(_LEFT, y, f"{angle}°", 6.5, font="bold")
        for k, band in enumerate(bands):
            x = 22.0 + k * width
            loss = float(band.averaged_db[row])
            cells = (
                _db(loss),
                "–"
                if not np.isfinite(loss) or figures.is_fixed
                else f"{_db(float(band.low_db[coarse]))} … {_db(float(band.high_db[coarse]))}",
                _db(float(band.coherent_db[row])),
                percent(10 ** (-loss / 20)),
                f"{100 * float(band.mirrored[row]):.0f} %",
            )
            for (_, share), cell in zip(columns, cells, strict=True):
                page.text(x + share * width, y, cell, 6.5, ha="right")
        y -= 3.6
    page.lines([[(_LEFT, y + 2.2), (right, y + 2.2)]], RULE, 0.5, 10)
    page.text(
        _LEFT,
        y - 0.8,
        "One way, dB, mean power of both polarisations. Reach left: 10^(−loss/20) of the reach,",
        6,
        color=SECOND_INK,
    )
    page.text(
        _LEFT, y - 3.8, "by the radar equation. Mirrored: share of the power, averaged likewise.", 6, color=SECOND_INK
    )


def _db(value: float) -> str:
    if not np.isfinite(value):
        return "opaque"
    return f"{value:.1f}" if value < 99.95 else f"{value:.0f}"


def _words(page: Page, figures: SheetFigures) -> None:
    x, wide, y = 158.0, _RIGHT - 158.0, _TABLE_TOP + 2.4
    page.rule(x, _RIGHT, _TABLE_TOP + 5.4, 0.5)
    for label, value in facts(figures):
        page.text(x, y, label, 6.5, color=SECOND_INK)
        page.text(x + 30, y, page.lettering.fit(clean(value), "sans", 6.5, wide - 30), 6.5)
        y -= 3.5
    page.lines([[(x, y + 2.0), (_RIGHT, y + 2.0)]], RULE, 0.5, 10)
    y -= 1.8
    for heading, texts in (("Sources", _sources(figures)), ("Notes", notes(figures))):
        lines = [
            line for text in texts for line in page.lettering.wrap(clean(text[:_LONGEST_TEXT]), "sans", 6, wide, 2)
        ]
        room = int((y - 3.3 - 30.0) / 2.9) + 1
        if not lines or room < 1:
            continue
        page.text(x, y, heading, 6.5, font="bold")
        y -= 3.3
        for line in lines[:room]:
            page.text(x, y, line, 6, color=SECOND_INK)
            y -= 2.9
        y -= 1.0


def _sources(figures: SheetFigures) -> list[str]:
    return [figures.source, *figures.material_sources]


def _title_block(page: Page, figures: SheetFigures, version: str) -> None:
    kind = "Material, as a sheet" if figures.is_material else "Construction"
    fields = (
        (0.0, kind, named(figures.made.name), 74.0),
        (78.0, "Drawing", "Loss and reflection of microwave", 62.0),
        (144.0, "Table of materials", clean(figures.edition), 66.0),
        (214.0, "Thickness", f"{1000 * figures.made.thickness_m:g} mm", 26.0),
        (244.0, "Infrared", "stopped" if figures.made.stops_infrared else "passes", 26.0),
    )
    draw_fields(page, fields, CAUTION, version)
