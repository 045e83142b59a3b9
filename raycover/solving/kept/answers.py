"""Answers about detectors that are looked up before they are cast, and kept.

What is found is what would have been cast, to the last bit, and counts the same rays. Without a store (`store.active`)
everything here is casting and nothing else.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from typing import Any
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from raycover.content import SHORT, digest
from raycover.detectors import Unit
from raycover.rays.ray_scene import LIFT, RayScene
from raycover.solving.casting import Patch, Weather, reached
from raycover.solving.casting import cast_many as cast_anew
from raycover.solving.kept.digests import of_weather, physics
from raycover.solving.kept.store import Arrays, Store, active
from raycover.solving.kept.surroundings import Surroundings
from raycover.solving.open_views import stand
from raycover.solving.paths import Mirrored
from raycover.solving.surfaces import Surface

Floats = NDArray[np.floating]
Window = tuple[slice, slice]
#: An answer of fewer rays is sooner cast than looked up: of infrared so many, of microwave so many times fewer, since
#: each of its rays takes longer.
_FEWEST, _MICROWAVE = 20_000, 4

_SURROUNDINGS: WeakKeyDictionary[RayScene, Surroundings] = WeakKeyDictionary()
_LOCK = threading.Lock()


def surroundings(rays: RayScene) -> Surroundings:
    """Those of a building, made when first asked for."""
    with _LOCK:
        if rays not in _SURROUNDINGS:
            _SURROUNDINGS[rays] = Surroundings(rays.building, rays.backend)
        return _SURROUNDINGS[rays]


def goes_by_mirrors(part: Unit, weather: Weather) -> bool:
    """Whether a unit of one technology has images in mirrors, which may stand anywhere."""
    return bool(weather.reflections) and part.kind == "microwave"


def worth(part: Unit, weather: Weather, n_points: int) -> bool:
    """Whether an answer of a unit of one technology at points is worth looking up and keeping."""
    times = _MICROWAVE if part.kind == "microwave" else 1
    return n_points > 0 and (goes_by_mirrors(part, weather) or n_points * times >= _FEWEST)


def key_of(part: Unit, rays: RayScene, weather: Weather, region: Floats, *, everywhere: bool = False) -> bytes:
    """What answers of a unit of one technology hang on, but for what is asked: what it is, the air, what it can meet.

    `region` (2, 3): corners of where the asked points lie; `everywhere`: whatever stands in the building counts.
    """
    around = surroundings(rays)
    if everywhere or goes_by_mirrors(part, weather):
        met = around.whole
    else:
        ends = np.stack([np.minimum(region[0], part.position), np.maximum(region[1], part.position)])
        met = around.near(part.kind, part.frequency_ghz, ends)
    return digest(
        part.content, of_weather(weather, part.kind), met, rays.launch.planes_at(part.position, part.ahead), size=SHORT
    )


def of_units(units: Sequence[Unit], rays: RayScene, weather: Weather) -> bytes:
    """What answers of several units in a building hang on, whatever stands in it."""
    nowhere = np.zeros((2, 3))
    return digest(
        [
            (unit.combine, unit.trigger, [key_of(part, rays, weather, nowhere, everywhere=True) for part in unit.parts])
            for unit in units
        ],
        size=SHORT,
    )


def of_surface(surface: Surface) -> bytes:
    """The digest of a surface's cells with what is asked there."""
    everything = slice(0, surface.shape[0]), slice(0, surface.shape[1])
    return digest(surface.motion, _looked_at(surface, everything)[0], size=SHORT)


def kept(key: bytes, rays: RayScene, work: Callable[[], Arrays]) -> Arrays:
    """The arrays of a key: those kept, else worked out and kept."""
    store = active()
    assert store is not None
    if (found := store.get(key)) is not None:
        rays.count(int(found.pop("n_rays")))
        return found
    before = rays.n_rays_here
    made = work()
    store.put(key, {**made, "n_rays": np.array(rays.n_rays_here - before)})
    return made


def cast(unit: Unit, surface: Surface, rays: RayScene, weather: Weather) -> Patch | None:
    """As `casting.cast`."""
    return cast_many([unit], surface, rays, weather)[0]


def cast_many(units: Sequence[Unit], surface: Surface, rays: RayScene, weather: Weather) -> list[Patch | None]:
    """As `casting.cast_many`: of what is kept nothing is cast."""
    store = active()
    if store is None:
        return cast_anew(units, surface, rays, weather)
    asked = [_Asked.of(unit, surface, rays, weather) for unit in units]
    patches: list[Patch | None] = [None] * len(units)
    missing = []
    for k, one in enumerate(asked):
        if one is None or (found := store.get(one.key)) is None:
            missing.append(k)
        else:
            patches[k] = one.patch(found)
            rays.count(int(found["n_rays"]))
    if missing:
        # Microwave one by one, since each is to say how many rays it took.
        alone = [k for k in missing if asked[k] is not None and units[k].frequency_ghz is not None]
        together = sorted(set(missing) - set(alone))
        made = cast_anew([units[k] for k in together], surface, rays, weather)
        made += [patch for k in alone for patch in cast_anew([units[k]], surface, rays, weather)]
        for k, patch in zip([*together, *alone], made, strict=True):
            patches[k] = patch
            if (one := asked[k]) is not None and patch is not None:
                one.keep(store, patch)
    return patches


class _Asked:
    """A unit on a surface, under its key; windows of patches are kept relative to a corner of the surface."""

    def __init__(self, key: bytes, corner: tuple[int, int]) -> None:
        self.key, self._corner = key, corner

    @classmethod
    def of(cls, unit: Unit, surface: Surface, rays: RayScene, weather: Weather) -> _Asked | None:
        """None where a unit reaches so few cells that it is sooner cast."""
        everything = slice(0, surface.shape[0]), slice(0, surface.shape[1])
        parts: list[tuple[Unit, Window]] = []
        airs: list[Weather] = []
        for part in unit.parts:
            if goes_by_mirrors(part, weather):
                parts.append((part, everything))
                airs.append(weather)
            elif (one := reached(part, surface, weather)) is not None:
                parts.append((part, one.window))
                airs.append(one.weather)
        windows = [window for _, window in parts]
        if not any(worth(part, weather, len(surface.heights) * _n_cells(window)) for part, window in parts):
            return None
        looked_at = [_looked_at(surface, window) for window in windows]
        stands = [stand(part, surface, window) for part, window in parts]
        keys = [
            (key_of(part, rays, felt, region), place)
            for (part, _), felt, (place, region) in zip(parts, airs, looked_at, strict=True)
        ]
        rows, columns = (min(window[axis].start for window in windows) for axis in (0, 1))
        corners = [(window[0].start - rows, window[1].start - columns) for window in windows]
        kinds = [part.kind for part in unit.parts]
        key = digest(physics(), "patch", kinds, unit.combine, unit.trigger, surface.motion, keys, corners, stands)
        return cls(key, (rows, columns))

    def patch(self, found: Arrays) -> Patch:
        """The patch of what was kept."""
        (row, column), margin = found["corner"].tolist(), found["margin_db"]
        row, column = row + self._corner[0], column + self._corner[1]
        mirrored = None
        if "planes" in found:
            planes = frozenset(found["planes"].tolist())
            mirrored = Mirrored(planes, int(found["n_ways"]), float(found["dropped_db"]))
        rows, columns = slice(row, row + margin.shape[0]), slice(column, column + margin.shape[1])
        return Patch(rows, columns, margin, mirrored, int(found["n_rays"]))

    def keep(self, store: Store, patch: Patch) -> None:
        """Keep a patch."""
        arrays: dict[str, NDArray[Any]] = {
            "corner": np.array([patch.rows.start, patch.columns.start]) - self._corner,
            "margin_db": patch.margin_db,
            "n_rays": np.array(patch.n_rays),
        }
        if (one := patch.mirrored) is not None:
            arrays["planes"] = np.array(sorted(one.planes), np.int32)
            arrays["n_ways"], arrays["dropped_db"] = np.array(one.n_ways), np.array(one.dropped_db)
        store.put(self.key, arrays)


def _n_cells(window: Window) -> int:
    rows, columns = window
    return (rows.stop - rows.start) * (columns.stop - columns.start)


def _looked_at(surface: Surface, window: Window) -> tuple[bytes, Floats]:
    """A digest of the cells of a window with all that is asked there, and the corners (2, 3) of where they lie."""
    rows, columns = window
    x, y = surface.plan(rows, columns)
    floor, heights = surface.floor_at(rows, columns), surface.heights
    place = digest(
        surface.target_m2, heights, surface.grid, surface.is_regular, surface.inside[window], x, y, floor, size=SHORT
    )
    lowest, highest = (floor, floor) if isinstance(floor, float) else (floor.min(), floor.max())
    low = [x.min(), y.min(), lowest + min(heights)]
    high = [x.max(), y.max(), highest + max(heights) + LIFT]
    return place, np.array([low, high])
