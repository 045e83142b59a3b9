"""One storey of a building as a building of its own: what a plan of it, or one tray of a cutaway, shows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, replace
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.building.parts import Boxes, Building, Floats, Mesh, MeshObject, Sheet, StoreyShape

#: Parts that reach into a storey by less than this (m) belong to the next one.
_TOUCH = 2e-3
#: Boxes that stand on another storey show where they rise through this height (m) above the floor: a plan's cut.
_CUT = 1.1
#: A wall no further (m) from a storey's rooms stands along them.
_ALONG = 0.05


def top_of(building: Building, storey: StoreyShape) -> float:
    """Where a storey ends (m): the next one's level, or the highest ceiling of the last."""
    above = [s.level for s in building.storeys if s.level > storey.level + _TOUCH]
    tops = [building.rooms[i].floor + building.rooms[i].height for i in storey.rooms]
    return float(min(above) if above else max(tops))


def one_storey(building: Building, storey: StoreyShape, *, once: bool = False) -> Building:
    """The rooms of a storey and what stands between its level and the next, sheets cut off there.

    Stairs are kept whole where they lead to, from or through it; the mesh is left out. A building of one storey
    is returned as it is. A plan cuts what rises through it from below: a tall hall's walls and racks beside a deck.
    With `once` that is left to the storey it stands on, as where storeys are shown side by side.
    """
    if len(building.storeys) < 2:
        return building
    low, high = float(storey.level), top_of(building, storey)
    rooms = tuple(building.rooms[i] for i in storey.rooms)
    sheets = tuple(piece for sheet in building.sheets if (piece := _between(sheet, low, high)) is not None)
    if once:
        mine = _stands_here(building, storey, sheets, low)
        sheets = tuple(sheet for sheet, here in zip(sheets, mine, strict=True) if here)
    cut = np.inf if once else low + _CUT
    owners = {room.name for room in building.rooms} - {room.name for room in rooms} if once else set()
    kept = replace(
        building,
        sheets=sheets,
        boxes=_standing(building, building.boxes, storey, (low, high), cut),
        rooms=rooms,
        mesh=Mesh(np.zeros((0, 3, 3)), np.zeros(0, np.int32), np.zeros(0, np.int32)),
        openings=tuple(
            m for m in building.openings if m.sill < high - _TOUCH and m.top > low + _TOUCH and m.owner not in owners
        ),
        racks=tuple(
            r
            for r in building.racks
            if r.bottom < high - _TOUCH and r.top > low + _CUT and not (once and r.bottom < low - _TOUCH)
        ),
        envelopes=_standing(building, building.envelopes, storey, (low, high), cut),
        storeys=(replace(storey, rooms=tuple(range(len(rooms)))),),
        stairs=tuple(s for s in building.stairs if s.foot < high - _TOUCH and s.head > low - _TOUCH),
        objects=_objects(building, storey, (low, high), cut),
        seats=tuple(s for s in building.seats if low - _TOUCH <= s.ground < high - _TOUCH),
        roofs=tuple(r for r in building.roofs if r.owner in {room.name for room in rooms}),
        hung=tuple(h for h in building.hung if h.bottom < high - _TOUCH and h.top > low + _TOUCH),
        ground=low,
    )
    return replace(kept, bounds=_bounds(kept, low, high))


def _between(sheet: Sheet, low: float, high: float) -> Sheet | None:
    """The part of a sheet from `low` up to `high`, the lower end included; None where there is none."""
    slope = np.array([sheet.frame.u[2], sheet.frame.v[2]])
    corners = sheet.frame.origin[2] + shapely.get_coordinates(sheet.polygon) @ slope
    if np.ptp(corners) < _TOUCH:
        return sheet if low - _TOUCH <= corners[0] < high - _TOUCH else None
    if corners.max() <= low + _TOUCH or corners.min() >= high - _TOUCH:
        return None
    if corners.min() >= low - _TOUCH and corners.max() <= high + _TOUCH:
        return sheet
    steep = float(np.hypot(*slope))
    up = slope / steep
    along = np.array([-up[1], up[0]])
    far = 2 * float(np.abs(shapely.get_coordinates(sheet.polygon)).max()) + 1.0
    ends = [(z - float(sheet.frame.origin[2])) / steep for z in (low, high)]
    band = shapely.Polygon(
        [up * t + along * s for t, s in zip(np.repeat(ends, 2), (-far, far, far, -far), strict=True)]
    )
    part = shapely.intersection(sheet.polygon, band)
    areas = [p for p in shapely.get_parts(part) if p.geom_type == "Polygon" and p.area > 1e-8]
    return replace(sheet, polygon=areas[0] if len(areas) == 1 else shapely.MultiPolygon(areas)) if areas else None


def _stands_here(building: Building, storey: StoreyShape, sheets: Sequence[Sheet], low: float) -> list[bool]:
    """Which sheets (n,) belong to a storey rather than to another: those of its rooms or along them, and what else
    stands on its floors."""
    own = {building.rooms[i].name for i in storey.rooms}
    others = {room.name for room in building.rooms} - own
    area = shapely.union_all([building.rooms[i].polygon for i in storey.rooms]).buffer(_ALONG)
    found = []
    for sheet in sheets:
        corners = sheet.frame.to_space(shapely.get_coordinates(sheet.polygon))
        if sheet.owner in own:
            found.append(True)
        elif sheet.owner in others:  # a wall or a slab that two rooms share goes by the name of one
            plan = shapely.multipoints(corners[:, :2]).convex_hull
            shared = plan.intersection(area)
            found.append(bool(shared.area > plan.area / 2 if plan.area > 1e-6 else shared.length > plan.length / 2))
        else:
            (home,) = building.rooms_at(np.array([[*corners[:, :2].mean(axis=0), corners[:, 2].min() + 0.01]]))
            found.append(home in storey.rooms or bool(home < 0 and corners[:, 2].min() >= low - _TOUCH))
    return found


def _standing(building: Building, boxes: Boxes, storey: StoreyShape, heights: tuple[float, float], cut: float) -> Boxes:
    """Boxes that stand in the storey's rooms, and others where they rise through its plan's cut."""
    if not len(boxes):
        return boxes
    half = boxes.size[:, 2] / 2
    bottom, top = boxes.centre[:, 2] - half, boxes.centre[:, 2] + half
    return _some(boxes, np.flatnonzero(_shown(building, storey, boxes.centre[:, :2], bottom, top, heights, cut)))


def _objects(
    building: Building, storey: StoreyShape, heights: tuple[float, float], cut: float
) -> tuple[MeshObject, ...]:
    """Imported objects by the same rule."""
    if not building.objects:
        return ()
    bounds = np.array([one.bounds for one in building.objects])
    middle = bounds[:, :, :2].mean(axis=1)
    shown = _shown(building, storey, middle, bounds[:, 0, 2], bounds[:, 1, 2], heights, cut)
    return tuple(one for one, chosen in zip(building.objects, shown, strict=True) if chosen)


def _shown(
    building: Building, storey: StoreyShape, plan: Floats, bottom: Floats, top: Floats,
    heights: tuple[float, float], cut: float,
) -> NDArray[np.bool_]:  # fmt: skip
    """Which things (n,) over places (n, 2) a storey shows, by the heights of their bottom and top."""
    low, high = heights
    home = building.rooms_at(np.column_stack([plan, bottom + 0.01]))
    # What stands in no room is on the storey that holds its foot, or on all that it passes where those are cut.
    reaches = bottom >= low - _TOUCH if np.isinf(cut) else top > low + _TOUCH
    loose = (home < 0) & (bottom < high - _TOUCH) & reaches
    return np.asarray(np.isin(home, storey.rooms) | loose | ((bottom < min(cut, high)) & (top > cut)), bool)


def _some(boxes: Boxes, chosen: NDArray[np.intp]) -> Boxes:
    def part(values: Any) -> Any:
        return values[chosen] if isinstance(values, np.ndarray) else tuple(values[i] for i in chosen)

    return Boxes(**{f.name: part(getattr(boxes, f.name)) for f in fields(Boxes)})


def _bounds(building: Building, low: float, high: float) -> Floats:
    """(2, 3) lowest and highest corner of the storey's rooms, upright sheets and boxes."""
    plans = [shapely.get_coordinates(room.polygon) for room in building.rooms]
    points = [np.column_stack([plan, np.full(len(plan), low)]) for plan in plans]
    points += [s.frame.to_space(shapely.get_coordinates(s.polygon)) for s in building.sheets if s.vertical]
    plan = building.boxes.footprints().reshape(-1, 2)
    points.append(np.column_stack([plan, np.full(len(plan), low)]))
    every = np.concatenate(points)
    return np.array([[*every[:, :2].min(axis=0), low], [*every[:, :2].max(axis=0), high]])
