"""Microwave detectors: what loss, cross section and several paths do to the two-way radar equation.

Pr ∝ σ/(s⁴·L²), L the one-way loss as a ratio: in the far range the reach goes with 10^(−L_dB/20) and σ^¼.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.constants import speed_of_light

from raycover.physics.slab import Material

Floats = NDArray[np.float64]

#: Radar cross section (m²) of a walking person: mean −1.37 dBsm, 3GPP TR 38.901 sensing model [2nd].
WALKER_M2 = 0.73
#: Of the small movements of a seated person: 0.01 to 0.1 m² [M]; the middle of it on a scale of dB.
SEATED_M2 = 0.03
#: Of breathing alone: a tenth of a seated person's small movements. Our assumption, no source: the chest moves by
#: millimetres, far slower than most units answer to. Take it for a warning, not for a promise.
BREATHING_M2 = 0.003
#: Bodies by name.
BODIES_M2 = {"walker": WALKER_M2, "seated": SEATED_M2, "breathing": BREATHING_M2}


def reach_factor(loss_db: ArrayLike) -> Floats:
    """Share of the free reach that is left behind a one-way loss [dB]; any shape, 0 for infinite loss.

    From the radar equation; computed [C].
    """
    result: Floats = 10.0 ** (-np.asarray(loss_db, dtype=np.float64) / 20)
    return result


def cross_section_db(sigma_m2: ArrayLike, reference_m2: ArrayLike) -> Floats:
    """Radar cross section [m²] relative to that of the walker the declaration assumes [m²], in dB.

    Raises ValueError unless both are positive.
    """
    sigma, reference = np.asarray(sigma_m2, dtype=np.float64), np.asarray(reference_m2, dtype=np.float64)
    if not ((sigma > 0).all() and (reference > 0).all()):
        raise ValueError("radar cross sections must be positive")
    result: Floats = 10 * np.log10(sigma / reference)
    return result


def body_db(sigma_m2: float, motion: str) -> float:
    """What a body [m²] other than the declared one adds to the margin [dB].

    Walking motions are declared with a walker (`WALKER_M2`), presence with a seated person's small movements
    (`SEATED_M2`): each is compared with its own, so that what a declaration holds already is not taken off again.
    A larger body adds nothing to a presence declaration: how slow the movement is limits that as well.
    Raises ValueError unless the cross section is positive.
    """
    if motion == "presence":
        return min(float(cross_section_db(sigma_m2, SEATED_M2)), 0.0)
    return float(cross_section_db(sigma_m2, WALKER_M2))


def sensitivity_db(percent: float) -> float:
    """What a sensitivity setting, as per cent of the reach, adds to the margin [dB]: 40·log10(percent/100).

    From the fourth-power law; the same for infrared, where the setting moves the threshold as well.
    """
    return float(40 * np.log10(percent / 100))


def doppler_hz(speed_mps: ArrayLike, frequency_ghz: ArrayLike, angle_rad: ArrayLike) -> Floats:
    """Doppler shift 2·v·cosψ/λ [Hz], positive when approaching.

    ψ [rad] is the angle between the movement and the line of sight to the unit.
    """
    speed, angle = np.asarray(speed_mps, dtype=np.float64), np.asarray(angle_rad, dtype=np.float64)
    frequency_hz = np.asarray(frequency_ghz, dtype=np.float64) * 1e9
    result: Floats = 2 * speed * np.cos(angle) * frequency_hz / speed_of_light
    return result


def bulk_loss_db_per_m(material: Material, frequency_ghz: float) -> float:
    """One-way loss inside a solid [dB/m], from Im √η, boundaries left out.

    Raises ValueError outside the material's frequency range. Source: ITU-R P.2040 §2 (through open
    libraries), plane wave in a lossy medium.
    """
    root = np.sqrt(material.permittivity(frequency_ghz))
    wavenumber = 2 * np.pi * frequency_ghz * 1e9 / speed_of_light
    return float(20 * np.log10(np.e) * wavenumber * abs(root.imag))


def combine_paths_db(margins_db: ArrayLike, axis: int = -1) -> Floats:
    """Margin [dB] of several paths together, 20·log10 Σ 10^(m/20) along `axis`.

    One-way powers add incoherently and the round trip squares the sum (our model). −inf is a path that
    carries nothing; no path at all gives −inf.
    """
    margins = np.asarray(margins_db, dtype=np.float64)
    top = np.max(margins, axis=axis, keepdims=True, initial=-np.inf)
    shift = np.where(np.isfinite(top), top, 0.0)
    with np.errstate(divide="ignore"):
        total = 20 * np.log10(np.sum(10.0 ** ((margins - shift) / 20), axis=axis))
    result: Floats = total + np.squeeze(shift, axis=axis)
    return result
