"""What trips a unit though nobody is there: hot sources against a person's contrast, moving things against a walker's
echo, two units of one band against each other.

All in dB of the detection margin: what stands here is added to the margin of a person at the same place. The rules
are ours unless a source is named; each says what it leaves out.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from raycover.physics.infrared import band_radiance, person_difference

Floats = NDArray[np.float64]

BODY_M2 = 0.45 * 1.75
"""A standing person's area seen from the side: about 0.45 m wide [M], 1.75 m tall (3GPP sample body [2nd])."""

WALKER_M2 = 0.73
"""Radar cross section of a walker: mean −1.37 dBsm (3GPP TR 38.901 sensing model [2nd])."""

WALKING_MPS = 1.22
"""Walking speed of NEMA WD 7 [2nd]."""

AMPLIFIER_HZ = (0.1, 10.0)
"""Band that amplifiers of infrared detectors pass, first order at either end [M]."""

DOPPLER_MPS = (0.1, 3.0)
"""Radial speeds that a microwave unit passes, first order at either end: people's own, and no more (ours)."""

REJECTION_DB = 30.0
"""How far a unit rejects another's carrier, as a share of its echo's threshold (ours, no source): with it two
all-round units of 7 m reach disturb each other in the open up to about that distance."""


def source_contrast(surface_c: ArrayLike, ambient_c: ArrayLike, emissivity: ArrayLike = 0.95) -> Floats:
    """Contrast of a surface against what is as warm as the air, relative to the clothed person's at 20 °C.

    ε·(L(T_surface) − L(T_air)) / ΔL_person(20 °C), L the radiance between 8 and 14 µm by Planck's law; negative for
    what is colder than the air. What its surroundings reflect in it cancels where they are as warm as the air.
    """
    difference = band_radiance(surface_c) - band_radiance(ambient_c)
    result: Floats = np.asarray(emissivity, float) * difference / person_difference(20.0)
    return result


def zone_area_m2(slant_m: ArrayLike, pitch_deg: ArrayLike) -> Floats:
    """Area [m²] across the line of sight that one half zone covers at a slant distance.

    Half a pair's pitch wide, 0.8 pitch high: the generic lattice, ours.
    """
    side = np.asarray(slant_m, float) * np.deg2rad(np.asarray(pitch_deg, float))
    result: Floats = 0.5 * side * 0.8 * side
    return result


def fill_db(source_m2: ArrayLike, slant_m: ArrayLike, pitch_deg: ArrayLike) -> Floats:
    """What a source's area adds to a person's margin at its place, 20·log10 of the ratio of areas in one zone.

    A zone takes power in proportion to the area in it, and of a source larger than the zone only what fits:
    min(A, A_zone) / min(A_body, A_zone). Far off that is the ratio of areas, near by the zones are full of either
    and it is 1. −inf where the source shows no area.
    """
    zone = zone_area_m2(slant_m, pitch_deg)
    with np.errstate(divide="ignore"):
        result: Floats = 20 * np.log10(np.minimum(np.asarray(source_m2, float), zone) / np.minimum(BODY_M2, zone))
    return result


def change_db(time_constant_s: ArrayLike) -> Floats:
    """What is left of a slow change behind the amplifier's low end, in dB (0 for a sudden one).

    An exponential change of time constant τ through a first-order high pass of time constant τ_h = 1/(2π·0.1 Hz)
    peaks at r^(r/(1−r)), r = τ/τ_h: 1 for r → 0, 1/e at r = 1, about 1/r for a slow one (calculus [C]).
    """
    ratio = np.asarray(time_constant_s, float) * 2 * np.pi * AMPLIFIER_HZ[0]
    near_one = np.abs(ratio - 1) < 1e-6
    safe = np.where(near_one, 2.0, np.maximum(ratio, 1e-12))
    exponent = np.where(near_one, -1.0, safe / (1 - safe) * np.log(safe))
    result: Floats = 20 / np.log(10) * exponent
    return result


def flicker_db(frequency_hz: ArrayLike) -> Floats:
    """Response [dB] of the amplifier to heat that flickers: first order below 0.1 and above 10 Hz."""
    f = np.asarray(frequency_hz, float)
    low, high = AMPLIFIER_HZ
    result: Floats = -10 * np.log10((1 + (low / f) ** 2) * (1 + (f / high) ** 2))
    return result


def doppler_db(slowest_mps: ArrayLike, fastest_mps: ArrayLike) -> Floats:
    """Response [dB] to radial speeds within a range, relative to a walker's and never above it; −inf at rest.

    First order below 0.1 and above 3 m/s (ours); of a range the speed that is passed best counts.
    """
    low, high = DOPPLER_MPS
    speed = np.clip(np.sqrt(low * high), np.asarray(slowest_mps, float), np.asarray(fastest_mps, float))

    def passed(v: Floats) -> Floats:
        with np.errstate(divide="ignore"):
            return np.asarray(-10 * np.log10((1 + (low / v) ** 2) * (1 + (v / high) ** 2)))

    result: Floats = np.minimum(passed(speed) - passed(np.asarray(WALKING_MPS)), 0.0)
    return result


def interference_db(margins_db: ArrayLike, others_db: ArrayLike, distance_m: ArrayLike, loss_db: ArrayLike) -> Floats:
    """How far another unit's carrier stands above what disturbs, in dB: a rule of thumb, ours.

    One way from unit b to unit a in the open the power is P·G_a·G_b·λ²/(4πd)²; the echo that just triggers a is
    P·G_a²·λ²·σ/((4π)³·s_a⁴), σ a walker's. Their ratio, with s_a and s_b the units' reaches towards each other
    standing for the gains, is 4π·s_a²·s_b²/(σ·d²), less the one-way loss L between them and the rejection
    (30 dB, ours) of a carrier that is not a's own. Carriers that drift into each other's band are what the
    rejection stands for; pulsed or synchronised units are better off than this says.

    margins_db, others_db : margin of a walker at the other unit's place, of each unit, with the loss taken twice.
    """
    d, loss = np.asarray(distance_m, float), np.asarray(loss_db, float)
    both = (np.asarray(margins_db, float) + np.asarray(others_db, float)) / 2
    with np.errstate(invalid="ignore"):
        index = 10 * np.log10(4 * np.pi / WALKER_M2) + both + 20 * np.log10(d) + loss - REJECTION_DB
    result: Floats = np.where(np.isinf(loss), -np.inf, index)
    return result
