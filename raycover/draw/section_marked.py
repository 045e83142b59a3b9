"""Detectors, people, heights and names in a section."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.asking.upright import PEOPLE_ZONE_M, SectionField
from raycover.building.parts import Building
from raycover.building.upright_cut import cut_boxes, cut_sheets, room_profiles
from raycover.draw import palette, words
from raycover.draw.drawing import Drawing
from raycover.draw.glyphs import draw_hung, size_factor
from raycover.draw.labels import Placer
from raycover.draw.lettering import named
from raycover.draw.mannequin import TALL_M, silhouette
from raycover.draw.page import Page
from raycover.draw.projection import round_step
from raycover.draw.section_map import zone_tops
from raycover.signs import minus

Floats = NDArray[np.floating]
#: People stand at least so far (mm) apart, and so far (m) from what stands beside them; so many at most.
_APART_MM, _CLEAR_M, _MOST_PEOPLE = 26.0, 0.7, 6
_LARGE_MM = 14.0
_TAG_PT, _MOST_TAGS = 7.0, 60
#: Names of rooms are cut short only where a room is wider than this (mm).
_LEAST_NAME_MM = 14.0
_LIMIT_DASHES = (3.0, 1.32)


def draw_limits(drawing: Drawing, field: SectionField) -> bool:
    """How far each detector in the cut notices anyone: dashed accent on white; whether there is any."""
    lines = [line for limit in field.limits for line in limit.lines]
    page, frame = drawing.page, drawing.projection.frame
    placed = [drawing.projection.to_paper(line) for line in lines]
    page.lines(placed, palette.PAPER, 1.5, 7.4, alpha=0.6, clip=frame)
    page.lines(placed, palette.ACCENT, 0.6, 7.5, dashes=_LIMIT_DASHES, clip=frame)
    drawing.strokes.add(placed, 1.0)
    return bool(lines)


def draw_detectors(drawing: Drawing, field: SectionField, building: Building, placer: Placer) -> list[int]:
    """Detectors in the cut on their rods, those beyond it pale; which of the former (by index) are shown."""
    places = field.place(np.array([u.position for u in field.units]))
    ceilings = _ceilings(field, building)
    shown = []
    for hung, pale in ((field.beyond, True), (field.in_cut, False)):
        paper = drawing.projection.to_paper(places[list(hung)]) if hung else np.zeros((0, 2))
        factor = size_factor(np.asarray(paper, np.float64))
        for index, at in zip(hung, paper, strict=True):
            top = drawing.projection.to_paper([places[index, 0], ceilings[index]])[1]
            draw_hung(drawing.page, at, max(float(top - at[1]), 0.0), pale=pale, factor=factor)
            placer.take((at[0] - 1.6, at[1] - 1.6, at[0] + 1.6, max(float(top), at[1] + 0.4)))
            if not pale:
                shown.append(index)
    return shown


def _ceilings(field: SectionField, building: Building) -> Floats:
    """Height (n,) of what each detector hangs from: the ceiling over it, itself where there is none."""
    at = np.array([u.position for u in field.units]).reshape(-1, 3)
    rooms = building.rooms_at(at)
    found = at[:, 2].copy()
    for index in np.unique(rooms[rooms >= 0]):
        room, mine = building.rooms[index], rooms == index
        found[mine] = room.top_at(at[mine, :2])
        if room.tiles is not None:
            below = mine & (at[:, 2] <= room.floor + room.tiles + 1e-3)
            found[below] = room.floor + room.tiles
    return found


def write_tags(drawing: Drawing, field: SectionField, placer: Placer) -> int:
    """A name beside every detector that is drawn, of those in the cut first; how many found no place."""
    page, n_left_out = drawing.page, 0
    places = drawing.projection.to_paper(field.place(np.array([u.position for u in field.units])))
    crowded = len(field.in_cut) + len(field.beyond) > _MOST_TAGS
    for index in (*field.in_cut, *field.beyond):
        mine = index in field.in_cut
        font = "bold" if mine else "sans"
        size = _TAG_PT if mine else 6.0
        text = page.lettering.fit(named(field.units[index].name), font, size, 20.0)  # type: ignore[arg-type]
        extent = page.lettering.extent(text, font, size)  # type: ignore[arg-type]
        gaps = (1.9, 2.8) if crowded else (1.9, 2.8, 4.2, 6.5)
        placed = placer.near(places[index], (extent.width + 0.4, extent.height), gaps, most=25.0, prefer_deg=-20.0)
        if placed is None:
            n_left_out += mine
            continue
        x, y = placed.centre
        page.text(
            x, y - extent.height / 2 + extent.below, text, size, font=font, ha="center", z=22.0, halo_pt=2.0,  # type: ignore[arg-type]
            color=palette.ACCENT if mine else "#C98F80",
        )  # fmt: skip
    return n_left_out


def draw_people(drawing: Drawing, field: SectionField, building: Building, placer: Placer) -> int:
    """People who walk where they are noticed and nothing stands in their way, for scale; how many."""
    surface, n = field.surface, 0
    mm = drawing.projection.mm_per_m
    furnished = [
        (c.start, c.end) for c in cut_sheets(field.line, building.sheets) if c.sheet.kind not in ("floor", "ceiling")
    ]
    largest = sorted(range(len(field.profiles)), key=lambda k: -float(field.profiles[k][1].area))
    standing_at: list[tuple[float, float]] = []
    for room in largest:
        mine = (surface.room == room) & field.zone
        rows = np.flatnonzero(mine.any(axis=1))
        if not len(rows):
            continue
        tall = max(round(1.8 / surface.grid), 1)
        floor = float(surface.y[rows[0]] - surface.grid / 2)
        blocked = np.zeros(len(surface.x), bool)
        for a, b in furnished:
            if max(a[1], b[1]) > floor + 0.1 and min(a[1], b[1]) < floor + 1.8:
                blocked |= (surface.x > min(a[0], b[0]) - surface.grid) & (surface.x < max(a[0], b[0]) + surface.grid)
        standing = mine[rows[0] : rows[0] + tall]
        if len(standing) < tall:
            continue
        seen = np.nan_to_num(field.margin_db[rows[0] : rows[0] + tall], nan=-np.inf) >= 0
        free = standing.all(axis=0) & ~blocked
        reach = round(_CLEAR_M / surface.grid)
        wide = np.lib.stride_tricks.sliding_window_view(np.pad(free, reach), 2 * reach + 1).all(axis=1)
        score = np.where(wide, 1.0 + seen.all(axis=0), 0.0)
        apart = max(_APART_MM / mm, 2.4)
        for k, column in enumerate(_spaced(score, surface.x, apart, _MOST_PEOPLE - n)):
            at = np.array([surface.x[column], floor])
            if any(abs(s - at[0]) < apart and abs(z - floor) < 1.0 for s, z in standing_at):
                continue
            standing_at.append((float(at[0]), floor))
            areas = [
                [drawing.projection.to_paper(ring + at) for ring in rings]
                for rings in silhouette("walking", mirrored=k % 2 == 1)
            ]
            drawing.page.areas(areas, 9.0, edge=palette.PAPER, width_pt=1.2, clip=drawing.projection.frame)
            # Large people in ink would be all that one sees.
            face = palette.INK if TALL_M * mm < _LARGE_MM else "#75828A"
            drawing.page.areas(areas, 9.1, face=face, clip=drawing.projection.frame)
            every = np.concatenate([ring for rings in areas for ring in rings])
            placer.take((*every.min(axis=0), *every.max(axis=0)))
            n += 1
    return n


def _spaced(score: Floats, s: Floats, apart_m: float, most: int) -> list[int]:
    """Columns with the best score, far from each other, from about a third of the way on."""
    taken: list[int] = []
    away = np.abs(s - (s[0] + 0.31 * (s[-1] - s[0])))
    distance = np.maximum(away.max() - away, 0.0) + 1e-3
    while len(taken) < most:
        worth = np.where(score > 0, score * np.minimum(distance, 4 * apart_m), 0.0)
        best = int(worth.argmax())
        if worth[best] <= 0 or (taken and distance[best] < apart_m):
            break
        taken.append(best)
        here = np.abs(s - s[best])
        distance = here if len(taken) == 1 else np.minimum(distance, here)
    return taken


def draw_heights(page: Page, drawing: Drawing, field: SectionField, building: Building, box: Floats) -> None:
    """A scale of heights to the left of the drawing, levels of floors and tops of rooms to its right."""
    projection = drawing.projection
    left, right = float(box[0]), float(box[2])
    low, high = field.bounds[1], field.bounds[3]
    step = round_step(7.0 / projection.mm_per_m)
    for value in np.arange(np.ceil(low / step - 1e-6), np.floor(high / step + 1e-6) + 1) * step:
        y = float(projection.to_paper([0.0, value])[1])
        page.lines([[(left - 3.4, y), (left - 1.4, y)]], palette.SECOND_INK, 0.5, 20.0)
        page.text(left - 4.2, y - 0.75, minus(f"{value + 0.0:g}"), 6.0, ha="right", color=palette.SECOND_INK)
    levels = {round(room.floor, 3) for index, room in enumerate(building.rooms) if index in dict(field.profiles)}
    levels |= {round(float(p.bounds[3]), 3) for _, p in room_profiles(field.line, building.rooms)}
    last = -np.inf
    for value in sorted(levels):
        y = float(projection.to_paper([0.0, value])[1])
        if y - last < 3.4:
            continue
        last = y
        x = right + 2.0
        page.lines([[(x, y), (x + 11.0, y)]], palette.SECOND_INK, 0.35, 20.0)
        page.areas([[[(x + 1.0, y), (x + 0.1, y + 1.3), (x + 1.9, y + 1.3)]]], 20.0, face=palette.SECOND_INK)
        page.text(x + 11.0, y + 0.7, words.level(value), 6.0, ha="right", color=palette.SECOND_INK)


def draw_zone_tops(drawing: Drawing, field: SectionField, building: Building, placer: Placer) -> None:
    """A dotted line where the people zone ends, named once."""
    page = drawing.page
    lines = [drawing.projection.to_paper(line) for line in zone_tops(field, building)]
    page.lines(lines, palette.SECOND_INK, 0.4, 4.0, dashes=(0.8, 1.2), clip=drawing.projection.frame)
    text = f"people zone, up to {PEOPLE_ZONE_M:g} m"
    extent = page.lettering.extent(text, "sans", 6.0)
    for line in sorted(lines, key=lambda one: -float(np.ptp(one[:, 0]))):
        x0, x1 = float(line[:, 0].min()), float(line[:, 0].max())
        xs = np.linspace(x0 + extent.width / 2 + 1.2, x1 - extent.width / 2 - 1.2, 40)
        if x1 - x0 < extent.width + 3.0:
            continue
        over, under = line[0, 1] + extent.height / 2 + 0.25, line[0, 1] - extent.height / 2 - 0.6
        centres = np.concatenate([np.stack([xs, np.full(40, y)], axis=1) for y in (over, under)])
        score = np.concatenate([np.linspace(0, 6, 40), np.linspace(3, 9, 40)])
        index = placer.place((extent.width, extent.height), centres, score, most=40.0)
        if index is not None:
            x, y = centres[index]
            page.text(float(x), float(y) - extent.height / 2 + extent.below, text, 6.0, ha="center",
                      color=palette.INK, z=16.0, halo_pt=1.6)  # fmt: skip
            return


def draw_mounting(drawing: Drawing, field: SectionField, building: Building, placer: Placer) -> None:
    """The mounting height of one detector a room in the cut, as a dimension from the floor."""
    page, done = drawing.page, set()
    places = field.place(np.array([u.position for u in field.units]))
    rooms = building.rooms_at(np.array([u.position for u in field.units]).reshape(-1, 3))
    standing = [
        drawing.projection.to_paper([c.start, c.end])
        for c in cut_sheets(field.line, building.sheets) if c.sheet.kind not in ("floor", "ceiling")
    ]  # fmt: skip
    crossed = shapely.union_all([shapely.LineString(line) for line in standing])
    for index in field.in_cut:
        room, unit = int(rooms[index]), field.units[index]
        if room in done:
            continue
        z1 = float(unit.position[2])
        z0 = z1 - unit.mounting
        text = f"mounting {unit.mounting:g} m"
        extent = page.lettering.extent(text, "sans", 6.0)
        top, foot = (drawing.projection.to_paper([0.0, z])[1] for z in (z1, z0))
        if top - foot < extent.width + 3.0:
            continue
        near = drawing.projection.to_paper(places[index])[0]
        x0, x1 = _span_of(field, room, float(places[index, 0]), drawing)
        xs = near + np.array([d * k for k in np.arange(9.0, 60.0, 3.0) for d in (-1, 1)])
        others = drawing.projection.to_paper(places[list(field.in_cut)])[:, 0]
        xs = xs[(xs > x0 + 3.0) & (xs < x1 - 3.0)]
        xs = xs[np.abs(xs[:, None] - others).min(axis=1) > 5.0]
        xs = xs[[not crossed.intersects(_upright(x, foot + 0.5, top - 0.5)) for x in xs]]
        middle = (top + foot) / 2 + 0.12 * (top - foot)
        centres = np.stack([xs, np.full(len(xs), middle)], axis=1)
        chosen = placer.place((extent.height + 1.0, extent.width + 1.0), centres, 0.12 * np.abs(xs - near), most=60.0)
        if chosen is None:
            continue
        x = float(xs[chosen])
        page.lines([[(x, foot), (x, top)]], palette.PAPER, 1.4, 6.8, alpha=0.7)
        page.lines([[(x, foot), (x, top)], [(x - 0.9, top), (x + 0.9, top)], [(x - 0.9, foot), (x + 0.9, foot)]],
                   palette.INK, 0.5, 6.9)  # fmt: skip
        page.text(x - 0.6, middle, text, 6.0, ha="center", halo_pt=1.8, z=16.0, turn_deg=90.0)
        placer.take((x - 0.3, foot, x + 0.3, top))
        done.add(room)


def _upright(x: float, low: float, high: float) -> Any:
    return shapely.LineString([(x, low), (x, high)])


def _span_of(field: SectionField, room: int, s: float, drawing: Drawing) -> tuple[float, float]:
    """Ends (mm) of the stretch of a room that a place lies in."""
    for index, polygon in field.profiles:
        x0, _, x1, _ = polygon.bounds
        if index == room and x0 - 1e-6 <= s <= x1 + 1e-6:
            a, b = drawing.projection.to_paper([(x0, 0.0), (x1, 0.0)])[:, 0]
            return float(a), float(b)
    return -np.inf, np.inf


def write_names(drawing: Drawing, field: SectionField, building: Building, placer: Placer, foot: float) -> None:
    """Names of racks that are cut over them, of rooms below the drawing."""
    page, projection = drawing.page, drawing.projection
    met, oblongs = cut_boxes(field.line, building.envelopes)
    owners = [building.envelopes.owners[k] for k in met]
    for owner in dict.fromkeys(owners):
        mine = oblongs[[k for k, name in enumerate(owners) if name == owner]]
        text = page.lettering.fit(named(owner), "sans", 6.5, 24.0)
        extent = page.lettering.extent(text, "sans", 6.5)
        x0, x1 = projection.to_paper([(mine[:, 0].min(), 0.0), (mine[:, 2].max(), 0.0)])[:, 0]
        top = float(projection.to_paper([0.0, mine[:, 3].max()])[1])
        xs = np.clip((x0 + x1) / 2 + np.array([0.0, -3.0, 3.0, -8.0, 8.0, -16.0, 16.0]), x0, x1)
        for lift in (0.9, 2.6, 4.4):
            centres = np.stack([xs, np.full(len(xs), top + lift + extent.height / 2)], axis=1)
            index = placer.place((extent.width + 0.4, extent.height), centres, 0.1 * np.abs(xs - xs[0]), most=30.0)
            if index is not None:
                x, y = centres[index]
                page.text(float(x), float(y) - extent.height / 2 + extent.below, text, 6.5, ha="center", z=15.0,
                          halo_pt=1.8)  # fmt: skip
                break
    _room_names(page, drawing, field, building, placer, foot)


def _room_names(
    page: Page, drawing: Drawing, field: SectionField, building: Building, inside: Placer, foot: float
) -> None:
    """Names of rooms that stand on the lowest floor below the drawing, others within them."""
    lowest = min((building.rooms[r].floor for r, _ in field.profiles if r >= 0), default=0.0)
    placer = Placer((0.0, foot - 12.0, page.size[0], foot + 2.0))
    for room, polygon in field.profiles:
        if room < 0:
            continue
        name = named(building.rooms[room].name)
        x0, z0, x1, z1 = polygon.bounds
        a, b = drawing.projection.to_paper([(x0, z0), (x1, z1)])
        width = float(b[0] - a[0])
        if abs(building.rooms[room].floor - lowest) < 0.5:
            text, size = page.lettering.fit_size(name, "italic", (10.0, 8.5, 7.5), max(width - 1.0, 9.0))
            if text != name and width < _LEAST_NAME_MM:
                continue  # a name's first letters say nothing; the table has it
            extent = page.lettering.extent(text, "italic", size)
            x = float((a[0] + b[0]) / 2)
            index = placer.place((extent.width + 0.6, extent.height), [(x, foot - 3.6), (x, foot - 7.6)], [0.0, 1.0])
            if index is not None:
                y = foot - (3.6, 7.6)[index]
                page.text(x, y - extent.above * 0.38, text, size, font="italic", ha="center")
            continue
        text = page.lettering.fit(name, "italic", 8.5, max(width - 3.0, 5.0))
        extent = page.lettering.extent(text, "italic", 8.5)
        xs = np.linspace(float(a[0]) + extent.width / 2 + 1.2, float(b[0]) - extent.width / 2 - 1.2, 12)
        ys = np.linspace(float(b[1]) - extent.height / 2 - 0.6, float(a[1]) + extent.height / 2 + 1.0, 12)
        centres = np.stack(np.meshgrid(xs, ys), axis=-1).reshape(-1, 2)
        costs = 0.3 * np.abs(centres[:, 0] - xs[0]) + 0.3 * np.abs(centres[:, 1] - ys[0])
        index = inside.place((extent.width + 0.6, extent.height), centres, costs, most=60.0)
        if index is not None:
            x, y = (float(v) for v in centres[index])
            page.text(x, y - extent.above * 0.38, text, 8.5, font="italic", ha="center", z=16.0, halo_pt=2.0)
