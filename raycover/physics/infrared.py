"""Passive infrared: thermal contrast of a person against the room, and how movement crosses lens zones.

The band is 8–14 µm, the usual window of such detectors. Planck's law with CODATA constants.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.constants import Boltzmann, Planck, speed_of_light, zero_Celsius

Floats = NDArray[np.float64]
Target = Literal["clothed", "skin"]

WARM_FROM_C = 28.0
"""From this ambient temperature up a result says that infrared reach is short (our choice)."""

COLD_BELOW_C = 5.0
"""Below this ambient temperature a result says what cold air asks of people and units (our choice)."""

REFERENCE_C = 20.0
"""Ambient temperature at which a declared reach holds: k = 1 (our assumption)."""

BARE_SKIN_C = 34.0
"""Skin temperature of the target "skin", whatever the room."""

# The clothed person: shares and emissivities, and clothing of 0.7 clo, are our assumption; k changes by less
# than 0.02 between 0.5 and 1 clo. R_cl = 0.155 m²K/W a clo: ISO 7730 [2nd].
_SHARE_CLOTHED, _EMISSIVITY_CLOTHED = 0.85, 0.95
_SHARE_BARE, _EMISSIVITY_BARE = 0.15, 0.98
_CLO = 0.7
_R_CLOTHING = 0.155 * _CLO
_R_AIR = 1 / 11.7  # m²K/W, convection and radiation together

#: What people wear in the cold: air [°C] and clothing [clo], see `clo_worn`.
_COLD_C, _COLD_CLO = (-20.0, 4.0, 10.0), (3.5, 1.7, _CLO)

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(32)


def band_radiance(celsius: ArrayLike, lo_um: float = 8.0, hi_um: float = 14.0) -> Floats:
    """Radiance of a black body between two wavelengths [µm], in W/m²/sr; shape of `celsius`.

    Planck's law, CODATA constants of scipy.constants, 32-point Gauss–Legendre.
    Raises ValueError below absolute zero or for wavelengths that are not positive and rising.
    """
    kelvin = np.asarray(celsius, dtype=np.float64) + zero_Celsius
    if not (kelvin > 0).all():
        raise ValueError("a temperature must be a number above absolute zero")
    if not 0 < lo_um < hi_um:
        raise ValueError(f"wavelengths must be positive and rising, not {lo_um!r} to {hi_um!r} µm")
    half = (hi_um - lo_um) / 2 * 1e-6
    wavelength = (lo_um + hi_um) / 2 * 1e-6 + half * _NODES
    exponent = Planck * speed_of_light / (wavelength * Boltzmann * kelvin[..., None])
    # exp(−x)/(1−exp(−x)) in place of 1/(exp(x)−1): no overflow for a very cold body
    occupation = np.exp(-exponent) / -np.expm1(-exponent)
    spectral = 2 * Planck * speed_of_light**2 / wavelength**5 * occupation
    result: Floats = half * (spectral @ _WEIGHTS)
    return result


def radiance_above(ambient_c: ArrayLike, background_c: ArrayLike | None = None) -> tuple[Floats, Floats]:
    """Radiance [W/m²/sr] of clothing and of bare skin, emissivities included, above what stands behind them.

    The adaptive clothed person of `contrast_factor`; the background has the room's temperature if not given, and
    reflections are those of the room. Shape of `ambient_c`.
    """
    ambient = np.asarray(ambient_c, dtype=np.float64)
    room = band_radiance(ambient)
    behind = room if background_c is None else band_radiance(background_c)
    skin_c = 33.5 + 0.13 * (ambient - 22.0)
    clothing_c = ambient + (skin_c - ambient) * _R_AIR / (_R_CLOTHING + _R_AIR)
    return (
        np.asarray(_EMISSIVITY_CLOTHED * (band_radiance(clothing_c) - room) + room - behind),
        np.asarray(_EMISSIVITY_BARE * (band_radiance(skin_c) - room) + room - behind),
    )


def _difference(ambient_c: Floats, target: Target) -> Floats:
    """Radiance above that of the room, W/m²/sr."""
    if target == "skin":
        return band_radiance(BARE_SKIN_C) - band_radiance(ambient_c)
    if target != "clothed":
        raise ValueError(f"target must be 'clothed' or 'skin', not {target!r}")
    clothed, bare = radiance_above(ambient_c)
    return _SHARE_CLOTHED * clothed + _SHARE_BARE * bare


def _clothed_difference(ambient_c: Floats, r_clothing: Floats) -> Floats:
    room = band_radiance(ambient_c)
    skin_c = 33.5 + 0.13 * (ambient_c - 22.0)
    clothing_c = ambient_c + (skin_c - ambient_c) * _R_AIR / (r_clothing + _R_AIR)
    clothed = _SHARE_CLOTHED * _EMISSIVITY_CLOTHED * (band_radiance(clothing_c) - room)
    bare = _SHARE_BARE * _EMISSIVITY_BARE * (band_radiance(skin_c) - room)
    total: Floats = clothed + bare
    return total


def person_difference(ambient_c: ArrayLike, target: Target = "clothed") -> Floats:
    """Radiance of a person above that of the room [W/m²/sr]; see `contrast_factor`."""
    return _difference(np.asarray(ambient_c, dtype=np.float64), target)


def contrast_factor(ambient_c: ArrayLike, target: Target = "clothed") -> Floats:
    """Thermal contrast k relative to that at 20 °C; negative where the room is hotter than the body.

    Slant reach, never the floor radius, goes with √|k|. "skin" is bare skin at 34 °C. "clothed" (our
    assumption): skin at 33.5 + 0.13·(Ta − 22) °C, clothing of 0.7 clo between skin and room with
    h = 11.7 W/m²K, 85 % of the body clothed (emissivity 0.95), 15 % bare (0.98).
    Raises ValueError below absolute zero. Shape of `ambient_c`.
    """
    ambient = np.asarray(ambient_c, dtype=np.float64)
    result: Floats = _difference(ambient, target) / _difference(np.asarray(REFERENCE_C), target)
    return result


def clo_worn(ambient_c: ArrayLike) -> Floats:
    """What people wear over indoor clothing or in its place [clo]: 0.7 down to 10 °C, more in colder air.

    1.7 clo at 4 °C and 3.5 clo from −20 °C down are the order of what ISO 11079 asks for light work (from memory);
    straight between them. Shape of `ambient_c` [°C].
    """
    return np.asarray(np.interp(np.asarray(ambient_c, dtype=np.float64), _COLD_C, _COLD_CLO))


def worn_contrast(ambient_c: ArrayLike) -> Floats:
    """Contrast of a person dressed for the air: `contrast_factor` from 10 °C up, less than it in colder air.

    Somebody in indoor clothing would stand out twice as much at 0 °C as at 20 °C, and nobody works there in indoor
    clothing: no map of a cold store shall be assured by a coat that nobody leaves off. Shape of `ambient_c`.
    """
    return person_contrast(ambient_c, clo_worn(ambient_c))


def person_contrast(ambient_c: ArrayLike, clo: ArrayLike) -> Floats:
    """Thermal contrast of a clothed person in other clothing, relative to the ordinary one (0.7 clo) at 20 °C.

    ambient_c : [°C]; clo : insulation of the clothing, ≥ 0 [clo]; both broadcast. At 0.7 clo it is
    `contrast_factor`. Thin clothing is warmer outside, so contrast grows. Model and assumptions as there.
    """
    ambient, insulation = np.asarray(ambient_c, dtype=np.float64), np.asarray(clo, dtype=np.float64)
    if not (insulation >= 0).all():
        raise ValueError("insulation of clothing must not be negative")
    reference = _difference(np.asarray(REFERENCE_C), "clothed")
    result: Floats = _clothed_difference(ambient, 0.155 * insulation) / reference
    return result


def contrast_db(k: ArrayLike) -> Floats:
    """The margin's term 20·log10|k| [dB]; −inf where there is no contrast."""
    with np.errstate(divide="ignore"):
        result: Floats = 20 * np.log10(np.abs(np.asarray(k, dtype=np.float64)))
    return result


def direction_ratio(distance_m: ArrayLike, height_m: ArrayLike) -> Floats:
    """Angular rate walking toward a ceiling unit over that walking across it, h'/√(h'² + r²).

    distance_m : horizontal, r; height_m : of the unit above the target's middle, h' > 0. Exact geometry.
    """
    distance, height = np.asarray(distance_m, dtype=np.float64), np.asarray(height_m, dtype=np.float64)
    if not (height > 0).all():
        raise ValueError("the unit must hang above the target's middle")
    result: Floats = height / np.hypot(distance, height)
    return result


def zone_crossing_hz(speed_mps: ArrayLike, slant_m: ArrayLike, pitch_deg: ArrayLike) -> Floats:
    """Rate [Hz] at which a walker across the line of sight passes lens zone pairs, v/(s·P).

    speed_mps : [m/s]; slant_m : slant distance s [m]; pitch_deg : angular pitch P of a pair [deg].
    """
    speed, slant = np.asarray(speed_mps, dtype=np.float64), np.asarray(slant_m, dtype=np.float64)
    pitch = np.deg2rad(np.asarray(pitch_deg, dtype=np.float64))
    if not ((slant > 0).all() and (pitch > 0).all()):
        raise ValueError("slant distance and zone pitch must be positive")
    result: Floats = speed / (slant * pitch)
    return result
