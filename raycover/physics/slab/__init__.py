"""Flat layered sheets and radio waves: what passes, what is mirrored, at which angle. Everything is one way."""

from raycover.physics.slab.averages import (
    SPREAD,
    Losses,
    loss_db,
    loss_spread_db,
    mixed_db,
    reflected_db,
    reflected_power,
    reflection_db,
    reflection_spread_db,
)
from raycover.physics.slab.fields import GRAZING_COS, reflectance, transmittance
from raycover.physics.slab.layers import SPREAD_A, SPREAD_C, Layer, Material
from raycover.physics.slab.tables import LossTable, LossTables, ReflectionTable
from raycover.physics.slab.varied import varied_loss_db

__all__ = [
    "GRAZING_COS",
    "SPREAD",
    "SPREAD_A",
    "SPREAD_C",
    "Layer",
    "LossTable",
    "LossTables",
    "Losses",
    "Material",
    "ReflectionTable",
    "loss_db",
    "loss_spread_db",
    "mixed_db",
    "reflectance",
    "reflected_db",
    "reflected_power",
    "reflection_db",
    "reflection_spread_db",
    "transmittance",
    "varied_loss_db",
]
