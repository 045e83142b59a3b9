"""How the direction and speed of a movement bear on a microwave unit: Doppler against what it answers to.

The Doppler shift of an echo is 2·v·cosψ/λ, ψ the angle between movement and line of sight: a walker's trunk gives
none across the line of sight, where only limbs, which swing to and fro, have a radial speed. Units answer to a band
of shifts, which at one frequency is a range of radial speeds.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from raycover.physics.microwave import SEATED_M2, WALKER_M2, cross_section_db, doppler_hz
from raycover.physics.pattern import MOTIONS, Footprint

Floats = NDArray[np.float64]

#: Speed (m/s) of the walk that declarations are taken to be made with: NEMA WD 7 [2nd].
WALK_MPS = 1.22
#: Speed (m/s) of a seated person's small movements: the middle of a 381 mm arm at 90°/s, the test arm of NEMA
#: WD 7 [2nd], 0.19 m · 1.57 rad/s [C].
SMALL_MPS = 0.3
#: Reach across the line of sight as a share of that along it, where only radial motion is declared: limbs alone.
#: Our assumption, no source; declared pairs of the trade lie around it.
ACROSS_SHARE = 0.8


@dataclass(frozen=True)
class SpeedBand:
    """Radial speeds (m/s) that a unit answers to in full."""

    from_mps: float
    to_mps: float

    @classmethod
    def of_doppler(cls, low_hz: float, high_hz: float, frequency_ghz: float) -> SpeedBand:
        """The speeds whose shifts at a frequency bound the band."""
        per_mps = float(doppler_hz(1.0, frequency_ghz, 0.0))
        return cls(low_hz / per_mps, high_hz / per_mps)

    def response(self, radial_mps: ArrayLike) -> Floats:
        """Amplitude response to a radial speed (m/s, either sign): 1 within, first-order skirts outside.

        The skirts (20 dB a decade) are our assumption.
        """
        speed = np.abs(np.asarray(radial_mps, float))
        with np.errstate(divide="ignore"):
            result: Floats = np.minimum(np.minimum(speed / self.from_mps, self.to_mps / speed), 1.0)
        return result


def moving_db(
    radial_db: ArrayLike, tangential_db: ArrayLike, cos_psi: ArrayLike, speed_mps: ArrayLike, band: SpeedBand | None
) -> Floats:
    """Margin (dB) of a walker from the margins of walking along and across the line of sight; any shapes.

    w = a², a the response to the trunk's radial speed v·|cosψ|: that of the band where one is given, else
    v·|cosψ| over the declared walk, at most 1. Powers blend: 10^(m/10) = w·10^(m_r/10) + (1 − w)·c·10^(m_t/10),
    c = (v/walk)², at most 1, since limbs slow down with the walk: at the declared walk without a band that is
    cos²ψ of the one and sin²ψ of the other. Who stands still has no margin. The blend is our assumption; both ends
    are the declarations. Where only one is declared (the other −inf): a missing radial is taken for no less than
    the tangential, a missing tangential gives nothing across.
    """
    radial, tangential = np.asarray(radial_db, float), np.asarray(tangential_db, float)
    radial = np.where(np.isneginf(radial), tangential, radial)
    speed = np.asarray(speed_mps, float)
    along = speed * np.abs(np.asarray(cos_psi, float))
    response = np.minimum(along / WALK_MPS, 1.0) if band is None else band.response(along)
    weight = response**2
    slowed = np.minimum(speed / WALK_MPS, 1.0) ** 2
    with np.errstate(divide="ignore"):
        terms = np.broadcast_arrays(radial + 10 * np.log10(weight), tangential + 10 * np.log10((1 - weight) * slowed))
    top = np.maximum(*terms)
    shift = np.where(np.isfinite(top), top, 0.0)
    with np.errstate(divide="ignore"):
        result: Floats = shift + 10 * np.log10(sum(10 ** ((term - shift) / 10) for term in terms))
    return np.where(np.isposinf(top), np.inf, result)


def with_derived(footprints: tuple[Footprint, ...], band: SpeedBand | None) -> tuple[Footprint, ...]:
    """Footprints with the motions that are not declared, each from a declared one; `derived` says how.

    - tangential from radial: `ACROSS_SHARE` of its reach;
    - radial from tangential: the same, a lower bound, since approach shifts more;
    - presence from walking, radial first, since limbs move every way: the cross sections' ratio (`SEATED_M2` to
      `WALKER_M2`), less what a band loses of small movements (`SMALL_MPS`).

    All of them our assumptions.
    """
    known = {f.motion: f for f in footprints}
    for motion, bases in (
        ("tangential", ("radial",)),
        ("radial", ("tangential",)),
        ("presence", ("radial", "tangential")),
    ):
        base = next((known[b] for b in bases if b in known and not known[b].derived), None)
        if motion in known or base is None:
            continue
        gain, why = 0.0, "no less: approach shifts more"
        if motion == "tangential":
            gain, why = 40 * float(np.log10(ACROSS_SHARE)), "limbs alone move along the line of sight"
        elif motion == "presence":
            gain = float(cross_section_db(SEATED_M2, WALKER_M2))
            why = f"small movements, {SEATED_M2:g} m² against a walker's {WALKER_M2:g} m²"
            if band is not None and (kept := float(band.response(SMALL_MPS))) < 1:
                gain += 20 * float(np.log10(kept))
                why += f", at {SMALL_MPS:g} m/s outside the unit's band"
        words = f"from {base.motion} by {gain:+.1f} dB ({why}; our assumption)"
        known[motion] = replace(base, motion=motion, gain_db=base.gain_db + gain, derived=words)
    return tuple(known[motion] for motion in MOTIONS if motion in known)
