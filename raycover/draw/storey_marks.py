"""What a plan of one storey shows beside its walls: voids in its floor, stairs, detectors of other storeys."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.building.parts import Building
from raycover.draw import glyphs, palette
from raycover.draw.drawing import Drawing
from raycover.draw.labels import Placer
from raycover.draw.page import Page
from raycover.draw.stair_cuts import Arrow, StairCut, outline, stair_cut

Floats = NDArray[np.float64]
_Z = 6.4
#: What a stair leaves of a void gets a cross where it is wider (m) and larger (m²) than this.
_SLIMMEST, _LEAST_VOID = 0.3, 0.15
#: Detectors of other storeys: the accent held back.
PALE_ACCENT = "#D29D8E"
_PALE_RING = 1.05


def voids_of(building: Building) -> Any:
    """What the floor of a storey leaves open, one shapely geometry."""
    return shapely.union_all([room.void for room in building.rooms if room.void is not None])


def cut_stairs(building: Building, top: float) -> list[StairCut]:
    """The stairs of a storey by itself as its plan shows them; `top` is the next storey's level (m)."""
    opening = voids_of(building)
    found = []
    for stairs in building.stairs:
        # A stair that starts above the storey's lowest floor, on a raised part of it, is cut above its own foot.
        level = max(building.ground, stairs.foot) if stairs.foot < top - 0.06 else building.ground
        found.append(stair_cut(stairs, level, max(top, level + 0.1), None if opening.is_empty else opening))
    return found


def draw_voids(drawing: Drawing, building: Building) -> bool:
    """Voids in the floor: thin dashed edge, a diagonal cross where nothing fills them; whether there are any."""
    voids = voids_of(building)
    filled = shapely.union_all([outline(piece) for stairs in building.stairs for piece in stairs.pieces])
    outlines, crosses = [], []
    for part in shapely.get_parts(voids):
        if part.geom_type != "Polygon" or part.area < 1e-3:
            continue
        outlines.append(part)
        # Slits between a stair and the void's edge say nothing.
        wide = shapely.difference(part, filled).buffer(-_SLIMMEST / 2).buffer(_SLIMMEST / 2, join_style="mitre")
        for rest in shapely.get_parts(wide):
            if rest.area < _LEAST_VOID:
                continue
            c = shapely.get_coordinates(shapely.minimum_rotated_rectangle(rest))
            lines = shapely.MultiLineString([[c[0], c[2]], [c[1], c[3]]])
            met = shapely.intersection(lines, rest)
            crosses += [np.asarray(p.coords) for p in shapely.get_parts(met) if p.geom_type == "LineString"]
    drawing.areas(outlines, _Z - 0.3, face=palette.PAPER)
    drawing.lines(crosses, palette.SECOND_INK, 0.35, _Z - 0.2, weight=2.0)
    drawing.areas(outlines, _Z + 0.3, edge=palette.INK, width_pt=0.45, dashes=(3.0, 1.5), weight=2.0)
    return bool(outlines)


def draw_stairs(drawing: Drawing, cuts: Sequence[StairCut], placer: Placer) -> bool:
    """Stairs in plan with their arrows; whether any line was drawn. Words are placed beside the arrows' tails."""
    for cut in cuts:
        drawing.areas(cut.seen, _Z, face=palette.BENCH, alpha=0.78)
        drawing.lines(cut.above, palette.PAPER, 1.1, _Z + 0.05)
        drawing.lines(cut.above, palette.INK, 0.35, _Z + 0.1, dashes=(2.5, 1.5), weight=2.0)
        drawing.lines(cut.lines, palette.INK, 0.4, _Z + 0.15, weight=2.5)
        drawing.cased(cut.breaks, 0.6, _Z + 0.3, weight=4.0)
        for line in cut.breaks:
            kink = drawing.projection.to_paper(line[1:-1])
            placer.take((*kink.min(axis=0), *kink.max(axis=0)))
        for arrow in cut.arrows:
            draw_arrow(drawing, arrow, placer)
    return any(cut.lines or cut.above for cut in cuts)


def draw_arrow(drawing: Drawing, arrow: Arrow, placer: Placer | None) -> None:
    """A way up or down: a line from a dot to an arrowhead, its word behind the dot."""
    page, line = drawing.page, drawing.projection.to_paper(arrow.line)
    first, last = line[1] - line[0], line[-1] - line[-2]
    first, last = first / np.linalg.norm(first), last / np.linalg.norm(last)
    side = np.array([-last[1], last[0]])
    head = [line[-1], line[-1] - last * 2.1 + side * 0.65, line[-1] - last * 2.1 - side * 0.65]
    shaft = np.concatenate([line[:-1], [line[-1] - last * 1.4]])
    frame = drawing.projection.frame
    page.lines([shaft], palette.PAPER, 1.6, _Z + 0.35, clip=frame)
    page.lines([shaft], palette.INK, 0.55, _Z + 0.4, clip=frame)
    page.areas([[head]], _Z + 0.4, face=palette.INK, clip=frame)
    page.discs([line[0]], 0.55, _Z + 0.4, face=palette.INK, edge=palette.PAPER, width_pt=0.4)
    drawing.strokes.add([line], 4.0)
    if placer is None:
        return
    tip = np.array(head)
    placer.take((*tip.min(axis=0), *tip.max(axis=0)))
    extent = page.lettering.extent(arrow.word, "sans", 6.5)
    size = (extent.width + 0.4, extent.height)
    reach = abs(first) @ (np.array(size) / 2) + 0.7
    centres = np.array([line[0] - first * (reach + gap) for gap in (0.0, 0.8, 1.8)])
    index = placer.place(size, centres, [0.0, 1.0, 2.0])
    if index is not None:
        x, y = (float(v) for v in centres[index])
        page.text(x, y - extent.height / 2 + extent.below, arrow.word, 6.5, ha="center", z=15.0, halo_pt=1.8)


def draw_others(page: Page, centres: Floats, mine: Floats) -> NDArray[np.bool_]:
    """Pale rings where detectors of other storeys hang (n, 2 in mm), but for those under a mark of this one.

    Returns which were drawn (n,).
    """
    shown = np.array([not len(mine) or float(np.linalg.norm(mine - c, axis=1).min()) > 2.6 for c in centres], bool)
    for centre in centres[shown]:
        draw_other(page, centre)
    return shown


def draw_other(page: Page, centre: Any) -> None:
    page.discs([centre], _PALE_RING + glyphs.COLLAR, 19.0, face=palette.PAPER)
    page.discs([centre], _PALE_RING - 0.1, 19.1, face=palette.PAPER, edge=PALE_ACCENT, width_pt=0.8)
    page.discs([centre], 0.3, 19.2, face=PALE_ACCENT)
