"""Studies: the same scene with other mounting heights, tilts, turns, air or loads, and what that changes.

Only the named detectors are cast again from step to step; what the others see is kept.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from raycover.building.build import build
from raycover.building.parts import Building
from raycover.detectors import Unit
from raycover.loading import check_changed
from raycover.rays.ray_scene import RayScene
from raycover.scene.schema import Scene
from raycover.scene.varying import Change, varied
from raycover.solving.casting import CAUSES, Patch, Weather
from raycover.solving.coverage import PlaneCoverage, combine, make_units
from raycover.solving.kept.answers import cast
from raycover.solving.reasons import Explainer
from raycover.solving.surfaces import Surface, make_surfaces

Floats = NDArray[np.floating]
Progress = Callable[[int, int], None]
#: Heights (m) that people of every size are looked for at; taller than the last nobody is taken to be.
LADDER = tuple(np.round(np.arange(0.1, 2.01, 0.1), 1).tolist())
#: Share of the floor that `Unseen.tall_m` speaks of.
OF_FLOOR = 0.95
#: Statures (m): an adult and a child. British adults' medians are 1.74 and 1.61 m; the child's is from memory.
ADULT_M, CHILD_M = 1.7, 1.1


@dataclass(frozen=True)
class PlaneFigures:
    """One plane in the rooms of the detectors studied: area (m²), shares seen and assured, the largest gap."""

    area_m2: float
    share: float
    assured_share: float
    gap_m2: float
    gap_widest_m: float
    gap_at: tuple[float, float, float] | None
    gap_cause: str
    gap_by: str | None


@dataclass(frozen=True)
class Unseen:
    """Who could stand or crawl unnoticed: at a place, a person shorter than the lowest height seen there.

    `tall_m`: on all but 5 % of the floor nobody taller passes unseen; None where even 2 m do. `adult_m2`, `child_m2`:
    floor on which a person of 1.7 m, of 1.1 m stands unseen.
    """

    tall_m: float | None
    adult_m2: float
    child_m2: float


@dataclass(frozen=True)
class Step:
    """One combination of values with its figures by plane."""

    change: Change
    planes: dict[str, PlaneFigures]
    unseen: Unseen | None


@dataclass(frozen=True)
class Study:
    """Steps in the order asked for, the rooms (by name) they are counted in, and the detectors varied."""

    steps: tuple[Step, ...]
    rooms: tuple[str, ...]
    detectors: tuple[str, ...]


def study(
    scene: Scene,
    changes: Sequence[Change],
    detectors: Collection[str],
    *,
    ladder: bool = True,
    caster: Caster | None = None,
    progress: Progress | None = None,
) -> Study:
    """Figures of a scene with each change to some detectors, counted in the rooms that these hang in.

    `caster`: one made for the same scene and detectors, to keep what it has built and cast. `ladder`: also look for
    people of every size, which casts twenty heights more. Raises InputError for changes that cannot stand (a unit
    above its ceiling), all of them at once.
    """
    check_changed(scene, changes, detectors)
    caster = Caster(scene, detectors) if caster is None else caster
    steps = []
    for index, change in enumerate(changes):
        planes = caster.planes(change)
        figures = {name: plane_figures(plane, caster.rooms) for name, plane in planes.items()}
        steps.append(Step(change, figures, caster.unseen(change) if ladder else None))
        if progress is not None:
            progress(index + 1, len(changes))
    return Study(
        tuple(steps), tuple(sorted(caster.rooms)), tuple(d.name for d in scene.detectors if d.name in detectors)
    )


class Caster:
    """Casts a scene under changes, keeping buildings and what the detectors that stay see."""

    def __init__(self, scene: Scene, detectors: Collection[str]) -> None:
        self.scene = scene
        self.moved = [k for k, d in enumerate(scene.detectors) if d.name in detectors]
        self._built: dict[str, tuple[RayScene, list[Surface]]] = {}
        self._kept: dict[tuple[object, ...], Patch | None] = {}
        rays, _ = self._building(Change())
        units = make_units(scene, rays.building)
        homes = rays.building.rooms_at(np.array([units[k].position for k in self.moved]).reshape(-1, 3))
        self.rooms = {rays.building.rooms[h].name for h in homes if h >= 0}

    def _building(self, change: Change) -> tuple[RayScene, list[Surface]]:
        if change.racks not in self._built:
            scene = varied(self.scene, Change(racks=change.racks))
            building = build(scene)
            # Where people stand is asked of the building as drawn: taking a rack away must not add floor.
            surfaces = self._built["as drawn"][1] if self._built else make_surfaces(scene, building)[0]
            self._built[change.racks] = RayScene(building), surfaces
        return self._built[change.racks]

    def building(self, change: Change) -> Building:
        """What stands under a change."""
        return self._building(change)[0].building

    def units(self, change: Change) -> tuple[Unit, ...]:
        """The detectors under a change."""
        return make_units(self._scene(change), self.building(change))

    def _scene(self, change: Change) -> Scene:
        return varied(self.scene, change, [self.scene.detectors[k].name for k in self.moved])

    def planes(self, change: Change) -> dict[str, PlaneCoverage]:
        """Every plane of the scene under a change."""
        rays, surfaces = self._building(change)
        return {surface.name: self._plane(change, surface, rays) for surface in surfaces}

    def _plane(self, change: Change, surface: Surface, rays: RayScene) -> PlaneCoverage:
        scene = self._scene(change)
        weather = Weather.of(scene)
        units = make_units(scene, rays.building)
        patches = [self._cast(change, k, unit, surface, rays, weather) for k, unit in enumerate(units)]
        explainer = Explainer(units, rays, weather, scene.conditions.reserve_db)
        return combine(surface, patches, explainer, scene.conditions.reserve_db)

    def _cast(
        self, change: Change, index: int, unit: Unit, surface: Surface, rays: RayScene, weather: Weather
    ) -> Patch | None:
        if index in self.moved:
            return cast(unit, surface, rays, weather)
        key = (index, surface.name, surface.heights, surface.motion, change.racks, change.ambient_c)
        if key not in self._kept:
            self._kept[key] = cast(unit, surface, rays, weather)
        return self._kept[key]

    def unseen(self, change: Change) -> Unseen | None:
        """Who passes unseen on the floors of the rooms studied; None where no map lies flat over rooms."""
        _, surfaces = self._building(change)
        floors = {s.storey: s for s in surfaces if s.stairs is None and s.room_names != ("extent",)}
        lowest, weight = [], []
        for floor in floors.values():
            mine = floor.inside & np.isin(floor.room, _indices(floor, self.rooms))
            if mine.any():
                lowest.append(self.seen_from(change, floor)[mine])
                weight.append(floor.area[mine])
        return _unseen(np.concatenate(lowest), np.concatenate(weight)) if lowest else None

    def seen_from(self, change: Change, floor: Surface) -> Floats:
        """The lowest height (ny, nx) of `LADDER` at which somebody over a floor is seen, infinite where at none."""
        rays, _ = self._building(change)
        lowest = np.full(floor.shape, np.inf)
        for height in reversed(LADDER):
            level = replace(floor, name="ladder", motion="any", heights=(height,))
            lowest[self._plane(change, level, rays).detected] = height
        return lowest


def _unseen(seen_from: Floats, area: Floats) -> Unseen:
    order = np.argsort(seen_from)
    share = np.cumsum(area[order]) / area.sum()
    tall = float(seen_from[order][np.searchsorted(share, OF_FLOOR - 1e-12)])
    return Unseen(
        tall_m=tall if np.isfinite(tall) else None,
        adult_m2=float(area[seen_from > ADULT_M + 1e-9].sum()),
        child_m2=float(area[seen_from > CHILD_M + 1e-9].sum()),
    )


def _indices(surface: Surface, rooms: Collection[str]) -> list[int]:
    return [k for k, name in enumerate(surface.room_names) if name in rooms]


def plane_figures(plane: PlaneCoverage, rooms: Collection[str] | None = None) -> PlaneFigures:
    """A plane's figures, of all of it or where it lies flat in some rooms."""
    surface = plane.surface
    rooms = surface.room_names if rooms is None else rooms
    whole = surface.stairs is not None or surface.room_names == ("extent",)
    mine = surface.inside & (True if whole else np.isin(surface.room, _indices(surface, rooms)))
    area = float(surface.area[mine].sum())
    gaps = [g for g in plane.gaps if whole or g.room in rooms]
    worst = gaps[0] if gaps else None
    return PlaneFigures(
        area_m2=area,
        share=plane.area_where(plane.detected & mine) / area if area else 0.0,
        assured_share=plane.area_where(plane.assured & mine) / area if area else 0.0,
        gap_m2=worst.area_m2 if worst else 0.0,
        gap_widest_m=max((g.widest_m for g in gaps), default=0.0),
        gap_at=worst.at if worst else None,
        gap_cause=CAUSES[worst.cause] if worst else "none",
        gap_by=worst.blocked_by if worst else None,
    )


def holds(step: Step, share: float) -> bool:
    """Whether every plane is seen to the share asked for."""
    return all(plane.share >= share - 1e-9 for plane in step.planes.values())


def bands(steps: Sequence[Step], share: float) -> list[tuple[int, int]]:
    """Runs (first, last), by index of the step, in which every plane is seen to the share asked for."""
    met = np.array([holds(step, share) for step in steps], int)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], met, [0]])))
    return [(int(a), int(b) - 1) for a, b in edges.reshape(-1, 2)]
