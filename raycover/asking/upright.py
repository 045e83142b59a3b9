"""Sections: who sees a body at a height, over an upright cut through the building, with the limits of its detectors.

The cut is a surface like any other: points, the area each stands for, the same rays. A section's cells are square; its
rows are heights, its columns places along the line. People move in the *people zone*, up to 2.2 m over a floor or a
tread: shares are of that, less what stands in it.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.asking.lobes import cut_off_m, ends_with_the_lens, floor_distance_m, open_reach_m
from raycover.building.parts import Building
from raycover.building.upright_cut import (
    CutLine,
    cut_boxes,
    cut_objects,
    cut_sheets,
    extent,
    room_profiles,
    stairs_along,
)
from raycover.detectors import Unit
from raycover.physics.margin import largest_reach_m
from raycover.rays.ray_scene import LIFT, RayScene
from raycover.scene.schema import Scene
from raycover.scene.views import SectionSpec
from raycover.solving.casting import LOWEST_DB, Patch, Weather
from raycover.solving.combining import over_parts
from raycover.solving.kept.answers import cast
from raycover.solving.surfaces import Surface, cells_of

Floats = NDArray[np.floating]
Bools = NDArray[np.bool_]
#: Where people move: up to this height (m) over a floor. A tall person's reach overhead, common practice, no source.
PEOPLE_ZONE_M = 2.2
#: A detector no further (m) from the cut is drawn in it, with its limit; the field has no such bound.
IN_THE_CUT_M = 0.6
#: Cells are no larger than this (m), so that limits come out smooth; of so many at most, they are made larger.
_FINE_M = 0.05
_MOST_CELLS = 150_000
#: Directions of a limit line, this far (degrees) apart.
_STEP_DEG = 0.25
#: A limit that changes by more than this share from one direction to the next jumps.
_JUMP_SHARE = 0.12


@dataclass(frozen=True)
class Limit:
    """How far a detector in the cut notices anyone, in the plane of the cut: lines (k, 2) over (s, z)."""

    unit: int
    lines: tuple[Floats, ...]


@dataclass(frozen=True)
class SectionField:
    """A section with its field. Arrays are (nz, ns), the lowest row first.

    `margin_db`: best over detectors, NaN outside rooms, in solids and above the highest detector of a room; `zone`:
    cells where people move; `best` (index, −1 none) the detector that sees best. `tops` (by room) is where the field
    ends (m, absolute); `in_cut` are detectors that hang in it, `beyond` those further off in the direction of view.
    """

    spec: SectionSpec
    line: CutLine
    bounds: tuple[float, float, float, float]
    surface: Surface
    margin_db: NDArray[np.float32]
    zone: Bools
    best: NDArray[np.int32]
    reserve_db: float
    profiles: tuple[tuple[int, Any], ...]
    tops: dict[int, float]
    units: tuple[Unit, ...]
    in_cut: tuple[int, ...]
    beyond: tuple[int, ...]
    limits: tuple[Limit, ...]

    @property
    def name(self) -> str:
        return self.spec.name

    def place(self, points: Floats) -> Floats:
        """Points (n, 3) → (n, 2) over (s, z)."""
        points = np.asarray(points, float).reshape(-1, 3)
        return np.stack([self.line.place(points)[:, 0], points[:, 2]], axis=1)

    @property
    def zone_area(self) -> Floats:
        """(nz, ns) m² of the people zone."""
        return np.where(self.zone, self.surface.area, 0.0)

    @property
    def share(self) -> float:
        """Share of the people zone where somebody is noticed."""
        return self._share(0.0)

    @property
    def assured_share(self) -> float:
        return self._share(self.reserve_db)

    def _share(self, least_db: float) -> float:
        whole = float(self.zone_area.sum())
        return float(self.zone_area[self.margin_db >= least_db].sum()) / whole if whole else 0.0


def solve_sections(
    scene: Scene, building: Building, rays: RayScene, units: tuple[Unit, ...], *, threads: int | None = None
) -> tuple[SectionField, ...]:
    """Every section of a scene with its field."""
    return tuple(solve_section(spec, scene, building, rays, units, threads=threads) for spec in scene.sections)


def solve_section(
    spec: SectionSpec,
    scene: Scene,
    building: Building,
    rays: RayScene,
    units: tuple[Unit, ...],
    *,
    threads: int | None = None,
) -> SectionField:
    """One section: the field of all detectors in its plane, and the limits of those that hang in it."""
    line = CutLine.between(*spec.line, looking_left=spec.looking == "left")
    bounds = extent(line, building)
    if not building.rooms:  # open air ends a little over the highest detector
        bounds = (*bounds[:3], max([bounds[3], *(float(u.position[2]) + 0.5 for u in units)]))
    weather = Weather.of(scene)
    profiles, tops = _profiles(line, bounds, building, units)
    surface, zone = upright_surface(spec, line, profiles, building, scene.grid)

    def work(unit: Unit) -> tuple[slice, Patch] | None:
        return _cast_upright(unit, surface, line, rays, weather)

    n_threads = threads if threads is not None else max(os.cpu_count() or 1, 1)
    margin = np.full(surface.shape, -np.inf, np.float32)
    best = np.full(surface.shape, -1, np.int32)
    with ThreadPoolExecutor(n_threads) as pool:
        for index, found in enumerate(pool.map(work, units) if n_threads > 1 else map(work, units)):
            if found is None:
                continue
            columns, patch = found
            window = patch.rows, slice(columns.start + patch.columns.start, columns.start + patch.columns.stop)
            better = patch.margin_db > margin[window]
            np.copyto(margin[window], patch.margin_db, where=better)
            np.copyto(best[window], index, where=better)
    margin[~surface.inside], best[~surface.inside] = np.nan, -1
    places = line.place(np.array([u.position for u in units]).reshape(-1, 3))
    along = (places[:, 0] > -1e-6) & (places[:, 0] < line.length + 1e-6)
    in_cut = np.flatnonzero(along & (np.abs(places[:, 1]) <= IN_THE_CUT_M))
    beyond = np.flatnonzero(along & (places[:, 1] > IN_THE_CUT_M) & (places[:, 1] <= spec.depth))
    within = _rooms_less_walls(line, building)
    limits = tuple(
        Limit(int(k), _clipped(limit_lines(units[k], line, spec.motion, rays, weather), within)) for k in in_cut
    )
    return SectionField(
        spec, line, bounds, surface, margin, zone, best, scene.conditions.reserve_db, profiles, tops, units,
        tuple(int(k) for k in in_cut), tuple(int(k) for k in beyond), limits,
    )  # fmt: skip


def _profiles(
    line: CutLine, bounds: tuple[float, float, float, float], building: Building, units: Sequence[Unit]
) -> tuple[tuple[tuple[int, Any], ...], dict[int, float]]:
    """Rooms that are cut, each with its outline up to the highest detector that hangs in it; where that is."""
    home = building.rooms_at(np.array([u.position for u in units]).reshape(-1, 3))
    tops: dict[int, float] = {}
    found: list[tuple[int, Any]] = []
    for room, polygon in room_profiles(line, building.rooms):
        hung = [float(u.position[2]) for u, at in zip(units, home, strict=True) if at == room]
        if hung:
            tops[room] = max(hung)
            x0, z0, x1, _ = polygon.bounds
            polygon = polygon.intersection(shapely.box(x0, z0, x1, tops[room]))
        found.append((room, polygon))
    if not building.rooms:
        top = max((float(u.position[2]) for u in units), default=bounds[3])
        found.append((-1, shapely.box(bounds[0], building.ground, bounds[2], max(top, building.ground + 0.5))))
        tops[-1] = top
    return tuple(found), tops


def upright_surface(
    spec: SectionSpec, line: CutLine, profiles: Sequence[tuple[int, Any]], building: Building, grid: float
) -> tuple[Surface, Bools]:
    """A section's cells as a surface, and which of them lie in the people zone and not in racking."""
    x0, z0, x1, z1 = (float(v) for v in shapely.total_bounds(np.array([p for _, p in profiles], object)))
    step = float(max(min(grid, _FINE_M), np.sqrt((x1 - x0) * (z1 - z0) / _MOST_CELLS)))
    s = x0 + (np.arange(max(int(np.ceil((x1 - x0) / step - 1e-6)), 1)) + 0.5) * step
    z = z0 + (np.arange(max(int(np.ceil((z1 - z0) / step - 1e-6)), 1)) + 0.5) * step
    owner = np.full((len(z), len(s)), -1, np.int16)
    area = np.zeros(owner.shape)
    floor = np.zeros(owner.shape)
    for index, (room, polygon) in enumerate(profiles):
        inside, part = cells_of(polygon, s, z, step)
        inside &= owner < 0
        owner[inside], area[inside] = index, part[inside]
        floor[inside] = building.rooms[room].floor if room >= 0 else building.ground
    solid = _in_oblongs(cut_boxes(line, building.boxes)[1], s, z)
    ss, zz = np.meshgrid(s, z)
    for one, flat in cut_objects(line, building.objects):
        if one.closed:
            solid |= shapely.contains_xy(flat, ss, zz)
    inside = (owner >= 0) & ~solid
    zone = inside & (zz - floor <= PEOPLE_ZONE_M)
    for index, (room, _) in enumerate(profiles):
        zone &= ~((owner == index) & over_void(building, room, line, s))
    for steps in stairs_along(line, building.stairs, s):
        over = zz - steps[None, :]
        zone |= inside & (over >= 0) & (over <= PEOPLE_ZONE_M)
    zone &= ~_in_oblongs(cut_boxes(line, building.envelopes)[1], s, z)
    plan = np.broadcast_to(line.at(s)[None], (*owner.shape, 2))
    # Heights are looked at as they are: the lift that keeps points off a floor would move them.
    heights, level = (LIFT,), np.broadcast_to(z[:, None] - LIFT, owner.shape)
    names = tuple(building.rooms[room].name if room >= 0 else "extent" for room, _ in profiles)
    surface = Surface(
        f"section {spec.name}", spec.motion, "point", heights, step, s, z, level,
        np.where(inside, owner, -1).astype(np.int16), inside, np.where(inside, area, 0.0), names, places=plan,
    )  # fmt: skip
    return surface, zone


def over_void(building: Building, room: int, line: CutLine, s: Floats) -> Bools:
    """(ns,) places along a line where a room's floor is open: nobody walks there but on a stair."""
    void = building.rooms[room].void if room >= 0 else None
    if void is None:
        return np.zeros(len(s), bool)
    plan = line.at(s)
    return np.asarray(shapely.contains_xy(void, plan[:, 0], plan[:, 1]))


def _in_oblongs(oblongs: Floats, s: Floats, z: Floats) -> Bools:
    """(nz, ns): cells whose centre lies in an oblong (n, 4)."""
    found = np.zeros((len(z), len(s)), bool)
    columns = np.stack([np.searchsorted(s, oblongs[:, 0] - 1e-9), np.searchsorted(s, oblongs[:, 2] + 1e-9)], axis=1)
    rows = np.stack([np.searchsorted(z, oblongs[:, 1] - 1e-9), np.searchsorted(z, oblongs[:, 3] + 1e-9)], axis=1)
    for (c0, c1), (r0, r1) in zip(columns, rows, strict=True):
        found[r0:r1, c0:c1] = True
    return found


def _cast_upright(
    unit: Unit, surface: Surface, line: CutLine, rays: RayScene, weather: Weather
) -> tuple[slice, Patch] | None:
    """A detector's margins over the columns that it can reach, with where these are."""
    reach = max(
        (
            largest_reach_m(f, part.reach_behind) * 10 ** ((max(weather.most_db(part), 0.0) - LOWEST_DB) / 40)
            for part in unit.parts
            for f in part.footprints_for(surface.motion)
        ),
        default=0.0,
    )
    s, off = line.place(unit.position)
    half = np.sqrt(max(reach**2 - off**2, 0.0))
    if weather.reflections and unit.kind != "infrared":
        half = np.inf  # by a mirror it may see from anywhere
    if half <= 0:
        return None
    first, last = (int(k) for k in np.searchsorted(surface.x, [s - half, s + half]))
    if first >= last:
        return None
    columns = slice(first, last)
    assert surface.places is not None
    part = replace(
        surface, x=surface.x[columns], floor=np.asarray(surface.floor)[:, columns], room=surface.room[:, columns],
        inside=surface.inside[:, columns], area=surface.area[:, columns], places=surface.places[:, columns],
    )  # fmt: skip
    patch = cast(unit, part, rays, weather)
    return None if patch is None else (columns, patch)


def limit_lines(unit: Unit, line: CutLine, motion: str, rays: RayScene, weather: Weather) -> tuple[Floats, ...]:
    """Where a detector's notice ends in the upright plane through it along the cut, as lines (k, 2) over (s, z).

    The edge of a lens, and the end of the reach, as far as nothing solid stops them; behind a partition that microwave
    passes, the reach that is left. What ends on the floor, or infrared on a thing, has no line there.
    """
    angle = np.radians(np.arange(0.0, 360.0 + _STEP_DEG / 2, _STEP_DEG))
    way = np.stack([np.cos(angle) * line.along[0], np.cos(angle) * line.along[1], np.sin(angle)], axis=1)
    local, floor = way @ unit.rotation, floor_distance_m(unit, way)

    def reach_of(part: Unit) -> Floats:
        return open_reach_m(part, local, weather, motion=motion)

    def end_of(part: Unit) -> Floats:
        reach = reach_of(part)
        return cut_off_m(part, way, reach, np.minimum(reach, floor), rays, weather)

    reach, got = over_parts(unit, motion, reach_of), over_parts(unit, motion, end_of)
    s0 = float(line.place(unit.position)[0])
    ends = np.stack([s0 + got * np.cos(angle), unit.position[2] + got * np.sin(angle)], axis=1)
    lives = reach > 0.02
    # Its own end: of the reach itself, or of what walls left of a microwave's.
    free = lives & (got < floor - 5e-3) & ((got >= reach - 5e-3) | (unit.kind != "infrared"))
    # From one direction to the next a limit moves little; where it jumps, two limits meet that are not one line.
    jumps = np.abs(np.diff(got)) > np.maximum(_JUMP_SHARE * np.minimum(got[1:], got[:-1]), 0.05)
    lines = [ends[run] for run in _runs(free, jumps) if len(run) > 1]
    apex = np.array([s0, float(unit.position[2])])
    # A lens has an edge; where microwave ends sideways, no ray goes.
    edges = np.flatnonzero((np.roll(lives, 1) < lives) | (np.roll(lives, -1) < lives))
    edges = edges if ends_with_the_lens(unit, motion) else edges[:0]
    lines += [np.stack([apex, ends[k]]) for k in edges if got[k] > 0.05]
    return tuple(lines)


def _rooms_less_walls(line: CutLine, building: Building) -> Any:
    """Where a limit is drawn (shapely, over (s, z)): in rooms, off what is cut; None where there is no room."""
    rooms = shapely.union_all([polygon for _, polygon in room_profiles(line, building.rooms)])
    if rooms.is_empty:
        return None
    cut = [shapely.LineString([c.start, c.end]) for c in cut_sheets(line, building.sheets)]
    return rooms.difference(shapely.union_all(cut).buffer(0.05)) if cut else rooms


def _clipped(lines: Sequence[Floats], within: Any) -> tuple[Floats, ...]:
    if within is None or not lines:
        return tuple(lines)
    parts = shapely.get_parts(shapely.intersection([shapely.LineString(line) for line in lines], within))
    return tuple(np.asarray(p.coords) for p in parts if p.geom_type == "LineString" and p.length > 0.02)


def _runs(chosen: Bools, parted: Bools) -> list[NDArray[np.intp]]:
    """Indices of each unbroken run of chosen places (n,), broken between neighbours that are `parted` (n − 1,) too."""
    index = np.flatnonzero(chosen)
    if not len(index):
        return []
    breaks = (np.diff(index) > 1) | parted[index[:-1]]
    return np.split(index, np.flatnonzero(breaks) + 1)
