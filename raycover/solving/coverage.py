"""`solve`: a scene becomes a Coverage: margins, counts, causes and gaps on every plane.

A coverage owns its grid and holds no scene: everything a picture or a question needs of the result is in it.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from functools import cached_property
from importlib import import_module
from typing import Any

import numpy as np
from numpy.typing import NDArray

from raycover.building.build import build
from raycover.building.parts import Building
from raycover.building.storeys import Floors
from raycover.detectors import Unit, make_unit
from raycover.errors import InputError, Problem
from raycover.rays.enclosed import Enclosures
from raycover.rays.ray_scene import RayScene
from raycover.scene.air import air_words, own_air
from raycover.scene.corrections import CorrectionsSpec
from raycover.scene.schema import Scene
from raycover.solving.casting import CAUSES, LOWEST_DB, Patch, Weather, n_pairs
from raycover.solving.gaps import Gap
from raycover.solving.kept.answers import cast_many
from raycover.solving.reasons import Explainer, Reasons
from raycover.solving.seats import SeatView, judge_seats
from raycover.solving.stair_headroom import stair_headroom
from raycover.solving.surfaces import Surface, make_surfaces

Floats = NDArray[np.floating]
Progress = Callable[[int, int], None]
#: So many pairs of an image and a cell are looked at, at most: a few minutes on one core.
MOST_LOOKS = 2_000_000_000
#: So many detectors are cast in one go at most.
_TOGETHER = 128
#: A unit no deeper than this (m) in a solid hangs on its face.
_ON_A_FACE = 5e-4


@dataclass(frozen=True)
class PlaneCoverage:
    """The result on one plane. Arrays are (ny, nx), row 0 at the lowest y.

    `margin_db`: best over detectors; NaN outside every room and in solids; −inf where it is below −9 dB or
    nothing gets through. `count`: detectors with margin >= 0, −1 outside. `patches`: each detector's own
    margins where it reaches. Causes and gaps are worked out when first asked for.
    """

    surface: Surface
    margin_db: NDArray[np.float32]
    count: NDArray[np.int16]
    patches: tuple[Patch | None, ...]
    reserve_db: float
    explainer: Explainer = field(repr=False)
    seeing: NDArray[np.int32] = field(repr=False)

    @cached_property
    def _reasons(self) -> Reasons:
        return self.explainer.explain(self.surface, self.margin_db, self.seeing)

    @property
    def best_detector(self) -> NDArray[np.int32]:
        """(ny, nx) index of the detector that sees best, or that comes nearest to seeing; −1 outside."""
        return self._reasons.nearest

    @property
    def cause(self) -> NDArray[np.int8]:
        """(ny, nx) why nobody is noticed, codes as `CAUSES`, 0 where somebody is; −1 outside."""
        return self._reasons.cause

    @property
    def gap(self) -> NDArray[np.int32]:
        """(ny, nx) label of the gap that a cell belongs to, 0 none."""
        return self._reasons.label

    @property
    def gaps(self) -> tuple[Gap, ...]:
        """Connected areas where nobody is noticed, largest first."""
        return self._reasons.gaps

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
class Reflections:
    """Ways by mirrors that a coverage counted: images a detector, how many ways carried something, and the most (dB)
    that all ways left out could add to a margin of 0 dB or more."""

    n_images: Mapping[str, int]
    n_ways: int
    left_out_db: float

    def line(self) -> str:
        """One line of words."""
        images, units = sum(self.n_images.values()), len(self.n_images)
        detectors = "detector" if units == 1 else "detectors"
        return (
            f"{images} images of {units} microwave {detectors}, {self.n_ways:,} ways by one mirror; "
            f"weaker ones left out would add {self.left_out_db:.1f} dB at the very most"
        )


@dataclass(frozen=True)
class Coverage(Mapping[str, PlaneCoverage]):
    """Planes by name, with the detectors they are of and how they were found; people's seats, each judged.

    `corrections` are those of the scene, in the margins already. `ambient_c` is the scene's air (°C), `rooms_c` by name
    that of rooms with another.
    """

    planes: Mapping[str, PlaneCoverage]
    units: tuple[Unit, ...]
    title: str
    ambient_c: float
    reserve_db: float
    seconds: float
    rays: RayScene
    warnings: tuple[Problem, ...]
    seats: tuple[SeatView, ...] = ()
    reflections: Reflections | None = None
    corrections: CorrectionsSpec | None = None
    rooms_c: Mapping[str, float] = field(default_factory=dict)

    @classmethod
    def of_scene(
        cls,
        scene: Scene,
        planes: Mapping[str, PlaneCoverage],
        units: tuple[Unit, ...],
        rays: RayScene,
        *,
        seconds: float,
        warnings: tuple[Problem, ...] = (),
        seats: tuple[SeatView, ...] = (),
        reflections: Reflections | None = None,
    ) -> Coverage:
        """That of planes and detectors of a scene, in its air and with its corrections."""
        conditions = scene.conditions
        return cls(
            planes, units, scene.title, conditions.ambient_c, conditions.reserve_db, seconds, rays,
            warnings, seats, reflections, scene.corrections, own_air(scene),
        )  # fmt: skip

    @property
    def air(self) -> str:
        """The air in words, that of rooms which have their own included."""
        return air_words(self.ambient_c, self.rooms_c)

    def __getitem__(self, name: str) -> PlaneCoverage:
        return self.planes[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self.planes)

    def __len__(self) -> int:
        return len(self.planes)

    def by_plane(self) -> dict[str, tuple[str, ...]]:
        """{plane of the scene: names of its maps}, on storeys and on stairs."""
        found: dict[str, tuple[str, ...]] = {}
        for name, plane in self.planes.items():
            key = plane.surface.plane or name
            found[key] = (*found.get(key, ()), name)
        return found

    def share(self, name: str) -> float:
        """Detected share of a plane's area."""
        return self.planes[name].share

    # Drawing lies above a coverage and is fetched by name when somebody at a prompt asks for it.

    def plot(self, plane: str | None = None, *, ax: Any = None) -> Any:
        """A map on matplotlib Axes, new ones unless `ax` is given, in metres; returns them to draw on.

        `plane` is one of the coverage's maps, the first if not given. Raises KeyError for an unknown one.
        """
        return import_module("raycover.draw.notebook").plot(self, plane, ax=ax)

    def show(self, plane: str | None = None, *, lobes: Sequence[str] = (), off_screen: bool | None = None) -> Any:
        """The building with a plane's map as a PyVista Plotter, to add to and to `show()` or `screenshot()`.

        `plane` is one of the scene's planes, the first if not given; `lobes` names detectors whose reach is drawn.
        `off_screen`: without a window, so by default where there is no display. Raises KeyError for an unknown
        name, MissingPart where nothing can be drawn.
        """
        return import_module("raycover.draw.view3d.notebook").show(self, plane, lobes=lobes, off_screen=off_screen)

    @property
    def n_rays(self) -> int:
        """Segments traced so far, those for causes included once they were asked for."""
        return self.rays.n_rays

    @property
    def backend(self) -> str:
        """Which ray tracer did it."""
        return self.rays.backend

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
    weather = Weather.of(scene)
    if weather.reflections:
        within_budget(scene, units, surfaces, rays, weather)
    n_threads = threads if threads is not None else max(os.cpu_count() or 1, 1)
    # Several units at a time: what numpy takes for each call is then paid once, and what they share worked out once.
    n_jobs = len(surfaces) * len(units)
    together = _TOGETHER if n_threads == 1 else min(max(n_jobs // (4 * n_threads), 1), _TOGETHER)
    blocks = [range(u, min(u + together, len(units))) for u in range(0, len(units), together)]
    jobs = [(s, block) for s in range(len(surfaces)) for block in blocks]
    patches: list[list[Patch | None]] = [[] for _ in surfaces]

    def work(job: tuple[int, range]) -> list[Patch | None]:
        s, block = job
        return cast_many([units[u] for u in block], surfaces[s], rays, weather)

    done = 0
    with ThreadPoolExecutor(n_threads) as pool:
        found = pool.map(work, jobs) if n_threads > 1 else map(work, jobs)
        for (s, _), some in zip(jobs, found, strict=True):
            patches[s] += some
            done += len(some)
            if progress is not None:
                progress(done, n_jobs)

    explainer = Explainer(units, rays, weather, scene.conditions.reserve_db)
    planes = {
        surface.name: combine(surface, mine, explainer, scene.conditions.reserve_db)
        for surface, mine in zip(surfaces, patches, strict=True)
    }
    return Coverage.of_scene(
        scene,
        planes,
        units,
        rays,
        seconds=time.perf_counter() - began,
        warnings=(*scene.warnings, *building.warnings, *warnings, *stair_headroom(scene, building, rays)),
        seats=judge_seats(building.seats, units, rays, weather),
        reflections=_reflections(units, patches) if weather.reflections else None,
    )


def within_budget(
    scene: Scene, units: Sequence[Unit], surfaces: Sequence[Surface], rays: RayScene, weather: Weather
) -> None:
    """Raises InputError where images of detectors would take more looks at cells than `MOST_LOOKS`."""
    asked = [[n_pairs(unit, surface, rays, weather) for surface in surfaces] for unit in units]
    looks = [sum(pairs for _, pairs in row) for row in asked]
    if sum(looks) <= MOST_LOOKS:
        return
    worst = int(np.argmax(looks))
    most = max(images for images, _ in asked[worst])
    raise InputError(
        [
            Problem(
                "too-many-images",
                f"reflections: 1 would look from {sum(looks) / 1e6:,.0f} million images at cells, "
                f'{MOST_LOOKS / 1e6:,.0f} million are the most ("{units[worst].name}" has {most} images, and '
                f"{looks[worst] / 1e6:,.0f} million looks)",
                scene.position("conditions", "reflections"),
                "make grid coarser, take planes or detectors out, or write reflections: 0",
            )
        ]
    )


def _reflections(units: Sequence[Unit], patches: Sequence[Sequence[Patch | None]]) -> Reflections:
    """What the patches of every surface, a row each, say of ways by mirrors."""
    found = [
        [patch.mirrored for row in patches if (patch := row[u]) is not None and patch.mirrored is not None]
        for u in range(len(units))
    ]
    images = {
        unit.name: len(frozenset[int]().union(*(one.planes for one in mine)))
        for unit, mine in zip(units, found, strict=True)
        if unit.frequency_ghz is not None
    }
    every = [one for mine in found for one in mine]
    return Reflections(images, sum(m.n_ways for m in every), max((m.dropped_db for m in every), default=0.0))


def make_units(scene: Scene, building: Building, *, only: Sequence[int] | None = None) -> tuple[Unit, ...]:
    """The scene's detectors ready for casting, or `only` those of some indices.

    Raises InputError for one that hangs inside a solid.
    """
    indices = range(len(scene.detectors)) if only is None else only
    floors = Floors(scene, building.rooms)
    derive = scene.conditions.derive_motions
    units = tuple(
        make_unit(
            detector,
            scene.pattern_of(detector),
            floors.under("detectors", index, detector)(*detector.at),
            derive=derive,
            corrected_db=scene.reach_correction_db(detector),
        )
        for index, detector in ((index, scene.detectors[index]) for index in indices)
    )
    inside = inside_boxes(building, np.array([unit.position for unit in units]).reshape(-1, 3))
    holders = {index: building.boxes.owners[box] for index, box in inside.items()}
    enclosures = Enclosures(building)
    for index, unit in enumerate(units):
        if (held := enclosures.holding(unit.position, _ON_A_FACE)) is not None:
            holders.setdefault(index, building.objects[held].name)
    problems = floors.problems + [
        Problem(
            "detector-in-solid",
            f'detector "{units[index].name}" hangs inside "{holder}"',
            scene.position("detectors", indices[index], "at"),
            "move it out, or change its mounting height",
        )
        for index, holder in holders.items()
    ]
    if problems:
        raise InputError(problems)
    return units


def inside_boxes(building: Building, points: Floats) -> dict[int, int]:
    """{index of a point (n, 3): a box it lies in}, half a millimetre in from every face.

    A unit fixed to a column hangs on it, not in it.
    """
    boxes = building.boxes
    if not len(boxes) or not len(points):
        return {}
    near = boxes.near(points)
    point = np.repeat(np.arange(len(points)), [len(n) for n in near])
    box = np.array([b for n in near for b in n], int)
    offset = points[point] - boxes.centre[box]
    cos, sin = np.cos(boxes.turn_rad[box]), np.sin(boxes.turn_rad[box])
    x, y = offset[:, 0] * cos + offset[:, 1] * sin, offset[:, 1] * cos - offset[:, 0] * sin
    hit = np.all(np.abs(np.stack([x, y, offset[:, 2]], axis=1)) < boxes.size[box] / 2 - _ON_A_FACE, axis=1)
    return dict(zip(point[hit].tolist(), box[hit].tolist(), strict=True))


def combine(
    surface: Surface, patches: Sequence[Patch | None], explainer: Explainer, reserve_db: float
) -> PlaneCoverage:
    """A plane's result from each detector's patch of it, in the explainer's order of detectors."""
    margin = np.full(surface.shape, -np.inf, np.float32)
    count = np.zeros(surface.shape, np.int16)
    best = np.full(surface.shape, -1, np.int32)
    for unit, patch in enumerate(patches):
        if patch is None:
            continue
        view = margin[patch.window]
        better = patch.margin_db > view
        np.copyto(view, patch.margin_db, where=better)
        np.copyto(best[patch.window], unit, where=better)
        count[patch.window] += patch.margin_db >= 0
    outside = ~surface.inside
    margin[outside], count[outside], best[outside] = np.nan, -1, -1
    return PlaneCoverage(surface, margin, count, tuple(patches), reserve_db, explainer, best)


__all__ = ["CAUSES", "LOWEST_DB", "Coverage", "PlaneCoverage", "combine", "make_units", "solve"]
