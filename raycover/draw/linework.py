"""The building in plan: walls at true thickness, doors, glazing, partitions, racking, solids, desks.

Weights are in points of line and millimetres of paper (the project's drawing standard); what stands in the way of
text is noted down for the placing of labels.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.building.parts import Building, OpeningMark, RackMark, Sheet
from raycover.draw import palette
from raycover.draw.cuts import CUT_HEIGHT, Trace, traces, wall_areas
from raycover.draw.doors import draw_openings
from raycover.draw.drawing import Drawing
from raycover.draw.imported import draw_meshes
from raycover.draw.overhead import draw_fixtures, draw_overhead
from raycover.solving.surfaces import Surface

Floats = NDArray[np.float64]
FURNITURE_Z, COLUMN_Z, WALL_Z = 6.0, 7.0, 8.0
#: Thinner parts than these (mm of paper) are drawn at this thickness: they must not vanish at small scales.
_THINNEST_WALL, _THINNEST_SCREEN, _THINNEST_GLAZING = 0.5, 0.25, 0.62
_MULLION_M = 1.6
#: A solid this slender (m) that reaches this near to the ceiling, or this high where there is none, is a column.
_COLUMN_WIDEST, _BELOW_CEILING, _COLUMN_LOWEST = 1.25, 0.3, 2.4


def draw_building(drawing: Drawing, building: Building, surface: Surface) -> None:
    """Everything of a building that a plan shows, for a map on this surface."""
    lowest = min((room.floor for room in building.rooms), default=0.0)
    found = traces(building, [s for s in building.sheets if s.kind not in ("floor", "ceiling", "desk")])
    desk_owners = {s.owner for s in building.sheets if s.kind == "desk"}
    found = [t for t in found if not (t.sheet.kind == "panel" and t.sheet.owner in desk_owners)]
    _draw_desks(drawing, [s for s in building.sheets if s.kind == "desk"])
    _draw_flat_sheets(drawing, [s for s in building.sheets if s.kind == "sheet" and not s.vertical], lowest)
    draw_racks(drawing, building.racks)
    _draw_guards(drawing, building)
    _draw_solids(drawing, building, surface)
    draw_meshes(drawing, building, surface, FURNITURE_Z)
    draw_fixtures(drawing, building)
    draw_overhead(drawing, building)
    _draw_low_and_high(drawing, [t for t in found if t.level != "cut" and t.sheet.kind in _STANDING])
    cut = [t for t in found if t.level == "cut"]
    solid = [t for t in cut if t.sheet.kind in _STANDING and not _light(t)]
    walls = [t for t in solid if t.sheet.kind == "wall"]
    screens = [t for t in solid if t.sheet.kind != "wall"]
    mm = 1 / drawing.projection.mm_per_m
    for some, thinnest in ((walls, _THINNEST_WALL), (screens, _THINNEST_SCREEN)):
        areas = wall_areas(some, thinnest * mm)
        # A white edge parts walls from the deep shade beside them.
        drawing.areas(areas, WALL_Z - 0.1, edge=palette.PAPER, width_pt=1.1)
        drawing.areas(areas, WALL_Z, face=palette.INK, edge=palette.INK, width_pt=0.1, weight=8.0)
    glass = [t for t in cut if t.sheet.kind == "window" or (t.sheet.kind in _STANDING and t.sheet.construction.glazing)]
    _draw_glazing(drawing, glass, building.openings)
    mesh = [t for t in cut if t.sheet.kind in _STANDING and _light(t) and not t.sheet.construction.glazing]
    drawing.cased([[t.start, t.end] for t in mesh], 0.6, WALL_Z, dashes=(2.2, 1.4), weight=6.0)
    high = [t for t in found if t.sheet.kind == "window" and t.level == "above"]
    drawing.lines([[t.start, t.end] for t in high], palette.GLASS, 0.7, WALL_Z + 0.3)
    draw_openings(drawing, building)
    leaves = [t for t in cut if t.sheet.kind == "leaf" or (t.sheet.kind == "door" and t.sheet.loc[:1] == ("cubicles",))]
    drawing.cased([[t.start, t.end] for t in leaves], 0.8, WALL_Z, weight=4.0)


#: Kinds of sheet that stand like a wall.
_STANDING = ("wall", "partition", "panel", "sheet")


def _light(trace: Trace) -> bool:
    """Glass and mesh, drawn as lines rather than as masses."""
    return trace.sheet.construction.glazing or trace.sheet.construction.kind == "open"


def _strip(trace: Trace, thickness: float) -> Floats:
    """(4, 2) outline of a stretch at a thickness (m)."""
    along = (trace.end - trace.start) / max(trace.length, 1e-9)
    across = np.array([-along[1], along[0]]) * thickness / 2
    return np.array([trace.start - across, trace.end - across, trace.end + across, trace.start + across])


def _draw_low_and_high(drawing: Drawing, found: Sequence[Trace]) -> None:
    """Screens lower than the cut as thin outlines on white, what hangs above it dashed."""
    mm = 1 / drawing.projection.mm_per_m
    low = [
        _strip(t, max(t.sheet.construction.thickness_m, 0.5 * mm)) for t in found if t.level == "below" and t.length > 0
    ]
    drawing.areas(low, WALL_Z - 0.2, face=palette.PAPER, edge=palette.INK, width_pt=0.35, weight=4.0)
    high = [[t.start, t.end] for t in found if t.level == "above"]
    drawing.cased(high, 0.35, WALL_Z - 0.2, dashes=(2.5, 1.5), weight=2.0)


def _draw_glazing(drawing: Drawing, glass: Sequence[Trace], openings: Sequence[OpeningMark]) -> None:
    """Two ink lines at the faces, glass between, mullions about every 1.6 m."""
    mm = 1 / drawing.projection.mm_per_m
    faces, panes, mullions, strips = [], [], [], []
    for trace in glass:
        if trace.length <= 0:
            continue
        thickness = max(_wall_about(trace, openings), trace.sheet.construction.thickness_m, _THINNEST_GLAZING * mm)
        strip = _strip(trace, thickness)
        strips.append(strip)
        faces += [strip[:2], strip[2:]]
        panes.append(np.stack([trace.start, trace.end]))
        n = max(round(trace.length / _MULLION_M), 1)
        share = np.linspace(0, 1, n + 1)[:, None]
        near, far = strip[0] + share * (strip[1] - strip[0]), strip[3] + share * (strip[2] - strip[3])
        mullions += list(np.stack([near, far], axis=1))
    # Under the solid walls, which cover the ends of glass that runs into them.
    drawing.areas(strips, WALL_Z - 0.19, face=palette.PAPER)
    drawing.lines(panes, palette.GLASS, 0.7, WALL_Z - 0.18)
    drawing.lines(faces, palette.INK, 0.5, WALL_Z - 0.17, weight=5.0)
    drawing.lines(mullions, palette.INK, 0.6, WALL_Z - 0.17)


def _wall_about(trace: Trace, openings: Sequence[OpeningMark]) -> float:
    """Thickness (m) of the wall that a window stands in, 0 for one that stands in none."""
    if trace.sheet.kind != "window":
        return 0.0
    middle = (trace.start + trace.end) / 2
    for mark in openings:
        if np.linalg.norm((np.add(mark.start, mark.end)) / 2 - middle) < 0.01:
            return mark.wall_thickness
    return 0.0


def _draw_desks(drawing: Drawing, desks: Sequence[Sheet]) -> None:
    tops = [sheet.frame.to_space(shapely.get_coordinates(sheet.polygon)[:-1])[:, :2] for sheet in desks]
    # The map goes on under a desk: a veil tells the desk from it and leaves it readable.
    drawing.areas(tops, FURNITURE_Z, face=palette.BENCH, alpha=0.6)
    drawing.areas(tops, FURNITURE_Z, edge=palette.INK, width_pt=0.45, weight=3.0)


def _draw_flat_sheets(drawing: Drawing, sheets: Sequence[Sheet], floor: float) -> None:
    """Shelves, flights, canopies: outlines only, dashed above the cut; the map goes on beneath."""
    outlines = [s.frame.to_space(shapely.get_coordinates(s.polygon)[:-1])[:, :2] for s in sheets]
    high = [s.frame.origin[2] > CUT_HEIGHT + floor for s in sheets]
    for above, dashes in ((False, None), (True, (3.0, 1.2))):
        some = [outline for outline, is_above in zip(outlines, high, strict=True) if is_above == above]
        drawing.areas(some, FURNITURE_Z, edge=palette.INK, width_pt=0.45, dashes=dashes, weight=2.0)


def draw_racks(drawing: Drawing, racks: Sequence[RackMark]) -> None:
    """Rows of racking with their bays and a mark over each loaded one, by kind.

    A cross over pallets, a stroke over shelves, lines along long goods; cantilever racks show their columns.
    """
    outlines, full, uprights, crosses, spines = [], [], [], [], []
    mm = drawing.projection.mm_per_m
    for rack in racks:
        a, b, c, d = np.roll(rack.corners, 2, axis=0) if rack.facing_back else rack.corners
        outlines.append(rack.corners)
        pitch = float(np.linalg.norm(b - a)) / rack.bays * mm
        share = np.linspace(0, 1, rack.bays + 1)[:, None]
        front, rear = a + share * (b - a), d + share * (c - d)
        # Bays count along the rack's x, also where the row faces back and is drawn from its other end.
        some = np.resize(rack.loaded_bays, rack.bays) if len(rack.loaded_bays) else np.full(rack.bays, rack.loaded)
        some = some[::-1] if rack.facing_back else some
        if some.all():
            full.append(rack.corners)
        else:
            full += list(np.stack([front[:-1], front[1:], rear[1:], rear[:-1]], axis=1)[some])
        if pitch > 0.9:
            uprights += list(np.stack([front, rear], axis=1)[1:-1])
        if rack.kind == "cantilever":
            spines.append(np.stack([d, c]))
            for part in (0.3, 0.6):
                line = front + part * (rear - front)
                crosses += list(np.stack([line[:-1], line[1:]], axis=1)[some])
        elif pitch > 1.6:
            crosses += list(np.stack([front[:-1], rear[1:]], axis=1)[some])
            if rack.kind == "pallet":
                crosses += list(np.stack([front[1:], rear[:-1]], axis=1)[some])
    # Nobody stands in an empty bay either: no map shows through.
    drawing.areas(outlines, FURNITURE_Z - 0.05, face=palette.PAPER)
    drawing.areas(full, FURNITURE_Z, face=palette.GOODS)
    drawing.lines(crosses, palette.THIRD_INK, 0.25, FURNITURE_Z + 0.1)
    drawing.lines(uprights, palette.INK, 0.35, FURNITURE_Z + 0.2, weight=2.5)
    drawing.areas(outlines, FURNITURE_Z + 0.3, edge=palette.INK, width_pt=0.7, weight=6.0)
    drawing.lines(spines, palette.INK, 1.6, FURNITURE_Z + 0.4, weight=6.0)


def _draw_guards(drawing: Drawing, building: Building) -> None:
    """Guards at the ends of racks: low steel, in ink, wide enough to be seen."""
    boxes = building.boxes
    chosen = np.flatnonzero(np.array(boxes.kinds, object) == "guard")
    drawing.areas(list(boxes.footprints(chosen)), FURNITURE_Z + 0.3, face=palette.INK, edge=palette.INK, width_pt=0.3)


def _draw_solids(drawing: Drawing, building: Building, surface: Surface) -> None:
    """Columns in ink, other solids light with a cross; thin where the map lies over one, dashed where under it."""
    boxes = building.boxes
    plan = boxes.footprints()
    columns, standing, below, above, crosses = [], [], [], [], []
    for index in (k for k, kind in enumerate(boxes.kinds) if kind == "solid"):
        x, y, z = boxes.centre[index]
        half = boxes.size[index, 2] / 2
        room = building.room_at(float(x), float(y))
        floor, tall = (building.ground, _COLUMN_LOWEST) if room is None else (room.floor, room.height - _BELOW_CEILING)
        levels = floor + np.asarray(surface.heights)
        corners = plan[index]
        if (levels < z - half - 1e-9).all():
            above.append(corners)
        elif (levels > z + half + 1e-9).all():
            below.append(corners)
        elif (
            boxes.size[index, :2].max() <= _COLUMN_WIDEST
            and z + half - floor >= tall
            and (boxes.materials[index].name != "goods")
        ):
            columns.append(corners)
        else:
            standing.append(corners)
            crosses += [corners[[0, 2]], corners[[1, 3]]]
    drawing.areas(standing, FURNITURE_Z, face=palette.GOODS)
    drawing.lines(crosses, palette.THIRD_INK, 0.25, FURNITURE_Z + 0.1)
    drawing.areas(standing, FURNITURE_Z + 0.2, edge=palette.INK, width_pt=0.5, weight=5.0)
    drawing.areas(below, FURNITURE_Z, edge=palette.INK, width_pt=0.35, weight=2.0)
    drawing.areas(above, FURNITURE_Z, edge=palette.INK, width_pt=0.45, dashes=(3.0, 1.2), weight=2.0)
    drawing.areas(columns, COLUMN_Z, edge=palette.PAPER, width_pt=1.1)
    drawing.areas(columns, COLUMN_Z + 0.1, face=palette.INK, edge=palette.INK, width_pt=0.1, weight=8.0)
