"""Probability maps: for every plane of a solved scene, how often each cell is seen when everything uncertain varies."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from raycover.detectors import Unit
from raycover.rays.ray_scene import LIFT, RayScene
from raycover.scene.schema import Scene
from raycover.solving.coverage import Coverage, PlaneCoverage
from raycover.solving.doubt import FIRM_SHARE, asked_about, chances, take_best
from raycover.solving.open_air import Weather
from raycover.spreads import Draws

Floats = NDArray[np.floating]
Progress = Callable[[int, int], None]
#: Cells along the side of a tile: what is worked on at once, so that memory does not grow with the plane.
_TILE = 80


@dataclass(frozen=True)
class PlaneChances:
    """One plane in varied cases. `probability` (ny, nx): share of the cases in which a cell is seen by at least one
    unit, NaN outside; `share` (n_cases,): of the plane's area seen in each case; `rooms`: the same of each room."""

    plane: PlaneCoverage
    probability: NDArray[np.float32]
    share: Floats
    rooms: Mapping[str, Floats]

    @property
    def expected_share(self) -> float:
        """Mean over the cases of the share of the area that is seen."""
        return float(self.share.mean())

    def share_of(self, rare: float, often: float) -> float:
        """Share of the area whose probability lies from `rare` on and below `often`."""
        inside = self.plane.surface.inside
        chance, area = self.probability[inside], self.plane.surface.area[inside]
        total = float(area.sum()) or 1.0
        return float(area[(chance >= rare - 1e-9) & (chance < often - 1e-9)].sum()) / total

    @property
    def firm_share(self) -> float:
        """Share of the area that is seen in at least 95 % of the cases."""
        return self.share_of(FIRM_SHARE, 2.0)


@dataclass(frozen=True)
class ChanceMaps(Mapping[str, PlaneChances]):
    """Planes by name, as in the coverage they belong to; `draws` the cases."""

    planes: Mapping[str, PlaneChances]
    draws: Draws

    def __getitem__(self, name: str) -> PlaneChances:
        return self.planes[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self.planes)

    def __len__(self) -> int:
        return len(self.planes)


def vary(
    scene: Scene, coverage: Coverage, *, threads: int | None = None, progress: Progress | None = None
) -> ChanceMaps:
    """Look at every plane of a solved scene in the varied cases of its `doubt:`.

    `threads` defaults to the cores there are; `progress` is called with (done, all) tiles. The same scene and seed
    give the same maps, however many threads.
    """
    draws, weather = Draws(scene.doubt), Weather.of(scene)
    jobs = [(name, tile) for name in coverage for tile in _tiles(coverage[name])]
    chance = {name: np.full(plane.surface.shape, np.nan, np.float32) for name, plane in coverage.items()}
    seen = {name: np.zeros((draws.n, len(plane.surface.room_names))) for name, plane in coverage.items()}

    def work(job: tuple[str, tuple[slice, slice]]) -> NDArray[np.bool_]:
        name, tile = job
        return _seen_in_tile(coverage[name], tile, coverage.units, coverage.rays, weather, draws)

    n_threads = threads if threads is not None else max(os.cpu_count() or 1, 1)
    with ThreadPoolExecutor(n_threads) as pool:
        found = pool.map(work, jobs) if n_threads > 1 else map(work, jobs)
        for done, ((name, tile), detected) in enumerate(zip(jobs, found, strict=True)):
            surface = coverage[name].surface
            inside = surface.inside[tile]
            chance[name][tile][inside] = detected.mean(axis=0)
            room, area = surface.room[tile][inside], surface.area[tile][inside]
            for k in np.unique(room).tolist():
                seen[name][:, k] += detected[:, room == k] @ area[room == k]
            if progress is not None:
                progress(done + 1, len(jobs))
    planes = {}
    for name, plane in coverage.items():
        names = plane.surface.room_names
        surface = plane.surface
        total = np.bincount(surface.room[surface.inside], surface.area[surface.inside], minlength=len(names))
        with np.errstate(invalid="ignore"):
            rooms = {room: np.nan_to_num(seen[name][:, k] / total[k]) for k, room in enumerate(names)}
        share = seen[name].sum(axis=1) / (float(total.sum()) or 1.0)
        planes[name] = PlaneChances(plane, chance[name], share, rooms)
    return ChanceMaps(planes, draws)


def _tiles(plane: PlaneCoverage) -> list[tuple[slice, slice]]:
    """Windows of a plane that hold any cell inside."""
    ny, nx = plane.surface.shape
    tiles = [
        (slice(row, min(row + _TILE, ny)), slice(column, min(column + _TILE, nx)))
        for row in range(0, ny, _TILE)
        for column in range(0, nx, _TILE)
    ]
    return [tile for tile in tiles if plane.surface.inside[tile].any()]


def _seen_in_tile(
    plane: PlaneCoverage,
    tile: tuple[slice, slice],
    units: Sequence[Unit],
    rays: RayScene,
    weather: Weather,
    draws: Draws,
) -> NDArray[np.bool_]:
    """(n_cases, n) whether the cells inside a tile are seen by at least one unit at one of the heights."""
    surface = plane.surface
    row, column = np.nonzero(surface.inside[tile])
    row, column = row + tile[0].start, column + tile[1].start
    units = asked_about(units, surface.target_m2)
    drawn, best = np.full(len(row), -np.inf), np.full((draws.n, len(row)), -np.inf, np.float32)
    plain, dual = [unit for unit in units if not unit.halves], [unit for unit in units if unit.halves]
    levels = [(surface.points(row, column, h), np.full(len(row), h < LIFT)) for h in surface.heights]
    for points, lifted in levels:
        take_best(drawn, best, plain, points, surface.motion, rays, weather, draws, lifted, 0.0, until_seen=True)
    if dual:  # each half by its best height: all of them at once
        points, lifted = (np.concatenate(parts) for parts in zip(*levels, strict=True))
        found = chances(
            dual, points, surface.motion, rays, weather, draws, lifted=lifted, lowest_db=0.0, n_heights=len(levels)
        )
        best = np.maximum(best, found.draws[:, : len(row)])
    return best >= 0
