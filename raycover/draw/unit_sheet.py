"""A unit of the catalogue on one A4 sheet: plan, two sections, reach against mounting height, sources, cautions."""

from __future__ import annotations

from pathlib import Path

from raycover.asking.reach import Outline, UnitReach, is_sector
from raycover.draw.lettering import ENGLISH, Wording, clean, named
from raycover.draw.page import Box, Page
from raycover.draw.palette import ACCENT, ASSURED, INK, NOT_SEEN, RULE, SECOND_INK, SEEN, class_rgb, hex_of
from raycover.draw.png import save_png
from raycover.draw.title_block import draw_fields
from raycover.draw.unit_views import (
    DASHES,
    PERSON_HEIGHT,
    SCALES,
    Frame,
    dimension,
    draw_plan,
    draw_section,
    paled,
    scale_bar,
    shown_outlines,
)
from raycover.kit.unit_words import facts, size_words, sources

CAUTION = (
    "A prediction, not a site test: walk-test before hand-over. Not a safety function: escape, stair and emergency "
    "lighting follow local codes. Makers' instructions come before this tool."
)
_LEFT, _RIGHT = 10.0, 287.0
_PLAN: Box = (10.0, 87.0, 138.0, 174.0)
_SECTIONS: tuple[Box, Box] = ((156.0, 139.0, 272.0, 174.0), (156.0, 92.0, 272.0, 127.0))
_TABLE_TOP = 71.5
_MOST_ROWS = 9
#: More of a text never fits its two lines, and measuring it takes long.
_LONGEST_TEXT = 500


def draw_unit_sheet(
    unit: UnitReach,
    path: Path,
    *,
    notes: tuple[str, ...] = (),
    version: str = "",
    dpi: float = 200,
    wording: Wording = ENGLISH,
) -> None:
    """Draw the sheet as a PNG that appears whole or not at all. Raises OSError where it cannot be written."""
    save_png(unit_page(unit, notes=notes, version=version, dpi=dpi, wording=wording).pixels(), path, dpi=dpi)


def unit_page(
    unit: UnitReach,
    *,
    notes: tuple[str, ...] = (),
    version: str = "",
    dpi: float = 200,
    wording: Wording = ENGLISH,
) -> Page:
    """The sheet as a page, before it becomes pixels."""
    page = Page(dpi=dpi, wording=wording)
    scale = _common_scale(unit)
    _heading(page, unit)
    _plan(page, unit, scale)
    _sections(page, unit, scale)
    _table(page, unit)
    _words(page, unit, notes)
    _title_block(page, unit, scale, version)
    return page


def _common_scale(unit: UnitReach) -> int:
    """The largest usual scale at which plan and sections fit."""
    x0, y0, x1, y1 = _hull(list(shown_outlines(unit).values()))
    height = max(unit.top, unit.mounting, PERSON_HEIGHT)
    wide, high = _SECTIONS[0][2] - _SECTIONS[0][0] - 8, _SECTIONS[0][3] - _SECTIONS[0][1] - 1.8
    per_metre = min(
        (_PLAN[2] - _PLAN[0] - 24) / (x1 - x0),
        (_PLAN[3] - _PLAN[1] - 14.5) / (y1 - y0),
        wide / max(x1 - x0, y1 - y0),
        high / height,
    )
    return next((s for s in SCALES if 1000 / s <= per_metre), SCALES[-1])


def _heading(page: Page, unit: UnitReach) -> None:
    model = unit.model
    title, size = page.lettering.fit_size(_title(page, model.title), "serif", (20, 17, 14), 176)
    page.text(_LEFT, 196.8, title, size, font="serif")
    words = clean((model.description or model.family or model.kind.capitalize())[:_LONGEST_TEXT])
    for k, line in enumerate(page.lettering.wrap(words, "sans", 8, 176, 2)):
        page.text(_LEFT, 190.2 - 4.2 * k, line, 8, color=SECOND_INK)
    motion, limit = _leading(shown_outlines(unit)) or ("", None)
    sector = is_sector(model)
    figure = "nothing" if limit is None else size_words(limit, sector=sector, unit=" m").replace("Ø ", "")
    extent = page.text(200, 196.6, figure, 24, font="serif")
    x = 200 + extent.width + 4
    if limit is None:
        page.text(x, 198.6, "is seen in the open", 6.5, color=SECOND_INK)
    else:
        how = "reach of the sector" if sector else "across" if limit.is_round else "along and across"
        where = "at desk height" if motion == "presence" else "on the floor"
        page.text(x, 200.6, f"{how}, {where}", 6.5, color=SECOND_INK)
        page.text(x, 196.8, f"{motion}, from {unit.mounting:g} m", 6.5, color=SECOND_INK)
    page.rule(200, _RIGHT, 190.6, 1.1)
    at = 200.0
    for index, words in ((ASSURED, "assured, 3 dB or more"), (SEEN, "seen, 0 to 3 dB"), (NOT_SEEN, "not seen")):
        box = [(at, 184.8), (at + 6, 184.8), (at + 6, 187.2), (at, 187.2)]
        colour = class_rgb(index, 0.35)
        page.areas([[box]], 10, face=hex_of(colour if index != NOT_SEEN else paled(colour)), edge=INK, width_pt=0.4)
        at += 7.5 + page.text(at + 7.5, 185.2, words, 6.5).width + 5


def _title(page: Page, title: str) -> str:
    """A model's title as it is; that it is of one half of a dual unit in the page's language."""
    first, comma, half = title.rpartition(", ")
    if half in ("infrared half", "microwave half"):
        return named(f"{first}{comma}{page.lettering.worded(half)}")
    return named(title)


def _plan(page: Page, unit: UnitReach, scale: int) -> None:
    _drawing_name(page, _PLAN[0], 178.2, "Plan", "seen from above, azimuth 0 to the right")
    per_metre = 1000 / scale
    scale_bar(page, 134, 177.2, per_metre)
    shown = shown_outlines(unit)
    x0, y0, x1, y1 = _hull(list(shown.values()))
    room = ((_PLAN[0] + 12 + _PLAN[2]) / 2, (_PLAN[1] + 8 + _PLAN[3]) / 2)
    frame = Frame((room[0] - (x0 + x1) / 2 * per_metre, room[1] - (y0 + y1) / 2 * per_metre), per_metre)
    (left, bottom), (right, top) = frame.points([x0, x1], [y0, y1])
    box = (left - 4, bottom - 4, right + 4, top + 4)
    draw_plan(page, unit, frame, box)
    if (widest := _leading(shown)) is not None:
        limit = widest[1]
        (left, bottom), (right, top) = frame.points(
            [min(limit.x.min(), 0.0), max(limit.x.max(), 0.0)], [limit.y.min(), limit.y.max()]
        )
        below, beside = box[1] - 5.2, box[0] - 4.0
        witness = [[(x, below - 1), (x, box[1] - 1)] for x in (left, right)]
        witness += [[(beside - 1, y), (box[0] - 1, y)] for y in (bottom, top)]
        page.lines(witness, SECOND_INK, 0.3, 9)
        dimension(page, (left, below), (right, below), f"{limit.length:.1f} m")
        dimension(page, (beside, bottom), (beside, top), f"{limit.width:.1f} m")
    at, sector = _PLAN[0], is_sector(unit.model)
    for motion, limit in shown.items():
        width = 0.85 if motion == "tangential" else 0.7
        page.lines([[(at, 83.0), (at + 9, 83.0)]], ACCENT, width, 10, dashes=DASHES[motion])
        where = " at desk height" if motion == "presence" else ""
        words = f"{motion} {size_words(limit, sector=sector)}{where}"
        at += 10.5 + page.text(at + 10.5, 82.2, words, 6.5).width + 5


def _hull(limits: list[Outline]) -> Box:
    """Extent (m) of what is seen, the unit included, at least a metre across."""
    x = [v for o in limits for v in (float(o.x.min()), float(o.x.max()))]
    y = [v for o in limits for v in (float(o.y.min()), float(o.y.max()))]
    return min([-0.5, *x]), min([-0.5, *y]), max([0.5, *x]), max([0.5, *y])


def _leading(shown: dict[str, Outline]) -> tuple[str, Outline] | None:
    """The motion with the largest footprint, and that footprint."""
    return max(shown.items(), key=lambda item: item[1].length * item[1].width) if shown else None


def _sections(page: Page, unit: UnitReach, scale: int) -> None:
    per_metre = 1000 / scale
    hull = _hull(list(shown_outlines(unit).values()))
    across_note = f"{unit.across.offset:.1f} m ahead of the unit" if unit.across.offset else "through the unit"
    along_note = "through the unit; beams aim along the dash-dotted lines" if unit.model.beams else "through the unit"
    names = (("A–A  along azimuth 0", along_note), ("B–B  across azimuth 0", across_note))
    high = max(unit.top, unit.mounting, PERSON_HEIGHT) * per_metre
    for k, (section, box) in enumerate(zip((unit.along, unit.across), _SECTIONS, strict=True)):
        low, far = hull[k], hull[k + 2]
        _drawing_name(page, box[0], box[3] + 4.2, *names[k])
        middle, half = (box[0] + box[2]) / 2, max((far - low) / 2 * per_metre + 4, 18.0)
        frame = Frame((middle - (low + far) / 2 * per_metre, box[3] - 0.6 - high), per_metre)
        limits = (max(box[0], middle - half), frame.y(0), min(box[2], middle + half), box[3])
        draw_section(page, unit, section, frame, limits, "along" if k == 0 else "across")


def _drawing_name(page: Page, x: float, y: float, name: str, note: str) -> None:
    extent = page.text(x, y, name, 12, font="italic")
    page.text(x + extent.width + 4, y, note, 6.5, color=SECOND_INK)


def _table(page: Page, unit: UnitReach) -> None:
    """Reach by mounting height: a row a height, floor and desk under each motion."""
    motions = [f.motion for f in unit.footprints]
    sector = is_sector(unit.model)
    heights = sorted({row.mounting for row in unit.rows})
    kept = heights if len(heights) <= _MOST_ROWS else _thinned(heights, unit)
    right, column = 150.0, (150.0 - 30.0) / (2 * len(motions))
    page.rule(_LEFT, right, _TABLE_TOP + 5.4, 0.5)
    page.text(_LEFT, _TABLE_TOP + 1.4, "Mounting, m", 6.5, font="bold")
    for k, motion in enumerate(motions):
        x = 30 + 2 * k * column
        page.text(x + 2 * column, _TABLE_TOP + 2.4, motion, 6.5, font="bold", ha="right")
        for j, where in enumerate(("floor", "desk")):
            page.text(x + (j + 1) * column, _TABLE_TOP - 0.6, where, 6.5, ha="right", color=SECOND_INK)
    page.rule(_LEFT, right, _TABLE_TOP - 2.2, 0.5)
    y = _TABLE_TOP - 5.6
    for height in kept:
        rows = {row.motion: row for row in unit.rows if row.mounting == height}
        doubtful = any(r.extrapolated or r.outside_range for r in rows.values())
        mark = "†" if any(r.outside_range for r in rows.values()) else "*" if doubtful else ""
        colour = SECOND_INK if doubtful else INK
        page.text(
            _LEFT,
            y,
            f"{height:g} {mark}".strip(),
            6.5,
            font="bold" if height == unit.mounting else "sans",
            color=colour,
        )
        for k, motion in enumerate(motions):
            for j, limit in enumerate((rows[motion].floor, rows[motion].desk)):
                page.text(
                    30 + (2 * k + j + 1) * column, y, size_words(limit, sector=sector), 6.5, ha="right", color=colour
                )
        y -= 3.5
    page.lines([[(_LEFT, y + 2.2), (right, y + 2.2)]], RULE, 0.5, 10)
    what = "reach of the sector" if sector else "Ø diameter, or length × width"
    left_out = f", {len(heights) - len(kept)} heights left out" if len(kept) < len(heights) else ""
    page.text(_LEFT, y - 0.8, f"m, {what}; desk at 0.75 m; – not seen{left_out}", 6, color=SECOND_INK)
    page.text(
        _LEFT,
        y - 3.8,
        "* outside the declared heights: nearest angles and slant ranges hold   † outside the mounting range",
        6,
        color=SECOND_INK,
    )


def _thinned(heights: list[float], unit: UnitReach) -> list[float]:
    """As many heights as fit: the one drawn, both ends, and an even choice of the others."""
    step = (len(heights) - 1) / (_MOST_ROWS - 1)
    chosen = {heights[round(k * step)] for k in range(_MOST_ROWS)} - {unit.mounting}
    return sorted({unit.mounting, *sorted(chosen)[: _MOST_ROWS - 2], heights[-1]})


def _words(page: Page, unit: UnitReach, notes: tuple[str, ...]) -> None:
    """Facts, sources, and what is worth a second look."""
    x, wide, y = 158.0, _RIGHT - 158.0, _TABLE_TOP + 2.4
    page.rule(x, _RIGHT, _TABLE_TOP + 5.4, 0.5)
    for label, value in facts(unit.model):
        page.text(x, y, label, 6.5, color=SECOND_INK)
        page.text(x + 30, y, page.lettering.fit(clean(value), "sans", 6.5, wide - 30), 6.5)
        y -= 3.5
    page.lines([[(x, y + 2.0), (_RIGHT, y + 2.0)]], RULE, 0.5, 10)
    y -= 1.8
    page.text(x, y, "Sources", 6.5, font="bold")
    y -= 3.3
    lines = [
        line
        for source in sources(unit.model)
        for line in page.lettering.wrap(clean(source[:_LONGEST_TEXT]), "sans", 6, wide, 2)
    ]
    if notes:
        lines = lines[: max(2, 6 - len(notes))]
    for line in lines[:6]:
        page.text(x, y, line, 6, color=SECOND_INK)
        y -= 2.9
    if notes and y > 38:
        y -= 1.0
        page.text(x, y, "Notes", 6.5, font="bold")
        y -= 3.3
        told = [line for note in notes for line in page.lettering.wrap(clean(note), "sans", 6, wide, 2)]
        for line in told[: max(0, int((y - 31.5) / 2.9) + 1)]:
            page.text(x, y, line, 6, color=SECOND_INK)
            y -= 2.9


def _title_block(page: Page, unit: UnitReach, scale: int, version: str) -> None:
    fields = (
        (0.0, "Model", named(unit.model.name), 74.0),
        (78.0, "Drawing", "Unit in the open: plan, sections, reach", 62.0),
        (144.0, "Conditions", "20 °C · upright · no walls, no masks", 58.0),
        (206.0, "Mounted at", f"{unit.mounting:g} m", 26.0),
        (236.0, "Scale on A4", f"1 : {scale}", 30.0),
    )
    draw_fields(page, fields, CAUTION, version)
