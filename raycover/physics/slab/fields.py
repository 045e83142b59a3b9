"""Amplitudes that flat layers let through and throw back, by characteristic matrices.

Source: ITU-R P.2040 §2.2, slab formulae in our own words; the ITU text itself was not read, the results agree
with two open libraries (sionna-rt, tmm) [V].
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.constants import speed_of_light

from raycover.physics.slab.layers import Layer

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

GRAZING_COS = 1e-9
"""Smaller cosines of incidence are taken as this one; in the limit nothing passes."""


def transmittance(
    layers: Sequence[Layer],
    frequency_ghz: float,
    cos_incidence: ArrayLike,
    *,
    thickness_m: ArrayLike | None = None,
) -> tuple[Complexes, Complexes]:
    """Complex amplitude transmission (T_te, T_tm) of the layers in air.

    Parameters
    ----------
    layers : from the side of the source; the order does not change the transmission.
    frequency_ghz : [GHz]
    cos_incidence : any shape S, cosine of the angle to the normal in air; the sign is ignored.
    thickness_m : (..., n_layers) [m], other thicknesses to use in place of the layers' own.

    Returns arrays of shape (...) + S. Zero total thickness gives exactly 1. |T| underflows to 0 beyond about
    6,000 dB; `loss_db` does not. Raises ValueError for a material outside its frequency range.
    Source: ITU-R P.2040 §2.2 by characteristic matrices.
    """
    cos, thicknesses = _shaped(layers, cos_incidence, thickness_m)
    te, tm = fields(permittivities(layers, frequency_ghz), frequency_ghz, cos, thicknesses)
    phase = np.exp(-1j * te.phase)
    return te.transmitted * phase, tm.transmitted * phase


def reflectance(
    layers: Sequence[Layer],
    frequency_ghz: float,
    cos_incidence: ArrayLike,
    *,
    thickness_m: ArrayLike | None = None,
) -> tuple[Complexes, Complexes]:
    """Complex amplitude reflection (R_te, R_tm) on the side of the first layer; see `transmittance`."""
    cos, thicknesses = _shaped(layers, cos_incidence, thickness_m)
    te, tm = fields(permittivities(layers, frequency_ghz), frequency_ghz, cos, thicknesses)
    return te.reflected, tm.reflected


@dataclass(frozen=True)
class Amplitudes:
    """Amplitudes of one polarisation; what leaves is `transmitted`·exp(−j·`phase`)."""

    transmitted: Complexes
    reflected: Complexes
    phase: Complexes


def permittivities(layers: Sequence[Layer], frequency_ghz: float) -> list[complex]:
    """Complex relative permittivity of each layer; raises ValueError as `Layer.permittivity` does."""
    return [layer.permittivity(frequency_ghz) for layer in layers]


def cosines(cos_incidence: ArrayLike) -> Floats:
    """Sizes of the cosines, kept between grazing and 1."""
    cos = np.abs(np.asarray(cos_incidence, dtype=np.float64))
    return np.clip(cos, GRAZING_COS, 1.0)


def _shaped(
    layers: Sequence[Layer], cos_incidence: ArrayLike, thickness_m: ArrayLike | None
) -> tuple[Floats, list[Floats]]:
    """Cosines, and one thickness array per layer with as many unit axes behind as the cosines have."""
    cos = cosines(cos_incidence)
    if thickness_m is None:
        return cos, [np.asarray(layer.thickness_m) for layer in layers]
    given = np.asarray(thickness_m, dtype=np.float64)
    if given.ndim == 0 or given.shape[-1] != len(layers):
        raise ValueError(f"thickness_m needs a last axis of {len(layers)} layers, not shape {given.shape}")
    if not (np.isfinite(given).all() and (given >= 0).all()):
        raise ValueError("thickness_m must be finite and not negative")
    behind = (1,) * cos.ndim
    return cos, [given[..., i].reshape(given.shape[:-1] + behind) for i in range(len(layers))]


def fields(
    permittivities: Sequence[complex | Complexes], frequency_ghz: float, cos: Floats, thicknesses: Sequence[Floats]
) -> tuple[Amplitudes, Amplitudes]:
    """TE and TM amplitudes; permittivities and thicknesses [m] need only broadcast against each other and `cos`.

    The tangential fields are carried from the far side to the near one. exp(jb) of each layer, which would
    overflow in a thick lossy one, is taken out of its matrix and gathered in `phase`. For TM both fields
    are scaled by cosθ, so that y0 = 1/cosθ is never formed.
    """
    wavenumber = 2 * np.pi * frequency_ghz * 1e9 / speed_of_light
    one = np.ones_like(cos, dtype=np.complex128)
    te_e, te_h = one, cos * one
    tm_e, tm_h = cos * one, one
    phase = 0 * one
    for eta, thickness in zip(reversed(permittivities), reversed(thicknesses), strict=True):
        r = np.sqrt(eta - 1 + (cos * cos).astype(np.complex128))  # √(η − sin²θ), Im ≤ 0 as Im η ≤ 0
        b = wavenumber * thickness * r
        phase = phase + b
        sine = -np.expm1(-2j * b) / 2  # j·sin b and cos b, both over exp(jb)
        cosine = 1 - sine
        te_e, te_h = cosine * te_e + sine / r * te_h, sine * r * te_e + cosine * te_h
        y = eta / r
        tm_e, tm_h = cosine * tm_e + sine / y * tm_h, sine * y * tm_e + cosine * tm_h
    te_sum = cos * te_e + te_h
    tm_sum = tm_e + cos * tm_h
    return (
        Amplitudes(2 * cos / te_sum, (cos * te_e - te_h) / te_sum, phase),
        Amplitudes(2 * cos / tm_sum, (tm_e - cos * tm_h) / tm_sum, phase),
    )


def power_of(amplitude: Complexes) -> Floats:
    """|amplitude|²."""
    power: Floats = amplitude.real**2 + amplitude.imag**2
    return power
