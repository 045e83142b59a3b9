"""Solids that stand → boxes."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from raycover.building.faces import Gathered
from raycover.building.parts import Boxes
from raycover.scene.parts import Solid
from raycover.scene.schema import Scene

FloorAt = Callable[[float, float], float]


def add_solid(scene: Scene, index: int, solid: Solid, floor_at: FloorAt, into: Gathered) -> None:
    bottom = floor_at(*solid.centre) + solid.base
    centre = np.array([[*solid.centre, bottom + solid.size[2] / 2]])
    into.boxes.append(
        Boxes(
            centre,
            np.array([solid.size]),
            np.array([np.radians(solid.turn_deg)]),
            ("solid",),
            (solid.name,),
            (solid.name,),
            (scene.catalogue.solids[solid.material],),
            (("solids", index),),
        )
    )
