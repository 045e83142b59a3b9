"""The grid walk: at every cell, how likely is someone noticed who walks a metre, or who sits and moves an arm?

Walks go in eight directions through a cell's middle, six runs each: three lanes, two phases of the gait; where a lens
is derived, not given, each lane has it turned by another third of a zone. The chance is the share of runs that some
detector notices. Infrared units are simulated (see `sensing`); which of eight levels of the
body a unit sees is ray cast at every cell. Microwave units notice where their declared margin is at least 0 dB.

A model of detectors, checked against no real one: walk-test before hand-over.
"""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from raycover.detectors import Unit
from raycover.physics.body import WALKING_MPS
from raycover.physics.signal import Walks, walk_outcome
from raycover.physics.walks import arms_of, body_for, walks_of
from raycover.rays.ray_scene import RayScene
from raycover.solving.casting import Weather
from raycover.solving.combining import combined_bits
from raycover.solving.kept.answers import cast
from raycover.solving.surfaces import Surface
from raycover.walking.sensing import Sensor, check_ambient, turned_lenses
from raycover.walking.simulated import air_around
from raycover.walking.walkable import Ground, free_ahead_m, ground_of

Floats = NDArray[np.floating]
Single = NDArray[np.float32]
Bits = NDArray[np.uint8]
Ints = NDArray[np.intp]
Progress = Callable[[int, int], None]

#: Directions of walking (rad), anticlockwise from +x.
HEADINGS_RAD = np.arange(8) * np.pi / 4
#: Length of a walk (m), and the shortest that something in the way may leave of it.
WALK_M, LEAST_M = 1.0, 0.5
#: Lanes to the side (m) and phases of the gait: the six runs.
LANES_M, PHASES_RAD = (-0.2, 0.0, 0.2), (0.0, np.pi)
N_RUNS = len(LANES_M) * len(PHASES_RAD)
#: Levels of a body whose visibility is cast at every cell, up to this height (m).
N_LEVELS, LEVEL_TOP_M = 8, 1.75
#: So many cells are worked out at once: arrays stay small whatever the plan.
_CELLS_AT_ONCE = 2048
#: Heights (m) at which microwave sees a walker, and someone seated.
_WALKER_M, _SEATED_M = (0.3, 1.0, 1.6), (0.75, 1.04, 1.2)


@dataclass(frozen=True, eq=False)
class GridWalk:
    """Chances 0 to 1 on a flat surface; NaN outside it, and where nobody can walk at least half a metre.

    `chance` (8, ny, nx) a direction of `HEADINGS_RAD`; `seated` (ny, nx): share of the eight ways someone may face
    while moving an arm for half a minute. `tangential`, `radial` (ny, nx): walking across the line of sight of the
    unit that notices it best, and toward it. `n_walks` simulated runs; `seconds` of processor time, `ray_seconds` of
    them in casting rays.
    """

    surface: Surface
    chance: Single
    seated: Single
    tangential: Single
    radial: Single
    ambient_c: float
    n_cells: int
    n_walks: int
    seconds: float
    ray_seconds: float
    n_infrared: int
    n_microwave: int

    @property
    def mean(self) -> Single:
        """(ny, nx): over the directions that can be walked."""
        n = np.isfinite(self.chance).sum(axis=0)
        with np.errstate(invalid="ignore"):
            return np.asarray(np.where(n > 0, np.nansum(self.chance, axis=0) / n, np.nan), np.float32)

    @property
    def worst(self) -> Single:
        """(ny, nx): in the direction noticed least."""
        return self._extreme(np.fmin)

    @property
    def best(self) -> Single:
        """(ny, nx): in the direction noticed best."""
        return self._extreme(np.fmax)

    def _extreme(self, pick: np.ufunc) -> Single:
        return np.asarray(pick.reduce(self.chance, axis=0), np.float32)

    @property
    def worst_heading(self) -> NDArray[np.int8]:
        """(ny, nx) index of the direction noticed least, −1 where nobody walks or all are alike."""
        filled = np.where(np.isnan(self.chance), np.inf, self.chance)
        alike = ~(self.best > self.worst)
        return np.where(alike, -1, filled.argmin(axis=0)).astype(np.int8)


class _Clock:
    """Processor seconds of several threads, added up."""

    def __init__(self) -> None:
        self.seconds = 0.0
        self._lock = threading.Lock()

    def add(self, began: float) -> None:
        spent = time.thread_time() - began
        with self._lock:
            self.seconds += spent


def grid_walk(
    surface: Surface,
    units: Sequence[Unit],
    sensors: Mapping[str, Sensor],
    rays: RayScene,
    weather: Weather,
    *,
    length_m: float = WALK_M,
    clipped: bool = True,
    threads: int | None = None,
    progress: Progress | None = None,
) -> GridWalk:
    """Walk through every cell of a flat surface in eight directions, and sit there.

    `sensors` by name for the infrared `units` and halves of dual ones. Of these `trigger-then-hold` is asked whether a
    walk triggers, and whether who sits there is held. `clipped`: beyond a declared edge nothing counts. Raises
    InputError for air that the model does not hold for.
    """
    began = time.process_time()
    tracing = _Clock()
    ground = ground_of(surface, rays)
    air_c = air_around(weather, ground.feet)
    for ambient_c in np.unique(air_c).tolist() if sensors else ():
        check_ambient(ambient_c)
    halves = np.stack([free_ahead_m(ground, heading, length_m / 2, rays) for heading in HEADINGS_RAD.tolist()])
    possible = halves + np.roll(halves, 4, axis=0) >= LEAST_M
    n = len(ground.rows)
    walked = np.zeros((8, n), np.uint8)
    facing = np.zeros(n, np.uint8)
    best = np.zeros((2, n), np.float32)
    n_walks = 0
    lock = threading.Lock()

    def take(unit: Unit, bits: Bits, sat: Bits) -> None:
        own = np.bitwise_count(bits) / np.float32(N_RUNS)
        across, toward = _by_line_of_sight(own, possible, unit, ground)
        with lock:
            np.bitwise_or(walked, bits, out=walked)
            np.bitwise_or(facing, sat, out=facing)
            np.fmax(best[0], across, out=best[0])
            np.fmax(best[1], toward, out=best[1])

    def of_part(unit: Unit) -> tuple[Bits, Bits, int]:
        if unit.name in sensors:
            one = _Simulated(sensors[unit.name], ground, halves, possible, rays, air_c, length_m, clipped, tracing)
            return one.results()
        return *_declared(unit, ground, possible, rays, weather), 0

    def work(unit: Unit) -> int:
        found = [of_part(part) for part in unit.parts]
        bits = combined_bits(unit, "trigger", [one[0] for one in found])
        take(unit, bits, combined_bits(unit, "hold", [one[1] for one in found]))
        return sum(one[2] for one in found)

    n_threads = threads if threads is not None else max(os.cpu_count() or 1, 1)
    with ThreadPoolExecutor(n_threads) as pool:
        for done, count in enumerate(pool.map(work, units) if n_threads > 1 else map(work, units)):
            n_walks += count
            if progress is not None:
                progress(done + 1, len(units))

    chance = np.where(possible, np.bitwise_count(walked) / np.float32(N_RUNS), np.float32(np.nan))
    anywhere = possible.any(axis=0)
    maps = [np.where(anywhere, one, np.float32(np.nan)) for one in best]
    sitting = (np.bitwise_count(facing) / 8).astype(np.float32)
    return GridWalk(
        surface,
        np.stack([_raster(one, ground) for one in chance]),
        _raster(sitting, ground),
        _raster(maps[0], ground),
        _raster(maps[1], ground),
        weather.ambient_c,
        n,
        n_walks,
        time.process_time() - began,
        tracing.seconds,
        len(sensors),
        sum(part.name not in sensors for unit in units for part in unit.parts),
    )


def _raster(values: Floats, ground: Ground) -> Single:
    out = np.full(ground.surface.shape, np.nan, np.float32)
    out[ground.rows, ground.columns] = values
    return out


def _by_line_of_sight(own: Floats, possible: NDArray[np.bool_], unit: Unit, ground: Ground) -> tuple[Floats, Floats]:
    """One unit's chances (n,) walking across its line of sight and along it, between the directions nearest to those.

    Both ways count alike; a direction that cannot be walked leaves its weight to the others.
    """
    away = ground.feet[:, :2] - unit.position[:2]
    bearing = np.arctan2(away[:, 1], away[:, 0])
    cell = np.arange(len(bearing))
    found = []
    for quarter in (2, 0):
        place = bearing / (np.pi / 4) + quarter
        low = np.floor(place).astype(int)
        index = np.stack([low, low + 1, low + 4, low + 5]) % 8
        part = place - low
        weight = np.stack([1 - part, part, 1 - part, part]) * possible[index, cell]
        total = weight.sum(axis=0)
        with np.errstate(invalid="ignore"):
            found.append(np.where(total > 0, (own[index, cell] * weight).sum(axis=0) / total, np.nan))
    return found[0], found[1]


class _Simulated:
    """One simulated detector over a ground."""

    def __init__(
        self, sensor: Sensor, ground: Ground, halves: Floats, possible: NDArray[np.bool_], rays: RayScene,
        air_c: Floats, length_m: float, clipped: bool, tracing: _Clock,
    ) -> None:  # fmt: skip
        self.sensor, self.ground, self.halves, self.possible = sensor, ground, halves, possible
        self.rays, self.air_c, self.length_m, self.clipped, self.tracing = (
            rays,
            air_c,
            length_m,
            clipped,
            tracing,
        )
        self.lenses = turned_lenses(sensor, len(LANES_M))
        self.local = sensor.local(ground.feet).astype(np.float32)

    def results(self) -> tuple[Bits, Bits, int]:
        """Runs noticed by direction (8, n) and ways of facing noticed (n,), as bits; how many walks."""
        n = len(self.ground.rows)
        bits, sat = np.zeros((8, n), np.uint8), np.zeros(n, np.uint8)
        headings = HEADINGS_RAD.tolist()
        outs = [self.sensor.terms(self.ground.feet, np.full(n, heading))[1] for heading in headings]
        within = np.stack([self._within(out) for out in outs]) & self.possible
        seated = self._within(self.sensor.terms(self.ground.feet, np.zeros(n), seated=True)[1])
        count = 0
        if not (within.any() or seated.any()):
            return bits, sat, 0
        seen = self._visible_levels(within.any(axis=0) | seated)
        for ambient_c in np.unique(self.air_c).tolist():
            count += self._in_air(ambient_c, within & (self.air_c == ambient_c), seated & (self.air_c == ambient_c),
                                  seen, bits, sat)  # fmt: skip
        return bits, sat, count

    def _in_air(
        self, ambient_c: float, within: NDArray[np.bool_], seated: NDArray[np.bool_], seen: Bits, bits: Bits, sat: Bits
    ) -> int:
        """Fill in the runs of the cells in one air: a walk through a cell is all in that cell's; how many walks."""
        headings, count = HEADINGS_RAD.tolist(), 0
        for index, heading in enumerate(headings):
            walks = walks_of(
                body_for("adult", self.sensor.unit.mounting), [heading], PHASES_RAD, ambient_c=ambient_c,
                step_s=self.sensor.step_s, length_m=self.length_m, rotation=self.sensor.unit.rotation,
                lanes_m=LANES_M, n_levels=N_LEVELS, level_top_m=LEVEL_TOP_M,
            )  # fmt: skip
            for cells in _parts(np.flatnonzero(within[index])):
                bits[index, cells] = self._walk(walks, index, cells, seen)
                count += len(cells) * N_RUNS
        if seated.any():
            arms = arms_of(
                body_for("seated", self.sensor.unit.mounting), headings, ambient_c=ambient_c,
                step_s=self.sensor.step_s, rotation=self.sensor.unit.rotation, n_levels=N_LEVELS,
                level_top_m=LEVEL_TOP_M,
            )  # fmt: skip
            for cells in _parts(np.flatnonzero(seated)):
                sat[cells] = self._sit(arms, cells, seen)
                count += len(cells) * 8
        return count

    def _within(self, out: Floats) -> NDArray[np.bool_]:
        # Unclipped, what lies beyond the lens gives no signal anyhow; twice the edge spares the walks out there.
        return np.asarray(out <= (1 + 1e-9 if self.clipped else 2.0))

    def _visible_levels(self, wanted: NDArray[np.bool_]) -> Bits:
        """(ny, nx) bits of the levels of a body that the unit sees at each cell that a walk may touch."""
        ground = self.ground
        spread = np.zeros(ground.surface.shape, bool)
        spread[ground.rows[wanted], ground.columns[wanted]] = True
        reach = int(np.ceil(self.length_m / 2 / ground.surface.grid))
        spread = _grown(spread, reach)
        cells = np.flatnonzero(spread[ground.rows, ground.columns])
        table = np.zeros(ground.surface.shape, np.uint8)
        heights = (np.arange(N_LEVELS) + 0.5) * LEVEL_TOP_M / N_LEVELS
        for part in _parts(cells, 4 * _CELLS_AT_ONCE):
            feet = ground.feet[part]
            bits = np.zeros(len(part), np.uint8)
            for level, height in enumerate(heights.tolist()):
                began = time.thread_time()
                unit = self.sensor.unit
                segments = self.rays.segments(unit.position, feet + np.array([0.0, 0.0, height]), unit.ahead)
                blocked = self.rays.infrared_blocked(segments)
                self.tracing.add(began)
                bits |= (~blocked).astype(np.uint8) << level
            table[ground.rows[part], ground.columns[part]] = bits
        return table

    def _walk(self, walks: Walks, index: int, cells: Ints, seen: Bits) -> Bits:
        """Which of the six runs through cells (m,) are noticed, as bits (m,)."""
        step_m = walks.step_s * WALKING_MPS
        along = (np.arange(walks.n_steps) - (walks.n_steps - 1) / 2) * step_m
        ahead, back = self.halves[index, cells], self.halves[(index + 4) % 8, cells]
        steps = np.stack([np.searchsorted(along, -back - 1e-9), np.searchsorted(along, ahead + 1e-9)], axis=1)
        heading = HEADINGS_RAD[index]
        row, column, on = self.ground.moved(
            along[None] * np.cos(heading), along[None] * np.sin(heading), cells[:, None]
        )
        visible = np.where(on, seen[row, column], 0).astype(np.uint8)
        return self._noticed(walks, cells, np.full(len(cells), heading), visible, N_RUNS, len(PHASES_RAD), steps=steps)

    def _sit(self, arms: Walks, cells: Ints, seen: Bits) -> Bits:
        """Which ways of facing are noticed at cells (m,), as bits (m,)."""
        visible = seen[self.ground.rows[cells], self.ground.columns[cells]]
        visible = np.broadcast_to(visible[:, None], (len(cells), arms.n_steps))
        return self._noticed(arms, cells, np.zeros(len(cells)), visible, 8, 1, seated=True)

    def _noticed(
        self, walks: Walks, cells: Ints, heading: Floats, visible: Bits, n_runs: int, each: int, *,
        seated: bool = False, steps: Ints | None = None,
    ) -> Bits:  # fmt: skip
        """Which runs at cells (m,) are noticed, as bits (m,); `each` runs in turn go by the next of the lenses."""
        bits = np.zeros(len(cells), np.uint8)
        lens_of = np.arange(n_runs) // each % len(self.lenses)
        for number, lens in enumerate(self.lenses):
            runs = np.flatnonzero(lens_of == number)
            k = len(runs)
            offset_db, _ = lens.terms(self.ground.feet[cells], heading, seated=seated)
            _, pulses = walk_outcome(
                walks, lens.image, np.repeat(self.local[cells], k, axis=0), np.tile(runs, len(cells)),
                np.repeat(lens.calibration.threshold * 10 ** (-offset_db / 20), k),
                visible=np.repeat(visible, k, axis=0), steps=None if steps is None else np.repeat(steps, k, axis=0),
            )  # fmt: skip
            noticed = pulses.reshape(len(cells), k) >= lens.zones.n_pulses
            bits |= (noticed << runs).sum(axis=1).astype(np.uint8)
        return bits


def _parts(index: Ints, size: int = _CELLS_AT_ONCE) -> list[Ints]:
    return [index[start : start + size] for start in range(0, len(index), size)]


def _grown(mask: NDArray[np.bool_], by: int) -> NDArray[np.bool_]:
    from scipy.ndimage import maximum_filter

    return np.asarray(maximum_filter(mask, 2 * by + 1))


def _declared(
    unit: Unit, ground: Ground, possible: NDArray[np.bool_], rays: RayScene, weather: Weather
) -> tuple[Bits, Bits]:
    """Directions (8, n) and facings (n,) at which a unit's declared margin is at least 0 dB, as bits, all or none.

    Between walking across and toward it, the margin in dB goes by the square of the cosine to the line of sight; where
    only one of both is declared it holds for all directions.
    """
    n = len(ground.rows)
    motions = {footprint.motion for footprint in unit.footprints}

    def margin(motion: str, heights: tuple[float, ...]) -> Floats:
        # Whether a walk meets an edge is all that counts: −60 dB stands for no margin at all.
        whole = np.full(ground.surface.shape, -60.0)
        patch = cast(unit, replace(ground.surface, motion=motion, heights=heights), rays, weather)
        if patch is not None:
            whole[patch.window] = np.maximum(np.nan_to_num(patch.margin_db, nan=-60.0, neginf=-60.0), -60.0)
        return whole[ground.rows, ground.columns]

    bits, sat = np.zeros((8, n), np.uint8), np.zeros(n, np.uint8)
    moving = {motion: margin(motion, _WALKER_M) for motion in ("tangential", "radial") if motion in motions}
    if moving:
        across = moving.get("tangential", moving.get("radial"))
        along = moving.get("radial", across)
        assert across is not None
        assert along is not None
        away = ground.feet[:, :2] - unit.position[:2]
        bearing = np.arctan2(away[:, 1], away[:, 0])
        toward = np.cos(HEADINGS_RAD[:, None] - bearing) ** 2
        bits[((1 - toward) * across + toward * along >= 0) & possible] = 2**N_RUNS - 1
    if "presence" in motions:
        sat[margin("presence", _SEATED_M) >= 0] = 255
    return bits, sat
