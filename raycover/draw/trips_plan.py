"""A plan of what may trip units though nobody is there: nuisances, lines of sight, masks that would stop them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.building.one_storey import one_storey
from raycover.building.parts import Building, StoreyShape
from raycover.detectors import Unit
from raycover.draw import glyphs, nuisance_marks, palette, plan, sheet, storey_marks, tables
from raycover.draw.building_plan import building_bounds, floor_surface, light_paper
from raycover.draw.drawing import Drawing
from raycover.draw.labels import Placer
from raycover.draw.lettering import ENGLISH, Wording, clean, named
from raycover.draw.nuisance_marks import NuisanceMark
from raycover.draw.page import Page
from raycover.draw.plan_page import PlanPage, shown_units, write_tags
from raycover.draw.png import save_png
from raycover.draw.projection import Projection
from raycover.draw.storeys import top_of_shown
from raycover.draw.title_block import draw_surround, state_shown
from raycover.scene.schema import Scene
from raycover.shares import percent
from raycover.signs import margin_words
from raycover.trips import Remedies, Trips
from raycover.trips.judging import Verdict
from raycover.trips.places import Source
from raycover.trips.words import best_words, nearest_miss, reason

Floats = NDArray[np.float64]
#: A nuisance no further (m) above or below a unit than this is drawn as if it were.
_LEVEL_M = 0.05
#: Row heights of the key (mm): of lines, and of marks.
_KEY, _MARK_ROW = 4.3, 5.6
#: Where names stand in the list of nuisances, and the room (mm) that a verdict has at least.
_NAME_AT, _VERDICT = 4.6, 20.5


@dataclass(frozen=True)
class _Shown:
    """What one sheet shows: sources with their numbers, units, and the remedies that concern either.

    `elsewhere`: sources of other storeys that trip units of this one.
    """

    sources: tuple[tuple[str, Source], ...]
    elsewhere: tuple[tuple[str, Source], ...]
    units: tuple[Unit, ...]
    remedies: tuple[Remedies, ...]
    verdicts: dict[str, Verdict]


def draw_trips(
    scene: Scene,
    building: Building,
    trips: Trips,
    path: str | Path,
    *,
    storey: StoreyShape | None = None,
    sheet_number: tuple[int, int] = (1, 1),
    dpi: float = plan.DPI,
    wording: Wording = ENGLISH,
) -> None:
    """Save the plan of what may trip falsely, of all a building or one storey, as a PNG, A4 landscape.

    The file appears whole or not at all. Raises OSError where it cannot be written.
    """
    page = make_trips_plan(scene, building, trips, storey=storey, sheet_number=sheet_number, dpi=dpi, wording=wording)
    save_png(page.pixels(), path, dpi=dpi)


def make_trips_plan(
    scene: Scene,
    building: Building,
    trips: Trips,
    *,
    storey: StoreyShape | None = None,
    sheet_number: tuple[int, int] = (1, 1),
    dpi: float = plan.DPI,
    wording: Wording = ENGLISH,
) -> Page:
    """The page that `draw_trips` saves."""
    shape = building if storey is None else one_storey(building, storey)
    shown = _of_storey(building, trips, storey)
    projection = Projection.fitted(_bounds(shape, shown), sheet.FRAME)
    page = Page(dpi=dpi, wording=wording)
    sketch = PlanPage.on(page, projection)
    drawing, placer, strokes = sketch.drawing, sketch.placer, sketch.strokes
    drawing.areas([part for room in shape.rooms for part in shapely.get_parts(room.walkable)], 1.0, face=palette.BENCH)
    sketch.draw_storey(shape, floor_surface(shape))
    sketch.draw_stairs(building, shape)

    _draw_things(drawing, shown)
    by_name = {unit.name: unit for unit in trips.units}
    proposed = [r for r in shown.remedies if r.mask.fits and r.mask.closes]
    rooms = shapely.union_all([room.polygon for room in building.rooms])
    sectors = [area for r in proposed for area in _sector(by_name[r.effect.unit], r, trips, rooms, projection)]
    nuisance_marks.draw_sectors(page, sectors, projection.frame)  # type: ignore[arg-type]
    strokes.add([ring for rings in sectors for ring in rings], 0.6)
    sight = [(_line(by_name[r.effect.unit], r, projection), r.effect.verdict) for r in shown.remedies]
    nuisance_marks.draw_sight(page, sight, projection.frame)
    strokes.add([line for line, _ in sight], 1.2)
    _draw_disturbing(drawing, trips, shown)

    others = [by_name[n] for n in dict.fromkeys(r.effect.unit for r in shown.remedies) if by_name[n] not in shown.units]
    marked = sketch.mark_units(shown.units)
    others, other_centres = shown_units(others, projection)
    storey_marks.draw_others(page, other_centres, marked.centres)
    annotator = sketch.annotator(light_paper(projection))
    placed = _place_marks(page, projection, placer, shown)
    n_tags = write_tags(annotator, marked)
    top = top_of_shown(building, shape) - 0.02
    annotator.other_tags([f"{u.name} {'↑' if u.position[2] > top else '↓'}" for u in others], other_centres)
    outlines = [room.polygon for room in shape.rooms]
    areas = [r.walkable.area for r in shape.rooms]
    n_names = annotator.room_names(outlines, [r.name for r in shape.rooms], areas, trips.rooms_c)
    nuisance_marks.draw_marks(page, placed)
    sheet.draw_left_out(page, n_tags, n_names)
    _draw_column(page, trips, shown, marked.sorts)
    _draw_surround(page, scene, trips, projection, storey, sheet_number)
    return page


def _of_storey(building: Building, trips: Trips, storey: StoreyShape | None) -> _Shown:
    """Nuisances with their numbers and units of a storey; a nuisance by the height of its middle point."""
    numbered = tuple((str(k), source) for k, source in enumerate(trips.sources, 1))
    verdicts: dict[str, Verdict] = {source.spec.name: "no" for source in trips.sources}
    for remedy in trips.remedies[::-1]:  # the worst is written last
        verdicts[remedy.effect.nuisance] = remedy.effect.verdict
    if storey is None:
        return _Shown(numbered, (), trips.units, trips.remedies, verdicts)
    above = [s.level for s in building.storeys if s.level > storey.level]
    low = storey.level if storey.level > min(s.level for s in building.storeys) else -np.inf
    high = min(above, default=np.inf)
    mine = tuple(pair for pair in numbered if low <= float(pair[1].points[:, 2].mean()) < high)
    units = tuple(unit for unit in trips.units if low <= float(unit.position[2]) - 1e-6 < high)
    names = {source.spec.name for _, source in mine}, {unit.name for unit in units}
    remedies = tuple(r for r in trips.remedies if r.effect.nuisance in names[0] or r.effect.unit in names[1])
    reaching = {r.effect.nuisance for r in remedies} - names[0]
    elsewhere = tuple(pair for pair in numbered if pair[1].spec.name in reaching)
    return _Shown(mine, elsewhere, units, remedies, verdicts)


def _bounds(building: Building, shown: _Shown) -> tuple[float, float, float, float]:
    x0, y0, x1, y1 = building_bounds(building)
    parts = [outline for _, source in shown.sources for outline in source.outlines] + [np.array([[x0, y0], [x1, y1]])]
    every = np.concatenate(parts)
    low, high = every.min(axis=0), every.max(axis=0)
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def _draw_things(drawing: Drawing, shown: _Shown) -> None:
    """Each nuisance at its true size: broken outlines, lines of movement with their ends marked."""
    still = [o for _, source in shown.sources if source.spec.line is None for o in source.outlines]
    moving = [o for _, source in shown.sources if source.spec.line is not None for o in source.outlines]
    drawing.areas(still, 10.4, face=palette.PAPER, alpha=0.6)
    drawing.areas(still, 10.5, edge=palette.INK, width_pt=0.7, dashes=(2.0, 1.2), weight=1.0)
    drawing.lines(moving, palette.PAPER, 2.2, 10.4)
    drawing.lines(moving, palette.INK, 1.0, 10.5, dashes=(5.0, 1.6, 1.0, 1.6), weight=1.0)
    heads = []
    for line in moving:
        for end, before in ((line[-1], line[-2]), (line[0], line[1])):
            tip, tail = drawing.projection.to_paper([end, before])
            along = (tip - tail) / max(np.linalg.norm(tip - tail), 1e-9)
            across = np.array([-along[1], along[0]])
            heads.append([[tip, tip - 1.9 * along + 0.8 * across, tip - 1.9 * along - 0.8 * across]])
    drawing.page.areas(heads, 10.6, face=palette.INK, clip=drawing.projection.frame)


def _sector(unit: Unit, remedy: Remedies, trips: Trips, rooms: Any, projection: Projection) -> list[list[Floats]]:
    """A mask on paper (areas of rings), at the height of the nuisance's middle; outside as far as it matters there."""
    effect = remedy.effect
    there = effect.points[effect.margins_db >= -trips.reserve_db]
    rise = float(there[:, 2].min() + there[:, 2].max()) / 2 - float(unit.position[2])
    rise = rise if abs(rise) > _LEVEL_M else -_LEVEL_M  # beside the unit a mask meets no level
    reach = max((f.largest_radius for f in unit.footprints), default=1.0)
    reach = max(reach, float(np.linalg.norm(there[:, :2] - unit.position[:2], axis=1).max()) + 0.5)
    hull = shapely.convex_hull(shapely.multipoints(np.concatenate([there[:, :2], unit.position[None, :2]])))
    if not rooms.buffer(0.1).contains(hull):
        rooms = rooms.union(hull.buffer(0.5))
    shape = nuisance_marks.sector(unit, remedy.mask.mask, rise, reach).intersection(rooms)
    parts = [part for part in shapely.get_parts(shape) if part.geom_type == "Polygon" and not part.is_empty]
    return [
        [projection.to_paper(np.asarray(ring.coords)[:-1, :2]) for ring in (part.exterior, *part.interiors)]
        for part in parts
    ]


def _line(unit: Unit, remedy: Remedies, projection: Projection) -> Floats:
    return projection.to_paper(np.stack([unit.position[:2], np.array(remedy.effect.at[:2])]))


def _draw_disturbing(drawing: Drawing, trips: Trips, shown: _Shown) -> None:
    """A dotted double line between units that may disturb each other."""
    at = {unit.name: unit.position[:2] for unit in shown.units}
    pairs = [[at[p.units[0]], at[p.units[1]]] for p in trips.flagged if set(p.units) <= set(at)]
    drawing.lines(pairs, palette.ACCENT, 2.0, 11.0, dashes=(1.2, 2.4))
    drawing.lines(pairs, palette.PAPER, 0.7, 11.1)


def _place_marks(page: Page, projection: Projection, placer: Placer, shown: _Shown) -> list[NuisanceMark]:
    """A mark at each nuisance where there is room for it, else beside it on a leader."""
    found = []
    box = (2.5 * nuisance_marks.RADIUS, 2.6 * nuisance_marks.RADIUS)
    order = {"trips": 0, "may trip": 1, "no": 2}
    for number, source in sorted(shown.sources, key=lambda pair: order[shown.verdicts[pair[1].spec.name]]):
        spots = np.array([outline.mean(axis=0) for outline in source.outlines])
        if source.spec.line is not None:
            line = shapely.LineString(source.outlines[0])
            spots = np.array([line.interpolate(k, normalized=True).coords[0] for k in (0.5, 0.35, 0.65, 0.2, 0.8)])
        centres = projection.to_paper(spots)
        index = placer.place(box, centres, np.arange(len(centres)), most=60.0)
        if index is not None:
            centre = centres[index]
        else:
            placed = placer.near(centres[0], box, (1.0, 2.5, 4.5, 7.0, 10.0), leader_from=0.5)
            if placed is None:
                continue
            centre = np.array(placed.centre)
            page.lines([[centre, centres[0]]], palette.PAPER, 1.5, 14.0, alpha=0.8)
            page.lines([[centre, centres[0]]], palette.INK, 0.5, 14.1)
        spec = source.spec
        found.append(NuisanceMark(centre, nuisance_marks.sort_of(spec), shown.verdicts[spec.name], number))
    return found


def _draw_column(page: Page, trips: Trips, shown: _Shown, sorts: tuple[glyphs.Sort, ...]) -> None:
    left, right = sheet.COLUMN, sheet.RIGHT
    width = right - left
    here = [shown.verdicts[source.spec.name] for _, source in shown.sources]
    n, n_trip, n_may = len(here), here.count("trips"), here.count("may trip")
    beside = (f"of {n} nuisance{'s' * (n != 1)} trip{'s' * (n_trip == 1)} a unit,", f"{n_may or 'none'} more may")
    sheet.draw_headline(page, str(n_trip), beside)
    page.rule(left, right, 191.7, 1.1)
    key_height = _KEY * (len(sorts) + 3) + _MARK_ROW * 3 + 1.5
    foot = sheet.COLUMN_FOOT + key_height
    y = tables.draw_table(page, _names(page, trips, shown, width), left, 187.0, right)
    pairs = _pair_table(page, trips, shown, width)
    # The plan draws who disturbs whom, so that table comes before the last of those that trip, which are in trips.json.
    kept = 0.0 if pairs is None else pairs.height
    made = _trip_table(page, shown, width, y - foot - kept) or _trip_table(page, shown, width, y - foot)
    if made is not None:
        y = tables.draw_table(page, made, left, y, right)
    if pairs is not None and pairs.height <= y - foot:
        tables.draw_table(page, pairs, left, y, right)
    _draw_key(page, sorts, foot)


def _names(page: Page, trips: Trips, shown: _Shown, width: float) -> tables.Table:
    """Every nuisance by its number; why it trips nobody where it does not."""
    why = {spec.name: effect for spec, effect in nearest_miss(trips)}
    rows = []
    names = [clean(source.spec.name) for _, source in (*shown.sources, *shown.elsewhere)]
    longest = max(page.lettering.extent(text, "bold", 6.5).width for text in ("Nuisance", *names))
    room = max(width - _NAME_AT - longest - 2.0, _VERDICT)  # names get what verdicts do not need, and the other way
    for number, source in shown.sources[:16]:
        name = source.spec.name
        said = shown.verdicts[name]
        if said == "no":
            effect = why.get(name)
            said = reason(effect).split(":")[0] if effect is not None else "no unit for it"  # type: ignore[assignment]
        title = page.lettering.fit(named(name), "sans", 6.5, width - _NAME_AT - room - 0.4)
        verdict = page.lettering.wrap(clean(said), "sans", 6.0, room, 2)
        rows.append(tables.Row((number, title, verdict[0]), tuple(verdict[1:])))
    rest = len(shown.sources) - len(rows)
    for number, source in shown.elsewhere[: max(16 - len(rows), 0)]:
        title = page.lettering.fit(named(source.spec.name), "sans", 6.5, width - _NAME_AT - room - 0.4)
        rows.append(tables.Row((number, title, "other storey")))
    note = f"{rest} more" if rest > 0 else "" if rows else "No nuisances are listed."
    places = ((0.0, "left"), (_NAME_AT, "left"), (width - room, "left"))
    return tables.Table(("", "Nuisance", "verdict"), places, tuple(rows), note, pale_last=True)


def _trip_table(page: Page, shown: _Shown, width: float, height: float) -> tables.Table | None:
    """Who trips whom and what stops it at least cost, as many as there is room for, the worst first."""
    numbers = {source.spec.name: number for number, source in (*shown.sources, *shown.elsewhere)}
    places = ((0.0, "left"), (5.0, "left"), (22.0, "right"), (24.0, "left"))
    rows: list[tables.Row] = []
    for remedy in shown.remedies:
        effect = remedy.effect
        lines = page.lettering.wrap(clean(_short(remedy)), "sans", 6.0, width - 24.0, 2)
        if lines[-1].endswith("…"):
            lines = page.lettering.wrap(clean(_short(remedy)), "sans", 6.0, width - 24.0, 3)
        unit = page.lettering.fit(named(effect.unit), "sans", 6.5, 9.0)
        cells = (numbers.get(effect.nuisance, "–"), unit, margin_words(effect.margin_db).removesuffix(" dB"), lines[0])
        rows.append(tables.Row(cells, tuple(lines[1:])))
    if not rows:
        return None
    for n in range(len(rows), 0, -1):
        note = f"{len(rows) - n} more in trips.json" if n < len(rows) else ""
        made = tables.Table(("", "Unit", "dB", "stopped by"), places, tuple(rows[:n]), note, pale_last=True)
        if made.height <= height:
            return made
    return None


def _short(remedy: Remedies) -> str:
    """What stops it, in few words."""
    if remedy.best == "mask":
        mask = remedy.mask.mask
        turn = "all round" if mask.span_deg >= 360 else f"{mask.from_deg:.0f}°–{mask.to_deg % 360:.0f}°"
        cost = remedy.mask.cost
        lost = "" if cost is None or cost.lost_m2 < 5e-3 else f", {percent(cost.share)} lost"
        return f"mask {turn}{lost}"
    return best_words(replace(remedy)).split(" (")[0]


def _pair_table(page: Page, trips: Trips, shown: _Shown, width: float) -> tables.Table | None:
    names = {unit.name for unit in shown.units}
    rows = [
        tables.Row((page.said(" and ".join(p.units)), f"{p.distance_m:.1f}", f"{p.clear_m:.1f}"))
        for p in trips.flagged
        if set(p.units) <= names
    ][:6]
    if not rows:
        return None
    heads = ("Disturb each other", "m apart", "clear from")
    places = ((0.0, "left"), (width - 14.5, "right"), (width, "right"))
    return tables.Table(heads, places, tuple(rows), "rule of thumb, one band")


def _draw_key(page: Page, sorts: tuple[glyphs.Sort, ...], top: float) -> None:
    left, right = sheet.COLUMN, sheet.RIGHT
    page.rule(left, right, top, 0.5)
    y = top - 5.2
    columns = (left + 2.0, left + 26.5)
    for k, (sort, text) in enumerate(
        (("moves", "moves"), ("hot", "hot or cold"), ("moves and hot", "both"), ("people", "people"))
    ):
        x, row = columns[k % 2], y - _MARK_ROW * (k // 2)
        nuisance_marks.draw_marks(page, [NuisanceMark(np.array([x, row + 0.8]), sort, "may trip", "")])  # type: ignore[arg-type]
        page.text(x + 4.5, row, text, 6.5)
    y -= 2 * _MARK_ROW
    free = left
    for least, verdict, text in ((2.0, "trips", "trips"), (18.0, "may trip", "may"), (32.0, "no", "does not")):
        x = max(left + least, free + 3.4)  # a longer word than the English one pushes the others on
        nuisance_marks.draw_marks(page, [NuisanceMark(np.array([x, y + 0.8]), "moves", verdict, "1")])  # type: ignore[arg-type]
        free = x + 3.6 + page.text(x + 3.6, y, text, 6.5).width
    y -= _MARK_ROW
    box = np.array([(left, y - 0.4), (left + 4.6, y - 0.4), (left + 4.6, y + 2.0), (left, y + 2.0)])
    nuisance_marks.draw_sectors(page, [[box]], (left, y - 2, right, y + 4))
    page.text(left + 6.5, y, "mask that stops it, at its height", 6.5)
    y -= _KEY
    for x, verdict, text in ((left, "trips", "trips"), (left + 24.5, "may trip", "may trip")):
        line = np.array([[x, y + 0.8], [x + 4.6, y + 0.8]])
        nuisance_marks.draw_sight(page, [(line, verdict)], (left, y - 2, right, y + 4))  # type: ignore[list-item]
        page.text(x + 6.5, y, text, 6.5)
    y -= _KEY
    page.lines([[(left, y + 0.8), (left + 4.6, y + 0.8)]], palette.ACCENT, 2.0, 25.0, dashes=(1.2, 2.4))
    page.lines([[(left, y + 0.8), (left + 4.6, y + 0.8)]], palette.PAPER, 0.7, 25.1)
    page.text(left + 6.5, y, "units that may disturb each other", 6.5)
    y -= _KEY
    for sort in sorts:
        glyphs.draw_marks(page, [glyphs.Mark(sort, np.array([left + 1.9, y + 0.8]), 0.0)])
        page.text(left + 6.5, y, glyphs.WORDS[sort], 6.5)
        y -= _KEY


def _draw_surround(
    page: Page,
    scene: Scene,
    trips: Trips,
    projection: Projection,
    storey: StoreyShape | None,
    sheet_number: tuple[int, int],
) -> None:
    where = f", {storey.name}" if storey is not None else ""
    state = "".join(f" · {name}" for name in state_shown(scene))
    subtitle = f"What may trip units though nobody is there{where}, air at {trips.air}{state}"
    draw_surround(
        page,
        scene,
        projection,
        subtitle=subtitle,
        drawing=", ".join([f"False trips{where}", *state_shown(scene)]),
        conditions=f"{trips.air} · reserve {trips.reserve_db:g} dB",
        number=sheet_number,
    )
