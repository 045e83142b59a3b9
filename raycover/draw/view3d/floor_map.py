"""The map of margins as a picture to lie on its plane: colours, engraved gaps, the limit line."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.building.mesh import sheet_triangles
from raycover.building.parts import Building
from raycover.draw import palette
from raycover.draw.hatching import OPACITY
from raycover.draw.mapping import PaperMap, paper_map
from raycover.draw.projection import Projection
from raycover.draw.underlaid import tint
from raycover.solving.coverage import PlaneCoverage
from raycover.underlay import Underlay

Floats = NDArray[np.floating[Any]]
Box = tuple[float, float, float, float]

#: Longest side of a map's picture in pixels; graphics drivers take no more.
MOST_PX = 4096
#: The map lies this far (m) above its plane, so that floor and map never mix.
ABOVE_M = 0.004


@dataclass(frozen=True)
class Sheet3D:
    """A level piece of map: triangles (n, 3, 3) with their places in the picture (n, 3, 2), 0 to 1."""

    triangles: Floats
    places: Floats


@dataclass(frozen=True)
class FloorMap:
    """One plane's map. `image` (h, w, 3) with row 0 lowest covers `box`; `level_m` is its height over the floor."""

    image: NDArray[np.uint8]
    box: Box
    sheets: tuple[Sheet3D, ...]
    limits: tuple[Floats, ...]
    level_m: float


def shifted(floor_map: FloorMap, by: Floats) -> FloorMap:
    """A map moved by a vector (3,)."""
    sheets = tuple(replace(sheet, triangles=sheet.triangles + by) for sheet in floor_map.sheets)
    return replace(floor_map, sheets=sheets, limits=tuple(line + by for line in floor_map.limits))


def mapped_area(plane: PlaneCoverage, building: Building) -> list[tuple[Any, float]]:
    """What a plane's map covers: (plan polygon, floor under it) for each room, or for its extent."""
    surface = plane.surface
    rooms = {room.name: room for room in building.rooms}
    if surface.room_names and all(name in rooms for name in surface.room_names):
        return [(rooms[name].walkable, rooms[name].floor) for name in surface.room_names]
    x0, x1, y0, y1 = surface.edges
    floor = float(np.min(np.asarray(surface.floor)))
    return [(shapely.box(x0, y0, x1, y1), floor)]


def whole_area(plane: PlaneCoverage, building: Building) -> Any:
    """The union of what a plane's map covers."""
    return shapely.union_all([polygon for polygon, _ in mapped_area(plane, building)])


def map_level_m(plane: PlaneCoverage) -> float:
    """Height over the floor at which a map is drawn: its plane's, or the floor for a person."""
    return float(plane.surface.heights[0]) if plane.surface.target == "point" else 0.0


def make_map(
    plane: PlaneCoverage,
    building: Building,
    *,
    px_per_m: float,
    hatch_m: float,
    margin_db: NDArray[np.float32] | None = None,
    hatched: bool = True,
    underlay: Underlay | None = None,
) -> FloorMap:
    """A plane's map, or that of other margins (ny, nx) on it; hatch lines of gaps are `hatch_m` apart.

    An underlay of its storey shows faintly in the colours.
    """
    pieces = mapped_area(plane, building)
    outlines = [polygon for polygon, _ in pieces]
    bounds = np.array([polygon.bounds for polygon in outlines])
    x0, y0 = bounds[:, :2].min(axis=0)
    x1, y1 = bounds[:, 2:].max(axis=0)
    px_per_m = min(px_per_m, MOST_PX / max(x1 - x0, y1 - y0))
    # A "paper" on which a millimetre is a metre: what is drawn on it has metres.
    metres = Projection(1000, (0.0, 0.0, x1 - x0, y1 - y0), ((x0 + x1) / 2, (y0 + y1) / 2))
    margins = plane.margin_db if margin_db is None else margin_db
    flat = paper_map(plane.surface, margins, plane.reserve_db, outlines, metres, dpi=25.4 * px_per_m)
    image = palette.margin_rgb(filled(flat), plane.reserve_db)
    if underlay is not None and underlay.shows_on(plane.surface.storey):
        image = tint(image, underlay.over((x0, y0, x1, y1), image.shape[:2]) * np.float32(underlay.opacity))
    if hatched:
        engrave(image, flat.classes, px_per_m, hatch_m)
    level = map_level_m(plane)
    sheets = tuple(_sheet(polygon, floor + level, (x0, y0, x1, y1)) for polygon, floor in pieces)
    heights = np.array([floor for _, floor in pieces]) + level
    limits = _limit_lines(flat, x0, y0, float(heights.max())) if np.ptp(heights) < 1e-6 else ()
    return FloorMap(image, (float(x0), float(y0), float(x1), float(y1)), sheets, limits, level)


def filled(flat: PaperMap) -> NDArray[np.float32]:
    """Margins with what lies just outside the rooms taking its neighbour's, so that no edge shows white."""
    from scipy import ndimage

    outside = flat.classes < 0
    if not outside.any() or outside.all():
        return flat.margin_db
    nearest = ndimage.distance_transform_edt(outside, return_distances=False, return_indices=True)
    return np.asarray(flat.margin_db[nearest[0], nearest[1]])


def engrave(image: NDArray[np.uint8], classes: NDArray[np.int8], px_per_m: float, hatch_m: float) -> None:
    """White lines at 45° over what is not detected: close for not seen, twice as far apart for doubtful."""
    rows, columns = np.nonzero((classes == palette.NOT_SEEN) | (classes == palette.DOUBTFUL))
    if not len(rows):
        return
    spacing = hatch_m * np.where(classes[rows, columns] == palette.NOT_SEEN, 1.0, 2.0)
    across = (columns - rows) / np.sqrt(2) / px_per_m
    off = np.abs((across + spacing / 2) % spacing - spacing / 2)
    width = 0.13 * hatch_m
    alpha = np.clip((width / 2 - off) * px_per_m + 0.5, 0, 1)[:, None] * OPACITY
    image[rows, columns] = np.round(image[rows, columns] * (1 - alpha) + 255 * alpha).astype(np.uint8)


def _sheet(polygon: Any, z: float, box: Box) -> Sheet3D:
    flat = sheet_triangles(polygon)
    first, second = flat[:, 1] - flat[:, 0], flat[:, 2] - flat[:, 0]
    wrong = first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0] < 0
    flat[wrong] = flat[wrong][:, ::-1]
    x0, y0, x1, y1 = box
    places = (flat - [x0, y0]) / [x1 - x0, y1 - y0]
    return Sheet3D(np.concatenate([flat, np.full((*flat.shape[:2], 1), z + ABOVE_M)], axis=-1), places)


def _limit_lines(flat: PaperMap, x0: float, y0: float, z: float) -> tuple[Floats, ...]:
    """The limit (0 dB) as lines (n, 3)."""
    lines = flat.limit_lines()
    return tuple(np.column_stack([line + np.array([x0, y0]), np.full(len(line), z + 2 * ABOVE_M)]) for line in lines)
