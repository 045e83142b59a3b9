"""A coverage sheet of a stair: its treads and landings unrolled, storey by storey, with a key section and plan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from raycover.building.parts import Building, StairShape
from raycover.detectors import Unit
from raycover.draw import glyphs, palette, sheet, tables, words
from raycover.draw.annotate import Annotator
from raycover.draw.drawing import Strokes
from raycover.draw.labels import Placer
from raycover.draw.lettering import ENGLISH, Wording, clean
from raycover.draw.page import Box, Page
from raycover.draw.plan import DPI, draw_column, draw_words
from raycover.draw.plan_page import Marked, draw_layers
from raycover.draw.png import save_png
from raycover.draw.probability_sheet import Varied, draw_chance_map
from raycover.draw.stair_cuts import arrival
from raycover.draw.stair_key import draw_key_plan, draw_section, level_names, units_about
from raycover.draw.unrolled import Unrolled, lay_out, piece_figures, piece_name, places_of, run_map
from raycover.scene.schema import Scene
from raycover.solving.coverage import Coverage, PlaneCoverage
from raycover.solving.gaps import Gap

Floats = NDArray[np.float64]
#: Where the unrolled stair, the section and the key plan stand within the neat line.
_STRIPS: Box = (13.0, 36.0, 158.0, 174.0)
_SECTION: Box = (164.5, 75.0, 227.0, 174.0)
_PLAN: Box = (164.5, 36.5, 227.0, 71.0)
_RULE_X = 161.0
_MOST_PIECES = 9
#: A detector is shown on the strips where it hangs over a piece or no farther beside it than this (m).
_OVER_M = 0.6
_Z = 6.0


def draw_stairs(
    scene: Scene,
    building: Building,
    coverage: Coverage,
    name: str,
    path: str | Path,
    *,
    sheet: tuple[int, int] = (1, 4),
    dpi: float = DPI,
    wording: Wording = ENGLISH,
) -> None:
    """Save the sheet of one stair's map as a PNG, A4 landscape. The file appears whole or not at all.

    `name` is that of a map on a stair. Raises KeyError for one that the coverage has not, ValueError for one that
    lies on no stair, OSError where the file cannot be written.
    """
    page = make_stair_sheet(scene, building, coverage, name, sheet_number=sheet, dpi=dpi, wording=wording)
    save_png(page.pixels(), path, dpi=dpi)


def make_stair_sheet(
    scene: Scene,
    building: Building,
    coverage: Coverage,
    name: str,
    *,
    sheet_number: tuple[int, int] = (1, 4),
    dpi: float = DPI,
    vector: bool = False,
    varied: Varied | None = None,
    wording: Wording = ENGLISH,
) -> Page:
    """The page that `draw_stairs` saves; for a PDF if `vector`; with `varied`, how surely places are seen."""
    plane = coverage[name]
    stairs = next((s for s in building.stairs if s.name == plane.surface.stairs), None)
    if stairs is None:
        raise ValueError(f'the map "{name}" lies on no stair')
    page = Page(dpi=dpi, vector=vector, wording=wording)
    laid = lay_out(stairs, plane.surface.grid, _STRIPS)
    placer = Placer(_STRIPS)
    strokes = Strokes()
    has_limit = False
    pictures = []
    for run in range(len(laid.runs)):
        picture = run_map(plane if varied is None else varied.as_plane, stairs, laid, run, dpi=dpi)
        pictures.append(picture)
        if varied is not None:
            has_limit = draw_chance_map(page, picture, strokes) or has_limit
        else:
            has_limit = draw_layers(page, picture, strokes) or has_limit
        draw_run(page, building, stairs, laid, run, placer, strokes)
    near = units_about(stairs, coverage.units)
    marked = draw_marks_on(page, stairs, laid, near, placer)
    sorts = tuple(s for s in glyphs.WORDS if any(glyphs.sort_of(unit) == s for unit in near))
    key = sheet.Key(sorts, False, has_limit and varied is None, False)
    figures = piece_figures(plane, stairs, laid.runs, by_run=len(stairs.pieces) > _MOST_PIECES)
    parts = tables.share_table(
        plane, figures, page.lettering, sheet.RIGHT - sheet.COLUMN, _MOST_PIECES, ("Piece", "Whole stair")
    )
    stacked = frozenset(room.name for room in building.rooms)
    listed = 0
    if varied is None:
        listed = draw_column(page, plane, coverage, key, stacked, parts)
    else:
        varied.draw_column(page, key, has_limit)
    placer.note_strokes(strokes.lines)
    annotator = Annotator(page, laid, placer, pictures[0])
    gaps = _unrolled_gaps(plane, plane.gaps[:listed])
    annotator.gap_marks(plane.surface, plane.gap, gaps, tables.letters(listed))
    n_tags = annotator.tags(marked.units, marked.centres, marked.factor)
    sheet.draw_left_out(page, n_tags, 0)
    x0, y0, x1, y1 = sheet.FRAME
    page.areas([[[(x0, y0), (x1, y0), (x1, y1), (x0, y1)]]], 24.0, edge=palette.INK, width_pt=0.5)
    page.lines([[(_RULE_X, y0), (_RULE_X, y1)]], palette.RULE, 0.5, 24.0)
    draw_section(page, building, stairs, near, _SECTION)
    draw_key_plan(page, stairs, scene.north_deg, _PLAN)
    title = f"Coverage of stair, {plane.surface.plane}, {stairs.name}"
    where = f"{stairs.name} ({words.level(stairs.foot)} to {words.level(stairs.head)} m), unrolled"
    if varied is None:
        draw_words(page, scene, building, coverage, plane, laid, sheet_number, title, where)
    else:
        varied.draw_words(page, scene, laid, sheet_number, f"Probability, {plane.surface.plane}, {stairs.name}", where)
    return page


def draw_run(
    page: Page,
    building: Building,
    stairs: StairShape,
    laid: Unrolled,
    run: int,
    placer: Placer,
    strokes: Strokes,
) -> None:
    """Outlines, treads, the way up, levels above and names of pieces below."""
    treads: list[Floats] = []
    outlines: list[Floats] = []
    strips = laid.runs[run].strips
    for strip in strips:
        piece = stairs.pieces[strip.piece]
        low, high = piece.across_from, piece.across_from + piece.width
        end = strip.start + piece.length
        outlines.append(laid.to_paper([(strip.start, low), (end - 1e-6, low), (end - 1e-6, high), (strip.start, high)]))
        for k in range(1, piece.n_treads):
            x = strip.start + k * piece.going
            treads.append(laid.to_paper([(x, low), (x, high)]))
    page.lines(treads, palette.PAPER, 0.9, _Z - 0.1, alpha=0.75)
    page.lines(treads, palette.INK, 0.3, _Z)
    page.areas([[outline] for outline in outlines], _Z + 0.1, edge=palette.INK, width_pt=0.8)
    strokes.add(treads, 1.2)
    strokes.add([np.concatenate([outline, outline[:1]]) for outline in outlines], 5.0)
    _draw_way(page, stairs, laid, run, placer, strokes)
    for number, strip in enumerate(strips):
        piece = stairs.pieces[strip.piece]
        corners = outlines[number]
        left, right = float(corners[:, 0].min()), float(corners[:, 0].max())
        foot, top = float(corners[:, 1].min()) - 3.6, float(corners[:, 1].max()) + 1.8
        name = piece_name(stairs, strip.piece)
        whole = f"{name}, {piece.n_treads} tread{'s' * (piece.n_treads != 1)}" if piece.kind == "flight" else name
        room = right - left - 0.6
        _label(page, placer, ((left + right) / 2, foot), (whole, name, str(strip.piece + 1)), "center", room)
        if piece.kind == "landing":
            _label(page, placer, ((left + right) / 2, top), (words.level(float(piece.origin[2])),), "center", room + 6)
        room = room if len(strips) > 1 else room / 2 - 1.0
        if number == 0:
            _label(page, placer, (left, top), _levels(building, float(piece.origin[2])), "left", room)
        if number == len(strips) - 1 and piece.kind == "flight":
            _label(page, placer, (right, top), _levels(building, arrival(piece)), "right", room)


def _levels(building: Building, z: float) -> tuple[str, str]:
    """A level with the storey's name, and without."""
    return level_names(building, z), words.level(z)


def _label(
    page: Page,
    placer: Placer,
    at: tuple[float, float],
    texts: Sequence[str],
    ha: Literal["left", "center", "right"],
    room: float,
) -> None:
    """The first of some texts that fits in `room` mm, its baseline at a place; nothing placed later covers it."""
    fitting = [t for t in map(clean, texts) if page.lettering.extent(t, "sans", 6.5).width <= room]
    if not fitting:
        return
    extent = page.text(*at, fitting[0], 6.5, ha=ha)
    left = at[0] - {"left": 0.0, "center": 0.5, "right": 1.0}[ha] * extent.width
    placer.take((left, at[1] - extent.below, left + extent.width, at[1] + extent.above))


def _draw_way(page: Page, stairs: StairShape, laid: Unrolled, run: int, placer: Placer, strokes: Strokes) -> None:
    """The way up along the middle of the flights, an arrowhead at its end and "up" at its start."""
    points: list[tuple[float, float]] = []
    for strip in laid.runs[run].strips:
        piece = stairs.pieces[strip.piece]
        middle = piece.across_from + piece.width / 2
        if piece.kind == "flight":
            points += [(strip.start, middle), (strip.start + piece.length - 1e-6, middle)]
        else:
            points.append((strip.start + piece.length / 2, points[-1][1] if points else middle))
            following = [s for s in laid.runs[run].strips if s.piece == strip.piece + 1]
            for after in following:
                made = stairs.pieces[after.piece]
                points.append((strip.start + piece.length / 2, made.across_from + made.width / 2))
    line = laid.to_paper(points)
    line = line[np.concatenate([[True], np.linalg.norm(np.diff(line, axis=0), axis=1) > 1e-6])]
    if len(line) < 2:
        return
    line[0, 0] += 1.6
    line[-1, 0] -= 1.2
    tip = line[-1]
    head = tip + np.array([(0.0, 0.0), (-2.4, 0.8), (-2.4, -0.8)])
    shaft = np.concatenate([line[:-1], [tip - np.array([1.6, 0.0])]])
    page.lines([shaft], palette.PAPER, 2.0, _Z + 0.2, alpha=0.85)
    page.lines([shaft], palette.INK, 0.7, _Z + 0.3)
    page.areas([[head]], _Z + 0.3, face=palette.INK, edge=palette.PAPER, width_pt=0.4)
    page.discs([line[0]], 0.6, _Z + 0.3, face=palette.INK, edge=palette.PAPER, width_pt=0.4)
    strokes.add([line], 4.0)
    extent = page.lettering.extent("up", "bold", 6.5)
    x, y = float(line[0, 0]) + 1.2, float(line[0, 1]) + 1.1
    page.text(x, y, "up", 6.5, font="bold", z=17.0, halo_pt=2.0)
    placer.take((x, y - extent.below, x + extent.width, y + extent.above))
    placer.take((float(tip[0]) - 2.6, float(tip[1]) - 1.0, float(tip[0]), float(tip[1]) + 1.0))


def draw_marks_on(page: Page, stairs: StairShape, laid: Unrolled, near: list[Unit], placer: Placer) -> Marked:
    """Draw the marks of the detectors over the strips; text keeps off them."""
    units, centres, marks = _marks_on(stairs, laid, near)
    factor = glyphs.size_factor(centres)
    glyphs.draw_marks(page, marks, factor)
    for centre in centres:
        reach = (glyphs.RING + glyphs.COLLAR) * factor
        placer.take((*(centre - reach), *(centre + reach)))
    return Marked(units, centres, marks, factor)


def _marks_on(stairs: StairShape, laid: Unrolled, near: list[Unit]) -> tuple[list[Unit], Floats, list[glyphs.Mark]]:
    """Detectors that hang over a piece or close beside it, where the strips show them: (n, 2) mm and marks."""
    units: list[Unit] = []
    centres, marks = [], []
    strips = {strip.piece: strip for run in laid.runs for strip in run.strips}
    for unit in near:
        best: tuple[float, int, float, float] | None = None
        for index, piece in enumerate(stairs.pieces):
            if index not in strips:
                continue
            offset = np.asarray(unit.position[:2] - piece.origin[:2], np.float64)
            a, b = float(offset @ piece.along[:2]), float(offset @ piece.across[:2])
            on_a, on_b = float(np.clip(a, 0.0, piece.length - 1e-6)), float(np.clip(b, 0.0, piece.width))
            drop = float(unit.position[2]) - float(piece.height(np.array([on_a]))[0])
            if np.hypot(a - on_a, b - on_b) <= _OVER_M and drop > 0.3 and (best is None or drop < best[0]):
                best = (drop, index, on_a, on_b)
        if best is None or best[0] > 5.0:
            continue
        _, index, a, b = best
        centre = laid.to_paper((strips[index].start + a, stairs.pieces[index].across_from + b))
        ahead = laid.turned(stairs, index, unit.rotation[:2, 0][None])[0]
        units.append(unit)
        centres.append(centre)
        marks.append(glyphs.Mark(glyphs.sort_of(unit), centre, float(np.degrees(np.arctan2(ahead[1], ahead[0])))))
    return units, np.array(centres, np.float64).reshape(-1, 2), marks


def _unrolled_gaps(plane: PlaneCoverage, gaps: tuple[Gap, ...]) -> list[Gap]:
    """Gaps with their places along and across the unrolled stair."""
    places = places_of(plane.surface, [gap.at for gap in gaps])
    return [replace(gap, at=(float(x), float(y), gap.at[2])) for gap, (x, y) in zip(gaps, places, strict=True)]
