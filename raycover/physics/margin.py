"""The detection margin of a point in open air: distance, lens edge, heat and masks; obstacles come after.

    margin = 40·log10(s0(φ) / s) + 20·log10|k|       [dB]

Fourth-power law for both technologies in their far range: two-way radar, and a body that no longer fills a
zone of an infrared lens. Near the axis the azimuth means nothing, so ln s0 blends to its mean over azimuths:
ln s0' = (1 − w)·mean + w·ln s0(φ), w = (sin θ / sin θ_edge)², at most 1; circles are unchanged.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from raycover.physics.pattern import Footprint, Mask
from raycover.physics.shapes import Array, Shape, azimuth_cells

#: 40·log10(s) = 20·log10(s²) = this · ln(s²)
_DB_OF_LN_SQUARE = 20 / np.log(10)
#: A point on the edge stays inside, whatever the rounding.
_EDGE = 1 + 1e-9
#: Points no further (m) behind a unit's mounting plane lie in it.
_IN_PLANE = 1e-9
#: Angles (degrees) closer than this are one.
_HAIR_DEG = 1e-9

Local = tuple[Array, Array, Array]


class _Directions(tuple[Array, Array, Array]):
    """Offsets in the unit's frame, with what every footprint asks of them worked out once."""

    @classmethod
    def of(cls, local: Local) -> _Directions:
        return local if isinstance(local, _Directions) else cls(local)

    @cached_property
    def flat_square(self) -> Array:
        x, y, _ = self
        return x * x + y * y

    @cached_property
    def azimuth(self) -> tuple[Array, Array]:
        x, y, _ = self
        return _azimuth(x, y, np.sqrt(self.flat_square))

    @cached_property
    def _radii(self) -> dict[Shape, Array]:
        return {}

    def radius(self, shape: Shape) -> Array:
        """A shape's radius (m) in these directions."""
        if shape not in self._radii:
            self._radii[shape] = shape.radius(*self.azimuth)
        return self._radii[shape]


def to_local(rotation: Array, offset: tuple[Array, Array, Array]) -> Local:
    """Offsets detector→point in the building (m) as components in the unit's frame.

    `rotation` (3, 3) has the unit's axes as columns; terms with a zero coefficient are skipped, which for an
    upright unit leaves z untouched.
    """
    parts = []
    for axis in range(3):
        column = rotation[:, axis]
        terms = [offset[k] if column[k] == 1 else column[k] * offset[k] for k in range(3) if column[k]]
        total = terms[0]
        for term in terms[1:]:
            total = total + term
        parts.append(total)
    return _Directions(parts)


def unit_rotation(turn_deg: float, tilt_deg: float) -> Array:
    """R = Rz(turn)·Ry(tilt), (3, 3), columns the unit's axes; positive tilt raises local +x."""
    turn, tilt = np.radians(turn_deg), np.radians(tilt_deg)
    about_z = np.array([[np.cos(turn), -np.sin(turn), 0], [np.sin(turn), np.cos(turn), 0], [0, 0, 1]])
    about_y = np.array([[np.cos(tilt), 0, -np.sin(tilt)], [0, 1, 0], [np.sin(tilt), 0, np.cos(tilt)]])
    rotation = about_z @ about_y
    return np.where(np.abs(rotation) < 1e-15, 0.0, rotation)


def reach_margin_db(local: Local, footprint: Footprint, reach_behind: float | None = None) -> Array:
    """Margin (dB) from distance and direction alone; the lens edge is `inside_lens`'s business.

    `local`: (x, y, z) offsets in the unit's frame (m), broadcastable. `reach_behind` scales the reach where
    local z > 0 (microwave; None for infrared: no difference). A point on the mounting plane, to rounding, counts
    as in front. An elevation table takes the place of `reach_behind`; beams reach no less than it behind.
    """
    local = _Directions.of(local)
    z, flat_square = local[2], local.flat_square
    square = flat_square + z * z
    with np.errstate(divide="ignore"):
        if footprint.shape.constant is not None:
            ln_reach_square: Array | float = np.log(footprint.shape.constant**2 + footprint.drop**2)
        else:
            ln_reach_square = _ln_reach_square(local, square, footprint)
        if footprint.directivity is not None:
            ln_reach_square = _directed(local, square, footprint, ln_reach_square, reach_behind)
        margin = _DB_OF_LN_SQUARE * (ln_reach_square - np.log(square))
        if footprint.directivity is None and reach_behind is not None and reach_behind != 1 and np.any(z > 0):
            behind = 2 * _DB_OF_LN_SQUARE * np.log(reach_behind) if reach_behind > 0 else -np.inf
            margin = np.where(z > _IN_PLANE, margin + behind, margin)
    return margin + footprint.gain_db if footprint.gain_db else margin


@lru_cache(maxsize=4096)
def largest_reach_m(footprint: Footprint, reach_behind: float | None = None) -> float:
    """A bound of the reach (m) along any direction, `gain_db` included: for windows, not for verdicts."""
    if footprint.directivity is None:
        return footprint.largest_slant * footprint.gain_ratio
    phi, _ = azimuth_cells(footprint.shape.corners_rad, n=360)
    off_axis = np.linspace(0, np.pi, 361)[:, None]
    local = (np.sin(off_axis) * np.cos(phi), np.sin(off_axis) * np.sin(phi), -np.cos(off_axis) * np.ones_like(phi))
    # A few per cent for what lies between the directions asked.
    return float(1.03 * 10 ** (reach_margin_db(local, footprint, reach_behind).max() / 40))


def _directed(
    local: _Directions,
    square: Array,
    footprint: Footprint,
    plain: Array | float,
    reach_behind: float | None,
) -> Array:
    """ln of the squared reach where a directivity says how it differs off the declared plane.

    `plain`: the same without one. A directivity that spares the footprint leaves directions within it alone and
    adds none to it: what reaches the declared plane does so within the declared edge, whatever the beams.
    """
    x, y, z = local
    directivity = footprint.directivity
    assert directivity is not None
    flat_square, distance = local.flat_square, np.sqrt(square)
    cos_phi, sin_phi = local.azimuth
    radius_square = local.radius(footprint.shape) ** 2
    slant_square = radius_square + footprint.drop**2
    weight = _azimuth_weight(flat_square, square, radius_square, slant_square)
    mean = footprint.mean_log_edge_share
    ln_edge = mean + weight * (np.log(footprint.edge_share(cos_phi, sin_phi)) - mean)
    with np.errstate(invalid="ignore"):
        # At the unit itself, where no direction is, that of its axis.
        u, v, w = (np.where(distance > 0, part / distance, straight) for part, straight in ((x, 0), (y, 0), (z, -1)))
    reach = plain + 2 * (np.log(directivity.share(u, v, w)) - ln_edge)
    if not directivity.spares_footprint:
        return np.asarray(reach)
    within = (flat_square * footprint.drop**2 <= (z * _EDGE) ** 2 * radius_square) & (w < 0)
    ln_plane_square = 2 * (np.log(footprint.drop) - np.log(np.maximum(-w, 0.0)))
    reach = np.where(within, plain, np.minimum(reach, ln_plane_square - 1e-9))
    if reach_behind:
        behind = plain + 2 * np.log(reach_behind)
        reach = np.where(z > _IN_PLANE, np.maximum(reach, behind), reach)
    return np.asarray(reach)


def _ln_reach_square(local: _Directions, square: Array, footprint: Footprint) -> Array:
    radius_square = local.radius(footprint.shape) ** 2
    slant_square = radius_square + footprint.drop**2
    weight = _azimuth_weight(local.flat_square, square, radius_square, slant_square)
    mean = 2 * footprint.mean_log_slant
    return mean + weight * (np.log(slant_square) - mean)


def _azimuth_weight(flat_square: Array, square: Array, radius_square: Array, slant_square: Array) -> Array:
    """How much the azimuth means: sin²θ / sin²θ_edge, at most 1; on the axis itself 0, whatever the edge."""
    with np.errstate(invalid="ignore", divide="ignore"):
        weight = np.minimum(flat_square * slant_square / (square * radius_square), 1)
    return np.where(flat_square > 0, weight, 0)


def _azimuth(x: Array, y: Array, flat: Array) -> tuple[Array, Array]:
    with np.errstate(divide="ignore", invalid="ignore"):
        on_axis = flat == 0
        return np.where(on_axis, 1, x / flat), np.where(on_axis, 0, y / flat)


def inside_lens(local: Local, footprint: Footprint) -> NDArray[np.bool_]:
    """Whether points lie within the infrared lens edge tan θmax(φ) = r / drop (edge included)."""
    local = _Directions.of(local)
    flat_square = local.flat_square
    down = np.maximum(-local[2], 0)
    if (radius := footprint.shape.constant) is not None:
        return (flat_square <= (down * (radius / footprint.drop * _EDGE)) ** 2) & (down > 0)
    edge = down * (local.radius(footprint.shape) / footprint.drop * _EDGE)
    return (flat_square <= edge * edge) & (down > 0)


def mask_loss_db(local: Local, masks: Sequence[Mask]) -> Array:
    """One-way loss (dB) of the masks towards points; infinite behind a total one. Overlaps add up.

    A mask covers its edges; where one ends at the angle at which another begins, that angle counts once.
    """
    x, y, z = (np.asarray(part, float) for part in local)
    shape = np.broadcast_shapes(x.shape, y.shape, z.shape)
    loss = np.zeros(shape)
    flat = np.sqrt(np.broadcast_to(x * x + y * y, shape))
    cos_phi, sin_phi = _azimuth(np.broadcast_to(x, shape), np.broadcast_to(y, shape), flat)
    off_axis = None
    for mask in masks:
        meets = any((other.from_deg - mask.to_deg) % 360 == 0 for other in masks if other is not mask)
        covered = mask.covers_azimuth(cos_phi, sin_phi, with_end=not meets)
        if mask.off_axis_from_deg > 0 or mask.off_axis_to_deg < 180:
            if off_axis is None:
                off_axis = np.degrees(np.arctan2(flat, -np.broadcast_to(z, shape)))
            meets = any(other.off_axis_from_deg == mask.off_axis_to_deg for other in masks if other is not mask)
            before_end = off_axis < mask.off_axis_to_deg - _HAIR_DEG if meets else off_axis <= mask.off_axis_to_deg
            covered &= (off_axis >= mask.off_axis_from_deg - _HAIR_DEG) & before_end
        if mask.span_deg < 360:
            covered &= flat > 0  # straight below there is no azimuth to mask
        loss[covered] += mask.loss_db
    return loss


def worst_against_footprint_db(footprint: Footprint) -> tuple[float, float]:
    """How far a directivity contradicts the declared footprint on its own plane [dB], (within, outside).

    Within the edge the margin should be at least 0 (or what it is without a directivity, where that is less),
    outside below: the largest lack and the largest excess, 0 where there is none.
    """
    phi, _ = azimuth_cells(footprint.shape.corners_rad, n=360)
    radius = footprint.shape.radius(np.cos(phi), np.sin(phi))
    found = []
    for shares, sign in ((np.linspace(0.0, 0.98, 50), -1), (np.geomspace(1.02, 20.0, 60), 1)):
        flat = shares[:, None] * radius
        local = (flat * np.cos(phi), flat * np.sin(phi), np.full_like(flat, -footprint.drop))
        margin = reach_margin_db(local, replace(footprint, gain_db=0.0))
        plain = reach_margin_db(local, replace(footprint, gain_db=0.0, directivity=None))
        off = sign * (margin - (np.minimum(plain, 0.0) if sign < 0 else np.maximum(plain, 0.0)))
        found.append(max(float(off[:, radius > 0].max(initial=0.0)), 0.0))
    return found[0], found[1]


@lru_cache(maxsize=4096)
def undominated(footprints: tuple[Footprint, ...]) -> tuple[Footprint, ...]:
    """Footprints less those that another exceeds in angle and reach everywhere, so never decide a best."""
    kept: list[Footprint] = []
    for index, candidate in enumerate(footprints):
        rivals = [*kept, *footprints[index + 1 :]]
        if not any(_dominates(other, candidate) for other in rivals):
            kept.append(candidate)
    return tuple(kept)


def _dominates(big: Footprint, small: Footprint) -> bool:
    """Whether `big` sees everything that `small` sees, with no less margin.

    ln s0' of both is piecewise linear in t = sin²θ, with breaks at their own edges: comparing at t = 0, both
    breaks and 1 is exact in t; azimuths are taken every tenth of a degree and at every corner. Where a
    directivity bends that line nothing is claimed.
    """
    if big.directivity is not None or small.directivity is not None:
        return False
    phi, _ = azimuth_cells((*big.shape.corners_rad, *small.shape.corners_rad))
    cos_phi, sin_phi = np.cos(phi), np.sin(phi)
    radius = [f.shape.radius(cos_phi, sin_phi) for f in (big, small)]
    if np.any(radius[0] / big.drop < radius[1] / small.drop):
        return False
    edges = [r**2 / (r**2 + f.drop**2) for r, f in zip(radius, (big, small), strict=True)]
    breaks = np.stack([np.zeros_like(phi), *edges, np.ones_like(phi)])
    reach = []
    for f, r, edge in zip((big, small), radius, edges, strict=True):
        mean, there = f.mean_log_slant, 0.5 * np.log(r**2 + f.drop**2)
        with np.errstate(divide="ignore", invalid="ignore"):
            weight = np.where(breaks > 0, np.minimum(breaks / edge, 1), 0)
        reach.append(mean + weight * (there - mean) + np.log(f.gain_ratio))
    return bool(np.all(reach[0] >= reach[1]))
