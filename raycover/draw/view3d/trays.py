"""The storeys of a building as trays: each cut open by itself, lifted off the one below so that its map shows.

A tray holds a storey's rooms and the flights that lead up from it. Where the storey below shows from the eye
anyway, as in a narrow stairwell, nothing is pulled apart.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import affinity

from raycover.building.parts import Building, StairShape
from raycover.draw.stair_cuts import outline
from raycover.draw.storeys import shown_storey
from raycover.draw.unrolled import Run, runs_of
from raycover.draw.view3d.camera import View, views_about, worth
from raycover.draw.view3d.floor_map import whole_area
from raycover.solving.coverage import Coverage, PlaneCoverage

Floats = NDArray[np.floating[Any]]

#: A storey may hide this share of the map below it, and of the flights that lead up to it.
_HIDES_FLOOR, _HIDES_STAIRS = 0.02, 0.06
#: Cells (m) that a stair without a map is taken apart by.
_ANY_GRID = 0.1
#: Waist (m) of a stair whose construction has no thickness.
_WAIST = 0.15


@dataclass(frozen=True)
class StairRun:
    """Flights and landings from one floor to the next, and the map on them, if there is one."""

    stairs: StairShape
    run: Run
    plane: PlaneCoverage | None
    waist: float


@dataclass(frozen=True)
class Tray:
    """One storey: its part of the building, its map, the stairs up from it; `level` (m) is that of its floor."""

    building: Building
    plane: PlaneCoverage
    level: float
    runs: tuple[StairRun, ...]

    @property
    def area(self) -> Any:
        """What its map lies in, voids in the floor included (plan polygon)."""
        return shapely.union(whole_area(self.plane, self.building), self._voids)

    @property
    def floor(self) -> Any:
        """The same without the voids: what hides the storey below."""
        return shapely.difference(self.area, self._voids)

    @property
    def _voids(self) -> Any:
        names = set(self.plane.surface.room_names)
        some = [r.void.intersection(r.polygon) for r in self.building.rooms if r.void is not None and r.name in names]
        return shapely.union_all(some)


def group_of(coverage: Coverage, name: str) -> tuple[str, ...]:
    """Names of the maps to show together for a plane of the scene, or for one of its maps. Raises KeyError."""
    groups = coverage.by_plane()
    return groups[name] if name in groups else groups[coverage[name].surface.plane]


def trays_of(building: Building, coverage: Coverage, names: Sequence[str]) -> tuple[Tray, ...]:
    """The storeys that some maps lie on, the lowest first."""
    planes = [coverage[name] for name in names]
    floors = [plane for plane in planes if plane.surface.stairs is None]
    mapped = {plane.surface.stairs: plane for plane in planes if plane.surface.stairs is not None}
    parts = [shown_storey(building, plane, once=True) for plane in floors]
    levels = [min((room.floor for room in part.rooms), default=part.ground) for part in parts]
    runs: list[list[StairRun]] = [[] for _ in parts]
    for stairs in building.stairs:
        on = mapped.get(stairs.name)
        for run in runs_of(stairs, on.surface.grid if on is not None else _ANY_GRID):
            foot = float(stairs.pieces[run.strips[0].piece].origin[2])
            under = [k for k, level in enumerate(levels) if level <= foot + 0.06]
            shown = {s.name for s in parts[under[-1] if under else 0].stairs}
            if stairs.name in shown:
                runs[under[-1] if under else 0].append(StairRun(stairs, run, on, _waist(building, stairs)))
    return tuple(
        Tray(part, plane, float(level), tuple(some))
        for part, plane, level, some in zip(parts, floors, levels, runs, strict=True)
    )


def _waist(building: Building, stairs: StairShape) -> float:
    made = [s.construction.thickness_m for s in building.sheets if s.kind == "soffit" and s.owner == stairs.name]
    return max(made[0], 0.03) if made else _WAIST


def lifts(trays: Sequence[Tray], view: View, slab_m: float) -> Floats:
    """How far (n, 3) each tray is moved: up by as little as lets the maps below it be seen."""
    moved = np.zeros((len(trays), 3))
    for k in range(1, len(trays)):
        low, high = trays[k - 1], trays[k]
        rise = high.level - low.level
        corners = shapely.get_coordinates(shapely.union(low.area, high.area))
        far = float(np.ptp(corners @ view.toward[:2])) * float(np.tan(np.radians(view.elevation_deg)))
        least, most = 0.0, far
        if not _hides(low, high, view, rise - slab_m):
            most = 0.0
        for _ in range(12 if most else 0):
            middle = (least + most) / 2
            least, most = (middle, most) if _hides(low, high, view, rise + middle - slab_m) else (least, middle)
        moved[k, 2] = moved[k - 1, 2] + (np.ceil(most * 10) / 10 if most else 0.0)
    return moved


def _hides(low: Tray, high: Tray, view: View, above: float) -> bool:
    """Whether a storey hides too much of the one below, its slab `above` m over that one's floor."""
    slab = high.floor

    def hidden(plan: Any, height: float) -> float:
        dx, dy = view.behind * max(above - height, 0.0)
        return float(affinity.translate(slab, dx, dy).intersection(plan).area)

    if hidden(low.floor, 0.0) > _HIDES_FLOOR * low.floor.area:
        return True
    pieces = [s.stairs.pieces[strip.piece] for s in low.runs for strip in s.run.strips]
    total = sum(outline(piece).area for piece in pieces)
    covered = 0.0
    for piece in pieces:
        middle = float(piece.height(np.array([piece.length / 2]))[0]) - low.level
        covered += hidden(outline(piece), middle)
    return covered > _HIDES_STAIRS * max(total, 1e-9)


def choose_tray_view(
    trays: Sequence[Tray],
    things: Sequence[tuple[Any, float]],
    points: Sequence[Floats],
    aspect: float,
    slab_m: float,
    views: Sequence[View] = (),
) -> View:
    """The direction that shows the trays largest; `points` (n, 3) of each must be in the picture."""
    area = shapely.union_all([tray.area for tray in trays])

    def value(view: View) -> float:
        moved = lifts(trays, view, slab_m)
        every = np.concatenate([some + by for some, by in zip(points, moved, strict=True)])
        return worth(view, area, things, every, aspect)

    return max(views or views_about(area), key=value)


def links(trays: Sequence[Tray], moved: Floats, view: View) -> Floats:
    """Upright lines (n, 2, 3) between trays that are pulled apart: at outer corners and heads of stairs."""
    found: list[Floats] = [np.zeros((0, 2, 3))]
    for k in range(1, len(trays)):
        gap = moved[k, 2] - moved[k - 1, 2]
        if gap < 0.1:
            continue
        low, high = trays[k - 1], trays[k]
        shared = shapely.convex_hull(low.area.intersection(high.area))
        ends: list[tuple[Floats, float]] = []
        if not shared.is_empty:
            plan = shapely.get_coordinates(shared)
            across = plan @ view.right[:2]
            ends += [(plan[int(index(across))], low.level) for index in (np.argmin, np.argmax)]
        for run in low.runs:
            piece = run.stairs.pieces[run.run.strips[-1].piece]
            end = piece.origin + piece.along * piece.length
            ends += [((end + piece.across * side)[:2], high.level) for side in (0.0, piece.width)]
        for place, z in ends:
            line = np.array([[*place, z + moved[k - 1, 2]], [*place, high.level + moved[k, 2]]])
            found.append(line[None])
    return np.concatenate(found)
