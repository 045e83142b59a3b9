"""A coverage plan: one plane's map on one sheet, with the building, the detectors, the figures and the causes."""

from __future__ import annotations

from collections.abc import Sequence, Set
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.building.parts import Building
from raycover.coverage import Coverage, PlaneCoverage
from raycover.detectors import Unit
from raycover.draw import footprints, glyphs, hatching, palette, sheet, storey_marks, tables, words
from raycover.draw.annotate import Annotator
from raycover.draw.drawing import Drawing, Strokes
from raycover.draw.labels import Placer
from raycover.draw.legend import distribution, draw_legend
from raycover.draw.linework import draw_building
from raycover.draw.mapping import PaperMap, paper_map
from raycover.draw.page import A4_LANDSCAPE, Page
from raycover.draw.people import draw_seats
from raycover.draw.png import save_png
from raycover.draw.projection import Box, Projection
from raycover.draw.storeys import shown_storey, top_of_shown, units_by_storey
from raycover.draw.underlaid import under_map
from raycover.scene.schema import Scene
from raycover.seats import SeatView
from raycover.underlay import Underlay, read_underlay

Floats = NDArray[np.float64]
DPI = 200
#: Rows that the tables of rooms and gaps may take at most.
_MOST_ROOMS, _MOST_GAPS = 9, 18


def draw_plan(
    scene: Scene,
    building: Building,
    coverage: Coverage,
    plane_name: str,
    path: str | Path,
    *,
    sheet: tuple[int, int] = (1, 4),
    dpi: float = DPI,
) -> None:
    """Save the plan of one plane as a PNG, A4 landscape. The file appears whole or not at all.

    The scene gives words only (title, revision, date, north, what a plane is). Raises KeyError for a plane that
    the coverage has not, OSError where the file cannot be written.
    """
    page = make_plan(scene, building, coverage, plane_name, sheet_number=sheet, dpi=dpi)
    save_png(page.pixels(), path, dpi=dpi)


def make_plan(
    scene: Scene,
    building: Building,
    coverage: Coverage,
    plane_name: str,
    *,
    sheet_number: tuple[int, int] = (1, 4),
    dpi: float = DPI,
    size: tuple[float, float] = A4_LANDSCAPE,
    scale: int | None = None,
    vector: bool = False,
) -> Page:
    """The page that `draw_plan` saves, or one of another size (mm) and scale (its denominator), for a PDF if `vector`.

    Raises DoesNotFit where the building is too large for paper and scale.
    """
    plane = coverage[plane_name]
    shown = shown_storey(building, plane)
    outlines = outlines_of(scene, shown, plane)
    projection = Projection.fitted(bounds_of(shown, plane, outlines), sheet.frame_on(size), scale=scale)
    page = Page(dpi=dpi, size=size, vector=vector)
    body = draw_body(page, scene, building, coverage, plane, projection)
    key = replace(body.key, stairs=_stair_sheets(coverage, plane, plane_name, sheet_number) if body.key.stairs else "")
    several = len(building.storeys) > 1
    stacked = frozenset(room.name for room in building.rooms) if several else frozenset()
    listed = draw_column(page, plane, coverage, key, stacked)
    sheet.draw_left_out(page, *annotate(scene, body, plane, listed))
    where = f"{plane.surface.storey} ({words.level(shown.ground)} m)" if plane.surface.storey is not None else ""
    draw_surround(page, scene, shown, coverage, plane, projection, sheet_number, where)
    return page


@dataclass(frozen=True)
class Body:
    """A plan drawn within its neat line but for its words, and what they need to find their places.

    `key` says what was drawn; `shown` is the storey, which ends at `top_m`; `outlines` (shapely, m) what the map
    lies in.
    """

    page: Page
    projection: Projection
    shown: Building
    outlines: list[Any]
    picture: PaperMap
    placer: Placer
    strokes: Strokes
    seated: list[Box]
    units: list[Unit]
    centres: Floats
    factor: float
    others: list[Unit]
    other_centres: Floats
    rings: NDArray[np.bool_]
    top_m: float
    key: sheet.Key


def draw_body(
    page: Page, scene: Scene, building: Building, coverage: Coverage, plane: PlaneCoverage, projection: Projection
) -> Body:
    """Draw the map, the building, the people and the detectors; words come after (`annotate`)."""
    shown = shown_storey(building, plane)
    outlines = outlines_of(scene, shown, plane)
    strokes = Strokes()
    drawing = Drawing(page, projection, strokes)
    placer = Placer(projection.frame)
    underlay = read_underlay(scene)
    if underlay is not None and not underlay.shows_on(plane.surface.storey):
        underlay = None
    # Large paper is mostly white: the map's picture need not be.
    bounds = bounds_of(shown, plane, outlines)
    mapped = projection.cropped(bounds) if page.vector and underlay is None else projection
    picture = paper_map(plane.surface, plane.margin_db, plane.reserve_db, outlines, mapped, dpi=page.dpi)
    has_limit = draw_map(page, picture, strokes, mapped, underlay)
    draw_building(drawing, shown, plane.surface)
    has_voids = storey_marks.draw_voids(drawing, shown)
    seats = _seats_on(coverage, building, plane)
    seated = draw_seats(drawing, seats)
    cuts = storey_marks.cut_stairs(shown, top_of_shown(building, shown))
    mine, others = units_by_storey(building, shown, plane, coverage.units)
    units, centres = shown_units(mine, projection)
    factor = glyphs.size_factor(centres)
    marks = [glyphs.mark_of(unit, centre) for unit, centre in zip(units, centres, strict=True)]
    for mark in marks:
        keep_off(placer, mark, factor)
    has_stairs = storey_marks.draw_stairs(drawing, cuts, placer)
    declared = _footprints(units, shown, plane, outlines, projection)
    glyphs.draw_footprints(page, declared, projection.frame)  # type: ignore[arg-type]
    strokes.add(declared, 1.0)
    others, other_centres = shown_units(others, projection)
    rings = storey_marks.draw_others(page, other_centres, centres)
    glyphs.draw_marks(page, marks, factor)
    sorts = tuple(s for s in glyphs.WORDS if any(m.sort == s for m in marks))
    masked = any(m.masks for m in marks)
    stairs = "stair" if has_stairs else ""
    key = sheet.Key(sorts, bool(declared), has_limit, masked, bool(seats), bool(others), has_voids, stairs)
    return Body(
        page, projection, shown, outlines, picture, placer, strokes, list(seated), units, centres, factor, others,
        other_centres, rings, top_of_shown(building, shown), key,
    )  # fmt: skip


def annotate(scene: Scene, body: Body, plane: PlaneCoverage, n_gaps: int) -> tuple[int, int]:
    """Write letters of the first `n_gaps` gaps, tags and names on a plan; how many tags and names had no room."""
    shown, placer = body.shown, body.placer
    placer.note_strokes(body.strokes.lines)
    for box in body.seated:
        placer.take(box)
    for centre in body.other_centres[body.rings]:
        placer.take((*(centre - 1.4), *(centre + 1.4)))
    annotator = Annotator(body.page, body.projection, placer, body.picture)
    gaps = plane.gaps[:n_gaps]
    annotator.gap_marks(plane.surface, plane.gap, gaps, tables.letters(n_gaps))
    n_tags, n_names = annotator.tags(body.units, body.centres, body.factor), 0
    above = [unit.position[2] > body.top_m - 0.02 for unit in body.others]
    tags = [f"{unit.name} {'↑' if up else '↓'}" for unit, up in zip(body.others, above, strict=True)]
    annotator.other_tags(tags, body.other_centres)
    if extent_of(scene, plane) is None:
        figures = plane.rooms()
        n_names = annotator.room_names(body.outlines, list(figures), [area for area, _, _ in figures.values()])
    annotator.rack_names(shown)
    annotator.thing_names(shown, [*(s.name for s in shown.stairs), *(g.blocked_by for g in gaps if g.blocked_by)])
    annotator.wide_doors(shown)
    return n_tags, n_names


def _seats_on(coverage: Coverage, building: Building, plane: PlaneCoverage) -> list[SeatView]:
    """People seated on the storey that a plane maps; none on an unrolled stair."""
    if plane.surface.stairs is not None:
        return []
    if plane.surface.storey is None:
        return list(coverage.seats)
    homes = [building.room_at(*seat.at) for seat in coverage.seats]
    names = set(plane.surface.room_names)
    return [seat for seat, home in zip(coverage.seats, homes, strict=True) if home is not None and home.name in names]


def state_shown(scene: Scene) -> tuple[str, ...]:
    """The state that a drawing names: none where the scene has only one."""
    return (scene.state,) if scene.states else ()


def _stair_sheets(coverage: Coverage, plane: PlaneCoverage, name: str, sheet_number: tuple[int, int]) -> str:
    """Which sheets map the stairs that a plan shows."""
    names = list(coverage)
    here = names.index(name)
    numbers = [
        str(sheet_number[0] + index - here)
        for index, other in enumerate(names)
        if coverage[other].surface.stairs is not None and coverage[other].surface.plane == plane.surface.plane
    ]
    return f"stair, mapped on sheet{'s' * (len(numbers) > 1)} {', '.join(numbers)}" if numbers else "stair"


def extent_of(scene: Scene, plane: PlaneCoverage) -> Box | None:
    """The oblong that a plane was given instead of the rooms."""
    return next((spec.extent for spec in scene.planes if spec.name == plane.surface.plane), None)


def outlines_of(scene: Scene, building: Building, plane: PlaneCoverage) -> list[Any]:
    """Outlines (shapely, m) of what the plane's map lies in, as its surface numbers them."""
    extent = extent_of(scene, plane)
    return [room.walkable for room in building.rooms] if extent is None else [shapely.box(*extent)]


def bounds_of(building: Building, plane: PlaneCoverage, outlines: list[Any]) -> Box:
    """What the drawing shows (m): the map, and the building about it where the map is that of its rooms."""
    bounds = np.array([outline.bounds for outline in outlines])
    low, high = bounds[:, :2].min(axis=0), bounds[:, 2:].max(axis=0)
    if len(outlines) == len(building.rooms) and plane.surface.room_names != ("extent",):
        low, high = np.minimum(low, building.bounds[0, :2]), np.maximum(high, building.bounds[1, :2])
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def draw_map(
    page: Page, picture: PaperMap, strokes: Strokes, projection: Projection, underlay: Underlay | None
) -> bool:
    """Colours, hatches and limit line; whether there is a limit line."""
    page.image(under_map(picture, underlay, projection), picture.box, 1.0)
    for index, spacing in ((palette.NOT_SEEN, hatching.NOT_SEEN_MM), (palette.DOUBTFUL, hatching.DOUBTFUL_MM)):
        lines = hatching.hatch_lines(picture.classes == index, picture.box, spacing)
        page.lines(lines, palette.PAPER, hatching.WIDTH_PT, 2.0, alpha=hatching.OPACITY, clip=picture.box)
    limit = picture.limit_lines()
    page.lines(limit, palette.INK, 0.7, 3.0, clip=picture.box)
    strokes.add(limit, 0.8)
    return bool(limit)


def shown_units(units: Sequence[Unit], projection: Projection) -> tuple[list[Unit], Floats]:
    """The detectors within the frame, and their places on paper (n, 2)."""
    if not units:
        return [], np.zeros((0, 2))
    centres = projection.to_paper([unit.position[:2] for unit in units])
    x0, y0, x1, y1 = projection.frame
    edge = glyphs.RING + glyphs.COLLAR
    shown = np.all((centres > [x0 + edge, y0 + edge]) & (centres < [x1 - edge, y1 - edge]), axis=1).reshape(-1)
    return [unit for unit, ok in zip(units, shown, strict=True) if ok], centres[shown]


def _footprints(
    units: list[Unit], building: Building, plane: PlaneCoverage, outlines: list[Any], projection: Projection
) -> list[Floats]:
    """Declared footprints on paper, each clipped to the room that its detector hangs in."""
    lines: list[Floats] = []
    low = min(plane.surface.heights)
    everywhere = shapely.union_all(outlines)
    for unit in units:
        x, y, z = (float(v) for v in unit.position)
        room = building.room_at(x, y, z) or building.room_at(x, y)
        floor = room.floor if room is not None else building.ground
        outline = footprints.outline(unit, plane.surface.motion, floor + low)
        if outline is not None:
            limits = everywhere if room is None else room.polygon
            lines += [projection.to_paper(part) for part in footprints.within(outline, limits)]
    return footprints.without_doubles(lines)


def keep_off(placer: Placer, mark: glyphs.Mark, factor: float) -> None:
    """Keep text off a detector's mark, its tick and its masks."""
    reach = (glyphs.RING + glyphs.COLLAR) * factor
    x, y = (float(v) for v in mark.centre)
    placer.take((x - reach, y - reach, x + reach, y + reach))
    angle = np.radians(mark.azimuth_deg)
    tip = mark.centre + np.array([np.cos(angle), np.sin(angle)]) * (glyphs.RING + glyphs.TICK) * factor
    placer.take((min(x, tip[0]) - 0.2, min(y, tip[1]) - 0.2, max(x, tip[0]) + 0.2, max(y, tip[1]) + 0.2))
    for start, end in mark.masks:
        middle = np.radians((start + end) / 2)
        out = mark.centre + np.array([np.cos(middle), np.sin(middle)]) * 2.8 * factor
        placer.take((out[0] - 1.0, out[1] - 1.0, out[0] + 1.0, out[1] + 1.0))


def draw_column(
    page: Page,
    plane: PlaneCoverage,
    coverage: Coverage,
    key: sheet.Key,
    stacked: Set[str] = frozenset(),
    parts: tables.Table | None = None,
) -> int:
    """Headline, legend, tables and key; how many gaps the table lists. `parts` stands in for the table of rooms."""
    found = distribution(plane.margin_db, np.asarray(plane.surface.area, np.float64), plane.reserve_db)
    beside = words.headline(plane.surface, plane.assured_share, len(coverage.units))
    upper, lower = page.moved(page.wider, page.taller), page.moved(page.wider, 0.0)
    sheet.draw_headline(upper, words.percent(plane.share), beside)
    sheet.draw_class_bar(upper, found.by_class.tolist())
    what = words.mapped(plane.surface)
    draw_legend(upper, sheet.COLUMN, sheet.LEGEND_FOOT, sheet.RIGHT, found, plane.reserve_db, what)
    width = sheet.RIGHT - sheet.COLUMN
    space = sheet.COLUMN_TOP - sheet.COLUMN_FOOT + page.taller - key.height
    # Taller paper has room for longer tables.
    more = 1 + page.taller / (sheet.COLUMN_TOP - sheet.COLUMN_FOOT)
    rooms = tables.room_table(plane, page.lettering, width, round(_MOST_ROOMS * more)) if parts is None else parts
    gaps = tables.gap_table(plane, page.lettering, width, space - rooms.height, round(_MOST_GAPS * more), stacked)
    y = tables.draw_table(upper, rooms, sheet.COLUMN, sheet.COLUMN_TOP, sheet.RIGHT)
    tables.draw_table(upper, gaps, sheet.COLUMN, y, sheet.RIGHT)
    sheet.draw_key(lower, key)
    return len(gaps.rows)


def draw_surround(
    page: Page,
    scene: Scene,
    building: Building,
    coverage: Coverage,
    plane: PlaneCoverage,
    projection: Projection,
    sheet_number: tuple[int, int],
    where: str = "",
) -> None:
    """Title, neat line, scale, north and title block; `where` names the storey of several, with its level."""
    sheet.draw_frame(page, projection)
    sheet.draw_north(page.moved(page.wider, page.taller), scene.north_deg)
    surface = plane.surface
    drawing = f"Coverage plan, {surface.plane}, {where}" if where else f"Coverage plan, {surface.name}"
    draw_words(page, scene, building, coverage, plane, projection, sheet_number, drawing, where)


def draw_words(
    page: Page,
    scene: Scene,
    building: Building,
    coverage: Coverage,
    plane: PlaneCoverage,
    projection: Projection,
    sheet_number: tuple[int, int],
    drawing: str,
    where: str,
) -> None:
    """Title, scale bar and title block; `drawing` is what the sheet is called."""
    subtitle = words.subtitle(plane.surface, coverage.ambient_c, state_shown(scene), where)
    sheet.draw_title(page.moved(0.0, page.taller), scene.title, subtitle)
    sheet.draw_scale_bar(page.moved(page.wider, page.taller), projection)
    sheet.draw_title_block(
        page,
        sheet.TitleBlock(
            project=scene.title,
            drawing=", ".join([drawing, *state_shown(scene)]),
            conditions=words.conditions(coverage, building),
            scale=f"1 : {projection.scale}",
            date=scene.date if scene.date is not None else words.today(),
            revision=scene.revision,
            sheet=f"{sheet_number[0]} of {sheet_number[1]}",
        ),
    )
