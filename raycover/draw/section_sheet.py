"""A section on one sheet: the field in an upright cut, what stands there, a key plan, the figures and the key."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from raycover.asking.upright import PEOPLE_ZONE_M, SectionField
from raycover.building.one_storey import one_storey
from raycover.building.parts import Building
from raycover.draw import glyphs, palette, sheet, tables, words
from raycover.draw.building_plan import building_bounds, floor_surface
from raycover.draw.drawing import Drawing, Strokes
from raycover.draw.labels import Placer
from raycover.draw.legend import distribution, draw_legend
from raycover.draw.lettering import ENGLISH, Wording, clean, named
from raycover.draw.linework import draw_building
from raycover.draw.mannequin import silhouette
from raycover.draw.page import A4_LANDSCAPE, Box, Page
from raycover.draw.png import save_png
from raycover.draw.projection import DoesNotFit, Projection, choose_scale
from raycover.draw.section_lines import about, draw_cut
from raycover.draw.section_map import LIMIT_PT, draw_section_map, section_map
from raycover.draw.section_marked import (
    draw_detectors,
    draw_heights,
    draw_limits,
    draw_mounting,
    draw_people,
    draw_zone_tops,
    write_names,
    write_tags,
)
from raycover.draw.section_marks import draw_section_marks
from raycover.draw.title_block import draw_block, state_shown
from raycover.scene.bearings import compass
from raycover.scene.schema import Scene
from raycover.shares import percent
from raycover.solving.coverage import Coverage

Floats = NDArray[np.floating]
DPI = 200
#: Room (mm) beside a section for heights and levels, over it for its heading, under it for the ground and names.
_LEFT, _RIGHT, _HEAD, _FOOT = 10.0, 14.0, 10.0, 9.0
#: The same over one that has no heading.
_ABOVE = 4.0
#: Key plan: its least height under a section, its least width beside one, what its heading takes.
_PLAN_HIGH, _PLAN_WIDE, _PLAN_HEAD = 46.0, 50.0, 8.0
_GAP = 5.0
#: What the needle of the north takes beside the key plan, and under it.
_NEEDLE, _NEEDLE_HIGH = 20.0, 16.0
_ROW = 4.3
_MOST_ROOMS = 8
_READING = (
    "Shade is where no detector has a clear way, or where a place lies outside its field. Full colour: where people "
    "move, up to {zone} m. Pale: the air above. Dashed lines say how far the detectors in the cut notice anyone, "
    "stopped by what stands in the way."
)


@dataclass(frozen=True)
class _Layout:
    """Where the section and the key plan go on the page (mm), the section's scale, and what it shows (m)."""

    scale: int
    bounds: Box
    section: Box
    plan: Box


def draw_section(
    scene: Scene,
    building: Building,
    coverage: Coverage,
    field: SectionField,
    path: str | Path,
    *,
    sheet_number: tuple[int, int] = (1, 1),
    dpi: float = DPI,
    wording: Wording = ENGLISH,
) -> None:
    """Save a section's sheet as a PNG, A4 landscape. The file appears whole or not at all. Raises OSError."""
    page = make_section(scene, building, coverage, field, sheet_number=sheet_number, dpi=dpi, wording=wording)
    save_png(page.pixels(), path, dpi=dpi)


def make_section(
    scene: Scene,
    building: Building,
    coverage: Coverage,
    field: SectionField,
    *,
    sheet_number: tuple[int, int] = (1, 1),
    dpi: float = DPI,
    size: tuple[float, float] = A4_LANDSCAPE,
    scale: int | None = None,
    vector: bool = False,
    wording: Wording = ENGLISH,
) -> Page:
    """The page that `draw_section` saves, or one of another size (mm) and scale, for a PDF or SVG if `vector`.

    Raises DoesNotFit where the section is too large for paper and scale.
    """
    page = Page(dpi=dpi, size=size, vector=vector, wording=wording)
    laid = _lay_out(about(field, building), size, scale)
    shown, n_tags = _draw_section(page, field, building, laid.bounds, laid.section, laid.scale)
    _heading(page, field, laid, scene.north_deg)
    _key_plan(page, scene, building, field, laid)
    sheet.draw_left_out(page, n_tags, 0)
    _column(page, field, building, shown)
    _words(page, scene, coverage, building, field, laid, sheet_number)
    return page


def make_section_extract(
    field: SectionField, building: Building, room: tuple[float, float], *, dpi: float, wording: Wording = ENGLISH
) -> tuple[Page, int]:
    """The section alone on paper no larger than `room` (mm), and its scale's denominator."""
    bounds = about(field, building)
    wide, high = bounds[2] - bounds[0], bounds[3] - bounds[1]
    scale = choose_scale(wide, high, room[0] - _LEFT - _RIGHT, room[1] - _ABOVE - _FOOT)
    mm = 1000 / scale
    size = (wide * mm + _LEFT + _RIGHT, high * mm + _ABOVE + _FOOT)
    page = Page(dpi=dpi, size=size, vector=True, wording=wording)
    _draw_section(page, field, building, bounds, (_LEFT, _FOOT, size[0] - _RIGHT, size[1] - _ABOVE), scale)
    return page, scale


def _draw_section(
    page: Page, field: SectionField, building: Building, bounds: Box, frame: Box, scale: int
) -> tuple[_Shown, int]:
    """Draw a section within a frame (mm); what its key must explain, and how many tags had no room."""
    x0, z0, x1, z1 = bounds
    projection = Projection(scale, frame, ((x0 + x1) / 2, (z0 + z1) / 2))
    strokes = Strokes()
    drawing, placer = Drawing(page, projection, strokes), Placer(projection.frame)
    made = section_map(field, building, projection, dpi=page.dpi)
    has_limit = draw_section_map(page, made)
    has_things = draw_cut(drawing, building, field.line, field.spec.depth)
    _draw_ground(page, projection, field)
    has_lines = draw_limits(drawing, field)
    draw_detectors(drawing, field, building, placer)
    placer.note_strokes(strokes.lines)
    n_people = draw_people(drawing, field, building, placer)
    n_tags = write_tags(drawing, field, placer)
    draw_mounting(drawing, field, building, placer)
    draw_zone_tops(drawing, field, building, placer)
    drawn = np.array([*projection.to_paper([x0, z0]), *projection.to_paper([x1, z1])])
    draw_heights(page, drawing, field, building, drawn)
    write_names(drawing, field, building, placer, float(drawn[1]))
    return _Shown(has_things, has_limit, has_lines, n_people), n_tags


def _lay_out(bounds: Box, size: tuple[float, float], scale: int | None) -> _Layout:
    """The key plan under the section or beside it, whichever leaves the section larger; both in the middle across."""
    x0, y0, x1, y1 = sheet.frame_on(size)
    x0, y0, y1 = x0 - 1.0, y0 - 3.0, y1 + 6.0
    wide, high = bounds[2] - bounds[0], bounds[3] - bounds[1]
    side = _LEFT + _RIGHT
    under = (x1 - x0 - side, y1 - y0 - _HEAD - _FOOT - _GAP - _PLAN_HIGH)
    beside = (x1 - x0 - side - _GAP - _PLAN_WIDE, y1 - y0 - _HEAD - _FOOT)
    scales = [choose_scale(wide, high, *room) for room in (under, beside)]
    chosen = min(scales) if scale is None else scale
    stacked = scales[0] <= scales[1] if scale is None else scales[0] <= scale
    room = under if stacked else beside
    if scale is not None and (wide * 1000 / scale > room[0] + 0.5 or high * 1000 / scale > room[1] + 0.5):
        raise DoesNotFit((wide, high), scale, min(scales))
    mm = 1000 / chosen
    left, top = x0 + _LEFT + max(room[0] - wide * mm, 0.0) / 2, y1 - _HEAD
    section = (left, top - high * mm, left + wide * mm, top)
    if stacked:
        return _Layout(chosen, bounds, section, (x0 + 1.0, y0 + 1.0, x1, section[1] - _FOOT - _GAP))
    return _Layout(chosen, bounds, section, (section[2] + _RIGHT + _GAP, y0 + 1.0, x1, top + 2.0))


def _draw_ground(page: Page, projection: Projection, field: SectionField) -> None:
    """The ground under the lowest floor, a little past the walls."""
    low, high = projection.to_paper([field.bounds[:2], (field.bounds[2], field.bounds[1])])
    out = np.array([3.5, 0.0])
    page.lines([[low - out, high + out]], palette.INK, 1.1, 8.2)


def _heading(page: Page, field: SectionField, laid: _Layout, north_deg: float) -> None:
    """The section's name and title, which way one looks, and at what scale."""
    x, y = laid.section[0] - _LEFT + 1.0, laid.section[3] + 5.4
    name = f"{clean(field.name)}–{clean(field.name)}"
    title = f"{name}  {clean(field.spec.title)}" if field.spec.title else name
    text, size = page.lettering.fit_size(title, "italic", (13.0, 11.0), 110.0)
    extent = page.text(x, y, text, size, font="italic")
    beyond = float(np.degrees(np.arctan2(field.line.beyond[1], field.line.beyond[0])))
    note = f"looking {compass(beyond, north_deg)}, 1 : {laid.scale}"
    page.text(x + extent.width + 5.0, y, note, 6.5, color=palette.SECOND_INK)


def _key_plan(page: Page, scene: Scene, building: Building, field: SectionField, laid: _Layout) -> None:
    """Where the cut runs: the lowest storey that it crosses, small, with its detectors."""
    shown, box = _storey(building, field), laid.plan
    inner = (box[0] + 3.0, box[1], box[2] - 3.0, box[3] - _PLAN_HEAD)
    bounds = building_bounds(shown)
    size = (bounds[2] - bounds[0], bounds[3] - bounds[1])
    room = (inner[2] - inner[0] - 12.0, inner[3] - inner[1] - 12.0)
    rooms = (room[0] - _NEEDLE, room[1]), (room[0], room[1] - _NEEDLE_HIGH)
    scale = max(min(choose_scale(*size, *some) for some in rooms if min(some) > 0), laid.scale)
    mm = 1000 / scale
    wide, high = size[0] * mm + 12.0, size[1] * mm + 12.0
    # Under the section it begins where that does, as far as it and the needle of the north, beside or below, find room.
    needle = 0.0 if inner[3] - high - _NEEDLE_HIGH > box[1] else _NEEDLE
    along = max(min(laid.section[0] - _LEFT + 1.0 - box[0], inner[2] - inner[0] - wide - needle), 0.0)
    box = (box[0] + along, *box[1:])
    frame = (inner[0] + along, inner[3] - high, inner[0] + along + wide, inner[3])
    projection = Projection(scale, frame, ((bounds[0] + bounds[2]) / 2, (bounds[1] + bounds[3]) / 2))
    drawing = Drawing(page, projection, Strokes(), 0.5)
    draw_building(drawing, shown, floor_surface(shown))
    home = building.rooms_at(np.array([u.position for u in field.units]).reshape(-1, 3))
    names = {room.name for room in shown.rooms}
    mine = [
        k for k, room in enumerate(home) if not building.rooms or (room >= 0 and building.rooms[room].name in names)
    ]
    dots = projection.to_paper(np.array([field.units[k].position[:2] for k in mine]).reshape(-1, 2))
    in_cut = np.isin(mine, field.in_cut)
    page.discs(dots, 0.7, 20.0, face=palette.PAPER)
    page.discs(dots[in_cut], 0.55, 20.1, face=palette.ACCENT)
    page.discs(dots[~in_cut], 0.45, 20.1, face=palette.PAPER, edge=palette.ACCENT, width_pt=0.5)
    placer = Placer((frame[0] - 4.5, frame[1] - 2.0, frame[2] + 4.5, frame[3] + 2.0))
    draw_section_marks(page, projection, [field.spec], shown, placer, whole=True)
    extent = page.text(box[0], box[3] - 4.0, "Key plan", 11.0, font="italic")
    page.text(box[0] + extent.width + 4.0, box[3] - 4.0, f"1 : {scale}", 6.5, color=palette.SECOND_INK)
    if frame[2] + _NEEDLE - 1.0 < box[2]:
        sheet.draw_north(page, scene.north_deg, (frame[2] + 12.0, frame[3] - 10.0))
    elif frame[1] - _NEEDLE_HIGH > box[1]:
        sheet.draw_north(page, scene.north_deg, ((frame[0] + frame[2]) / 2, frame[1] - 8.0))


def _storey(building: Building, field: SectionField) -> Building:
    """The lowest storey that the cut crosses; all of a building that has one."""
    if len(building.storeys) < 2:
        return building
    cut = {room for room, _ in field.profiles}
    crossed = [s for s in building.storeys if cut & set(s.rooms)]
    return one_storey(building, (crossed or list(building.storeys))[0])


@dataclass(frozen=True)
class _Shown:
    """What the key must explain."""

    things: bool
    limit: bool
    lines: bool
    people: int


def _column(page: Page, field: SectionField, building: Building, shown: _Shown) -> None:
    upper, lower = page.moved(page.wider, page.taller), page.moved(page.wider, 0.0)
    area = field.zone_area
    found = distribution(np.where(field.zone, field.margin_db, np.nan).astype(np.float32), area, field.reserve_db)
    beside = ("of the cut is seen,", f"{percent(field.assured_share)} assured")
    sheet.draw_headline(upper, percent(field.share), beside)
    sheet.draw_class_bar(upper, found.by_class.tolist())
    draw_legend(upper, sheet.COLUMN, sheet.LEGEND_FOOT, sheet.RIGHT, found, field.reserve_db, "people zone")
    y = _rooms(upper, field, building)
    key_top = _key(lower, field, shown)
    _reading(upper, y, key_top - page.taller)


def _rooms(page: Page, field: SectionField, building: Building) -> float:
    """Shares of each room's people zone; the height (mm) of the next rule."""
    width = sheet.RIGHT - sheet.COLUMN
    rows = []
    seen, sure = field.margin_db >= 0, field.margin_db >= field.reserve_db
    by_room: dict[int, list[int]] = {}
    for index, (room, _) in enumerate(field.profiles):
        by_room.setdefault(room, []).append(index)
    for room, parts in list(by_room.items())[:_MOST_ROOMS]:
        area = np.where(np.isin(field.surface.room, parts), field.zone_area, 0.0)
        whole = float(area.sum())
        if whole <= 0:
            continue
        title = named(building.rooms[room].name) if room >= 0 else "All of it"
        shares = [percent(float(area[some].sum()) / whole) for some in (seen, sure)]
        rows.append(tables.Row((page.lettering.fit(title, "sans", 6.5, width - 27.0), *shares)))
    note = f"{len(by_room) - _MOST_ROOMS} more" if len(by_room) > _MOST_ROOMS else ""
    made = tables.Table(
        ("People zone", "seen", "assured"),
        ((0.0, "left"), (width - 13.0, "right"), (width, "right")),
        tuple(rows),
        note,
    )
    return tables.draw_table(page, made, sheet.COLUMN, sheet.COLUMN_TOP, sheet.RIGHT)


def _key(page: Page, field: SectionField, shown: _Shown) -> float:
    """What lines and marks mean, at the foot of the column; the height (mm) of its rule."""
    x, text_x = sheet.COLUMN, sheet.COLUMN + 6.5
    rows = ["cut", *(["goods"] if shown.things else []), "beyond"]
    rows += ["hung"] if field.in_cut else []
    rows += ["pale"] if field.beyond else []
    rows += ["lines"] if shown.lines else []
    rows += ["limit"] if shown.limit else []
    rows += ["person"] if shown.people else []
    top = sheet.COLUMN_FOOT + _ROW * len(rows) + 1.8
    page.rule(x, sheet.RIGHT, top, 0.5)
    y = top - 4.4
    for row in rows:
        box = [(x, y - 0.5), (x + 4.6, y - 0.5), (x + 4.6, y + 2.1), (x, y + 2.1)]
        middle = np.array([x + 2.3, y + 1.2])
        if row == "cut":
            page.areas([[box]], 25.0, face=palette.INK)
            text = "wall, slab, roof or steel, cut"
        elif row == "goods":
            page.areas([[box]], 25.0, face=palette.GOODS, edge=palette.INK, width_pt=0.45)
            text = "goods and other things, cut"
        elif row == "beyond":
            page.areas([[box]], 25.0, edge=palette.SECOND_INK, width_pt=0.3)
            text = f"seen beyond, up to {field.spec.depth:g} m"
        elif row in ("hung", "pale"):
            glyphs.draw_hung(page, middle, 1.2, pale=row == "pale")
            text = "detector in the cut" if row == "hung" else "detector beyond it"
        elif row == "lines":
            page.lines([[(x, y + 0.8), (x + 4.6, y + 0.8)]], palette.ACCENT, 0.6, 25.0, dashes=(3.0, 1.32))
            text = "how far it notices, 0 dB"
        elif row == "limit":
            page.lines([[(x, y + 0.8), (x + 4.6, y + 0.8)]], palette.INK, LIMIT_PT, 25.0)
            text = "limit of all together, 0 dB"
        else:
            areas = [[ring * 2.2 + [x + 2.3, y - 0.9] for ring in rings] for rings in silhouette("walking")]
            page.areas(areas, 25.0, face=palette.INK)
            text = "person, 1.75 m tall"
        page.text(text_x, y, text, 6.5)
        y -= _ROW
    return top


def _reading(page: Page, top: float, foot: float) -> None:
    """How to read the sheet, where there is room for all of it."""
    text = _READING.format(zone=f"{PEOPLE_ZONE_M:g}")
    lines = page.lettering.wrap(text, "sans", 6.0, sheet.RIGHT - sheet.COLUMN, 12)
    if top - 9.0 - 2.9 * len(lines) < foot:
        return
    page.rule(sheet.COLUMN, sheet.RIGHT, top, 0.5)
    y = top - 4.2
    page.text(sheet.COLUMN, y, "Reading the section", 6.5, font="bold")
    for line in lines:
        y -= 3.1
        page.text(sheet.COLUMN, y, line, 6.0)


def _words(
    page: Page,
    scene: Scene,
    coverage: Coverage,
    building: Building,
    field: SectionField,
    laid: _Layout,
    sheet_number: tuple[int, int],
) -> None:
    """Title, scale bar and title block."""
    upper = page.moved(page.wider, page.taller)
    subtitle = words.section(field.spec.motion, coverage.air, state_shown(scene))
    sheet.draw_title(page.moved(0.0, page.taller), scene.title, subtitle)
    sheet.draw_scale_bar(upper, Projection(laid.scale, sheet.FRAME, (0.0, 0.0)))
    draw_block(
        page, scene,
        drawing=", ".join([f"Section {field.name}–{field.name}", *state_shown(scene)]),
        conditions=words.conditions(coverage, building), scale=laid.scale, number=sheet_number,
    )  # fmt: skip
