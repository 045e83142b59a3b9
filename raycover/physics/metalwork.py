"""What regular metal within a sheet stops: mats of bars, and studs. Estimates of ours, from textbook formulae."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.constants import speed_of_light

Floats = NDArray[np.float64]


def mat_loss_db(pitch_m: float, bar_m: float, frequency_ghz: float, permittivity: complex) -> float:
    """One-way loss [dB] of a square mat of round bars in a medium: what it adds to the sheet that holds it.

    `pitch_m` from bar to bar and `bar_m` across [m], `permittivity` of the medium. Bars farther apart than a
    wavelength λ of the medium stop what meets them: an open share (1 − bar/pitch)². A closer mat is an inductive
    grid too, |T|² = 1/(1 + 1/(4x²)) with x = pitch/λ·ln(pitch/(π·bar)): wire grids of thin wires [from memory],
    whatever the angle and polarisation (a square mat has bars both ways). The lesser of the two holds then.
    P.2040 has no reinforced slab; this is an estimate of ours.
    """
    wavelength = speed_of_light / (frequency_ghz * 1e9) / np.sqrt(permittivity).real
    power = (1 - bar_m / pitch_m) ** 2
    if pitch_m < wavelength:
        reactance = pitch_m / wavelength * max(np.log(pitch_m / (np.pi * bar_m)), 0.0)
        power = min(power, 4 * reactance**2 / (1 + 4 * reactance**2))
    return float("inf") if power <= 0 else float(-10 * np.log10(power))


def shadowed_share(pitch_m: float, width_m: float, depth_m: float, cos_incidence: ArrayLike) -> Floats:
    """Share of a wall hidden by metal studs, 0 to 1, in the shape of `cos_incidence`.

    Studs `width_m` wide and `depth_m` deep stand each `pitch_m`. A slanted ray meets (width + depth·tan of its
    angle across the studs)/pitch of them; over all ways to turn about the normal that tangent is 2/π·tanθ in the
    mean. Geometry, diffraction left out: our assumption.
    """
    cos = np.clip(np.abs(np.asarray(cos_incidence, dtype=np.float64)), 1e-9, 1.0)
    tangent = np.sqrt(1 - cos**2) / cos
    return np.asarray(np.minimum(1.0, (width_m + 2 / np.pi * depth_m * tangent) / pitch_m))
