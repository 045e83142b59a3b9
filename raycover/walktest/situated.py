"""A scene in a state with what casting needs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from raycover.building.build import build
from raycover.building.parts import Building
from raycover.detectors import Unit
from raycover.rays.ray_scene import RayScene
from raycover.scene.schema import Scene
from raycover.solving.casting import Weather
from raycover.solving.coverage import make_units
from raycover.walktest.ways import Response, model_of, respond

Floats = NDArray[np.floating]
#: What lifts a place off its floor so that its room is the one above (m).
ON_FLOOR = np.array([0.0, 0.0, 0.05])


@dataclass(frozen=True)
class Situated:
    """A scene in a state with what casting needs."""

    scene: Scene
    building: Building
    rays: RayScene
    units: tuple[Unit, ...]
    weather: Weather

    @classmethod
    def of(cls, scene: Scene) -> Situated:
        building = build(scene)
        return cls(scene, building, RayScene(building), make_units(scene, building), Weather.of(scene))

    @property
    def models(self) -> list[str]:
        return model_of(self.scene.detectors)

    def counted(self, names: Sequence[str]) -> list[Unit]:
        """The units with some names, all where none is named."""
        return [unit for unit in self.units if not names or unit.name in names]

    def only(self, names: Sequence[str]) -> list[int] | None:
        """Indices of the units with some names, None for all. Raises KeyError for a name that none has."""
        known = {unit.name: k for k, unit in enumerate(self.units)}
        return [known[name] for name in names] if names else None

    def respond(self, ground: Floats, moves: Sequence[str]) -> Response:
        return respond(ground, moves, self.units, self.models, self.rays, self.weather)
