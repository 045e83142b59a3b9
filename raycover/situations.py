"""What a need finds: a scene in a state, the doors of cubicles and the air as asked, built and ready to be judged."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from raycover.building.build import build
from raycover.building.parts import Building
from raycover.casting import Weather, judge, potential_db
from raycover.combining import over_parts
from raycover.content import digest
from raycover.coverage import make_units
from raycover.detectors import Unit
from raycover.kept.answers import kept, key_of, worth
from raycover.kept.digests import physics
from raycover.kept.store import active
from raycover.loading import in_state
from raycover.rays import RayScene
from raycover.scene.fittings import DoorState
from raycover.scene.needs import NeedSpec, named
from raycover.scene.schema import Scene
from raycover.sites import Site
from raycover.walking.declared import margins_along
from raycover.walking.walk import units_that_count

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

    def margin_db(self, unit: Unit, site: Site) -> Floats:
        """(n,) of one unit at the cells of a place, the best over heights; −inf where nothing gets through.

        Of a door's lines it is that of somebody walking them.
        """
        ask = self._along if site.lines else self._of_part
        return over_parts(site.asked(unit), site.motion, lambda part: ask(part, site))

    def _kept(self, part: Unit, site: Site, work: Callable[[], Floats]) -> Floats:
        """What a part makes of a place, looked up where it is kept."""
        if active() is None or not worth(part, self.weather, site.n_points):
            return work()
        what, region = site.looked_at
        key = digest(physics(), "site", key_of(part, self.rays, self.weather, region), what)
        return kept(key, self.rays, lambda: {"margin_db": work()})["margin_db"]

    def _along(self, unit: Unit, site: Site) -> Floats:
        def work() -> Floats:
            return np.concatenate(
                [margins_along(unit, line.track, line.person, self.rays, self.weather) for line in site.lines]
            )

        margin = self._kept(unit, site, work)
        if site.heard is not None:
            heard = site.heard.get(unit.tag)
            if heard is None:  # a unit that hung nowhere when the place was made
                heard = units_that_count((*self.units, unit), site.lines[0].track, self.building)[-1]
            margin = np.where(heard, margin, -np.inf)
        return np.asarray(site.stepped(margin))

    def _of_part(self, unit: Unit, site: Site) -> Floats:
        def work() -> Floats:
            margin = np.full(len(site.points), -np.inf)
            near = potential_db(unit, site.points, site.motion) + max(self.weather.heat_db(unit), 0.0) >= _LOWEST_DB
            if near.any():
                some = judge(unit, site.points[near], site.motion, self.rays, self.weather, lifted=site.lifted[near])
                margin[near] = some.margin_db
            return site.best(margin)

        return self._kept(unit, site, work)


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
        known[key] = Situation(
            stated, building, RayScene(building), make_units(stated, building), Weather.of(stated.conditions)
        )
    if need.ambient_c is None or need.ambient_c == stated.conditions.ambient_c:
        return known[key]
    warmer = (*key, need.ambient_c)
    if warmer not in known:  # the same building and units in other air
        conditions = stated.conditions.model_copy(update={"ambient_c": need.ambient_c})
        aired = stated.changed({"conditions": conditions}, stated.state, lambda places: places)
        known[warmer] = replace(known[key], scene=aired, weather=Weather.of(conditions))
    return known[warmer]


def _with_doors(row: object, doors: DoorState) -> object:
    angles = getattr(row, "door_angles")  # noqa: B009 - any row of cubicles
    copy = row.model_copy(update={"doors": doors})  # type: ignore[attr-defined]
    return row if copy.door_angles == angles else copy
