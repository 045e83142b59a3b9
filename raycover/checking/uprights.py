"""Upright sheets in plan: a line each, with the heights it spans, in one tree to ask what is near."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from raycover.building.parts import Boxes, Building, Floats, Ints, Sheet


@dataclass(frozen=True)
class Uprights:
    """`sheets` that stand upright; `ends` (n, 2, 2) their lines in plan; `low`, `high` (n,) their heights (m)."""

    sheets: tuple[Sheet, ...]
    ends: Floats
    low: Floats
    high: Floats
    lines: Any
    tree: Any

    @classmethod
    def of(cls, building: Building) -> Uprights:
        """Those of a building; leaves of doors, which move, are left out."""
        sheets = tuple(s for s in building.sheets if s.vertical and s.kind not in ("door", "leaf"))
        ends = np.zeros((len(sheets), 2, 2))
        low, high = np.zeros(len(sheets)), np.zeros(len(sheets))
        for k, sheet in enumerate(sheets):
            space = sheet.frame.to_space(shapely.get_coordinates(sheet.polygon))
            low[k], high[k] = space[:, 2].min(), space[:, 2].max()
            along = np.array([sheet.frame.normal[1], -sheet.frame.normal[0]])
            place = space[:, :2] @ along
            ends[k] = space[place.argmin(), :2], space[place.argmax(), :2]
        lines = shapely.linestrings(ends) if len(sheets) else np.array([], object)
        return cls(sheets, ends, low, high, lines, shapely.STRtree(lines))

    def near(self, shape: Any, distance: float) -> Ints:
        """Indices of those within a distance (m) of a shape in plan, in the order of the building."""
        return np.sort(self.tree.query(shape, predicate="dwithin", distance=distance)).astype(np.int32)

    def covers(self, k: int, line: Any, low: float, high: float) -> float:
        """Area (m²) of sheet `k`, its openings left out, over a stretch of its line between two heights."""
        sheet = self.sheets[k]
        points = shapely.get_coordinates(line)
        corners = np.array([[x, y, z] for z in (low, high) for x, y in (points[0], points[-1])])
        patch = shapely.MultiPoint(sheet.frame.to_plane(corners)).convex_hull
        return float(sheet.polygon.intersection(patch).area)


def chosen(boxes: Boxes, index: Sequence[int]) -> Boxes:
    """Some of the boxes, by index."""
    keep = np.asarray(index, int)
    return Boxes(
        boxes.centre[keep],
        boxes.size[keep],
        boxes.turn_rad[keep],
        *(tuple(getattr(boxes, f)[i] for i in keep) for f in ("kinds", "names", "owners", "materials", "locs")),
    )


def heights(boxes: Boxes) -> tuple[Floats, Floats]:
    """Underside and top (n,) of boxes (m)."""
    return boxes.centre[:, 2] - boxes.size[:, 2] / 2, boxes.centre[:, 2] + boxes.size[:, 2] / 2


def millimetres(metres: float) -> str:
    """`250 mm`, or `0.1 mm` where it is less than one."""
    return f"{metres * 1000:.0f} mm" if metres >= 9.5e-4 else f"{metres * 1000:.1g} mm"
