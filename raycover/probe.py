"""Why is this point seen or not: every detector's view of one point, ray by ray."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from raycover.building.build import build
from raycover.building.parts import Building
from raycover.casting import CAUSES, Weather, judge
from raycover.coverage import make_units
from raycover.detectors import Unit
from raycover.rays import LIFT, Crossing, RayScene
from raycover.scene.schema import Scene


@dataclass(frozen=True)
class View:
    """One detector's view of a point. `margin_db` may be −inf."""

    unit: Unit
    margin_db: float
    distance_m: float
    cause: str
    crossings: tuple[Crossing, ...]

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
    building: Building | None = None,
    rays: RayScene | None = None,
) -> list[View]:
    """Every detector's view of a point (x, y, z absolute, m), in the order of the scene.

    `target_m2`: radar cross section (m²) of what moves there; None: what each declaration assumes.
    """
    building = build(scene) if building is None else building
    rays = RayScene(building) if rays is None else rays
    weather = Weather.of(scene.conditions)
    place = np.array([point], float)
    room = building.room_at(*point)
    on_floor = np.array([room is not None and abs(point[2] - room.floor) < LIFT])
    views = []
    for unit in make_units(scene, building):
        judged = judge(unit, place, motion, rays, weather, lifted=on_floor, target_m2=target_m2)
        target = place + np.array([0, 0, LIFT]) * on_floor[0]
        met = rays.crossings(rays.segments(unit.position, target), unit.frequency_ghz, weather.losses)
        views.append(
            View(
                unit,
                float(judged.margin_db[0]),
                float(judged.distance_m[0]),
                CAUSES[judged.cause[0]],
                tuple(met),
            )
        )
    return views
