"""How a microwave unit's reach differs with direction off its declared footprint: an elevation table, or aimed beams.

A footprint says how far a unit reaches along one direction at each azimuth: that to its edge on the declared plane.
A directivity f(u) says how the reach along other directions u compares with it; only its shape counts, the
footprint fixes its scale: with θ_e(φ) the angle off the axis of the footprint's edge,

    reach(θ, φ) = s0(φ) · f(θ, φ) / f(θ_e(φ), φ)

and near the axis, where the azimuth means nothing, ln(s0/f_e) blends to its mean as ln s0 does (`margin`).
Reach goes with the square root of the one-way gain of an antenna: two-way received power is gain² / s⁴.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np

from raycover.physics.shapes import Array

#: Beams leak at least this share of their greatest reach everywhere: side lobes of −30 dB one way, our assumption.
SIDE_LOBES = 10 ** (-30 / 20)


class Directivity(Protocol):
    """Share of reach by direction. `spares_footprint`: silent about directions within the declared footprint.

    `is_round`: the same at every azimuth.
    """

    @property
    def spares_footprint(self) -> bool: ...

    @property
    def is_round(self) -> bool: ...

    def __hash__(self) -> int: ...

    def share(self, x: Array, y: Array, z: Array) -> Array:
        """Relative reach f ≥ 0 along unit vectors (x, y, z) in the unit's frame, z against the axis."""


@dataclass(frozen=True)
class Elevation:
    """Share of the reach by angle off the unit's axis, the same at every azimuth; linear in between.

    `off_axis_deg` rises from 0 (along the axis: down, for a ceiling unit) over 90 (its mounting plane) to 180
    (straight behind); `shares` ≥ 0, positive wherever a declared footprint ends.
    """

    off_axis_deg: tuple[float, ...]
    shares: tuple[float, ...]

    @property
    def spares_footprint(self) -> bool:
        return False

    @property
    def is_round(self) -> bool:
        return True

    def share(self, x: Array, y: Array, z: Array) -> Array:
        off_axis = np.arctan2(np.hypot(x, y), -z)
        return np.interp(off_axis, np.radians(self.off_axis_deg), self.shares)


@dataclass(frozen=True)
class Beam:
    """One aimed beam: one-way gain cosⁿγ of the angle γ off its own axis, nothing beyond a right angle.

    Its axis stands `off_axis_deg` off the unit's at an azimuth; `width_deg` is the full angle between the
    directions of half power, which gives n = ln ½ / ln cos(width/2).
    """

    azimuth_deg: float
    off_axis_deg: float
    width_deg: float

    @cached_property
    def axis(self) -> Array:
        """(3,) unit vector in the unit's frame."""
        azimuth, off_axis = np.radians(self.azimuth_deg), np.radians(self.off_axis_deg)
        return np.array(
            [np.sin(off_axis) * np.cos(azimuth), np.sin(off_axis) * np.sin(azimuth), -np.cos(off_axis)], float
        )

    @cached_property
    def exponent(self) -> float:
        """n of the gain cosⁿγ."""
        return float(np.log(0.5) / np.log(np.cos(np.radians(self.width_deg) / 2)))


@dataclass(frozen=True)
class Beams:
    """Beams that share one declared footprint: along each direction the strongest counts.

    Within the footprint the declaration stands as it is; the beams say what is noticed outside of it, above
    and below the declared plane.
    """

    beams: tuple[Beam, ...]

    @property
    def spares_footprint(self) -> bool:
        return True

    @property
    def is_round(self) -> bool:
        return all(beam.off_axis_deg == 0 for beam in self.beams)

    def share(self, x: Array, y: Array, z: Array) -> Array:
        best: Array | float = SIDE_LOBES
        for beam in self.beams:
            cosine = np.clip(beam.axis[0] * x + beam.axis[1] * y + beam.axis[2] * z, 0.0, 1.0)
            best = np.maximum(best, cosine ** (beam.exponent / 2))
        return np.asarray(best)


def share_behind(front_to_back_db: float) -> float:
    """Share of the reach behind a unit whose antenna's one-way front-to-back ratio is given [dB]."""
    return float(10 ** (-front_to_back_db / 20))
