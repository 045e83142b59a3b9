"""Plans and sections at true scale on paper of a standard size: vector files for the drawing office."""

from __future__ import annotations

import re
from datetime import datetime
from pathlib import Path

from raycover.asking.upright import SectionField
from raycover.building.parts import Building
from raycover.draw.lettering import ENGLISH, Wording
from raycover.draw.page import PAPERS, Page
from raycover.draw.plan import make_plan
from raycover.draw.section_sheet import make_section
from raycover.draw.stair_sheet import make_stair_sheet
from raycover.scene.schema import Scene
from raycover.solving.coverage import Coverage
from raycover.whole_file import write_whole

#: Pixels an inch of the map, which is a picture in an otherwise vector page: 0.17 mm, finer than any cell drawn.
DPI = 150
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_DAY_MONTH_YEAR = re.compile(r"(\d{1,2})\.?\s+([A-Za-z]{3})[a-z]*\.?\s+(\d{4})")
_ISO = re.compile(r"(\d{4})-(\d{2})-(\d{2})")


def draw_plan_pdf(
    scene: Scene,
    building: Building,
    coverage: Coverage,
    plane_name: str,
    path: str | Path,
    *,
    paper: str = "A3",
    scale: int | None = None,
    sheet: tuple[int, int] = (1, 4),
    wording: Wording = ENGLISH,
) -> None:
    """Save the plan of one plane as a PDF, or as SVG if the path ends so, of a paper's exact size, landscape.

    At a scale, or the finest that fits: a length of s metres measures s·1000/scale mm on the print. A stair's
    unrolled map comes on A4. Raises DoesNotFit where the building is too large, KeyError for a paper that is not one
    of PAPERS, OSError where the file cannot be written.
    """
    if coverage[plane_name].surface.stairs is not None:  # unrolled: a sheet of its own, laid out for A4
        page = make_stair_sheet(
            scene, building, coverage, plane_name, sheet_number=sheet, dpi=DPI, vector=True, wording=wording
        )
        save_vector(page, path, title=f"{scene.title}: {plane_name}", date=scene.date)
        return
    page = make_plan(
        scene, building, coverage, plane_name,
        sheet_number=sheet, dpi=DPI, size=PAPERS[paper], scale=scale, vector=True, wording=wording,
    )  # fmt: skip
    save_vector(page, path, title=f"{scene.title}: {wording(f'coverage plan, {plane_name}')}", date=scene.date)


def draw_section_pdf(
    scene: Scene,
    building: Building,
    coverage: Coverage,
    field: SectionField,
    path: str | Path,
    *,
    paper: str = "A3",
    scale: int | None = None,
    sheet: tuple[int, int] = (1, 1),
    wording: Wording = ENGLISH,
) -> None:
    """Save a section's sheet likewise, as PDF or SVG."""
    page = make_section(
        scene, building, coverage, field,
        sheet_number=sheet, dpi=DPI, size=PAPERS[paper], scale=scale, vector=True, wording=wording,
    )  # fmt: skip
    save_vector(page, path, title=f"{scene.title}: {wording(f'section {field.name}')}", date=scene.date)


def save_vector(page: Page, path: str | Path, *, title: str, date: str | None) -> None:
    """Write a vector page whole as SVG if the path ends so, else as PDF."""
    path = Path(path)
    data = page.svg(title=title) if path.suffix == ".svg" else page.pdf(title=title, created=dated(date))
    write_whole(path, data)


def dated(text: str | None) -> datetime | None:
    """The day that a title block's date means, 3 Feb 2026 or 2026-02-03, or None: then the file carries none."""
    if text is None:
        return None
    try:
        if found := _ISO.fullmatch(text.strip()):
            return datetime(int(found[1]), int(found[2]), int(found[3]))
        found = _DAY_MONTH_YEAR.fullmatch(text.strip())
        if found and found[2].lower() in _MONTHS:
            return datetime(int(found[3]), _MONTHS.index(found[2].lower()) + 1, int(found[1]))
    except ValueError:  # 31 Feb
        return None
    return None
