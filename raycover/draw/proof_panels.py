"""The drawn part of a proof: a storey's plan or an unrolled stair with every place marked met or missed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.building.parts import Building, StairShape
from raycover.detectors import Unit
from raycover.draw import glyphs, palette, storey_marks
from raycover.draw.annotate import Annotator
from raycover.draw.drawing import Strokes
from raycover.draw.labels import Placer
from raycover.draw.lettering import clean, named
from raycover.draw.mapping import PaperMap, paper_map
from raycover.draw.page import Box, Page
from raycover.draw.plan_page import PlanPage, draw_layers, shown_units, write_tags
from raycover.draw.projection import Projection
from raycover.draw.proof_marks import RADIUS, SMALL, draw_area, draw_never, draw_sight, draw_spot, draw_verdict
from raycover.draw.stair_key import draw_section, units_about
from raycover.draw.stair_sheet import draw_marks_on, draw_run
from raycover.draw.storeys import shown_storey, units_by_storey
from raycover.draw.unrolled import Unrolled, lay_out, places_of, run_map
from raycover.proving.needs import NeedVerdict, PlaceVerdict
from raycover.proving.sites import Site
from raycover.solving.coverage import Coverage, PlaneCoverage

Floats = NDArray[np.float64]
_NAME_PT = 7.0
#: On a small plan a unit nearer to its edge than this (mm) is left out.
_EDGE = 4.0
#: Kinds of places that no wall or panel shows: their outline is drawn, of a door the ways in.
OUTLINED = ("area", "aisle", "zone", "door", "way")


@dataclass(frozen=True)
class Shown:
    """A place on a panel, with the need it is of."""

    verdict: NeedVerdict
    place: PlaceVerdict

    @property
    def name(self) -> str:
        return self.place.site.name


def plan_bounds(building: Building, plane: PlaneCoverage, shown: Sequence[Shown]) -> Box:
    """What a storey's panel must show (m): its rooms, and the places judged beyond them."""
    storey = shown_storey(building, plane)
    outlines = [room.polygon for room in storey.rooms] + [one.place.site.outline for one in shown]
    x0, y0, x1, y1 = shapely.total_bounds(np.array(outlines, object))
    return float(x0) - 0.15, float(y0) - 0.15, float(x1) + 0.15, float(y1) + 0.15


def draw_plan_panel(
    page: Page,
    building: Building,
    coverage: Coverage,
    plane: PlaneCoverage,
    shown: Sequence[Shown],
    projection: Projection,
    *,
    dpi: float,
    names: bool = True,
) -> tuple[glyphs.Sort, ...]:
    """A storey with its map, the places and their marks; the sorts of units drawn.

    Without `names`, for a small plan: those of rooms and places are left out, stairs, and units at its very edge.
    Places that lie wholly beyond the frame, as on a small plan of one room, are not drawn.
    """
    storey = shown_storey(building, plane)
    shown = _within(shown, projection)
    sketch = PlanPage.on(page, projection)
    strokes, placer = sketch.strokes, sketch.placer
    picture = _draw_maps(page, storey, plane, shown, projection, strokes, dpi=dpi)
    sketch.draw_storey(storey, plane.surface)
    mine, others = units_by_storey(building, storey, plane, coverage.units)
    if not names:
        mine = _well_inside(mine, projection)
    marked = sketch.mark_units(mine)
    if names:
        sketch.draw_stairs(building, storey)
    _, other_centres = shown_units(others, projection)
    pale = storey_marks.draw_others(page, other_centres, marked.centres)
    for centre in other_centres[pale]:
        placer.take((*(centre - 1.4), *(centre + 1.4)))
    # A place that several needs are about is drawn once: as an area that must be seen if any asks that.
    for one in {one.name: one for one in sorted(shown, key=lambda one: not one.verdict.need.never)}.values():
        if one.verdict.need.never or one.place.site.kind in OUTLINED:
            rings = [ring for part in shapely.get_parts(one.place.site.outline) for ring in _rings(part, projection)]
            draw = draw_never if one.verdict.need.never else draw_area
            draw(page, rings, projection.frame)
            strokes.add([np.concatenate([ring, ring[:1]]) for ring in rings], 3.0)
    _draw_ways(page, placer, strokes, coverage.units, shown, projection)
    annotator = sketch.annotator(picture)
    write_tags(annotator, marked)
    for name in dict.fromkeys(one.name for one in shown):
        same = [one for one in shown if one.name == name]
        worst = min(same, key=lambda one: one.place.met)  # missed if any need misses it
        if names and worst.place.site.kind == "seat":
            _seat_mark(page, placer, worst, _places_in(worst, projection)[0][0])
        elif names:
            _mark(page, placer, worst, _places_in(worst, projection))
        else:
            _small_mark(page, placer, worst, _places_in(worst, projection)[0])
    named = {one.name for one in shown}
    rooms = [(room.walkable, room.name) for room in storey.rooms if room.name not in named]
    if rooms and names:
        annotator.room_names([r for r, _ in rooms], [n for _, n in rooms], [float(r.area) for r, _ in rooms])
    if names:
        annotator.thing_names(storey, [one.place.site.owner for one in shown if one.place.site.kind == "seat"])
    x0, y0, x1, y1 = projection.frame
    page.areas([[[(x0, y0), (x1, y0), (x1, y1), (x0, y1)]]], 24.0, edge=palette.INK, width_pt=0.5)
    return tuple(mark.sort for mark in marked.marks)


def _within(shown: Sequence[Shown], projection: Projection) -> list[Shown]:
    """Places of which some is in the frame."""
    frame = shapely.box(*projection.frame)
    return [one for one in shown if frame.intersects(shapely.transform(_ground(one), projection.to_paper))]


def _ground(one: Shown) -> shapely.Geometry:
    """The place in plan, metres."""
    if one.place.site.kind == "way":  # where somebody stays: ways share their beginning
        return shapely.Point(one.place.site.ground[-1, :2]).buffer(0.3)
    return one.place.site.outline


def _well_inside(units: Sequence[Unit], projection: Projection) -> list[Unit]:
    """Units whose glyphs and tags have room in the frame."""
    x0, y0, x1, y1 = projection.frame
    centres = projection.to_paper(np.array([unit.position[:2] for unit in units]).reshape(-1, 2))
    fits = np.all((centres > [x0 + _EDGE, y0 + _EDGE]) & (centres < [x1 - _EDGE, y1 - _EDGE]), axis=1)
    return [unit for unit, inside in zip(units, fits, strict=True) if inside]


def _draw_maps(
    page: Page,
    storey: Building,
    plane: PlaneCoverage,
    shown: Sequence[Shown],
    projection: Projection,
    strokes: Strokes,
    *,
    dpi: float,
) -> PaperMap:
    """The map of the storey's rooms, and of what was judged beyond them."""
    outlines = [room.walkable for room in storey.rooms]
    picture = paper_map(plane.surface, plane.margin_db, plane.reserve_db, outlines, projection, dpi=dpi)
    draw_layers(page, picture, strokes)
    everywhere = shapely.union_all([room.polygon for room in storey.rooms])
    for one in shown:
        surface = one.place.site.surface
        if surface is None or "extent" not in surface.room_names:
            continue
        beyond = surface.room == surface.room_names.index("extent")
        if not beyond.any():
            continue
        margin = np.full(surface.shape, np.nan, np.float32)
        margin[one.place.site.rows, one.place.site.columns] = one.place.best_db
        only = replace(surface, room=np.where(beyond, 0, -1).astype(np.int16), inside=beyond)
        outline = one.place.site.outline.difference(everywhere)
        more = paper_map(
            only, np.where(beyond, margin, np.nan), plane.reserve_db, [outline], projection, dpi=dpi
        )  # fmt: skip
        draw_layers(page, more, strokes)
    return picture


def _rings(polygon: Any, projection: Projection) -> list[Floats]:
    return [projection.to_paper(np.asarray(r.coords)[:-1, :2]) for r in (polygon.exterior, *polygon.interiors)]


def _draw_ways(
    page: Page,
    placer: Placer,
    strokes: Strokes,
    units: Sequence[Unit],
    shown: Sequence[Shown],
    projection: Projection,
) -> None:
    """The spot that decides where a place is missed, and in every never-area; the way that trips a unit."""
    at = {unit.name: unit.position[:2] for unit in units}
    x0, y0, x1, y1 = projection.frame
    for one in shown:
        way = one.place.way
        if way is None or (one.place.met and not one.verdict.need.never) or not np.isfinite(way.margin_db):
            continue
        spot = projection.to_paper(way.at[:2])
        if not (x0 <= spot[0] <= x1 and y0 <= spot[1] <= y1):
            continue
        if one.verdict.need.never and not one.place.met:
            start = projection.to_paper(at[way.unit])
            draw_sight(page, start, spot, projection.frame)
            strokes.add([np.stack([start, spot])], 4.0)
        draw_spot(page, spot)
        placer.take((*(spot - 1.5), *(spot + 1.5)))


def _places_in(one: Shown, projection: Projection) -> tuple[Floats, Any]:
    """Places (n, 2) mm within a place, its middle first, and its outline on paper."""
    outline = shapely.transform(_ground(one), projection.to_paper)
    outline = outline.intersection(shapely.box(*projection.frame))
    middle = shapely.point_on_surface(outline) if not outline.contains(outline.centroid) else outline.centroid
    x0, y0, x1, y1 = outline.bounds
    step = max(0.8, np.sqrt((x1 - x0) * (y1 - y0) / 3000))
    xx, yy = np.meshgrid(np.arange(x0, x1 + step, step), np.arange(y0, y1 + step, step))
    grid = np.stack([xx.ravel(), yy.ravel()], axis=1)
    grid = grid[shapely.contains_xy(outline, grid)]
    return np.concatenate([[(middle.x, middle.y)], grid]), outline


def _mark(page: Page, placer: Placer, one: Shown, places: tuple[Floats, Any]) -> None:
    """A verdict's mark with its place's name under it, or beside, or the mark alone where there is no room."""
    centres, outline = places
    x0, y0, x1, y1 = outline.bounds
    if one.place.site.kind == "way":  # a name may stand beside a chair, too
        x0, y0, x1, y1 = x0 - 8.0, y0 - 4.0, x1 + 8.0, y1 + 4.0
    away = np.linalg.norm((centres - centres[0]) / np.maximum([x1 - x0, y1 - y0], 1.0), axis=1)
    name = _on_plan(one.place.site)
    extent = page.lettering.extent(name, "bold", _NAME_PT)
    disc = 2 * RADIUS + 0.6
    below = (max(extent.width + 0.6, disc), disc + extent.height + 0.5)
    beside = (extent.width + disc + 1.4, max(disc, extent.height))
    ways: tuple[tuple[tuple[float, float], bool | None, float], ...] = (
        (below, True, RADIUS),
        (beside, False, RADIUS),
        ((disc, disc), None, RADIUS),
        ((2 * SMALL + 0.6,) * 2, None, SMALL),
    )
    for size, stacked, radius in ways:
        half = np.array(size) / 2
        fits = np.all((centres - half > [x0 - 1.0, y0 - 1.0]) & (centres + half < [x1 + 1.0, y1 + 1.0]), axis=1)
        whole = stacked is not None or radius > SMALL
        some = centres[fits] if whole else centres
        costs = 8.0 * (away[fits] if whole else away)
        index = placer.place(size, some, costs)
        if index is None:
            continue
        x, y = (float(v) for v in some[index])
        if stacked is None:
            draw_verdict(page, (x, y), met=one.place.met, radius=radius)
            _name_beside(page, placer, (x, y), name, radius)
        elif stacked:
            draw_verdict(page, (x, y + size[1] / 2 - disc / 2), met=one.place.met)
            _name(page, x, y - size[1] / 2 + extent.below + 0.1, name, "center")
        else:
            draw_verdict(page, (x - size[0] / 2 + disc / 2, y), met=one.place.met)
            _name(page, x - size[0] / 2 + disc + 0.8, y - extent.height / 2 + extent.below, name, "left")
        return
    draw_verdict(page, centres[0], met=one.place.met, radius=SMALL)


def _seat_mark(page: Page, placer: Placer, one: Shown, at: Floats) -> None:
    """A small mark on a chair, the seat's number beside it where there is room; desks and tables bear the name."""
    _small_mark(page, placer, one, at[None])
    name = _on_plan(one.place.site)
    extent = page.lettering.extent(name, "bold", _NAME_PT)
    size = (extent.width + 0.4, extent.height)
    beside, over = SMALL + 0.7 + size[0] / 2, SMALL + 0.7 + size[1] / 2
    ways = at + np.array([(beside, 0.0), (-beside, 0.0), (0.0, -over), (0.0, over)])
    index = placer.place(size, ways, [0.0, 0.0, 1.0, 1.0], most=8.0)
    if index is not None:
        x, y = ways[index]
        _name(page, x, y - extent.height / 2 + extent.below, name, "center")


def _on_plan(site: Site) -> str:
    """What a place is called on a plan: its name, or a piece of a stair in the page's language."""
    return clean(site.on_plan) if site.piece >= 0 or site.kind in ("seat", "way", "door") else named(site.on_plan)


def _small_mark(page: Page, placer: Placer, one: Shown, centres: Floats) -> None:
    """A verdict's mark alone, as near to its place's middle as there is room."""
    away = np.linalg.norm(centres - centres[0], axis=1)
    index = placer.place((2 * SMALL + 0.6,) * 2, centres, away)
    draw_verdict(page, centres[0 if index is None else index], met=one.place.met, radius=SMALL)


def _name_beside(page: Page, placer: Placer, at: tuple[float, float], name: str, radius: float) -> None:
    """A name on a leader, for a place too small to hold it; left out where nothing is free: the table has it."""
    extent = page.lettering.extent(name, "bold", _NAME_PT)
    size, gaps = (extent.width + 0.6, extent.height), (radius + 0.6, radius + 2.5, 7.0, 11.0, 16.0)
    placed = placer.near(at, size, gaps, leader_from=radius + 1.5, most=40.0)
    if placed is None:
        return
    x, y = placed.centre
    if placed.leader is not None:
        page.lines([[placed.leader, at]], palette.PAPER, 1.5, 16.0, alpha=0.8)
        page.lines([[placed.leader, at]], palette.INK, 0.5, 16.1)
    _name(page, x, y - extent.height / 2 + extent.below, name, "center")


def _name(page: Page, x: float, y: float, name: str, ha: Any) -> None:
    page.text(x, y, name, _NAME_PT, font="bold", ha=ha, z=17.5, halo_pt=2.4)


def draw_stair_panel(
    page: Page,
    building: Building,
    coverage: Coverage,
    plane: PlaneCoverage,
    stairs: StairShape,
    shown: Sequence[Shown],
    boxes: tuple[Box, Box],
    *,
    dpi: float,
) -> tuple[Unrolled, tuple[glyphs.Sort, ...]]:
    """A stair unrolled with its map, every piece marked, beside a section; how it lies, and the sorts of units."""
    strips, section = boxes
    laid = draw_unrolled(page, building, coverage, plane, stairs, shown, strips, dpi=dpi)
    near = units_about(stairs, coverage.units)
    draw_section(page, building, stairs, near, section)
    return laid, tuple(glyphs.sort_of(unit) for unit in near)


def draw_unrolled(
    page: Page,
    building: Building,
    coverage: Coverage,
    plane: PlaneCoverage,
    stairs: StairShape,
    shown: Sequence[Shown],
    strips: Box,
    *,
    dpi: float,
) -> Unrolled:
    """A stair unrolled in a box (mm) with its map, every piece marked; how it lies."""
    laid = lay_out(stairs, plane.surface.grid, strips)
    placer = Placer(strips)
    strokes = Strokes()
    pictures = [run_map(plane, stairs, laid, run, dpi=dpi) for run in range(len(laid.runs))]
    for run, picture in enumerate(pictures):
        draw_layers(page, picture, strokes)
        draw_run(page, building, stairs, laid, run, placer, strokes)
    near = units_about(stairs, coverage.units)
    marked = draw_marks_on(page, stairs, laid, near, placer)
    placer.note_strokes(strokes.lines)
    annotator = Annotator(page, laid, placer, pictures[0])
    annotator.tags(marked.units, marked.centres, marked.factor)
    by_piece = {strip.piece: strip for run in laid.runs for strip in run.strips}
    for one in shown:
        site = one.place.site
        strip, piece = by_piece[site.piece], stairs.pieces[site.piece]
        corners = laid.to_paper(
            [
                (strip.start, piece.across_from),
                (strip.start + piece.length - 1e-6, piece.across_from),
                (strip.start + piece.length - 1e-6, piece.across_from + piece.width),
                (strip.start, piece.across_from + piece.width),
            ]
        )
        if not one.place.met and one.place.way is not None:
            spot = laid.to_paper(places_of(plane.surface, [one.place.way.at]))[0]
            draw_spot(page, spot)
            placer.take((*(spot - 1.5), *(spot + 1.5)))
        _piece_mark(page, placer, one, shapely.Polygon(corners))
    return laid


def _piece_mark(page: Page, placer: Placer, one: Shown, outline: Any) -> None:
    """A mark on a piece, off its arrow."""
    x0, y0, x1, y1 = outline.bounds
    xx, yy = np.meshgrid(np.linspace(x0, x1, 41), np.linspace(y0, y1, 31))
    grid = np.stack([xx.ravel(), yy.ravel()], axis=1)
    clear = RADIUS + 0.6
    grid = grid[np.all((grid > [x0 + clear, y0 + clear]) & (grid < [x1 - clear, y1 - clear]), axis=1)]
    middle = np.array([(x0 + x1) / 2, (y0 + y1) / 2])
    centres = np.concatenate([[middle], grid])
    disc = 2 * RADIUS + 0.6
    away = np.linalg.norm((centres - middle) / [max(x1 - x0, 1.0), max(y1 - y0, 1.0)], axis=1)
    index = placer.place((disc, disc), centres, 6.0 * away)
    draw_verdict(page, centres[index] if index is not None else middle, met=one.place.met)
