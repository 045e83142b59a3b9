"""What models and pages show of a plane: its storeys with all that stands in them, its maps and detectors."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.building.parts import Building
from raycover.detectors import Unit
from raycover.draw.sharing.cells import MapCells, map_cells
from raycover.draw.view3d.camera import View, long_side_deg
from raycover.draw.view3d.cutaway import Cuts
from raycover.draw.view3d.floor_map import map_level_m
from raycover.draw.view3d.people import seated_figures
from raycover.draw.view3d.solids import Drawn, outlines_under
from raycover.draw.view3d.still import home_of, shifted_seats, slab_of
from raycover.draw.view3d.tray_bodies import draw_trays
from raycover.draw.view3d.trays import StairRun, Tray, group_of, lifts, trays_of
from raycover.solving.coverage import Coverage, PlaneCoverage

Floats = NDArray[np.floating[Any]]

#: Nothing is cut at this height (m) above a floor.
WHOLE_M = 1e3
#: Obliquely from the south-east of the long side, as the window begins.
_TURN_DEG, _ELEVATION_DEG = -64.0, 38.0


@dataclass(frozen=True)
class ShownMap:
    """One of a plane's maps and its cells, where they are shown."""

    name: str
    plane: PlaneCoverage
    cells: MapCells


@dataclass(frozen=True)
class Level:
    """A storey: what stands in it, its maps, and how far (3,) it is moved from where it lies.

    `seated` and `unnoticed` (n, 3, 3) are people at their seats, `covered` (n, 2, 3) outlines of desks just under
    the map, `area` is what its map lies in (plan polygon).
    """

    name: str
    floor: float
    offset: Floats
    drawn: Drawn
    maps: tuple[ShownMap, ...]
    seated: Floats
    unnoticed: Floats
    covered: Floats
    area: Any


@dataclass(frozen=True)
class ShownPlane:
    """A plane of the scene with its storeys; `tops` and `feet` (n, 3) are detectors and the points below them.

    `cut_m` is the height above a floor at which a building of this size is best cut open, `home` (n,) the storey
    that each detector hangs in.
    """

    name: str
    levels: tuple[Level, ...]
    view: View
    cut_m: float
    units: tuple[Unit, ...]
    tops: Floats
    feet: Floats
    home: NDArray[np.intp]

    @property
    def planes(self) -> tuple[PlaneCoverage, ...]:
        return tuple(shown.plane for level in self.levels for shown in level.maps)


def show_plane(
    building: Building, coverage: Coverage, name: str, *, cut_m: float | None, apart: bool, whole: bool = True
) -> ShownPlane:
    """Everything to show of a plane of the scene, or of one of its maps. Raises KeyError for an unknown one.

    Walls and panels are cut `cut_m` above their floor, by what suits the building's size if not given; racking and
    other things stand `whole`, or are cut so that the map shows between them. `apart`: storeys are lifted so that
    each map shows, as in pictures; else they stay where they are.
    """
    names = group_of(coverage, name)
    trays = trays_of(building, coverage, names)
    area = shapely.union_all([tray.area for tray in trays])
    suited = Cuts.for_area(area, max((r.height for r in building.rooms), default=3.0))
    # Racking keeps its lowest loads; elsewhere low walls hide least, and an eye that moves needs no backdrop.
    open_m = suited.things if building.racks else max(suited.low, 0.6 * suited.things)
    cut_m = open_m if cut_m is None else cut_m
    cuts = Cuts(cut_m, cut_m, cut_m, WHOLE_M if whole else suited.things)
    slab = slab_of(trays)
    view = View(long_side_deg(area) + _TURN_DEG, _ELEVATION_DEG)
    moved = lifts(trays, view, slab) if apart else np.zeros((len(trays), 3))
    units = coverage.units
    home = home_of(trays, building, units)
    by = moved[home] if len(units) else np.zeros((0, 3))
    tops = np.array([u.position for u in units]).reshape(-1, 3)
    on_map = map_level_m(coverage[names[0]])
    feet = tops.copy()
    feet[:, 2] = np.minimum([u.position[2] - u.mounting + on_map for u in units], tops[:, 2])
    levels = tuple(_level(building, coverage, trays, moved, k, cuts, slab) for k in range(len(trays)))
    return ShownPlane(name, levels, view, open_m, units, tops + by, feet + by, home)


def _level(
    building: Building, coverage: Coverage, trays: Sequence[Tray], moved: Floats, k: int, cuts: Cuts, slab: float
) -> Level:
    tray, by = trays[k], moved[k]
    drawn = draw_trays(trays[k : k + 1], moved[k : k + 1], None, cuts, slab_m=slab, low=True)
    found = [_shown(coverage, tray.plane, map_cells(tray.plane, building), by)]
    for runs in _by_stairs(tray).values():
        plane = next(run.plane for run in runs if run.plane is not None)
        cells = map_cells(plane, building)
        up_from_here = np.zeros(plane.surface.shape[1], bool)
        for strip in (strip for run in runs for strip in run.run.strips):
            up_from_here[strip.columns] = True
        found.append(_shown(coverage, plane, cells.where(up_from_here[cells.columns]), by))
    floors = [other.level for other in trays]
    mine = [
        seat
        for seat, at in zip(shifted_seats(coverage, tuple(trays), moved), (s.at for s in coverage.seats), strict=True)
        if max((n for n, level in enumerate(floors) if level <= at[2] + 0.06), default=0) == k
    ]
    noticed, not_noticed = (np.concatenate([np.zeros((0, 3, 3)), *some]) for some in seated_figures(mine))
    covered = outlines_under(tray.building, map_level_m(tray.plane)) + by
    name = tray.plane.surface.storey or ""
    return Level(name, tray.level, by, drawn, tuple(found), noticed, not_noticed, covered, tray.area)


def _by_stairs(tray: Tray) -> dict[str, list[StairRun]]:
    """A storey's mapped flights by the stair that they are of."""
    found: dict[str, list[StairRun]] = {}
    for run in tray.runs:
        if run.plane is not None:
            found.setdefault(run.stairs.name, []).append(run)
    return found


def _shown(coverage: Coverage, plane: PlaneCoverage, cells: MapCells, by: Floats) -> ShownMap:
    name = next(name for name, some in coverage.items() if some is plane)
    return ShownMap(name, plane, MapCells(cells.corners + by, cells.rows, cells.columns))
