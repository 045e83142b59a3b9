"""Surfaces that maps lie on: sample points, the area each stands for, and the raster of flat ones.

A cell's area is the part of it inside its room; its centre is where it is looked at. The area of a cell whose
centre falls outside the room (so behind the wall) goes to the nearest cell of that room whose centre is
inside: areas add up to the room's, and no cell is judged from the wrong side of a wall. Cells in solids, in
closed imported objects, and in racking with or without goods, are left out: nobody moves there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage

from raycover.building.parts import Boxes, Building, RoomShape, StairShape
from raycover.errors import InputError, Problem
from raycover.rays.enclosed import Enclosures
from raycover.scene.devices import PlaneSpec
from raycover.scene.schema import Scene
from raycover.solving.barriers import Barred, barred, barriers
from raycover.solving.headroom import above_roof

Floats = NDArray[np.floating]
#: Below this many cells a room's share is coarse, and the user is told.
FEWEST_CELLS = 100


@dataclass(frozen=True)
class Surface:
    """A map at one height over the floors of rooms, over z = 0 in an extent, or over the steps of a stair.

    `x` (nx,), `y` (ny,) cell centres (m); `floor` (ny, nx) height of the floor there, or one number where it
    is level; `room` (ny, nx) index into `room_names`, −1 outside; `inside` (ny, nx) cells that count;
    `area` (ny, nx) m², 0 where not inside. `heights` are those at which being seen counts.

    `plane` is the plane of the scene, `storey` the storey it lies in where there are several. On a stair
    (`stairs` its name) x runs along the unrolled way up, y across, and `places` (ny, nx, 2) says where in plan
    a cell lies. `target_m2`: radar cross section of what moves there; None: what each declaration assumes.
    `standing`: (floor (m), ends (m, 2, 2) in plan) of partitions and the like that stand at its height.
    """

    name: str
    motion: str
    target: str
    heights: tuple[float, ...]
    grid: float
    x: Floats
    y: Floats
    floor: Floats | float
    room: NDArray[np.int16]
    inside: NDArray[np.bool_]
    area: Floats
    room_names: tuple[str, ...]
    plane: str = ""
    storey: str | None = None
    stairs: str | None = None
    places: Floats | None = None
    target_m2: float | None = None
    standing: tuple[tuple[float, Floats], ...] = ()

    @property
    def shape(self) -> tuple[int, int]:
        return len(self.y), len(self.x)

    @property
    def edges(self) -> tuple[float, float, float, float]:
        """Outer edges (xmin, xmax, ymin, ymax) in m."""
        half = self.grid / 2
        return float(self.x[0] - half), float(self.x[-1] + half), float(self.y[0] - half), float(self.y[-1] + half)

    @cached_property
    def floor_range(self) -> tuple[float, float]:
        """The lowest and highest floor (m) under any cell."""
        return float(np.min(self.floor)), float(np.max(self.floor))

    @cached_property
    def is_regular(self) -> bool:
        """Whether it is level and its cells stand in rows and columns a `grid` apart."""
        if self.places is not None or not isinstance(self.floor, float):
            return False
        even = (c[0] + np.arange(len(c)) * self.grid for c in (self.x, self.y))
        return all(np.allclose(c, e, rtol=0, atol=1e-9) for c, e in zip((self.x, self.y), even, strict=True))

    @cached_property
    def barred(self) -> Barred | None:
        """Between which cells something stands; None: between none."""
        if not self.standing:
            return None
        here = [
            None if isinstance(self.floor, float) else np.asarray(self.floor == floor) for floor, _ in self.standing
        ]
        lots = [(ends, own) for (_, ends), own in zip(self.standing, here, strict=True)]
        return barred(lots, self.x, self.y, self.grid)

    def floor_at(self, rows: Any, columns: Any) -> Floats | float:
        """The floor under cells, by index."""
        return self.floor if isinstance(self.floor, float) else self.floor[rows, columns]

    def plan(self, rows: slice, columns: slice) -> tuple[Floats, Floats]:
        """x and y in plan of a window of cells, shapes that broadcast to the window's."""
        if self.places is None:
            return self.x[columns][None, :], self.y[rows][:, None]
        return self.places[rows, columns, 0], self.places[rows, columns, 1]

    def points(self, rows: NDArray[np.integer], columns: NDArray[np.integer], height: float) -> Floats:
        """(n, 3) sample points of cells at one of the heights."""
        z = np.broadcast_to(np.asarray(self.floor_at(rows, columns)) + height, np.shape(rows))
        if self.places is not None:
            return np.concatenate([self.places[rows, columns], z[..., None]], axis=-1)
        return np.stack([self.x[columns], self.y[rows], z], axis=-1)


def make_surfaces(scene: Scene, building: Building) -> tuple[list[Surface], list[Problem]]:
    """A surface for each plane and storey, and for each plane and stair, with warnings.

    Raises InputError for a plane that lies nowhere.
    """
    problems: list[Problem] = []
    surfaces: list[Surface] = []
    several = len(building.storeys) > 1
    layouts = [_layout_of_rooms(building.rooms, storey.rooms, scene.grid) for storey in building.storeys]
    enclosures = Enclosures(building)
    for index, plane in enumerate(scene.planes):
        if plane.extent is not None:
            layout = _layout_of_extent(plane.extent, building.rooms, scene.grid)
            surfaces.append(_surface(plane, layout, building, enclosures))
            continue
        if not building.rooms:
            problems.append(
                Problem(
                    "plane-nowhere",
                    f'plane "{plane.name}" has no room to lie in',
                    scene.position("planes", index) if "planes" in scene.model_fields_set else scene.position(),
                    "give the scene rooms, or the plane an extent: [xmin, ymin, xmax, ymax]",
                )
            )
            continue
        for storey, layout in zip(building.storeys, layouts, strict=True):
            name = f"{plane.name} {storey.name}" if several else plane.name
            surfaces.append(_surface(plane, layout, building, enclosures, name, storey.name if several else None))
        surfaces += [stair_surface(plane, stairs, scene.grid) for stairs in building.stairs]
    if problems:
        raise InputError(problems)
    return surfaces, [p for layout in layouts for p in _coarse_rooms(scene, layout)]


@dataclass(frozen=True)
class Strip:
    """A piece of a stair (by index) on its unrolled surface: its columns, `wide` (m) each, from `start` (m) on."""

    piece: int
    column: int
    n_columns: int
    start: float
    wide: float

    @property
    def columns(self) -> slice:
        return slice(self.column, self.column + self.n_columns)


def unrolled(stairs: StairShape, grid: float) -> list[Strip]:
    """The pieces of a stair end to end from the foot; a blank column where flight follows flight, at a floor."""
    strips: list[Strip] = []
    column, reached = 0, 0.0
    for number, piece in enumerate(stairs.pieces):
        # Whole cells a tread, so that none straddles a step.
        per_tread = max(round(piece.going / grid), 1) if piece.kind == "flight" else 0
        n = piece.n_treads * per_tread if per_tread else max(int(np.ceil(piece.length / grid - 1e-6)), 1)
        if not n:
            continue
        if strips and stairs.pieces[number - 1].kind == piece.kind == "flight":
            column, reached = column + 1, reached + grid
        strips.append(Strip(number, column, n, reached, piece.length / n))
        column, reached = column + n, reached + piece.length
    return strips


def stair_surface(plane: PlaneSpec, stairs: StairShape, grid: float) -> Surface:
    """The steps and landings of a stair, unrolled piece by piece from the foot, a blank column between storeys."""
    n_rows = max(int(np.ceil(stairs.span / grid - 1e-6)), 1)
    deep = stairs.span / n_rows
    across = (np.arange(n_rows) + 0.5) * deep
    x, floor, inside, area, places = [], [], [], [], []
    column = 0
    for strip in unrolled(stairs, grid):
        piece, n = stairs.pieces[strip.piece], strip.n_columns
        if strip.column > column:
            x.append(np.array([strip.start - grid / 2]))
            floor.append(np.full((n_rows, 1), piece.origin[2]))
            inside.append(np.zeros((n_rows, 1), bool))
            area.append(np.zeros((n_rows, 1)))
            places.append(np.broadcast_to(piece.origin[:2], (n_rows, 1, 2)))
        column = strip.column + n
        along = (np.arange(n) + 0.5) * strip.wide
        sideways = across - piece.across_from
        on = (sideways > 0) & (sideways < piece.width)
        # The rows that a flight fills may end within a cell: its area is shared out evenly.
        row_area = np.where(on, piece.width / max(on.sum(), 1), 0.0)
        x.append(strip.start + along)
        floor.append(np.broadcast_to(piece.height(along), (n_rows, n)))
        inside.append(np.broadcast_to(on[:, None], (n_rows, n)))
        area.append(row_area[:, None] * np.full(n, strip.wide))
        plan = piece.origin[:2] + along[None, :, None] * piece.along[:2] + sideways[:, None, None] * piece.across[:2]
        places.append(plan)
    whole = np.concatenate(inside, axis=1)
    return Surface(
        f"{plane.name} {stairs.name}",
        plane.motion,
        plane.target,
        plane.target_heights,
        grid,
        np.concatenate(x),
        across,
        np.concatenate(floor, axis=1),
        np.where(whole, 0, -1).astype(np.int16),
        whole,
        np.concatenate(area, axis=1),
        (stairs.name,),
        plane.name,
        None,
        stairs.name,
        np.concatenate(places, axis=1),
        plane.cross_section_m2,
    )


def cell_corners(surface: Surface, stairs: StairShape) -> tuple[Floats, NDArray[np.intp], NDArray[np.intp]]:
    """Corners (n, 4, 3) of the cells of a stair's surface, anticlockwise from above, and their rows and columns."""
    deep = stairs.span / len(surface.y)
    corners, rows, columns = [], [], []
    for strip in unrolled(stairs, surface.grid):
        piece = stairs.pieces[strip.piece]
        row, column = np.nonzero(surface.inside[:, strip.columns])
        along = column * strip.wide
        # The outermost cells end where the piece does.
        low = np.clip(row * deep - piece.across_from, 0.0, piece.width)
        high = np.clip((row + 1) * deep - piece.across_from, 0.0, piece.width)
        z = piece.height(along + strip.wide / 2) + surface.heights[0]
        # `across` is to the right of `along`: along first runs anticlockwise the other way round.
        ends = [(along, low), (along, high), (along + strip.wide, high), (along + strip.wide, low)]
        if float(np.cross(piece.along, piece.across)[2]) > 0:
            ends = ends[::-1]
        corner = [piece.origin[:2] + a[:, None] * piece.along[:2] + b[:, None] * piece.across[:2] for a, b in ends]
        flat = np.stack(corner, axis=1)
        corners.append(np.concatenate([flat, np.broadcast_to(z[:, None, None], (len(z), 4, 1))], axis=-1))
        rows.append(row)
        columns.append(column + strip.column)
    return np.concatenate(corners), np.concatenate(rows), np.concatenate(columns)


@dataclass(frozen=True)
class _Layout:
    """A raster with its rooms, before anything standing in it is taken out."""

    grid: float
    x: Floats
    y: Floats
    floor: Floats | float
    room: NDArray[np.int16]
    area: Floats
    names: tuple[str, ...]
    n_cells: tuple[int, ...]
    members: tuple[int, ...] = ()


def _axis(low: float, high: float, grid: float) -> Floats:
    n = max(int(np.ceil((high - low) / grid - 1e-6)), 1)
    return low + (np.arange(n) + 0.5) * grid


def _layout_of_rooms(everything: Sequence[RoomShape], members: tuple[int, ...], grid: float) -> _Layout:
    rooms = [everything[i] for i in members]
    bounds = np.array([room.polygon.bounds for room in rooms])
    low, high = bounds[:, :2].min(axis=0), bounds[:, 2:].max(axis=0)
    x, y = _axis(low[0], high[0], grid), _axis(low[1], high[1], grid)
    owner = np.full((len(y), len(x)), -1, np.int16)
    area = np.zeros(owner.shape)
    floors = np.zeros(owner.shape)
    n_cells = []
    for index, room in enumerate(rooms):
        x0, y0, x1, y1 = room.polygon.bounds
        rows = slice(max(int((y0 - low[1]) / grid) - 1, 0), int((y1 - low[1]) / grid) + 2)
        columns = slice(max(int((x0 - low[0]) / grid) - 1, 0), int((x1 - low[0]) / grid) + 2)
        here = np.zeros(owner[rows, columns].shape, bool)
        for polygon in shapely.get_parts(room.walkable):
            inside, part = cells_of(polygon, x[columns], y[rows], grid)
            inside &= owner[rows, columns] < 0
            owner[rows, columns][inside] = index
            area[rows, columns][inside] = part[inside]
            here |= inside
        floors[rows, columns][here] = room.floor
        n_cells.append(int(here.sum()))
    levels = {room.floor for room in rooms}
    floor: Floats | float = float(levels.pop()) if len(levels) == 1 else floors
    names = tuple(room.name for room in rooms)
    return _Layout(grid, x, y, floor, owner, area, names, tuple(n_cells), members)


def cells_of(polygon: Any, x: Floats, y: Floats, grid: float) -> tuple[NDArray[np.bool_], Floats]:
    """Which cells have their centre in a polygon, and the area (m²) each of those stands for."""
    inside, area = _rectilinear(polygon, x, y, grid) or _any_outline(polygon, x, y, grid)
    stray = (area > 1e-12) & ~inside
    if stray.any() and inside.any():
        nearest = ndimage.distance_transform_edt(~inside, return_distances=False, return_indices=True)
        np.add.at(area, (nearest[0][stray], nearest[1][stray]), area[stray])
    area[~inside] = 0.0
    return inside, area


def _rectilinear(polygon: Any, x: Floats, y: Floats, grid: float) -> tuple[NDArray[np.bool_], Floats] | None:
    """Centres inside and areas for an outline of level and upright edges only, else None.

    Green's theorem cell by cell: each level edge adds, with the sign of its direction, the part of a cell
    that lies above it; the sum over edges is one matrix product.
    """
    if polygon.interiors:
        return None
    points = shapely.get_coordinates(polygon.exterior if polygon.exterior.is_ccw else polygon.exterior.reverse())
    steps = np.diff(points, axis=0)
    if np.any((np.abs(steps) > 1e-9).all(axis=1)):
        return None
    level = np.flatnonzero(np.abs(steps[:, 0]) > 1e-9)
    start, end = points[level, 0], points[level + 1, 0]
    left, right = np.minimum(start, end), np.maximum(start, end)
    sign, height = np.sign(steps[level, 0]), points[level, 1]
    half = grid / 2
    wide = np.clip(np.minimum(x + half, right[:, None]) - np.maximum(x - half, left[:, None]), 0, grid)
    above = np.clip(y[:, None] + half - height, 0, grid)
    in_span = (left[:, None] <= x) & (x < right[:, None])
    count = ((y[:, None] > height) * sign) @ in_span
    return count > 0.5, np.clip((above * sign) @ wide, 0, grid * grid)


def _any_outline(polygon: Any, x: Floats, y: Floats, grid: float) -> tuple[NDArray[np.bool_], Floats]:
    xx, yy = np.meshgrid(x, y)
    inside = shapely.contains_xy(polygon, xx, yy)
    area = np.where(inside, grid * grid, 0.0)
    edge = _edge_cells(polygon, x, y, grid)
    rows, columns = np.nonzero(edge)
    half = grid / 2
    cells = shapely.box(x[columns] - half, y[rows] - half, x[columns] + half, y[rows] + half)
    shapely.prepare(polygon)
    whole = shapely.covers(polygon, cells)
    cut = ~whole & shapely.intersects(polygon, cells)
    part = np.where(whole, grid * grid, 0.0)
    part[cut] = shapely.area(shapely.intersection(cells[cut], polygon))
    area[rows, columns] = part
    return inside, area


def _edge_cells(polygon: Any, x: Floats, y: Floats, grid: float) -> NDArray[np.bool_]:
    """Cells that the outline runs through or along, and their neighbours."""
    edge = np.zeros((len(y), len(x)), bool)
    for ring in (polygon.exterior, *polygon.interiors):
        points = shapely.get_coordinates(shapely.segmentize(ring, grid / 2))
        column = np.clip(((points[:, 0] - x[0]) / grid + 0.5).astype(int), 0, len(x) - 1)
        row = np.clip(((points[:, 1] - y[0]) / grid + 0.5).astype(int), 0, len(y) - 1)
        edge[row, column] = True
    return ndimage.binary_dilation(edge, np.ones((3, 3), bool))


def _layout_of_extent(extent: Sequence[float], rooms: Sequence[RoomShape], grid: float) -> _Layout:
    x, y = _axis(extent[0], extent[2], grid), _axis(extent[1], extent[3], grid)
    wide, deep = _spans(x, extent[2], grid), _spans(y, extent[3], grid)
    floor: Floats | float = 0.0
    if any(room.floor != 0 for room in rooms):
        xx, yy = np.meshgrid(x, y)
        floor = np.zeros(xx.shape)
        for room in rooms:
            floor[shapely.contains_xy(room.polygon, xx, yy)] = room.floor
    area = deep[:, None] * wide[None, :]
    owner = np.where(area > 0, 0, -1).astype(np.int16)
    return _Layout(grid, x, y, floor, owner, area, ("extent",), (int((area > 0).sum()),))


def _spans(centres: Floats, high: float, grid: float) -> Floats:
    """Width (n,) that each cell of an axis stands for; one whose centre lies past the end gives its own away."""
    wide = np.minimum(centres + grid / 2, high) - (centres - grid / 2)
    if len(wide) > 1 and centres[-1] > high:
        wide[-2:] = wide[-2] + wide[-1], 0.0
    return wide


def area_surface(
    plane: PlaneSpec,
    outline: Any,
    rooms: Sequence[RoomShape],
    building: Building,
    enclosures: Enclosures,
    grid: float,
    *,
    name: str,
    ground: float = 0.0,
    beyond: bool = False,
) -> Surface:
    """What of an outline (shapely, m) lies in some rooms, and `beyond` them on a `ground` (m), as a map of its own.

    Cells beyond count as a room of their own named "extent". What of the outline no room holds is left out unless
    `beyond`.
    """
    low, high = np.array(outline.bounds[:2]), np.array(outline.bounds[2:])
    x, y = _axis(low[0], high[0], grid), _axis(low[1], high[1], grid)
    owner = np.full((len(y), len(x)), -1, np.int16)
    area, floors = np.zeros(owner.shape), np.full(owner.shape, float(ground))
    parts = [(room.walkable.intersection(outline), room.floor) for room in rooms]
    if beyond:
        outside = outline.difference(shapely.union_all([room.polygon for room in rooms]))
        parts.append((outside, ground))
    for index, (part, floor) in enumerate(parts):
        for polygon in shapely.get_parts(part):
            if polygon.geom_type != "Polygon" or polygon.area < 1e-9:
                continue
            inside, share = cells_of(polygon, x, y, grid)
            inside &= owner < 0
            owner[inside], area[inside], floors[inside] = index, share[inside], floor
    names = (*(room.name for room in rooms), *(("extent",) if beyond else ()))
    members = tuple(next(i for i, known in enumerate(building.rooms) if known is room) for room in rooms)
    layout = _Layout(grid, x, y, floors, owner, area, names, (), members)
    return _surface(plane, layout, building, enclosures, name)


def _surface(
    plane: PlaneSpec,
    layout: _Layout,
    building: Building,
    enclosures: Enclosures,
    name: str | None = None,
    storey: str | None = None,
) -> Surface:
    grid = float(layout.grid)
    solid = np.zeros(layout.room.shape, bool)
    for height in plane.target_heights:
        level = np.asarray(layout.floor) + height
        for boxes in (building.boxes, building.envelopes):
            solid |= cells_in_boxes(boxes, layout.x, layout.y, level, grid)
        solid |= cells_in_objects(enclosures, layout.x, layout.y, level)
    under = [building.rooms[i] for i in layout.members]
    roofed = above_roof(under, layout.x, layout.y, layout.room, min(plane.target_heights))
    inside = (layout.room >= 0) & ~solid & ~roofed
    return Surface(
        name if name is not None else plane.name,
        plane.motion,
        plane.target,
        plane.target_heights,
        grid,
        layout.x,
        layout.y,
        layout.floor,
        np.where(inside, layout.room, -1).astype(np.int16),
        inside,
        np.where(inside, layout.area, 0.0),
        layout.names,
        plane.name,
        storey,
        target_m2=plane.cross_section_m2,
        standing=_standing(plane, layout, building, inside),
    )


def _standing(
    plane: PlaneSpec, layout: _Layout, building: Building, inside: NDArray[np.bool_]
) -> tuple[tuple[float, Floats], ...]:
    """What stands on each floor under a plane at its lowest height; rooms' walls where it lies over an extent."""
    floors = [layout.floor] if isinstance(layout.floor, float) else np.unique(layout.floor[inside]).tolist()
    bounds = np.array([[layout.x[0], layout.y[0]], [layout.x[-1], layout.y[-1]]])
    height, rooms = min(plane.target_heights), [] if plane.extent is not None else [r.name for r in building.rooms]
    found = [(floor, barriers(building.upright, floor, height, bounds, rooms)) for floor in floors]
    return tuple((floor, ends) for floor, ends in found if len(ends))


def cells_in_boxes(boxes: Boxes, x: Floats, y: Floats, z: Floats, grid: float) -> NDArray[np.bool_]:
    """(ny, nx) cells whose centre, at heights z (ny, nx) or one number, lies in a box, faces included."""
    found = np.zeros((len(y), len(x)), bool)
    if not len(boxes):
        return found
    up = boxes.size[:, 2] / 2
    low, high = boxes.centre[:, 2] - up, boxes.centre[:, 2] + up
    level = np.flatnonzero((low <= z.max() + 1e-9) & (high >= z.min() - 1e-9))
    origin = np.array([x[0], y[0]])
    first = np.ceil((boxes.plan_bounds[0][level] - 1e-9 - origin) / grid).astype(int)
    last = np.floor((boxes.plan_bounds[1][level] + 1e-9 - origin) / grid).astype(int)
    first, last = np.maximum(first, 0), np.minimum(last, [len(x) - 1, len(y) - 1])
    if not z.ndim:
        # Most boxes stand square to the raster and hold whole rows and columns: those are counted from their corners.
        square = np.abs(np.sin(2 * boxes.turn_rad[level])) < 1e-12
        found = _cells_in_windows(first[square], last[square], found.shape)
        level, first, last = level[~square], first[~square], last[~square]
    span = np.maximum(last - first + 1, 0)
    size = span[:, 0] * span[:, 1]
    # One row a (box, cell) pair of the boxes' windows.
    pair = np.repeat(np.arange(len(level)), size)
    within = np.arange(size.sum()) - np.repeat(np.cumsum(size) - size, size)
    column = first[pair, 0] + within % np.maximum(span[pair, 0], 1)
    row = first[pair, 1] + within // np.maximum(span[pair, 0], 1)
    box = level[pair]
    dx, dy = x[column] - boxes.centre[box, 0], y[row] - boxes.centre[box, 1]
    cos, sin = np.cos(boxes.turn_rad[box]), np.sin(boxes.turn_rad[box])
    half = boxes.size[box] / 2 + 1e-9
    there = z[row, column] if z.ndim else z
    hit = (
        (np.abs(dx * cos + dy * sin) <= half[:, 0])
        & (np.abs(dy * cos - dx * sin) <= half[:, 1])
        & (np.abs(there - boxes.centre[box, 2]) <= half[:, 2])
    )
    found[row[hit], column[hit]] = True
    return found


def _cells_in_windows(first: NDArray[np.intp], last: NDArray[np.intp], shape: tuple[int, int]) -> NDArray[np.bool_]:
    """Cells (ny, nx) in any of the windows (n, 2) from first column and row to last, those included."""
    some = (first <= last).all(axis=1)
    (x0, y0), (x1, y1) = first[some].T, last[some].T + 1
    change = np.zeros((shape[0] + 1, shape[1] + 1), np.int32)
    for row, column, sign in ((y0, x0, 1), (y0, x1, -1), (y1, x0, -1), (y1, x1, 1)):
        np.add.at(change, (row, column), sign)
    return np.asarray(change.cumsum(axis=0, dtype=np.int32).cumsum(axis=1, dtype=np.int32)[:-1, :-1] > 0)


def cells_in_objects(enclosures: Enclosures, x: Floats, y: Floats, z: Floats) -> NDArray[np.bool_]:
    """(ny, nx) cells whose centre, at heights z (ny, nx) or one number, lies in a closed imported object."""
    found = np.zeros((len(y), len(x)), bool)
    for index, one in enumerate(enclosures.objects):
        low, high = one.bounds
        rows, columns = np.flatnonzero((low[1] <= y) & (y <= high[1])), np.flatnonzero((low[0] <= x) & (x <= high[0]))
        if not one.closed or not len(rows) or not len(columns):
            continue
        row, column = (grid.ravel() for grid in np.meshgrid(rows, columns, indexing="ij"))
        heights = z[row, column] if z.ndim else np.full(len(row), float(z))
        hit = enclosures.holds(index, np.column_stack([x[column], y[row], heights]))
        found[row[hit], column[hit]] = True
    return found


def _coarse_rooms(scene: Scene, layout: _Layout) -> list[Problem]:
    return [
        Problem(
            "coarse-grid",
            f'room "{name}" has only {n} cells of {scene.grid:g} m: its share is coarse',
            scene.position("rooms", layout.members[index]),
            "make grid finer",
            severity="warning",
        )
        for index, (name, n) in enumerate(zip(layout.names, layout.n_cells, strict=True))
        if n < FEWEST_CELLS
    ]
