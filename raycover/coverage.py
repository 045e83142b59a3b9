"""`solve`: a scene becomes a Coverage: margins, counts, causes and gaps on every plane.

A coverage owns its grid and holds no scene: everything a picture or a question needs of the result is in it.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from raycover.building.build import build
from raycover.building.parts import Building
from raycover.casting import BLOCKED, CAUSES, LOWEST_DB, MATERIAL_LOSS, Patch, Weather, cast, judge, potential_db
from raycover.detectors import Unit, make_unit
from raycover.errors import InputError, Problem
from raycover.gaps import Gap, find_gaps, label_gaps
from raycover.rays import LIFT, RayScene
from raycover.scene.schema import Scene
from raycover.surfaces import Surface, make_surfaces

Floats = NDArray[np.float64]
#: For a cell that no detector comes near to seeing, this many nearest ones are asked which would come closest.
_ASKED = 4
Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class PlaneCoverage:
    """The result on one plane. Arrays are (ny, nx), row 0 at the lowest y.

    `margin_db`: best over detectors; NaN outside every room and in solids; −inf where it is below −9 dB or
    nothing gets through. `count`: detectors with margin >= 0, −1 outside. `best_detector`: index of the one
    that sees best, or that comes nearest to seeing; −1 outside. `cause`: why not, codes as `CAUSES`, −1
    outside. `gap`: label of the gap a cell belongs to, 0 none.
    """

    surface: Surface
    margin_db: NDArray[np.float32]
    count: NDArray[np.int16]
    best_detector: NDArray[np.int32]
    cause: NDArray[np.int8]
    gap: NDArray[np.int32]
    gaps: tuple[Gap, ...]
    patches: tuple[Patch | None, ...]
    reserve_db: float

    @property
    def x(self) -> Floats:
        """Cell centres (nx,) in m."""
        return self.surface.x

    @property
    def y(self) -> Floats:
        """Cell centres (ny,) in m."""
        return self.surface.y

    @property
    def detected(self) -> NDArray[np.bool_]:
        """(ny, nx): margin >= 0; False outside."""
        return self.margin_db >= 0

    @property
    def assured(self) -> NDArray[np.bool_]:
        """(ny, nx): margin >= the scene's reserve; False outside."""
        return self.margin_db >= self.reserve_db

    @property
    def area_m2(self) -> float:
        return float(self.surface.area.sum())

    def area_where(self, chosen: NDArray[np.bool_]) -> float:
        """Area (m²) of the chosen cells."""
        return float(self.surface.area[chosen].sum())

    @property
    def share(self) -> float:
        """Detected share of the area; 0 where there is no area."""
        return self.area_where(self.detected) / self.area_m2 if self.area_m2 else 0.0

    @property
    def assured_share(self) -> float:
        return self.area_where(self.assured) / self.area_m2 if self.area_m2 else 0.0

    def rooms(self) -> dict[str, tuple[float, float, float]]:
        """{room: (area m², share detected, share assured)}."""
        room, area = self.surface.room[self.surface.inside], self.surface.area[self.surface.inside]
        n = len(self.surface.room_names)
        total = np.bincount(room, area, minlength=n)
        seen = np.bincount(room, area * self.detected[self.surface.inside], minlength=n)
        assured = np.bincount(room, area * self.assured[self.surface.inside], minlength=n)
        with np.errstate(invalid="ignore"):
            shares = np.nan_to_num(np.stack([seen, assured]) / total)
        return {
            name: (float(total[i]), float(shares[0, i]), float(shares[1, i]))
            for i, name in enumerate(self.surface.room_names)
        }

    def detector_areas(self) -> list[tuple[float, float]]:
        """(detected m², detected by this one alone m²) for each detector."""
        areas = []
        for patch in self.patches:
            if patch is None:
                areas.append((0.0, 0.0))
                continue
            seen = patch.margin_db >= 0
            area = self.surface.area[patch.window]
            alone = seen & (self.count[patch.window] == 1)
            areas.append((float(area[seen].sum()), float(area[alone].sum())))
        return areas


@dataclass(frozen=True)
class Coverage(Mapping[str, PlaneCoverage]):
    """Planes by name, with the detectors they are of and how they were found."""

    planes: Mapping[str, PlaneCoverage]
    units: tuple[Unit, ...]
    title: str
    ambient_c: float
    reserve_db: float
    n_rays: int
    seconds: float
    backend: str
    warnings: tuple[Problem, ...]

    def __getitem__(self, name: str) -> PlaneCoverage:
        return self.planes[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self.planes)

    def __len__(self) -> int:
        return len(self.planes)

    def share(self, name: str) -> float:
        """Detected share of a plane's area."""
        return self.planes[name].share

    @property
    def detector_names(self) -> tuple[str, ...]:
        return tuple(unit.name for unit in self.units)


def solve(
    scene: Scene,
    *,
    building: Building | None = None,
    rays: RayScene | None = None,
    threads: int | None = None,
    progress: Progress | None = None,
) -> Coverage:
    """Cast every detector on every plane of a scene.

    `building` and `rays` save making them again; `threads` defaults to the cores there are; `progress` is
    called with (done, all) patches. Raises InputError where the scene does not fit together.
    """
    began = time.perf_counter()
    building = build(scene) if building is None else building
    units = make_units(scene, building)
    surfaces, warnings = make_surfaces(scene, building)
    rays = RayScene(building) if rays is None else rays
    asked_before = rays.n_rays
    weather = Weather.of(scene.conditions)
    jobs = [(s, u) for s in range(len(surfaces)) for u in range(len(units))]
    patches: list[list[Patch | None]] = [[None] * len(units) for _ in surfaces]
    margins = [np.full(s.shape, -np.inf, np.float32) for s in surfaces]
    counts = [np.zeros(s.shape, np.int16) for s in surfaces]
    bests = [np.full(s.shape, -1, np.int32) for s in surfaces]

    def work(job: tuple[int, int]) -> Patch | None:
        s, u = job
        return cast(units[u], surfaces[s], rays, weather)

    n_threads = threads if threads is not None else max(os.cpu_count() or 1, 1)
    with ThreadPoolExecutor(n_threads) as pool:
        found = pool.map(work, jobs) if n_threads > 1 else map(work, jobs)
        for done, ((s, u), patch) in enumerate(zip(jobs, found, strict=True)):
            patches[s][u] = patch
            if patch is not None:
                _merge(patch, u, margins[s], counts[s], bests[s])
            if progress is not None:
                progress(done + 1, len(jobs))

    planes = {
        surface.name: _finish_plane(
            scene, surface, building, units, rays, weather, margins[s], counts[s], bests[s], tuple(patches[s])
        )
        for s, surface in enumerate(surfaces)
    }
    return Coverage(
        planes=planes,
        units=units,
        title=scene.title,
        ambient_c=scene.conditions.ambient_c,
        reserve_db=scene.conditions.reserve_db,
        n_rays=rays.n_rays - asked_before,
        seconds=time.perf_counter() - began,
        backend=rays.backend,
        warnings=(*scene.warnings, *warnings),
    )


def make_units(scene: Scene, building: Building) -> tuple[Unit, ...]:
    """The scene's detectors ready for casting. Raises InputError for one that hangs inside a solid."""
    units = tuple(
        make_unit(detector, scene.pattern_of(detector), _floor_under(building, detector.at, detector.mounting))
        for detector in scene.detectors
    )
    inside = _inside_boxes(building, np.array([unit.position for unit in units]).reshape(-1, 3))
    problems = [
        Problem(
            "detector-in-solid",
            f'detector "{units[index].name}" hangs inside "{building.boxes.owners[box]}"',
            scene.position("detectors", index, "at"),
            "move it out, or change its mounting height",
        )
        for index, box in inside.items()
    ]
    if problems:
        raise InputError(problems)
    return units


def _inside_boxes(building: Building, points: Floats) -> dict[int, int]:
    """{index of a point (n, 3): a box it lies in}, half a millimetre in from every face.

    A unit fixed to a column hangs on it, not in it.
    """
    boxes = building.boxes
    if not len(boxes) or not len(points):
        return {}
    reach = float(np.linalg.norm(boxes.size[:, :2], axis=1).max()) / 2
    near = cKDTree(boxes.centre[:, :2]).query_ball_point(points[:, :2], reach)
    point = np.repeat(np.arange(len(points)), [len(n) for n in near])
    box = np.array([b for n in near for b in n], int)
    offset = points[point] - boxes.centre[box]
    cos, sin = np.cos(boxes.turn_rad[box]), np.sin(boxes.turn_rad[box])
    x, y = offset[:, 0] * cos + offset[:, 1] * sin, offset[:, 1] * cos - offset[:, 0] * sin
    hit = np.all(np.abs(np.stack([x, y, offset[:, 2]], axis=1)) < boxes.size[box] / 2 - 5e-4, axis=1)
    return dict(zip(point[hit].tolist(), box[hit].tolist(), strict=True))


def _floor_under(building: Building, at: tuple[float, float], mounting: float) -> float:
    """The floor a detector is mounted above: of the room that holds it, the one that reaches that high first."""
    floors = [r for r in building.rooms if r.holds(*at) and mounting <= r.height + 1e-6]
    return floors[0].floor if floors else building.floor_at(*at)


def _merge(
    patch: Patch, unit: int, margin: NDArray[np.float32], count: NDArray[np.int16], best: NDArray[np.int32]
) -> None:
    """Take a patch into the plane's best margin, count and best detector."""
    view = margin[patch.window]
    better = patch.margin_db > view
    np.copyto(view, patch.margin_db, where=better)
    np.copyto(best[patch.window], unit, where=better)
    count[patch.window] += patch.margin_db >= 0


def _finish_plane(
    scene: Scene,
    surface: Surface,
    building: Building,
    units: tuple[Unit, ...],
    rays: RayScene,
    weather: Weather,
    margin: NDArray[np.float32],
    count: NDArray[np.int16],
    best: NDArray[np.int32],
    patches: tuple[Patch | None, ...],
) -> PlaneCoverage:
    """Causes, blockers and gaps of the cells that nobody sees; NaN and −1 outside."""
    outside = ~surface.inside
    missed = surface.inside & (margin < 0)
    reserve = scene.conditions.reserve_db
    cause = np.zeros(surface.shape, np.int8)
    blocker = np.full(surface.shape, -1, np.int32)
    rows, columns = np.nonzero(missed)
    if len(rows) and units:
        of_room = _units_by_room(surface, units, building)
        _why(surface, units, of_room, rays, weather, rows, columns, margin, reserve, best, cause, blocker)
    owners, owner_of = np.unique([building.part_owner(p) for p in range(building.n_parts)] or [""], return_inverse=True)
    blocking = np.where(blocker >= 0, owner_of[np.maximum(blocker, 0)] if building.n_parts else -1, -1)
    labels, n = label_gaps(surface, missed)
    gaps = find_gaps(
        surface,
        labels,
        n,
        cause,
        blocking,
        best,
        tuple(str(o) for o in owners),
        tuple(u.name for u in units),
        (BLOCKED, MATERIAL_LOSS),
    )
    margin[outside], count[outside], best[outside], cause[outside] = np.nan, -1, -1, -1
    return PlaneCoverage(surface, margin, count, best, cause, labels, tuple(gaps), patches, reserve)


def _units_by_room(surface: Surface, units: tuple[Unit, ...], building: Building) -> list[NDArray[np.int32]]:
    """For each room of a surface, the detectors that hang in it; all of them where none does."""
    everyone = np.arange(len(units), dtype=np.int32)
    home = building.rooms_at(np.array([u.position for u in units]))
    index = {room.name: i for i, room in enumerate(building.rooms)}
    members = [everyone[home == index.get(name, -2)] for name in surface.room_names]
    return [mine if len(mine) else everyone for mine in members]


def _why(
    surface: Surface,
    units: tuple[Unit, ...],
    of_room: list[NDArray[np.int32]],
    rays: RayScene,
    weather: Weather,
    rows: NDArray[np.intp],
    columns: NDArray[np.intp],
    margin: NDArray[np.float32],
    doubtful_db: float,
    best: NDArray[np.int32],
    cause: NDArray[np.int8],
    blocker: NDArray[np.int32],
) -> None:
    """Fill in, for missed cells, the detector nearest to seeing them, its cause and what stands in its way.

    Nearest to seeing: the highest margin where that is within `doubtful_db` of the limit; elsewhere the
    highest that distance alone would give, among the few nearest detectors of the same room (of all, where
    it has none). A person is judged at the height that this one sees best.
    """
    nearest = best[rows, columns]
    lost = np.flatnonzero((nearest < 0) | (margin[rows, columns] < -doubtful_db))
    room = surface.room[rows[lost], columns[lost]]
    for r in np.unique(room):
        mine = lost[room == r]
        nearest[mine] = _closest(surface, units, of_room[int(r)], rows[mine], columns[mine])
    for u in np.unique(nearest):
        mine = np.flatnonzero(nearest == u)
        if len(surface.heights) > 1:
            tries = [judge_points(surface, rows[mine], columns[mine], h) for h in surface.heights]
            judged = [judge(units[u], p, surface.motion, rays, weather, lifted=p_low) for p, p_low in tries]
            # The height with the best margin, then the best potential, speaks for the person.
            scores = np.array([np.where(np.isfinite(j.margin_db), j.margin_db, j.potential_db - 1e3) for j in judged])
            chosen = scores.argmax(axis=0)
            cell = np.arange(len(mine))
            cause[rows[mine], columns[mine]] = np.array([j.cause for j in judged])[chosen, cell]
            blocker[rows[mine], columns[mine]] = np.array([j.blocker for j in judged])[chosen, cell]
        else:
            points, low = judge_points(surface, rows[mine], columns[mine], surface.heights[0])
            judgement = judge(units[u], points, surface.motion, rays, weather, lifted=low)
            cause[rows[mine], columns[mine]] = judgement.cause
            blocker[rows[mine], columns[mine]] = judgement.blocker
    best[rows, columns] = nearest


def judge_points(
    surface: Surface, rows: NDArray[np.intp], columns: NDArray[np.intp], height: float
) -> tuple[Floats, NDArray[np.bool_]]:
    """Points (n, 3) of cells at a height, and whether they lie on the floor."""
    return surface.points(rows, columns, height), np.full(len(rows), height < LIFT)


def _closest(
    surface: Surface,
    units: tuple[Unit, ...],
    among: NDArray[np.int32],
    rows: NDArray[np.intp],
    columns: NDArray[np.intp],
) -> NDArray[np.int32]:
    """Of the few nearest among some detectors, the one that distance alone would let see best."""
    points = surface.points(rows, columns, float(np.median(surface.heights)))
    n_asked = min(_ASKED, len(among))
    _, near = cKDTree(np.array([units[u].position for u in among])).query(points, k=n_asked)
    near = among[near.reshape(len(points), n_asked)]
    score = np.full(near.shape, -np.inf)
    for u in np.unique(near):
        where = near == u
        cell = np.nonzero(where)[0]
        score[where] = potential_db(units[u], points[cell], surface.motion)
    return near[np.arange(len(points)), score.argmax(axis=1)].astype(np.int32)


__all__ = ["CAUSES", "LOWEST_DB", "Coverage", "PlaneCoverage", "make_units", "solve"]
