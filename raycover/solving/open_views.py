"""What units may see of a raster with nothing in the way: its cells in reach, their margins, segments toward them.

Units of one make that hang alike, as high over a level raster and as far from its lines, see the same: that is worked
out once for all of them. Where a unit stands to the lines is rounded first, so that a unit by itself, or anywhere
else on the raster, gets the very same numbers.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Hashable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from raycover.detectors import Unit
from raycover.physics.margin import largest_reach_m
from raycover.physics.pattern import Footprint
from raycover.rays.segments import LIFT, Fan, Launch, Segments
from raycover.solving.airs import Airs
from raycover.solving.open_air import Weather, open_margin_db
from raycover.solving.surfaces import Surface

Floats = NDArray[np.floating]
Index = NDArray[np.intp]
Window = tuple[slice, slice]

#: Margins below this (dB) are not followed up: no ray is cast, the map says −inf.
LOWEST_DB = -9.0
#: Decimals, in cells, to which the place of a unit between the lines of a raster is known.
_DECIMALS = 9


@dataclass(frozen=True)
class Placed:
    """A unit of one technology to be cast on a window of a surface, in the air that it can see there."""

    unit: Unit
    footprints: tuple[Footprint, ...]
    window: Window
    weather: Weather


@dataclass(frozen=True)
class View:
    """What one unit may see at one height: cells (n,) of its window, flattened, each with its margin in the open
    (n,) in dB and its segment. `index` says which unit."""

    index: int
    cells: Index
    margin_db: Floats
    segments: Segments


@dataclass(frozen=True)
class _Spot:
    """Where a unit stands on a regular raster: the cell (row, column) whose lower left centre is no further than it,
    and how far (y, x) beyond that centre it is, in cells, 0 up to 1."""

    cell: tuple[int, int]
    beyond: tuple[float, float]

    @classmethod
    def of(cls, unit: Unit, surface: Surface) -> _Spot:
        cell, beyond = [], []
        for centres, at in ((surface.y, unit.position[1]), (surface.x, unit.position[0])):
            place = (float(at) - float(centres[0])) / surface.grid
            whole = math.floor(place)
            share = round(place - whole, _DECIMALS)
            if share >= 1:
                whole, share = whole + 1, 0.0
            cell.append(whole)
            beyond.append(share)
        return cls((cell[0], cell[1]), (beyond[0], beyond[1]))


@dataclass(frozen=True)
class _Field:
    """What units alike may see at one height: `cells` (n,) of `window`, flattened, which is counted from each one's own
    cell; and the `number` of each cell of the window among those, −1 where it is none of them.

    Where rooms in reach have airs of their own, margins are those of a declaration's contrast, and each unit's cells
    get the contrast of their own air: units alike need not stand in like rooms.
    """

    cells: Index
    number: NDArray[np.int32]
    margin_db: Floats
    fan: Fan
    window: Window
    height: float

    def of(self, index: int, placed: Placed, cell: tuple[int, int], surface: Surface, launch: Launch) -> View | None:
        inside = surface.inside[placed.window]
        own = _from(placed.window, cell)
        if own == self.window and inside.all():
            cells, margin, within = self.cells, self.margin_db, None
        else:
            number = self.number[_from(own, (self.window[0].start, self.window[1].start))]
            cells = np.flatnonzero((number >= 0) & inside)
            within = number.reshape(-1).take(cells).astype(np.intp)
            margin = self.margin_db.take(within)
        if (airs := placed.weather.airs_of(placed.unit)) is not None:
            margin = margin + self._heat_db(airs, surface, placed.window, cells)
            kept = np.flatnonzero(margin >= LOWEST_DB)
            cells, margin = cells.take(kept), margin.take(kept)
            within = kept if within is None else within.take(kept)
        if not len(cells):
            return None
        return View(index, cells, margin, launch.from_fan(placed.unit.position, self.fan, within))

    def _heat_db(self, airs: Airs, surface: Surface, window: Window, cells: Index) -> Floats:
        """What the air around cells (n,) of a window, flattened, adds to their margins."""
        row, column = np.divmod(cells, window[1].stop - window[1].start)
        x, y = (gathered(part, row, column) for part in surface.plan(*window))
        floor = np.asarray(surface.floor_at(*window), float)
        ground = floor if floor.ndim == 0 else gathered(floor, row, column)
        return np.asarray(airs.contrast_db[airs.at(x, y, ground + self.height)])


def _from(window: Window, cell: tuple[int, int]) -> Window:
    """A window counted from a cell."""
    rows, columns = window
    return slice(rows.start - cell[0], rows.stop - cell[0]), slice(columns.start - cell[1], columns.stop - cell[1])


def stand(unit: Unit, surface: Surface, window: Window) -> tuple[tuple[int, int], tuple[float, float]] | None:
    """Where a unit stands on a regular raster: the row and column of its own cell counted from a window's, and how far
    it is beyond that cell's centre, in cells. None on other rasters. With the window and its cells, all that `views`
    asks of a surface."""
    if not surface.is_regular:
        return None
    spot = _Spot.of(unit, surface)
    return (spot.cell[0] - window[0].start, spot.cell[1] - window[1].start), spot.beyond


def views(placed: Sequence[Placed], surface: Surface, launch: Launch) -> Iterator[View]:
    """What each unit may see of a surface, a view a height, units alike after each other; nothing for none."""
    groups: dict[Hashable, list[tuple[int, tuple[int, int]]]] = defaultdict(list)
    for index, one in enumerate(placed):
        unit = one.unit
        if surface.is_regular:
            spot = _Spot.of(unit, surface)
            key: Hashable = (
                unit.kind, unit.frequency_ghz, id(one.footprints), unit.rotation.tobytes(), unit.masks,
                unit.reach_behind, float(unit.position[2]), spot.beyond, launch.planes_at(unit.position, unit.ahead),
                one.weather.airs_of(unit) is None,
            )  # fmt: skip
            groups[key].append((index, spot.cell))
        else:
            groups[index].append((index, (one.window[0].start, one.window[1].start)))
    for members in groups.values():
        for height in surface.heights:
            field = _field(
                [placed[index] for index, _ in members], [cell for _, cell in members], surface, height, launch
            )
            for index, cell in members:
                if (view := field.of(index, placed[index], cell, surface, launch)) is not None:
                    yield view


def _field(
    alike: Sequence[Placed],
    cells: Sequence[tuple[int, int]],
    surface: Surface,
    height: float,
    launch: Launch,
) -> _Field:
    """What units alike see at a height, each by its own cell, over all that any of their windows holds."""
    one = alike[0]
    unit, planes = one.unit, launch.planes_at(one.unit.position, one.unit.ahead)
    rows, columns = (
        slice(
            min(p.window[axis].start - cell[axis] for p, cell in zip(alike, cells, strict=True)),
            max(p.window[axis].stop - cell[axis] for p, cell in zip(alike, cells, strict=True)),
        )
        for axis in (0, 1)
    )
    if surface.is_regular:
        beyond = _Spot.of(unit, surface).beyond
        dy = ((np.arange(rows.start, rows.stop) - beyond[0]) * surface.grid)[:, None]
        dx = ((np.arange(columns.start, columns.stop) - beyond[1]) * surface.grid)[None, :]
    else:
        x, y = surface.plan(*one.window)
        dx, dy = x - unit.position[0], y - unit.position[1]
    dz = np.asarray(surface.floor_at(*one.window) + height - unit.position[2], float)
    lit, lowest_db = one.weather, LOWEST_DB
    if lit.airs_of(unit) is not None:
        lit, lowest_db = lit.unheated, LOWEST_DB - max(p.weather.most_db(unit) for p in alike)
    margin = open_margin_db(unit, (dx, dy, dz), one.footprints, lit)
    shape = rows.stop - rows.start, columns.stop - columns.start
    live = np.flatnonzero(margin >= lowest_db)  # as one row: several times faster than by row and column
    row, column = np.divmod(live, shape[1])
    directions = np.empty((3, len(live)), np.float32)
    directions[0], directions[1] = gathered(dx, row, column), gathered(dy, row, column)
    directions[2] = (dz if dz.ndim == 0 else dz.ravel().take(live)) + (LIFT if height < LIFT else 0.0)
    fan = launch.fan(planes, directions.T)
    number = np.full(shape, -1, np.int32)
    number.reshape(-1)[live] = np.arange(len(live), dtype=np.int32)
    return _Field(live, number, margin.ravel().take(live), fan, (rows, columns), height)


def gathered(values: Floats, row: Index, column: Index) -> Floats:
    """Values (ny, nx) at cells, where the array may be one row or one column that stands for all."""
    if values.shape[0] == 1:
        return values[0].take(column)
    return values[:, 0].take(row) if values.shape[1] == 1 else values.ravel().take(row * values.shape[1] + column)


def window(
    unit: Unit, footprints: tuple[Footprint, ...], surface: Surface, weather: Weather, lowest_db: float = LOWEST_DB
) -> Window | None:
    """The rows and columns that a unit can reach at all, or None."""
    heat = weather.most_db(unit)
    if not footprints or not np.isfinite(heat):
        return None
    if surface.places is not None:  # a stair is small, and its cells stand in no order of x and y
        return slice(0, surface.shape[0]), slice(0, surface.shape[1])
    # Plain numbers: on so few, arrays take several times longer, once for every unit and surface.
    east, north, up = unit.position.tolist()
    lowest, highest = surface.floor_range
    below, above = lowest + min(surface.heights) - up, highest + max(surface.heights) - up
    low_x, low_y, high_x, high_y = _box(unit, footprints, below, above, heat - lowest_db)
    spans = []
    for centres, low, high in ((surface.y, low_y + north, high_y + north), (surface.x, low_x + east, high_x + east)):
        first, last = np.searchsorted(centres, (low - 1e-6, high + 1e-6)).tolist()
        if high <= low or first >= last:
            return None
        spans.append(slice(first, last))
    return spans[0], spans[1]


def place_unit(unit: Unit, footprints: tuple[Footprint, ...], surface: Surface, weather: Weather) -> Placed | None:
    """A unit of one technology with the window of a surface that it can reach and the air it can see people in there:
    that of rooms out of its reach is left out, and means nothing to it. None where it reaches nothing."""
    felt = weather.felt_by(unit)
    near = window(unit, footprints, surface, felt)
    if near is not None and felt.airs is not None:
        x, y = surface.plan(*near)
        floor, heights = surface.floor_at(*near), surface.heights
        low = [x.min(), y.min(), np.min(floor) + min(heights)]
        high = [x.max(), y.max(), np.max(floor) + max(heights)]
        some = felt.airs.within(low, high)
        if some is not felt.airs:
            felt = replace(felt, airs=some)
            near = window(unit, footprints, surface, felt)
    return None if near is None else Placed(unit, footprints, near, felt)


def _box(
    unit: Unit, footprints: tuple[Footprint, ...], below: float, above: float, spare_db: float
) -> tuple[float, float, float, float]:
    """How far (m) a unit reaches west, south, east and north of itself, between heights below and above it."""
    nearest = 0.0 if below <= 0 <= above else min(abs(below), abs(above))
    low_x = low_y = high_x = high_y = 0.0
    for index, footprint in enumerate(footprints):
        slant = largest_reach_m(footprint, unit.reach_behind) * 10 ** (spare_db / 40)
        flat = math.sqrt(max(slant**2 - nearest**2, 0.0))
        box = -flat, -flat, flat, flat
        if unit.kind == "infrared" and unit.tilt_deg == 0:
            # The lens edge on the lowest plane is the footprint scaled: a long one needs a long window only.
            scale = max(-below, 0.0) / footprint.drop * 1.0001
            if (radius := footprint.shape.constant) is not None:
                edge = [-radius * scale, -radius * scale, radius * scale, radius * scale]
            else:
                outline = footprint.hull @ unit.rotation[:2, :2].T * scale
                edge = [*outline.min(axis=0).tolist(), *outline.max(axis=0).tolist()]
            box = max(box[0], edge[0]), max(box[1], edge[1]), min(box[2], edge[2]), min(box[3], edge[3])
        if index == 0:
            low_x, low_y, high_x, high_y = box
        else:
            low_x, low_y = min(low_x, box[0]), min(low_y, box[1])
            high_x, high_y = max(high_x, box[2]), max(high_y, box[3])
    return low_x, low_y, high_x, high_y
