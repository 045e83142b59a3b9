"""How strongly surfaces mirror microwave: one-way reflection loss of sheets and of solids' faces, by incidence.

A sheet reflects as its layers do (both faces together); a solid as the half space of its material. What has no
permittivity of its own gets one that fits its bulk loss, see `half_space_table`.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.constants import speed_of_light
from scipy.stats import qmc

from raycover.catalogue import Construction, Losses, SolidMaterial
from raycover.physics.slab import LossTable, reflectance

Floats = NDArray[np.floating]

#: Refractive index of goods that state only a bulk loss: loosely packed dry cardboard, food, textiles (our
#: assumption, no source). Square on it reflects ((n − 1)/(n + 1))² = 3.4 %, 14.7 dB down.
GOODS_INDEX = 1.45
#: Cosines at which a reflection is worked out; between them its power is taken as straight.
_N_COSINES = 513
#: Evenly spread variants of ±10 % of every thickness, for averaged losses.
_N_VARIANTS = 64


def reflection_table(made_of: Construction | SolidMaterial, frequency_ghz: float, losses: Losses) -> LossTable:
    """One-way reflection loss [dB] against the cosine of incidence, infinite where nothing is reflected.

    The power mean of both polarisations; with averaged losses also over ±10 % of every thickness. Raises
    ValueError where a material's row does not hold at the frequency.
    """
    if isinstance(made_of, SolidMaterial):
        return half_space_table(made_of, frequency_ghz)
    return _sheet_table(made_of, frequency_ghz, losses)


@lru_cache(maxsize=256)
def _sheet_table(construction: Construction, frequency_ghz: float, losses: Losses) -> LossTable:
    if construction.kind == "opaque":
        return LossTable.constant(0.0)
    if construction.kind == "open" or (construction.kind == "layers" and not construction.layers):
        return LossTable.opaque()
    cos = _cosines()
    if construction.kind == "measured":
        # Nothing is known but what passes: no more can be reflected than does not pass.
        passed = 10 ** (-construction.loss_table(frequency_ghz, losses).loss_db(cos) / 10)
        return _table(cos, 1 - passed)
    drawn = np.array([layer.thickness_m for layer in construction.layers])
    thickness = drawn[None]
    if losses == "averaged":
        points = qmc.Sobol(len(drawn), scramble=False).random_base2(int(np.log2(_N_VARIANTS))) + 0.5 / _N_VARIANTS
        thickness = drawn * (0.9 + 0.2 * points)
    te, tm = reflectance(construction.layers, frequency_ghz, cos, thickness_m=thickness)
    return _table(cos, ((np.abs(te) ** 2 + np.abs(tm) ** 2) / 2).mean(axis=0))


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
    table = LossTable.constant(0.0)
    with np.errstate(divide="ignore"):
        table._fill(np.maximum(-10 * np.log10(share), 0.0) + 0.0)
    return table
