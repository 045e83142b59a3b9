"""A walked route on one sheet: the strip chart, the plan with the route, and what it means in figures."""

from __future__ import annotations

from collections.abc import Set
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from raycover.building.one_storey import one_storey
from raycover.building.parts import Building
from raycover.detectors import Unit
from raycover.draw import palette, plan, sheet, strip_chart, tables, walk_plan, words
from raycover.draw.annotate import Annotator
from raycover.draw.building_plan import floor_surface, light_paper
from raycover.draw.lettering import ENGLISH, Wording, clean, named
from raycover.draw.page import Page
from raycover.draw.plan_page import PlanPage, write_tags
from raycover.draw.png import save_png
from raycover.draw.projection import Box, Projection
from raycover.draw.title_block import draw_surround, state_shown
from raycover.scene.air import air_of
from raycover.scene.schema import Scene
from raycover.walking.walk import Seen, Walk
from raycover.walking.words import cause_words, clock, hold_words, span

Floats = NDArray[np.float64]
_LEFT, _RIGHT, _FOOT, _TOP = sheet.FRAME[0], sheet.FRAME[2], sheet.FRAME[1], sheet.FRAME[3]
#: Lanes are between so high (mm), at most so many; the plan is no lower than this, clear of the chart by that.
_LANE, _MOST_LANES = (6.2, 11.0), 8
_LOWEST_PLAN, _CLEAR = 44.0, 8.0
#: Width (mm) of a plan beside its chart, the room for its coordinates, the chart's lanes at most.
_BESIDE, _MARGIN, _TALLEST = 112.0, 10.0, 30.0
#: Height (mm) of the route's key, and how many rooms are listed.
_KEY, _MOST_ROOMS = 29.0, 4
#: What the plan shows about the route (m).
_ABOUT = 2.0


def draw_walk(
    scene: Scene,
    building: Building,
    walk: Walk,
    path: str | Path,
    *,
    sheet_number: tuple[int, int] = (1, 1),
    dpi: float = plan.DPI,
    wording: Wording = ENGLISH,
) -> None:
    """Save the page of one walk as a PNG, A4 landscape. The file appears whole or not at all.

    Raises OSError where it cannot be written.
    """
    page = make_walk_page(scene, building, walk, sheet_number=sheet_number, dpi=dpi, wording=wording)
    save_png(page.pixels(), path, dpi=dpi)


def make_walk_page(
    scene: Scene,
    building: Building,
    walk: Walk,
    *,
    sheet_number: tuple[int, int] = (1, 1),
    dpi: float = plan.DPI,
    wording: Wording = ENGLISH,
) -> Page:
    """The page that `draw_walk` saves."""
    page = Page(dpi=dpi, wording=wording)
    lanes, _ = strip_chart.shown_lanes(walk, _MOST_LANES)
    projection, chart = _shared_out(walk, len(lanes))
    strip_chart.draw_strip_chart(page, walk, lanes, chart)
    key, left_out = _draw_plan(page, building, walk, lanes, projection)
    _draw_column(page, walk, frozenset(room.name for room in building.rooms), key, left_out)
    _draw_surround(page, scene, building, walk, projection, sheet_number)
    return page


def _shared_out(walk: Walk, n_lanes: int) -> tuple[Projection, Box]:
    """The plan's projection and the chart's box (mm): plan above chart, or beside it where that shows more of a way."""
    bounds = _bounds(walk)
    least, best = (strip_chart.height_of(max(n_lanes, 1), lane) for lane in _LANE)
    whole = _TOP - _FOOT
    most_plan = whole - least - _CLEAR
    above = Projection.fitted(bounds, (_LEFT, _TOP - most_plan, _RIGHT, _TOP))
    beside = Projection.fitted(bounds, (_LEFT, _FOOT, _LEFT + _BESIDE, _TOP))
    if beside.scale < 0.8 * above.scale:
        height = min(whole, strip_chart.height_of(max(n_lanes, 1), _TALLEST))
        return beside, (_LEFT + _BESIDE + _MARGIN, _TOP - height, _RIGHT, _TOP)
    needed = (bounds[3] - bounds[1]) * above.mm_per_m + 9.0
    height = float(np.clip(max(needed, whole - best - _CLEAR), _LOWEST_PLAN, most_plan))
    projection = Projection(above.scale, (_LEFT, _TOP - height, _RIGHT, _TOP), above.middle)
    return projection, (_LEFT, _FOOT, _RIGHT, _TOP - height - _CLEAR)


def _bounds(walk: Walk) -> Box:
    places = walk.track.position[:, :2]
    low, high = places.min(axis=0) - _ABOUT, places.max(axis=0) + _ABOUT
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def _draw_plan(
    page: Page, building: Building, walk: Walk, lanes: list[Seen], projection: Projection
) -> tuple[sheet.Key, list[str]]:
    shown = _storey(building, walk)
    sketch = PlanPage.on(page, projection)
    placer = sketch.placer
    sketch.draw_storey(shown, floor_surface(shown))
    marked = sketch.mark_units(_units_on(building, shown, walk))
    sketch.draw_stairs(building, shown)
    placer.note_strokes(sketch.strokes.lines)
    paper = walk_plan.draw_route(page, walk, projection, placer)
    annotator = Annotator(page, projection, placer, light_paper(projection))
    n_tags = write_tags(annotator, marked)
    left_out = walk_plan.draw_noticed_by(page, walk, paper, lanes, placer)
    walk_plan.draw_marks(page, walk, paper, placer)
    areas = [room.walkable.area for room in shown.rooms]
    annotator.room_names([room.polygon for room in shown.rooms], [room.name for room in shown.rooms], areas)
    annotator.rack_names(shown)
    things = [walk.longest.why.blocked_by] if walk.longest is not None else []
    annotator.thing_names(shown, [name for name in things if name])
    sheet.draw_left_out(page, n_tags, 0)
    return sheet.Key(marked.sorts, False, False, marked.masked), left_out


def _storey(building: Building, walk: Walk) -> Building:
    """The storey that a route keeps to; for a stair that of its foot."""
    if len(building.storeys) < 2:
        return building
    z = float(walk.track.position[:, 2].min())
    under = [s for s in building.storeys if s.level <= z + 1e-3] or [building.storeys[0]]
    mine = [s for s in building.storeys if walk.way.rooms and set(walk.way.rooms) & set(s.rooms)]
    return one_storey(building, (mine or under)[-1])


def _units_on(building: Building, shown: Building, walk: Walk) -> list[Unit]:
    units = [seen.unit for seen in walk.seen]
    if shown is building:
        return units
    names = {room.name for room in shown.rooms}
    home = building.rooms_at(np.array([unit.position for unit in units]).reshape(-1, 3))
    return [u for u, r in zip(units, home, strict=True) if r >= 0 and building.rooms[r].name in names]


def _draw_column(page: Page, walk: Walk, rooms: Set[str], key: sheet.Key, left_out: list[str]) -> None:
    left, right = sheet.COLUMN, sheet.RIGHT
    width = right - left
    figure, beside = _headline(walk)
    sheet.draw_headline(page, figure, beside)
    page.rule(left, right, 191.7, 1.1)
    y = tables.draw_table(page, _figures_table(page, walk, rooms, width), left, 187.0, right)
    foot = sheet.COLUMN_FOOT + key.height + _KEY
    if walk.entries:
        y = tables.draw_table(page, _room_table(page, walk, width), left, y, right)
    detectors = _detector_table(page, walk, width, y - foot, left_out)
    if detectors is not None:
        tables.draw_table(page, detectors, left, y, right)
    _draw_route_key(page, key.height)
    sheet.draw_key(page, key)


def _headline(walk: Walk) -> tuple[str, tuple[str, str]]:
    """The worst that happens on the way: never noticed, left in the dark, or unnoticed for long."""
    left = sum(b - a for a, b in walk.light.left)
    if walk.first is None:
        return "never", ("noticed on the whole", "way: no light")
    if left > 0.5:
        figure, unit = (f"{left:.1f} s", "") if left < 99.5 else (clock(left), "min:s ")
        return figure, (f"{unit}left in the dark", "while someone is there")
    entry = walk.entries[-1] if walk.entries else None
    if entry is not None and entry.first is None:
        return "never", ("noticed in the room", "where the way ends")
    first = walk.first if entry is None or entry.first is None else entry.first
    gap = walk.longest
    if gap is not None and gap.from_s > 0 and gap.seconds > first.seconds:
        figure, unit = (f"{gap.seconds:.1f} s", "") if gap.seconds < 99.5 else (clock(gap.seconds), "min:s ")
        return figure, (f"{unit}unnoticed,", f"{gap.metres:.1f} m of the way")
    wait = max(walk.light.waits, key=lambda stretch: stretch[1] - stretch[0], default=(0.0, 0.0))
    if wait[1] - wait[0] > max(first.seconds, 0.5):
        start = "start" if wait[0] == 0 else "threshold"
        return f"{wait[1] - wait[0]:.1f} s", (f"in the dark from the {start}", "until noticed")
    start = "start" if entry is None or entry.at_s == 0 else "threshold"
    return f"{first.seconds:.1f} s", (f"from the {start} until", f"noticed, {first.metres:.1f} m in")


def _figures_table(page: Page, walk: Walk, rooms: Set[str], width: float) -> tables.Table:
    first = walk.first
    gap = walk.longest
    waits = sum(b - a for a, b in walk.light.waits)
    left = sum(b - a for a, b in walk.light.left)
    hold = walk.shortest_hold_s
    rows = [
        ("length, time", f"{walk.track.length_m:.1f} m, {span(walk.track.seconds)}"),
        ("first noticed", "never" if first is None else f"{first.seconds:.1f} s, {first.metres:.1f} m"),
        ("by", "–" if first is None else named(first.detector)),
        ("longest unnoticed", "none" if gap is None else f"{span(gap.seconds)}, {gap.metres:.1f} m"),
        ("noticed", f"{100 * walk.share:.0f} % of the time"),
        ("dark on entering", f"{waits:.1f} s"),
        ("left in the dark", span(left)),
        ("hold that just lasts", "–" if hold is None else hold_words(hold)),
        ("hold time", f"{clock(min((s.hold_s for s in walk.seen), default=0))} min"),
    ]
    made = []
    for name, value in rows:
        made.append(tables.Row((name, page.lettering.fit(clean(value), "sans", 6.5, width - 24.0))))
        if name == "longest unnoticed" and gap is not None:
            lines = page.lettering.wrap(clean(cause_words(gap.why, rooms)), "sans", 6.0, width - 3.0, 2)
            made += [tables.Row((f"  {line}", "")) for line in lines]
    return tables.Table(("This way", ""), ((0.0, "left"), (width, "right")), tuple(made))


def _room_table(page: Page, walk: Walk, width: float) -> tables.Table:
    """From each threshold until somebody of that room notices."""
    rows = tuple(
        tables.Row(
            (
                page.lettering.fit(named(entry.room), "sans", 6.5, width - 27.5),
                f"{entry.at_s:.1f}",
                "never" if entry.first is None else f"{entry.first.seconds:.1f}",
                "–" if entry.first is None else f"{entry.first.metres:.1f}",
            )
        )
        for entry in walk.entries[:_MOST_ROOMS]
    )
    more = len(walk.entries) - len(rows)
    places = ((0.0, "left"), (width - 19.5, "right"), (width - 8.5, "right"), (width, "right"))
    return tables.Table(("Room", "entered s", "after s", "m"), places, rows, f"{more} more" if more > 0 else "")


def _detector_table(page: Page, walk: Walk, width: float, height: float, left_out: list[str]) -> tables.Table | None:
    """Who notices, from when and how much of the time: as many as a height (mm) holds."""
    seen = [one for one in walk.seen if one.noticed.any()]
    silent = len(walk.seen) - len(seen)
    places = ((0.0, "left"), (width - 25.5, "right"), (width - 15.0, "right"), (width, "right"))
    for n in range(len(seen), 0, -1):
        rows = []
        for one in seen[:n]:
            at = int(np.flatnonzero(one.noticed)[0])
            name = page.lettering.fit(named(one.name), "sans", 6.5, width - 36.0)
            hangs = "here" if one.noticed_here.any() else "elsewhere"
            hangs = f"{hangs}, no line" if one.name in left_out else hangs
            share = f"{100 * one.noticed.mean():.0f} %"
            rows.append(tables.Row((name, f"{walk.track.time_s[at]:.1f}", share, hangs)))
        notes = [f"{len(seen) - n} more"] if n < len(seen) else []
        notes += [f"{silent} other{'s' * (silent != 1)} notice{'s' * (silent == 1)} nothing"] if silent else []
        made = tables.Table(("Noticed by", "from s", "time", "hangs"), places, tuple(rows), "; ".join(notes))
        if made.height <= height:
            return made
    return None


def _draw_route_key(page: Page, above: float) -> None:
    """What the route's lines and marks mean, over the key of the detectors."""
    x, width = sheet.COLUMN, 8.0
    y = sheet.COLUMN_FOOT + above + _KEY
    page.rule(x, sheet.RIGHT, y, 0.5)
    y -= 4.4
    for level, words_ in ((0, "noticed by nobody"), (1, "by one detector"), (2, "by several")):
        walk_plan.draw_class(page, np.array([(x, y + 0.8), (x + width, y + 0.8)]), level)
        page.text(x + 10.5, y, words_, 6.5)
        y -= 4.3
    page.lines([[(x, y + 0.8), (x + width, y + 0.8)]], palette.ACCENT, 0.7, 25.0)
    page.lines([[(x + d, y + 0.2), (x + d, y + 1.4)] for d in (0, width)], palette.ACCENT, 0.7, 25.0)
    page.text(x + 10.5, y, "within this detector's notice", 6.5)
    y -= 4.3
    page.lines([[(x + 2.5, y - 0.3), (x + 2.5, y + 1.9)]], palette.INK, 0.8, 25.0)
    page.text(x + 4.0, y, "5", 6.0)
    page.text(x + 10.5, y, "seconds from the start", 6.5)
    y -= 4.3
    page.areas([[[(x + 1.7, y + 1.7), (x + 2.6, y + 0.8), (x + 3.5, y + 1.7)]]], 25.0, face=palette.INK)
    page.text(x + 10.5, y, "trigger; lines: thresholds", 6.5)


def _draw_surround(
    page: Page, scene: Scene, building: Building, walk: Walk, projection: Projection, sheet_number: tuple[int, int]
) -> None:
    way = walk.way
    who = {"adult": "an adult", "child": "a child", "wheelchair": "a wheelchair user"}[way.person]
    does = f"walks at {way.speed:g} m/s" if way.person != "wheelchair" else f"goes at {way.speed:g} m/s"
    how = "simulated detectors" if any(s.mode == "simulated" for s in walk.seen) else "declared footprints"
    parts = [f"Walk test, {walk.name}: {who} {does}", how, *state_shown(scene)]
    conditions = [air_of(scene), words.doors(building)]
    draw_surround(
        page,
        scene,
        projection,
        subtitle=" · ".join(parts),
        drawing=", ".join([f"Walk test, {walk.name}", *state_shown(scene)]),
        conditions=" · ".join(part for part in conditions if part),
        number=sheet_number,
    )
