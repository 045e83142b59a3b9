"""What stands in a section and beyond it: walls and slabs at true thickness, racking, goods, stairs, doors."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.asking.upright import SectionField
from raycover.building.parts import Boxes, Building
from raycover.building.upright_cut import (
    CutLine,
    CutSheet,
    boxes_beyond,
    cut_boxes,
    cut_objects,
    cut_sheets,
    objects_beyond,
    openings_beyond,
)
from raycover.draw import palette
from raycover.draw.cuts import thickened
from raycover.draw.drawing import Drawing

Floats = NDArray[np.floating]
BEYOND_Z, CUT_Z, WALL_Z = 5.0, 6.0, 8.0
#: Thinner parts than these (mm of paper) are drawn at this thickness.
_THINNEST, _THINNEST_WALL, _THINNEST_TOP = 0.2, 0.5, 0.65
_STANDING = ("wall", "partition", "floor", "ceiling", "panel", "door", "leaf", "sheet")
_SLABS = ("floor", "ceiling")
_STEPS = ("tread", "riser", "string", "soffit")
#: Parts of racking shown only where they come out larger than this (mm).
_LEAST_PART = 0.35
_DARK = ("upright", "beam", "guard")


def about(field: SectionField, building: Building) -> tuple[float, float, float, float]:
    """What a section's drawing shows (m): the rooms that are cut, with the walls and slabs around them."""
    x0, z0, x1, z1 = field.bounds
    cut = [c for c in cut_sheets(field.line, building.sheets) if c.sheet.kind in ("wall", *_SLABS)]
    sides = max((c.thick for c in cut if c.sheet.kind == "wall"), default=0.0) / 2
    slabs = [(float(c.start[1]), float(c.end[1]), c.thick * _aside(c, building)) for c in cut if c.sheet.kind in _SLABS]
    low = min((min(a, b) + min(t, 0.0) for a, b, t in slabs), default=z0)
    high = max((max(a, b) + max(t, 0.0) for a, b, t in slabs), default=z1)
    return x0 - sides, min(low, z0), x1 + sides, max(high, z1)


def draw_cut(drawing: Drawing, building: Building, line: CutLine, depth: float) -> bool:
    """Everything that a section shows, for a drawing over (s, z). Whether goods or other things are cut."""
    _draw_beyond(drawing, building, line, depth)
    has_things = _draw_boxes(drawing, building, line)
    for one, flat in cut_objects(line, building.objects):
        if one.closed:
            areas = [part for part in shapely.get_parts(flat) if part.geom_type == "Polygon"]
            drawing.areas(areas, CUT_Z, face=palette.GOODS, edge=palette.INK, width_pt=0.5, weight=4.0)
            has_things |= bool(areas)
        else:
            lines = [np.asarray(p.coords) for p in shapely.get_parts(flat) if p.geom_type == "LineString"]
            drawing.lines(lines, palette.INK, 0.6, CUT_Z, weight=4.0)
    _draw_sheets(drawing, building, cut_sheets(line, building.sheets))
    return has_things


def _draw_sheets(drawing: Drawing, building: Building, cut: Sequence[CutSheet]) -> None:
    mm = 1 / drawing.projection.mm_per_m
    glass = [c for c in cut if c.sheet.kind == "window" or c.sheet.construction.glazing]
    light = [c for c in cut if c.sheet.construction.kind == "open" and not c.sheet.construction.glazing]
    rest = [c for c in cut if not any(c is other for other in (*glass, *light))]
    masses = [c for c in rest if c.sheet.kind in _STANDING]
    if masses:
        walls = np.array([c.sheet.kind in ("wall", *_SLABS) for c in masses])
        least = np.where(walls, _THINNEST_WALL, _THINNEST) * mm
        thick = np.maximum([c.thick for c in masses], least)
        aside = np.array([_aside(c, building) for c in masses])
        areas = thickened(np.array([[c.start, c.end] for c in masses]), thick, aside)
        drawing.areas(areas, WALL_Z - 0.1, edge=palette.PAPER, width_pt=1.1)
        drawing.areas(areas, WALL_Z, face=palette.INK, edge=palette.INK, width_pt=0.1, weight=8.0)
    steps = [c for c in rest if c.sheet.kind in _STEPS]
    drawing.lines([np.stack([c.start, c.end]) for c in steps], palette.INK, 0.9, WALL_Z, weight=6.0)
    thin = [c for c in rest if c.sheet.kind not in (*_STANDING, *_STEPS)]
    if thin:  # tops of desks, decks: light on the shade that they throw
        thick = np.maximum([c.thick for c in thin], _THINNEST_TOP * mm)
        tops = thickened(np.array([[c.start, c.end] for c in thin]), thick)
        drawing.areas(tops, WALL_Z - 0.2, face=palette.BENCH, edge=palette.INK, width_pt=0.4, weight=4.0)
    drawing.cased([np.stack([c.start, c.end]) for c in light], 0.6, WALL_Z, dashes=(2.2, 1.4), weight=4.0)
    if glass:
        thick = np.maximum([c.thick for c in glass], 0.62 * mm)
        panes = thickened(np.array([[c.start, c.end] for c in glass]), thick)
        drawing.areas(panes, WALL_Z - 0.19, face=palette.PAPER, edge=palette.INK, width_pt=0.4, weight=5.0)
        drawing.lines([np.stack([c.start, c.end]) for c in glass], palette.GLASS, 0.7, WALL_Z - 0.18)


def _aside(cut: CutSheet, building: Building) -> float:
    """On which side of its line a slab lies: 1 above (lines run to the right), −1 below, 0 in the middle."""
    if cut.sheet.kind not in _SLABS:
        return 0.0
    if cut.sheet.kind == "floor":
        return -1.0
    z = float(cut.start[1])
    return -1.0 if any(abs(room.floor - z) < 1e-3 for room in building.rooms) else 1.0


def _draw_boxes(drawing: Drawing, building: Building, line: CutLine) -> bool:
    """What stands and is cut: goods light, steel dark, other things light with a cross. Whether any is light."""
    boxes = building.boxes
    met, oblongs = cut_boxes(line, boxes)
    if not len(met):
        return False
    kinds = np.array(boxes.kinds, object)[met]
    mm = drawing.projection.mm_per_m
    small = np.minimum(oblongs[:, 2] - oblongs[:, 0], oblongs[:, 3] - oblongs[:, 1]) * mm < _LEAST_PART
    rings = _rings(oblongs)
    dark = np.isin(kinds, _DARK)
    for chosen, face, edge, width, z in (
        (kinds == "goods", palette.GOODS, palette.INK, 0.45, CUT_Z),
        ((kinds == "pallet") & ~small, "#D9D2C3", palette.INK, 0.3, CUT_Z),
        (dark & ~small, palette.INK, palette.INK, 0.1, CUT_Z + 0.2),
        (np.isin(kinds, ("solid", "fixture", "hung")), palette.GOODS, palette.INK, 0.5, CUT_Z),
    ):
        drawing.areas(list(rings[chosen]), z, face=face, edge=edge, width_pt=width, weight=4.0)
    thin = rings[dark & small]
    drawing.lines([r[[0, 2]] for r in thin], palette.INK, 0.4, CUT_Z + 0.2)
    solid = rings[kinds == "solid"]
    drawing.lines([r[[0, 2]] for r in solid] + [r[[1, 3]] for r in solid], palette.THIRD_INK, 0.25, CUT_Z + 0.1)
    return bool((~dark).any())


def _draw_beyond(drawing: Drawing, building: Building, line: CutLine, depth: float) -> None:
    """What is seen beyond the cut, in thin pale lines; what stands behind racking is hidden by it."""
    mm = drawing.projection.mm_per_m
    met, oblongs, near = boxes_beyond(line, building.boxes, depth)
    lines: list[Any] = []
    if len(met):
        large = np.min([oblongs[:, 2] - oblongs[:, 0], oblongs[:, 3] - oblongs[:, 1]], axis=0) * mm >= _LEAST_PART
        kinds = np.array(building.boxes.kinds, object)[met]
        chosen = large & (kinds != "hung")
        lines += _visible(oblongs[chosen], near[chosen], building.envelopes, line, depth)
    doors = openings_beyond(line, building.openings, depth)
    lines += _visible(doors, np.full(len(doors), depth), building.envelopes, line, depth)
    for edges in objects_beyond(line, building.objects, depth):
        lines += list(edges)
    drawing.page.lines(
        [drawing.projection.to_paper(one) for one in lines], palette.SECOND_INK, 0.3, BEYOND_Z, alpha=0.5,
        clip=drawing.projection.frame,
    )  # fmt: skip


def _visible(oblongs: Floats, near: Floats, envelopes: Boxes, line: CutLine, depth: float) -> list[Floats]:
    """Outlines of oblongs (n, 4) as far as no rack nearer by hides them, each line once."""
    if not len(oblongs):
        return []
    racks, covers, _ = boxes_beyond(line, envelopes, depth)
    far = line.place(envelopes.footprints(racks))[..., 1].max(axis=1) if len(racks) else np.zeros(0)
    outlines = shapely.linearrings(np.concatenate([_rings(oblongs), _rings(oblongs)[:, :1]], axis=1))
    # The same oblong of a front and a rear upright is one line on paper.
    _, first = np.unique(np.round(oblongs, 2), axis=0, return_index=True)
    found: list[Floats] = []
    for depth_of in np.unique(np.round(near[first], 2)):
        some = outlines[first[np.round(near[first], 2) == depth_of]]
        hides = covers[far < depth_of + 0.02]
        if len(hides):
            some = shapely.difference(some, shapely.union_all(shapely.box(*hides.T)))
        parts = shapely.get_parts(shapely.line_merge(some[~shapely.is_empty(some)]))
        found += [shapely.get_coordinates(part) for part in parts]
    return found


def _rings(oblongs: Floats) -> Floats:
    """(n, 4, 2) corners of oblongs (n, 4)."""
    s0, z0, s1, z1 = oblongs.T
    return np.stack([np.stack([s0, s1, s1, s0], axis=1), np.stack([z0, z0, z1, z1], axis=1)], axis=-1)
