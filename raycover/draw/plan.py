"""A coverage plan: one plane's map on one sheet, with the building, the detectors, the figures and the causes."""

from __future__ import annotations

from collections.abc import Set
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.building.parts import Building
from raycover.detectors import Unit
from raycover.draw import footprints, glyphs, sheet, storey_marks, tables, words
from raycover.draw.legend import distribution, draw_legend
from raycover.draw.lettering import ENGLISH, Wording
from raycover.draw.mapping import PaperMap, paper_map
from raycover.draw.page import A4_LANDSCAPE, Page
from raycover.draw.people import draw_seats
from raycover.draw.plan_page import Marked, PlanPage, draw_layers, shown_units, write_tags
from raycover.draw.png import save_png
from raycover.draw.projection import Box, Projection
from raycover.draw.section_marks import draw_section_marks
from raycover.draw.storeys import shown_storey, top_of_shown, units_by_storey
from raycover.draw.title_block import draw_block, state_shown
from raycover.draw.underlaid import under_map
from raycover.kit.aisle_words import ALONG_AISLES, maps_along_aisles
from raycover.scene.air import own_air
from raycover.scene.schema import Scene
from raycover.shares import percent
from raycover.solving.coverage import Coverage, PlaneCoverage
from raycover.solving.seats import SeatView
from raycover.underlay import read_underlay

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
    wording: Wording = ENGLISH,
) -> None:
    """Save the plan of one plane as a PNG, A4 landscape. The file appears whole or not at all.

    The scene gives words only (title, revision, date, north, what a plane is). Raises KeyError for a plane that
    the coverage has not, OSError where the file cannot be written.
    """
    page = make_plan(scene, building, coverage, plane_name, sheet_number=sheet, dpi=dpi, wording=wording)
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
    wording: Wording = ENGLISH,
) -> Page:
    """The page that `draw_plan` saves, or one of another size (mm) and scale (its denominator), for a PDF if `vector`.

    Raises DoesNotFit where the building is too large for paper and scale.
    """
    plane = coverage[plane_name]
    shown = shown_storey(building, plane)
    outlines = outlines_of(scene, shown, plane)
    projection = Projection.fitted(bounds_of(shown, plane, outlines), sheet.frame_on(size), scale=scale)
    page = Page(dpi=dpi, size=size, vector=vector, wording=wording)
    body = draw_body(page, scene, building, coverage, plane, projection)
    key = replace(body.key, stairs=_stair_sheets(coverage, plane, plane_name, sheet_number) if body.key.stairs else "")
    several = len(building.storeys) > 1
    stacked = frozenset(room.name for room in building.rooms) if several else frozenset()
    marked = body.marked
    dots = tables.detector_table(marked.units, page.lettering, sheet.RIGHT - sheet.COLUMN) if marked.dots else None
    listed = draw_column(page, plane, coverage, key, stacked, dots=dots)
    note = ALONG_AISLES if plane_name in maps_along_aisles(coverage) else ""
    sheet.draw_left_out(page, *annotate(scene, body, plane, listed), note)
    where = f"{plane.surface.storey} ({words.level(shown.ground)} m)" if plane.surface.storey is not None else ""
    draw_surround(page, scene, shown, coverage, plane, projection, sheet_number, where)
    return page


@dataclass(frozen=True)
class Body:
    """A plan drawn within its neat line but for its words, and what they need to find their places.

    `key` says what was drawn; `shown` is the storey, which ends at `top_m`; `outlines` (shapely, m) what the map
    lies in; `others` detectors of other storeys, drawn at `other_centres` (n, 2) mm where `rings` (n,).
    """

    sketch: PlanPage
    shown: Building
    outlines: list[Any]
    picture: PaperMap
    seated: list[Box]
    marked: Marked
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
    sketch = PlanPage.on(page, projection)
    strokes = sketch.strokes
    underlay = read_underlay(scene)
    if underlay is not None and not underlay.shows_on(plane.surface.storey):
        underlay = None
    # Large paper is mostly white: the map's picture need not be.
    bounds = bounds_of(shown, plane, outlines)
    mapped = projection.cropped(bounds) if page.vector and underlay is None else projection
    picture = paper_map(plane.surface, plane.margin_db, plane.reserve_db, outlines, mapped, dpi=page.dpi)
    has_limit = draw_layers(page, picture, strokes, under_map(picture, underlay, mapped))
    has_voids = sketch.draw_storey(shown, plane.surface)
    seats = _seats_on(coverage, building, plane)
    seated = draw_seats(sketch.drawing, seats)
    mine, others = units_by_storey(building, shown, plane, coverage.units)
    draw_section_marks(page, projection, scene.sections, shown, sketch.placer)
    marked = sketch.mark_units(mine)
    has_stairs = sketch.draw_stairs(building, shown)
    declared = [] if marked.dots else _footprints(marked.units, shown, plane, outlines, projection)
    glyphs.draw_footprints(page, declared, projection.frame)  # type: ignore[arg-type]
    strokes.add(declared, 1.0)
    others, other_centres = shown_units(others, projection)
    rings = storey_marks.draw_others(page, other_centres, marked.centres)
    stairs = "stair" if has_stairs else ""
    key = sheet.Key(
        marked.sorts, bool(declared), has_limit, marked.masked, bool(seats), bool(others), has_voids, stairs
    )  # fmt: skip
    return Body(
        sketch, shown, outlines, picture, list(seated), marked, others, other_centres, rings,
        top_of_shown(building, shown), key,
    )  # fmt: skip


def annotate(scene: Scene, body: Body, plane: PlaneCoverage, n_gaps: int) -> tuple[int, int]:
    """Write letters of the first `n_gaps` gaps, tags and names on a plan; how many tags and names had no room."""
    shown, marked, placer = body.shown, body.marked, body.sketch.placer
    for box in body.seated:
        placer.take(box)
    for centre in body.other_centres[body.rings]:
        placer.take((*(centre - 1.4), *(centre + 1.4)))
    annotator = body.sketch.annotator(body.picture)
    gaps = plane.gaps[:n_gaps]
    annotator.gap_marks(plane.surface, plane.gap, gaps, tables.letters(n_gaps))
    n_tags, n_names = write_tags(annotator, marked), 0
    above = [unit.position[2] > body.top_m - 0.02 for unit in body.others]
    tags = [f"{unit.name} {'↑' if up else '↓'}" for unit, up in zip(body.others, above, strict=True)]
    annotator.other_tags(tags, body.other_centres)
    rooms = named_rooms(scene, plane, body.outlines)
    if rooms is not None:
        n_names = annotator.room_names(*rooms, own_air(scene))
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


def named_rooms(
    scene: Scene, plane: PlaneCoverage, outlines: list[Any]
) -> tuple[list[Any], list[str], list[float]] | None:
    """Outlines, names and areas (m²) of the rooms that a plan names: none where the map is that of an oblong."""
    if extent_of(scene, plane) is not None:
        return None
    figures = plane.rooms()
    return outlines, list(figures), [area for area, _, _ in figures.values()]


def bounds_of(building: Building, plane: PlaneCoverage, outlines: list[Any]) -> Box:
    """What the drawing shows (m): the map, and the building about it where the map is that of its rooms."""
    bounds = np.array([outline.bounds for outline in outlines])
    low, high = bounds[:, :2].min(axis=0), bounds[:, 2:].max(axis=0)
    if len(outlines) == len(building.rooms) and plane.surface.room_names != ("extent",):
        low, high = np.minimum(low, building.bounds[0, :2]), np.maximum(high, building.bounds[1, :2])
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


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


def draw_column(
    page: Page,
    plane: PlaneCoverage,
    coverage: Coverage,
    key: sheet.Key,
    stacked: Set[str] = frozenset(),
    parts: tables.Table | None = None,
    dots: tables.Table | None = None,
) -> int:
    """Headline, legend, tables and key; how many gaps the table lists.

    `parts` stands in for the table of rooms; `dots` says which detectors the dots are.
    """
    found = distribution(plane.margin_db, np.asarray(plane.surface.area, np.float64), plane.reserve_db)
    beside = words.headline(plane.surface, plane.assured_share, len(coverage.units))
    upper, lower = page.moved(page.wider, page.taller), page.moved(page.wider, 0.0)
    sheet.draw_headline(upper, percent(plane.share), beside)
    sheet.draw_class_bar(upper, found.by_class.tolist())
    what = words.mapped(plane.surface)
    draw_legend(upper, sheet.COLUMN, sheet.LEGEND_FOOT, sheet.RIGHT, found, plane.reserve_db, what)
    width = sheet.RIGHT - sheet.COLUMN
    space = sheet.COLUMN_TOP - sheet.COLUMN_FOOT + page.taller - key.height
    # Taller paper has room for longer tables.
    more = 1 + page.taller / (sheet.COLUMN_TOP - sheet.COLUMN_FOOT)
    rooms = tables.room_table(plane, page.lettering, width, round(_MOST_ROOMS * more)) if parts is None else parts
    space -= dots.height if dots is not None else 0.0
    gaps = tables.gap_table(plane, page.lettering, width, space - rooms.height, round(_MOST_GAPS * more), stacked)
    y = tables.draw_table(upper, rooms, sheet.COLUMN, sheet.COLUMN_TOP, sheet.RIGHT)
    y = tables.draw_table(upper, gaps, sheet.COLUMN, y, sheet.RIGHT)
    if dots is not None:
        tables.draw_table(upper, dots, sheet.COLUMN, y, sheet.RIGHT)
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
    subtitle = words.subtitle(plane.surface, coverage.air, state_shown(scene), where)
    sheet.draw_title(page.moved(0.0, page.taller), scene.title, subtitle)
    sheet.draw_scale_bar(page.moved(page.wider, page.taller), projection)
    draw_block(
        page,
        scene,
        drawing=", ".join([drawing, *state_shown(scene)]),
        conditions=words.conditions(coverage, building),
        scale=projection.scale,
        number=sheet_number,
    )
