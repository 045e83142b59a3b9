"""What a need finds: a scene in a state, the doors of cubicles and the air as asked, built and ready to be judged."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from raycover.building.build import build
from raycover.building.parts import Building
from raycover.content import digest
from raycover.detectors import Unit
from raycover.loading import in_state
from raycover.proving.sites import Site
from raycover.rays.ray_scene import RayScene
from raycover.rays.recall import Recall
from raycover.scene.air import in_one_air, own_air
from raycover.scene.fittings import DoorState
from raycover.scene.needs import NeedSpec, named
from raycover.scene.schema import Scene
from raycover.solving.casting import Weather, margins
from raycover.solving.combining import over_parts
from raycover.solving.coverage import make_units
from raycover.solving.kept.answers import kept, key_of, worth
from raycover.solving.kept.digests import physics
from raycover.solving.kept.store import active
from raycover.walking.declared import margins_at
from raycover.walking.walk import heard_in

Floats = NDArray[np.floating]
#: Margins that distance alone puts below this (dB) are not followed up: far below any limit asked for.
_LOWEST_DB = -60.0


@dataclass(frozen=True)
class Situation:
    """A scene as one or several needs find it: in a state, the doors of cubicles and the air as asked."""

    scene: Scene
    building: Building
    rays: RayScene
    units: tuple[Unit, ...]
    weather: Weather

    def margin_db(
        self, unit: Unit, site: Site, *, least_db: Floats | float = -np.inf, recall: Recall | None = None
    ) -> Floats:
        """(n,) of one unit at the cells of a place, the best over heights; −inf where nothing gets through.

        Of a door's lines it is that of somebody walking them. Cells that the open air puts below `least_db`, (n,) or
        one for all, are not followed; `recall`: what is known of straight ways in this situation.
        """
        ask = self._along if site.lines else self._of_part

        def of_part(part: Unit) -> Floats:
            found = self._kept(part, site, least_db, lambda: ask(part, site, least_db, recall))
            return self.heard_db(part, site, found)

        return over_parts(site.asked(unit), site.motion, of_part)

    def _kept(self, part: Unit, site: Site, least_db: Floats | float, work: Callable[[], Floats]) -> Floats:
        """What a part makes of a place, looked up where it is kept."""
        if active() is None or not worth(part, self.weather, site.looked_at.n_points):
            return work()
        where = site.looked_at
        hangs_on = key_of(part, self.rays, self.weather, where.corners)
        key = digest(physics(), "site", hangs_on, where.digest, least_db)
        return kept(key, self.rays, lambda: {"margin_db": work()})["margin_db"]

    def _along(self, unit: Unit, site: Site, least_db: Floats | float, recall: Recall | None) -> Floats:
        least = float(np.min(least_db))  # along a walk one for all
        margin = np.full(len(site), -np.inf)
        for person, (cells, steps) in site.afoot.items():
            margin[cells] = margins_at(unit, steps, person, self.rays, self.weather, least_db=least, recall=recall)
        return margin

    def heard_db(self, unit: Unit, site: Site, margin_db: Floats) -> Floats:
        """Margins (n,) of a unit along a way, −inf at steps where its notice does not count."""
        return margin_db if site.rooms is None else np.where(self.hears(unit, site), margin_db, -np.inf)

    def hears(self, unit: Unit, site: Site) -> NDArray[np.bool_]:
        """At which steps of a way (n,) a unit's notice counts: one of the situation, changed, or a new one."""
        others = self.homes[[one.name != unit.tag for one in self.units]]
        home = self.building.rooms_at(unit.position[None])
        return np.asarray(heard_in(np.append(home, others), site.stepped(site.rooms))[0])

    @cached_property
    def homes(self) -> NDArray[np.integer]:
        """(n_units,) the rooms that units hang in."""
        return self.building.rooms_at(np.array([unit.position for unit in self.units]).reshape(-1, 3))

    def _of_part(self, unit: Unit, site: Site, least_db: Floats | float, recall: Recall | None) -> Floats:
        least = np.tile(least_db, len(site.heights)) if np.ndim(least_db) else least_db
        found = margins(
            unit, site.points, site.motion, self.rays, self.weather, lifted=site.lifted, lowest_db=_LOWEST_DB,
            least_db=least, recall=recall,
        )  # fmt: skip
        return site.best(found)


def situation_of(scene: Scene, need: NeedSpec, state: str | None, known: dict[object, Situation]) -> Situation:
    """The situation of a need in a state; `known` are those made before, and takes in new ones."""
    stated = scene if state is None else in_state(scene, state)
    rows_named = tuple(named(need.cubicles, [row.name for row in stated.cubicles]))
    doors = None if need.doors is None else (rows_named, need.doors)
    if doors is not None:
        rows = [_with_doors(row, doors[1]) if row.name in doors[0] else row for row in stated.cubicles]
        if rows != stated.cubicles:
            stated = stated.changed({"cubicles": rows}, stated.state, lambda places: places)
        else:
            doors = None
    key = (stated.state, None if doors is None else (doors[0], str(doors[1])))
    if key not in known:
        building = build(stated)
        known[key] = Situation(stated, building, RayScene(building), make_units(stated, building), Weather.of(stated))
    if need.ambient_c is None or (need.ambient_c == stated.conditions.ambient_c and not own_air(stated)):
        return known[key]
    warmer = (*key, need.ambient_c)
    if warmer not in known:  # the same building and units in other air, whatever room the need's places are in
        aired = stated.changed(in_one_air(stated, need.ambient_c), stated.state, lambda places: places)
        known[warmer] = replace(known[key], scene=aired, weather=Weather.of(aired))
    return known[warmer]


def _with_doors(row: object, doors: DoorState) -> object:
    angles = getattr(row, "door_angles")  # noqa: B009 - any row of cubicles
    copy = row.model_copy(update={"doors": doors})  # type: ignore[attr-defined]
    return row if copy.door_angles == angles else copy
