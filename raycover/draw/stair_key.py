"""A stair small, in section and in plan, with the numbers of its pieces and the detectors about it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.building.parts import Building, StairPiece, StairShape
from raycover.detectors import Unit
from raycover.draw import palette, sheet, words
from raycover.draw.glyphs import draw_hung
from raycover.draw.labels import Placer
from raycover.draw.lettering import named
from raycover.draw.page import Box, Page
from raycover.draw.projection import choose_scale
from raycover.draw.stair_cuts import arrival, edges, outline, profile

Floats = NDArray[np.float64]
#: Detectors shown hang at most this far (m) from the stair in plan.
NEAR_M = 1.5
#: Drawn thickness (m) of a flight's waist and of landings.
_WAIST = 0.15
_LEVEL_WIDTH = 23.0
_NUMBER_PT = 7.0


def level_names(building: Building, z: float) -> str:
    """The storey at a height, if there is one, with its level."""
    named = [s.name for s in building.storeys if abs(s.level - z) < 0.06] if len(building.storeys) > 1 else []
    # A storey without a name is called by its level, which stands beside it anyway.
    name = (
        f"{named[0]} " if named and named[0].lstrip("+-").replace(".", "") != f"{abs(z):.2f}".replace(".", "") else ""
    )
    return f"{name}{words.level(z)}"


def units_about(stairs: StairShape, units: Sequence[Unit]) -> list[Unit]:
    """Detectors that hang near a stair, between its foot and a storey's height over its head."""
    plan = shapely.union_all([outline(piece) for piece in stairs.pieces])
    near = []
    for unit in units:
        x, y, z = (float(v) for v in unit.position)
        if stairs.foot < z < stairs.head + 4.5 and plan.distance(shapely.Point(x, y)) <= NEAR_M:
            near.append(unit)
    return near


def draw_section(page: Page, building: Building, stairs: StairShape, units: Sequence[Unit], box: Box) -> None:
    """A section along the first flight within a box (mm), with levels, numbers and detectors."""
    along = np.asarray(stairs.pieces[0].along[:2], np.float64)
    corners = np.concatenate([shapely.get_coordinates(outline(p)) for p in stairs.pieces]) @ along
    hung = [(float(u.position[:2] @ along), float(u.position[2])) for u in units]
    low, high = min([corners.min(), *(h for h, _ in hung)]), max([corners.max(), *(h for h, _ in hung)])
    floor, top = stairs.foot - 0.3, max([stairs.head + 0.4, *(z + 0.2 for _, z in hung)])
    x0, y0, x1, y1 = box
    x0 += _LEVEL_WIDTH
    scale = choose_scale(float(high - low), float(top - floor), x1 - x0 - 3.0, y1 - y0 - 9.0)
    mm = 1000 / scale
    left = x0 + (x1 - x0 - (high - low) * mm) / 2
    bottom = y1 - 8.5 - (top - floor) * mm

    def to_paper(points: Any) -> Floats:
        flat = np.asarray(points, float)
        return np.stack([left + (flat[..., 0] - low) * mm, bottom + (flat[..., 1] - floor) * mm], axis=-1)

    _heading(page, "Key section", scale, box)
    _levels(page, building, stairs, (box[0], x1), lambda z: float(to_paper([0.0, z])[1]))
    placer = Placer((box[0], bottom - 1.0, x1 + 2.0, y1 - 4.0))
    placer.take((box[0], bottom, box[0] + _LEVEL_WIDTH - 1.0, y1))
    strokes: list[tuple[Floats, float]] = []
    for piece in sorted(stairs.pieces, key=lambda p: -abs(float(p.across[:2] @ along))):
        shape = to_paper(_profile(piece, along))
        page.areas([[shape]], 5.0, face=palette.BENCH, edge=palette.INK, width_pt=0.45)
        strokes.append((np.concatenate([shape, shape[:1]]), 6.0))
    placer.note_strokes(strokes)
    for unit, place in zip(units, hung, strict=True):
        _glyph(page, placer, unit, to_paper(place))
    for number, piece in enumerate(stairs.pieces):
        middle = to_paper(_profile(piece, along)).mean(axis=0)
        _number(page, placer, str(number + 1), middle)


def _heading(page: Page, what: str, scale: int, box: Box) -> None:
    extent = page.text(box[0], box[3] - 2.4, what, 6.5, font="bold")
    page.text(box[0] + extent.width + 1.6, box[3] - 2.4, f"1 : {scale}", 6.0, color=palette.SECOND_INK)


def _levels(page: Page, building: Building, stairs: StairShape, span: tuple[float, float], y_of: Any) -> None:
    """A line at every storey that the stair touches, its name over it."""
    storeys = [s.level for s in building.storeys if stairs.foot - 0.06 <= s.level <= stairs.head + 0.06]
    for z in sorted({round(v, 3) for v in (*storeys, stairs.foot, stairs.head)}):
        y = y_of(z)
        page.lines([[(span[0], y), (span[1], y)]], palette.THIRD_INK, 0.5, 3.0)
        lines = level_names(building, z).rsplit(" ", 1)
        page.text(span[0], y + 0.9, lines[-1], 6.0, color=palette.SECOND_INK)
        if len(lines) > 1:
            name = page.lettering.fit(named(lines[0]), "sans", 6.0, _LEVEL_WIDTH - 1.0)
            page.text(span[0], y + 3.5, name, 6.0)


def _profile(piece: StairPiece, along: Floats) -> Floats:
    """A piece from the side (n, 2): place along the section, height."""
    start = float(piece.origin[:2] @ along)
    z = float(piece.origin[2])
    way = float(piece.along[:2] @ along)
    if abs(way) < 0.5:  # it runs across the section: its width is what shows
        ends = sorted([start, start + float(piece.across[:2] @ along) * piece.width])
        top = arrival(piece)
        low = z - _WAIST if piece.kind == "landing" else z
        return np.array([(ends[0], low), (ends[1], low), (ends[1], top), (ends[0], top)])
    side = profile(piece, _WAIST)
    return np.stack([start + way * side[:, 0], side[:, 1]], axis=1)


def _glyph(page: Page, placer: Placer, unit: Unit, at: Floats) -> None:
    """A detector in section: a lower half-disc under a rod, its name beside it."""
    draw_hung(page, at, 1.6)
    placer.take((at[0] - 1.5, at[1] - 1.5, at[0] + 1.5, at[1] + 1.7))
    text = page.lettering.fit(named(unit.name), "bold", 6.5, 18.0)
    extent = page.lettering.extent(text, "bold", 6.5)
    placed = placer.near(at, (extent.width + 0.4, extent.height), (1.8, 2.6, 4.0))
    if placed is not None:
        x, y = placed.centre
        page.text(
            x, y - extent.height / 2 + extent.below, text, 6.5, font="bold", color=palette.ACCENT, ha="center", z=22.0,
            halo_pt=2.0,
        )  # fmt: skip


def _number(page: Page, placer: Placer, text: str, middle: Floats) -> None:
    extent = page.lettering.extent(text, "bold", _NUMBER_PT)
    size = (extent.width + 0.3, extent.height)
    offsets = np.array([(x, y) for y in (2.2, -2.4, 0.0, 3.6, -3.8) for x in (0.0, 1.2, -1.2, 3.0, -3.0)])
    index = placer.place(size, middle + offsets, 0.6 * np.linalg.norm(offsets, axis=1))
    x, y = middle + offsets[index] if index is not None else middle
    if index is not None:
        page.text(
            float(x), float(y) - extent.height / 2 + extent.below, text, _NUMBER_PT, font="bold", ha="center", z=17.0,
            halo_pt=2.0,
        )  # fmt: skip


def draw_key_plan(page: Page, stairs: StairShape, north_deg: float, box: Box) -> None:
    """The stair from above within a box (mm): pieces that lie in one place share their line of numbers."""
    _heading(page, "Key plan", (scale := _plan_scale(stairs, box)), box)
    mm = 1000 / scale
    plans = [outline(piece) for piece in stairs.pieces]
    x0, y0, _, y1 = shapely.union_all(plans).bounds
    x_left, y_low = box[0] + 1.0, box[1] + max((box[3] - 6.0 - box[1] - (y1 - y0) * mm) / 2, 0.0)

    def to_paper(points: Any) -> Floats:
        return np.asarray((np.asarray(points, float) - [x0, y0]) * mm + [x_left, y_low])

    together: list[tuple[Any, list[int]]] = []
    for index, plan in enumerate(plans):
        same = next((g for g in together if g[0].symmetric_difference(plan).area < 0.05 * plan.area), None)
        if same is not None:
            same[1].append(index)
            continue
        together.append((plan, [index]))
        page.areas([[to_paper(np.asarray(plan.exterior.coords)[:-1])]], 5.0, face=palette.BENCH)
        page.lines([to_paper(line) for line in edges(stairs.pieces[index])], palette.INK, 0.3, 5.1)
    for plan, members in together:
        text = ", ".join(str(i + 1) for i in members)
        at = to_paper([plan.centroid.x, plan.centroid.y])
        width = float(to_paper(np.array(plan.bounds[2:]))[0] - to_paper(np.array(plan.bounds[:2]))[0])
        text = page.lettering.fit(text, "bold", 6.5, max(width - 0.6, 2.5))
        extent = page.lettering.extent(text, "bold", 6.5)
        page.text(
            float(at[0]), float(at[1]) - extent.height / 2 + extent.below, text, 6.5, font="bold", ha="center", z=17.0,
            halo_pt=2.4,
        )  # fmt: skip
    sheet.draw_north(page, north_deg, (box[2] - 7.0, (box[1] + box[3]) / 2 - 3.0))


def _plan_scale(stairs: StairShape, box: Box) -> int:
    x0, y0, x1, y1 = shapely.union_all([outline(piece) for piece in stairs.pieces]).bounds
    return choose_scale(x1 - x0, y1 - y0, box[2] - box[0] - 18.0, box[3] - box[1] - 7.0)
