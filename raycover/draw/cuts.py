"""A building cut at plan height: where its sheets are met, and what lies below or above the cut."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.building.parts import Building, Sheet

Floats = NDArray[np.float64]
#: Height of the cut above the floor, m: the usual 1.0 to 1.2 m of architectural plans.
CUT_HEIGHT = 1.1
Level = Literal["cut", "below", "above"]


@dataclass(frozen=True)
class Trace:
    """A sheet in plan: a stretch from `start` to `end` (2,), cut through or lying below or above the cut."""

    sheet: Sheet
    level: Level
    start: Floats
    end: Floats

    @property
    def length(self) -> float:
        return float(np.linalg.norm(self.end - self.start))


def traces(building: Building, sheets: Sequence[Sheet]) -> list[Trace]:
    """Upright and sloping sheets in plan. Sloping ones are met where they cross the cut, upright ones always."""
    found: list[Trace] = []
    lines, polygons, cut_sheets = [], [], []
    for sheet in sheets:
        normal = sheet.frame.normal
        if abs(float(normal[2])) > 1 - 1e-9:
            continue
        corners: Floats = np.asarray(sheet.frame.to_space(shapely.get_coordinates(sheet.polygon)), np.float64)
        cut = _floor_of(building, corners) + CUT_HEIGHT
        low, high = float(corners[:, 2].min()), float(corners[:, 2].max())
        if low < cut < high:
            lines.append(_line_at(sheet, cut))
            polygons.append(sheet.polygon)
            cut_sheets.append(sheet)
        elif sheet.vertical:
            start, end = _span(corners[:, :2])
            found.append(Trace(sheet, "below" if high <= cut else "above", start, end))
    if lines:
        met = shapely.intersection(np.array(polygons, object), np.array(lines, object))
        parts, index = shapely.get_parts(met, return_index=True)
        for part, k in zip(parts, index, strict=True):
            if part.geom_type == "LineString" and part.length > 1e-4:
                ends = cut_sheets[k].frame.to_space(shapely.get_coordinates(part))[:, :2]
                found.append(Trace(cut_sheets[k], "cut", ends[0], ends[-1]))
    return found


def _floor_of(building: Building, corners: Floats) -> float:
    """The floor that a cut counts from; where all rooms share one, that one."""
    floors = {room.floor for room in building.rooms}
    if len(floors) == 1:
        return floors.pop()
    if not floors:
        return 0.0
    middle = corners[:, :2].mean(axis=0)
    return building.floor_at(float(middle[0]), float(middle[1]))


def _line_at(sheet: Sheet, z: float) -> Any:
    """The line at height z in a sheet's own plane, past both ends of its polygon."""
    frame = sheet.frame
    slope = np.array([frame.u[2], frame.v[2]])
    steep = float(slope @ slope)
    foot = slope * (z - frame.origin[2]) / steep
    along = np.array([-slope[1], slope[0]]) / np.sqrt(steep)
    x0, y0, x1, y1 = sheet.polygon.bounds
    reach = float(np.hypot(x1 - x0, y1 - y0)) + float(np.linalg.norm(foot - [x0, y0])) + 1.0
    return shapely.LineString([foot - along * reach, foot + along * reach])


def _span(points: Floats) -> tuple[Floats, Floats]:
    """The two ends of points (n, 2) that lie on a line."""
    axis = points[np.argmax(np.linalg.norm(points - points[0], axis=1))] - points[0]
    place = (points - points[0]) @ axis
    return points[int(place.argmin())], points[int(place.argmax())]


def wall_areas(cut: Sequence[Trace], thinnest: float) -> list[Any]:
    """Areas (shapely) of cut sheets at true thickness, at least `thinnest` m, filled at corners and junctions."""
    thick = np.array([max(t.sheet.construction.thickness_m, thinnest) for t in cut])
    return thickened(np.array([[t.start, t.end] for t in cut]).reshape(-1, 2, 2), thick)


def thickened(ends: Floats, thick: Floats, aside: Floats | None = None) -> list[Any]:
    """Areas (shapely) of lines (n, 2, 2) given a thickness (n,), filled at corners and junctions.

    A line lies in the middle of its area, or along its edge: `aside` (n,) is 1 where the area lies to its left, −1 to
    its right, 0 in the middle.
    """
    if not len(ends):
        return []
    aside = np.zeros(len(ends)) if aside is None else aside
    nodes = np.round(ends / 2e-3).astype(int)
    at_node: dict[tuple[int, int], list[int]] = defaultdict(list)
    for index, pair in enumerate(nodes):
        for point in pair:
            at_node[int(point[0]), int(point[1])].append(index)
    reach = thick * (1 + np.abs(aside)) / 2
    boxes = []
    for index, pair in enumerate(nodes):
        start, end = ends[index]
        along = (end - start) / np.linalg.norm(end - start)
        left = np.array([-along[1], along[0]]) * thick[index]
        near, far = left * (aside[index] - 1) / 2, left * (aside[index] + 1) / 2
        # Where others meet it, a wall runs on to the far face of the thickest of them.
        more = [max((reach[k] for k in at_node[int(p[0]), int(p[1])] if k != index), default=0.0) for p in pair]
        a, b = start - along * more[0], end + along * more[1]
        boxes.append(shapely.Polygon([a + near, b + near, b + far, a + far]))
    return list(shapely.get_parts(shapely.union_all(boxes)))
