"""How strongly surfaces mirror microwave: one-way reflection loss of sheets and of solids' faces, by incidence.

A sheet reflects as its layers do (both faces together); a solid as the half space of its material. What has no
permittivity of its own gets one that fits its bulk loss, see `half_space_table`.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.constants import speed_of_light

from raycover.catalogue import Construction, Losses, SolidMaterial
from raycover.physics.slab import LossTable, ReflectionTable

Floats = NDArray[np.floating]

#: Refractive index of goods that state only a bulk loss: loosely packed dry cardboard, food, textiles (our
#: assumption, no source). Square on it reflects ((n − 1)/(n + 1))² = 3.4 %, 14.7 dB down.
GOODS_INDEX = 1.45
#: Cosines at which a reflection is worked out; between them its power is taken as straight.
_N_COSINES = 513


def reflection_table(
    made_of: Construction | SolidMaterial, frequency_ghz: float, losses: Losses
) -> LossTable | ReflectionTable:
    """One-way reflection loss [dB] against the cosine of incidence, infinite where nothing is reflected.

    The power mean of both polarisations; with averaged losses also over ±10 % of every thickness. Raises
    ValueError where a material's row does not hold at the frequency.
    """
    if isinstance(made_of, SolidMaterial):
        return half_space_table(made_of, frequency_ghz)
    return made_of.reflection_table(frequency_ghz, losses)


@lru_cache(maxsize=256)
def half_space_table(material: SolidMaterial, frequency_ghz: float) -> LossTable:
    """Reflection of a solid's face: Fresnel's formulae, the power mean of both polarisations.

    Opaque solids reflect everything. Those that state only a bulk loss α [dB/m] get the index
    `GOODS_INDEX` − jκ with the κ = α·λ/(2π·8.686) that gives this loss: wet goods reflect more than dry ones.
    """
    if material.opaque:
        return LossTable.constant(0.0)
    if material.material is not None:
        eta = material.material.permittivity(frequency_ghz)
    else:
        wavelength = speed_of_light / (frequency_ghz * 1e9)
        kappa = material.loss_db_per_m(frequency_ghz) * wavelength / (2 * np.pi * 20 * np.log10(np.e))
        eta = (GOODS_INDEX - 1j * kappa) ** 2
    cos = _cosines()
    r = np.sqrt(eta - 1 + (cos * cos).astype(complex))
    te, tm = (cos - r) / (cos + r), (eta * cos - r) / (eta * cos + r)
    return _table(cos, (np.abs(te) ** 2 + np.abs(tm) ** 2) / 2)


def _cosines() -> Floats:
    """Denser towards grazing, where reflection rises to one."""
    return np.linspace(0.0, 1.0, _N_COSINES) ** 2 * (1 - 1e-6) + 1e-6


def _table(cos: Floats, power: Floats) -> LossTable:
    even = np.linspace(0.0, 1.0, LossTable.N_STEPS + 1)
    share = np.interp(even, cos, np.clip(power, 0.0, 1.0))
    with np.errstate(divide="ignore"):
        return LossTable.of(np.maximum(-10 * np.log10(share), 0.0) + 0.0)
