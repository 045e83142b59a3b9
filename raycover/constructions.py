"""What a sheet is made of, and what it does to microwave: what it lets through and what it mirrors."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np

from raycover.physics.slab import Layer, Losses, LossTable, ReflectionTable
from raycover.physics.slab.averages import reflected_db

_OPAQUE_METAL_M = 10e-6  # nearly five skin depths at 5.8 GHz (2.1 µm by the row of metal): more changes nothing


@dataclass(frozen=True)
class Construction:
    """What a sheet is made of. `thickness_m` is for drawing; losses come from `layers` or `measured`."""

    name: str
    kind: Literal["layers", "opaque", "open", "measured"]
    thickness_m: float
    layers: tuple[Layer, ...] = ()
    measured: tuple[tuple[float, float], ...] = ()
    glazing: bool = False
    source: str = ""

    @property
    def stops_infrared(self) -> bool:
        return self.kind != "open"

    def loss_table(self, frequency_ghz: float, losses: Losses) -> LossTable:
        """One-way microwave loss against incidence; the value of the nearest measured frequency where so given.

        Raises ValueError where a material's row does not hold at the frequency.
        """
        return _loss_table(self, frequency_ghz, losses)

    def reflection_table(self, frequency_ghz: float, losses: Losses) -> ReflectionTable:
        """One-way reflection loss against incidence, averaged over thickness or coherent as the losses are.

        Layers mirror as their slab formula says, metal within them as the last thing that is seen from a face;
        other opaque sheets mirror all, `open` ones nothing. A measured loss L is taken for that of an
        electrically thin conducting film, whose amplitudes obey R = T − 1: |R|² = (1 − 10^(−L/20))² (our
        assumption; right for coated glass, too much for a wall that swallows what it stops). It lies below the
        bound of the energy, 1 − 10^(−L/10).
        """
        return _reflection_table(self, frequency_ghz, losses)


@lru_cache(maxsize=1024)
def _loss_table(construction: Construction, frequency_ghz: float, losses: Losses) -> LossTable:
    if construction.kind == "opaque":
        return LossTable.opaque()
    if construction.kind == "open" or (construction.kind == "layers" and not construction.layers):
        return LossTable.constant(0.0)
    if construction.kind == "measured":
        return LossTable.constant(_measured_db(construction, frequency_ghz))
    return LossTable(construction.layers, frequency_ghz, losses=losses)


@lru_cache(maxsize=1024)
def _reflection_table(construction: Construction, frequency_ghz: float, losses: Losses) -> ReflectionTable:
    if construction.kind == "open" or (construction.kind == "layers" and not construction.layers):
        return ReflectionTable.constant(np.inf)
    if construction.kind == "opaque":
        faces = [before_metal(layers) for layers in (construction.layers, construction.layers[::-1])]
        return ReflectionTable.mean(
            [
                ReflectionTable(face, frequency_ghz, losses=losses, first_face_only=True)
                if len(face) > 1
                else ReflectionTable.constant(0.0)
                for face in faces
            ]
        )
    if construction.kind == "measured":
        film = (1 - 10 ** (-_measured_db(construction, frequency_ghz) / 20)) ** 2
        return ReflectionTable.constant(float(reflected_db(film)))
    return ReflectionTable(construction.layers, frequency_ghz, losses=losses)


def before_metal(layers: tuple[Layer, ...]) -> tuple[Layer, ...]:
    """What a wave meets of opaque layers: those before the first metal one, and as much metal as stops it."""
    for i, layer in enumerate(layers):
        if is_metal(layer):
            return (*layers[:i], Layer(min(layer.thickness_m, _OPAQUE_METAL_M), layer.material))
    return ()


def is_metal(layer: Layer) -> bool:
    """Whether the layer is of the catalogue's `metal`: opaque however thin."""
    return layer.material is not None and layer.material.name == "metal"


def _measured_db(construction: Construction, frequency_ghz: float) -> float:
    return min(construction.measured, key=lambda row: abs(np.log(row[0] / frequency_ghz)))[1]
