"""Why is this point seen or not: every detector's view of one point, ray by ray."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from raycover.building.build import build
from raycover.building.parts import Building
from raycover.detectors import Unit
from raycover.rays.ray_scene import LIFT, Crossing, RayScene, take
from raycover.rays.segments import off_floor
from raycover.scene.schema import Scene
from raycover.solving.casting import CAUSES, Weather, judge, potential_db
from raycover.solving.combining import combined_db, deciding
from raycover.solving.coverage import make_units
from raycover.solving.paths import Imaging, imaging

Floats = NDArray[np.floating]
Bools = NDArray[np.bool_]
#: Causes in a few words that follow a margin.
CAUSE_WORDS = {
    "none": "seen",
    "out-of-reach": "beyond its reach",
    "outside-lens": "outside its lens",
    "masked": "masked",
    "blocked": "hidden",
    "material-loss": "too much lost on the way",
    "too-warm": "in reach at 20 °C, too little contrast in this air",
}


@dataclass(frozen=True)
class Way:
    """One way from a detector to a point; the straight one has no mirror.

    `margin_db` of this way by itself, may be −inf; `mirror` the part that mirrors, of `construction`, at
    `incidence_deg`, one-way reflection loss `reflect_db`; crossings from the detector on, distances along the way.
    """

    margin_db: float
    length_m: float
    crossings: tuple[Crossing, ...]
    mirror: str | None = None
    construction: str | None = None
    incidence_deg: float = 0.0
    reflect_db: float = 0.0


@dataclass(frozen=True)
class View:
    """One detector's view of a point. `margin_db` is that of all `ways` together, may be −inf; `crossings` are those
    of the straight way. `ways`: the straight one, then those by a mirror, the best first. `left_out_db`: the most
    that weaker ways, left out, could add to a margin of 0 dB or more. A dual detector's cause, crossings and ways are
    those of the half that its margin hangs on, `decided_by`; `halves` are both by themselves. `point` (x, y, z) is the
    place viewed, `potential_db` the margin from distance alone at 20 °C.
    """

    unit: Unit
    margin_db: float
    distance_m: float
    cause: str
    crossings: tuple[Crossing, ...]
    point: tuple[float, float, float]
    potential_db: float
    ways: tuple[Way, ...] = ()
    left_out_db: float = 0.0
    halves: tuple[View, ...] = ()
    decided_by: str | None = None

    @property
    def name(self) -> str:
        return self.unit.name

    @property
    def detected(self) -> bool:
        return self.margin_db >= 0


def probe(
    scene: Scene,
    point: tuple[float, float, float],
    *,
    motion: str = "any",
    target_m2: float | None = None,
    heights: Sequence[float] = (0.0,),
    building: Building | None = None,
    rays: RayScene | None = None,
) -> list[View]:
    """Every detector's view of a point (x, y, z absolute, m), in the order of the scene.

    `target_m2`: radar cross section (m²) of what moves there; None: what each declaration assumes. `heights` (m) over
    the point at which being seen counts: each detector answers for the one that it sees best.
    """
    building = build(scene) if building is None else building
    rays = RayScene(building) if rays is None else rays
    units, weather = make_units(scene, building), Weather.of(scene)
    return views_over(units, point, heights, rays, weather, motion=motion, target_m2=target_m2)


def views_over(
    units: Sequence[Unit],
    ground: tuple[float, float, float],
    heights: Sequence[float],
    rays: RayScene,
    weather: Weather,
    *,
    motion: str = "any",
    target_m2: float | None = None,
) -> list[View]:
    """Each unit's view of somebody who stands at a place (x, y, z, m): of the one of `heights` that it sees best."""
    x, y, z = ground
    tries = [
        views_of(units, (x, y, z + height), rays, weather, motion=motion, target_m2=target_m2) for height in heights
    ]
    return [_best_height(some, motion) for some in zip(*tries, strict=True)]


def _best_height(tries: Sequence[View], motion: str) -> View:
    """One detector's view of somebody, from those of some heights: each half of a dual one has its own best height."""
    best = max(tries, key=lambda view: (view.margin_db, view.potential_db))
    if len(tries) == 1 or not best.halves:
        return best
    halves = zip(*(view.halves for view in tries), strict=True)
    margins = [np.array([max(half.margin_db for half in some)]) for some in halves]
    margin = float(combined_db(best.unit, motion, margins)[0])
    return replace(best, margin_db=margin, cause="none" if margin >= 0 else best.cause)


def views_of(
    units: Iterable[Unit],
    point: tuple[float, float, float],
    rays: RayScene,
    weather: Weather,
    *,
    motion: str = "any",
    target_m2: float | None = None,
) -> list[View]:
    """As `probe`, of detectors that are ready."""
    place = np.array([point], float)
    on_floor = np.array([rays.building.is_on_floor(place[0], LIFT)])
    views = []
    for unit in units:
        parts = [_view(part, place, on_floor, motion, target_m2, rays, weather) for part in unit.parts]
        margins = [np.array([view.margin_db]) for view in parts]
        potentials = [potential_db(part, place, motion, target_m2) for part in unit.parts]
        view = parts[int(deciding(unit, motion, margins, potentials)[0])]
        if unit.halves:
            view = replace(view, unit=unit, halves=tuple(parts), decided_by=view.unit.kind)
        views.append(view)
    return views


def _view(
    unit: Unit, place: Floats, on_floor: Bools, motion: str, target_m2: float | None, rays: RayScene, weather: Weather
) -> View:
    """How a unit of one technology sees a place (1, 3)."""
    judged = judge(unit, place, motion, rays, weather, lifted=on_floor, target_m2=target_m2)
    target = off_floor(place, on_floor)
    met = rays.crossings(rays.segments(unit.position, target, unit.ahead), unit.frequency_ghz, weather.losses)
    distance = float(judged.distance_m[0])
    ways = [Way(float(judged.straight_db[0]), distance, tuple(met))]
    seen = imaging(unit, unit.footprints_for(motion, target_m2), rays, weather)
    more, left_out_db = _by_mirrors(seen, target - unit.position, judged.straight_db) if seen else ([], 0.0)
    ways += sorted(more, key=lambda way: -way.margin_db)
    margin = float(judged.margin_db[0])
    x, y, z = (float(v) for v in place[0])
    cause, potential = CAUSES[judged.cause[0]], float(judged.potential_db[0])
    return View(unit, margin, distance, cause, tuple(met), (x, y, z), potential, tuple(ways), left_out_db)


def _by_mirrors(seen: Imaging, offset: Floats, straight_db: Floats) -> tuple[list[Way], float]:
    """The ways to one point at an offset (1, 3), and what those left out could add."""
    unit, rays, building = seen.unit, seen.rays, seen.rays.building
    ways = seen.by_mirrors(offset, straight_db)
    first, last = seen.legs(ways, offset)
    found = []
    for k, part in enumerate(ways.part.tolist()):
        leg = float(np.linalg.norm(ways.hit[k] - unit.position))
        one, two = (
            rays.crossings(take(legs, np.array([k])), unit.frequency_ghz, seen.weather.losses) for legs in (first, last)
        )
        found.append(
            Way(
                float(ways.margin_db[k]),
                float(np.linalg.norm(ways.offset[k])),
                (*one, *(replace(crossing, distance_m=crossing.distance_m + leg) for crossing in two)),
                building.part_name(part),
                building.part_made_of(part).name,
                float(np.degrees(np.arccos(min(float(ways.cosine[k]), 1.0)))),
                float(ways.reflect_db[k]),
            )
        )
    return found, ways.added_to(straight_db)[1].dropped_db
