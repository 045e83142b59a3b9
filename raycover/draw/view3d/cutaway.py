"""How a building is cut open for a view: which walls stay high, which things are cut down so that the map shows.

A wall that hides part of the map is cut low, one with nothing behind it stays high as a backdrop. The same
goes for racking and other things that stand on the floor.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.building.parts import Building, Sheet
from raycover.draw.view3d.camera import View, hidden_by

Floats = NDArray[np.floating[Any]]

#: Heights (m) above the floor at which walls are cut in a large building; smaller ones are cut lower.
LOW_M, HIGH_M = 0.9, 3.0
#: A thing with a smaller footprint (m²) hides little, however tall: a column.
SLIM_M2 = 0.6
#: A wall is judged in pieces of this length (m), by a look this far (m) behind it.
_PIECE_M, _BEHIND_M = 0.5, 0.3
#: Kinds of sheets that stand like walls.
UPRIGHT_KINDS = ("wall", "partition", "door", "window", "panel", "leaf")


@dataclass(frozen=True)
class Cuts:
    """Heights (m above the floor): `low` for walls that hide the map, `high` for the rest.

    `panels` is for cubicles, which mean nothing when cut low, `things` for racking and other objects.
    """

    low: float
    high: float
    panels: float
    things: float

    @classmethod
    def for_area(cls, area: Any, tallest: float) -> Cuts:
        """Suited to the size of a building, whose rooms are at most `tallest` high."""
        x0, y0, x1, y1 = shapely.minimum_rotated_rectangle(area).bounds
        span = float(min(np.hypot(x1 - x0, y1 - y0), 4 * np.sqrt(area.area)))
        low = float(np.clip(0.05 * span, 0.25, LOW_M))
        panels = float(np.clip(0.12 * span, 0.7, 1.2))
        return cls(low, min(HIGH_M, tallest), panels, float(np.clip(0.07 * span, 0.6, 1.75)))


@dataclass(frozen=True)
class UprightPiece:
    """Part of an upright sheet: its polygon over (distance along `along` from `origin`, absolute height)."""

    sheet: Sheet
    origin: Floats
    along: Floats
    polygon: Any
    cut: float
    hides: bool


def upright_pieces(
    building: Building, area: Any, view: View | None, cuts: Cuts, *, low: bool = False
) -> list[UprightPiece]:
    """Every upright sheet in pieces, each cut at its height; without a view all alike, high or `low`."""
    found: list[UprightPiece] = []
    shapely.prepare(area)
    for sheet in building.sheets:
        if not sheet.vertical or sheet.kind not in UPRIGHT_KINDS or _is_desk_side(building, sheet):
            continue
        origin, along, polygon = _on_edge(sheet)
        a0, z0, a1, z1 = polygon.bounds
        for start, end, hides in _runs(origin, along, a0, a1, area, view, low=low):
            middle = origin + along * (start + end) / 2
            floor = _floor_beside(building, middle, along, z0)
            least = cuts.panels if sheet.kind in ("panel", "leaf") or sheet.loc[:1] == ("cubicles",) else cuts.low
            cut = floor + (least if hides else cuts.high)
            if sheet.loc[:1] == ("desks",):
                cut = max(cut, z1)  # a screen begins at the desk: cut low it would be gone
            cut = min(cut, _below_slope(polygon, start, end))
            piece = shapely.intersection(polygon, shapely.box(start, z0 - 1, end, cut))
            if piece.area > 1e-6:
                found.append(UprightPiece(sheet, origin, along, piece, cut if cut < z1 else z1, hides))
    return found


def _below_slope(polygon: Any, start: float, end: float) -> float:
    """The height of the lowest point of a gable's sloping edge over a stretch, infinite where it has none."""
    part = shapely.intersection(polygon, shapely.box(start, polygon.bounds[1] - 1, end, polygon.bounds[3] + 1))
    ring = np.concatenate([shapely.get_coordinates(p.exterior) for p in shapely.get_parts(part) if p.area > 0])
    step = np.diff(ring, axis=0)
    sloping = (np.abs(step) > 1e-4).all(axis=1)
    return float(np.minimum(ring[:-1], ring[1:])[sloping, 1].min(initial=np.inf))


def _is_desk_side(building: Building, sheet: Sheet) -> bool:
    return sheet.kind == "panel" and sheet.loc[:1] == ("desks",)


def _on_edge(sheet: Sheet) -> tuple[Floats, Floats, Any]:
    """A vertical sheet's polygon over (along, height): the origin and direction (2,) in plan, and the polygon."""
    frame = sheet.frame
    normal = frame.normal
    along = np.array([-normal[1], normal[0]])
    along /= np.linalg.norm(along)
    if float(frame.u[:2] @ along) < 0:
        along = -along
    matrix = [
        float(frame.u[:2] @ along), float(frame.v[:2] @ along), float(frame.u[2]), float(frame.v[2]),
        0.0, float(frame.origin[2]),
    ]  # fmt: skip
    return frame.origin[:2], along, shapely.affinity.affine_transform(sheet.polygon, matrix)


def _runs(
    origin: Floats, along: Floats, start: float, end: float, area: Any, view: View | None, *, low: bool
) -> list[tuple[float, float, bool]]:
    """A wall's length in runs of one answer to: does it hide part of the area?"""
    if view is None:
        return [(start, end, low)]
    n = max(round((end - start) / _PIECE_M), 1)
    bounds = np.linspace(start, end, n + 1)
    middle = origin + along * ((bounds[1:] + bounds[:-1]) / 2)[:, None]
    look = view.behind / np.linalg.norm(view.behind)
    across = np.array([-along[1], along[0]])
    # Square to the wall, so that a wall seen nearly edge on is judged by what lies beside it.
    off = across * np.sign(across @ look) if abs(across @ look) > 0.05 else look
    behind = middle + _BEHIND_M * off
    hides = shapely.contains_xy(area, behind[:, 0], behind[:, 1])
    changes = np.flatnonzero(np.diff(hides)) + 1
    firsts = np.concatenate([[0], changes])
    lasts = np.concatenate([changes, [n]])
    return [(float(bounds[i]), float(bounds[k]), bool(hides[i])) for i, k in zip(firsts, lasts, strict=True)]


def _floor_beside(building: Building, middle: Floats, along: Floats, bottom: float) -> float:
    """The floor a wall stands on: the lowest of the rooms on either side, else its own bottom."""
    across = np.array([-along[1], along[0]]) * _BEHIND_M
    rooms = [building.room_at(*(middle + side * across)) for side in (-1, 1)]
    floors = [room.floor for room in rooms if room is not None]
    return min(floors) if floors else bottom


@dataclass(frozen=True)
class Standing:
    """A thing on the floor: its `boxes` (indices), convex `footprint`, and bottom and top (m, absolute)."""

    owner: str
    boxes: NDArray[np.intp]
    footprint: Any
    bottom: float
    top: float
    rack: bool


def standing_things(building: Building) -> list[Standing]:
    """Racks row by row, and every other box by itself."""
    boxes = building.boxes
    plans = boxes.footprints()
    low, high = boxes.centre[:, 2] - boxes.size[:, 2] / 2, boxes.centre[:, 2] + boxes.size[:, 2] / 2
    # What hangs is outlined only: it stands on no floor.
    taken = np.array([kind == "hung" for kind in boxes.kinds], bool)
    found: list[Standing] = []
    owners = boxes.owners
    of_owner: dict[str, list[int]] = defaultdict(list)
    for index, owner in enumerate(owners):
        of_owner[owner].append(index)
    for rack in building.racks:
        outline = shapely.Polygon(rack.corners)
        mine = np.array(of_owner[rack.owner], np.intp)
        mine = mine[~taken[mine]]
        mine = mine[shapely.contains_xy(outline.buffer(0.02), boxes.centre[mine, 0], boxes.centre[mine, 1])]
        taken[mine] = True
        if len(mine):
            hull = shapely.convex_hull(shapely.multipoints(plans[mine].reshape(-1, 2)))
            found.append(Standing(rack.owner, mine, hull, rack.bottom, float(max(rack.top, high[mine].max())), True))
    for k in np.flatnonzero(~taken):
        found.append(
            Standing(owners[k], np.array([k]), shapely.Polygon(plans[k]), float(low[k]), float(high[k]), False)
        )
    return found


def screens(building: Building, lowest: float) -> list[tuple[Any, float]]:
    """What stands free and hides the floor behind it, cubicles and partitions: (convex footprint, height m)."""
    corners: dict[str, list[Floats]] = {}
    for sheet in building.sheets:
        if sheet.vertical and sheet.loc[:1] in (("cubicles",), ("partitions",)) and not sheet.construction.glazing:
            name = sheet.owner if sheet.loc[:1] == ("cubicles",) else sheet.name
            corners.setdefault(name, []).append(sheet.frame.to_space(shapely.get_coordinates(sheet.polygon)))
    found = []
    for parts in corners.values():
        points = np.concatenate(parts)
        tall = float(np.ptp(points[:, 2]))
        if tall > lowest:
            found.append((shapely.convex_hull(shapely.multipoints(points[:, :2])).buffer(0.02), tall))
    return found


def cut_heights(things: list[Standing], area: Any, view: View | None, cuts: Cuts, *, low: bool = False) -> list[float]:
    """The height (m, absolute) each thing is cut at; its own top where it stays whole."""
    if view is None:
        return [min(t.top, t.bottom + cuts.things) if low else t.top for t in things]
    free = area.difference(shapely.union_all([t.footprint for t in things])) if things else area
    heights = []
    for thing in things:
        tall = thing.top - thing.bottom
        whole = tall if thing.rack else min(tall, cuts.high)
        shadow = hidden_by(thing.footprint, whole, view).intersection(free).area
        few = max(1.2 * thing.footprint.area, 0.03 * area.area)
        slim = not thing.rack and thing.footprint.area < SLIM_M2
        too_much = whole > cuts.things and shadow > few and not slim
        heights.append(thing.bottom + (cuts.things if too_much else whole))
    return heights
