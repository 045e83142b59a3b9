"""A scene with what was made of it, as commands hand it on."""

from __future__ import annotations

from typing import NamedTuple

from raycover.building.parts import Building
from raycover.rays.ray_scene import RayScene
from raycover.scene.schema import Scene
from raycover.solving.coverage import Coverage


class Solved(NamedTuple):
    """A scene, the building, its rays and the result."""

    scene: Scene
    building: Building
    rays: RayScene
    coverage: Coverage
