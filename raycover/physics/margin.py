"""The detection margin of a point in open air: distance, lens edge, heat and masks; obstacles come after.

    margin = 40·log10(s0(φ) / s) + 20·log10|k|       [dB]

Fourth-power law for both technologies in their far range: two-way radar, and a body that no longer fills a
zone of an infrared lens. Near the axis the azimuth means nothing, so ln s0 blends to its mean over azimuths:
ln s0' = (1 − w)·mean + w·ln s0(φ), w = (sin θ / sin θ_edge)², at most 1; circles are unchanged.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from raycover.physics.pattern import Footprint, Mask
from raycover.physics.shapes import Array, azimuth_cells

#: 40·log10(s) = 20·log10(s²) = this · ln(s²)
_DB_OF_LN_SQUARE = 20 / np.log(10)
#: A point on the edge stays inside, whatever the rounding.
_EDGE = 1 + 1e-9

Local = tuple[Array, Array, Array]


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
    return parts[0], parts[1], parts[2]


def unit_rotation(turn_deg: float, tilt_deg: float) -> Array:
    """R = Rz(turn)·Ry(tilt), (3, 3), columns the unit's axes; positive tilt raises local +x."""
    turn, tilt = np.radians(turn_deg), np.radians(tilt_deg)
    about_z = np.array([[np.cos(turn), -np.sin(turn), 0], [np.sin(turn), np.cos(turn), 0], [0, 0, 1]])
    about_y = np.array([[np.cos(tilt), 0, -np.sin(tilt)], [0, 1, 0], [np.sin(tilt), 0, np.cos(tilt)]])
    rotation = about_z @ about_y
    return np.where(np.abs(rotation) < 1e-15, 0.0, rotation)


def reach_margin_db(local: Local, footprint: Footprint, reach_behind: float | None = None) -> Array:
    """Margin (dB) from distance alone; the lens edge is `inside_lens`'s business.

    `local`: (x, y, z) offsets in the unit's frame (m), broadcastable. `reach_behind` scales the reach where
    local z > 0 (microwave; None for infrared: no difference).
    """
    x, y, z = local
    flat_square = x * x + y * y
    square = flat_square + z * z
    with np.errstate(divide="ignore"):
        if footprint.shape.constant is not None:
            ln_reach_square: Array | float = np.log(footprint.shape.constant**2 + footprint.drop**2)
        else:
            ln_reach_square = _ln_reach_square(x, y, flat_square, square, footprint)
        margin = _DB_OF_LN_SQUARE * (ln_reach_square - np.log(square))
        if reach_behind is not None and reach_behind != 1 and np.any(z > 0):
            behind = 2 * _DB_OF_LN_SQUARE * np.log(reach_behind) if reach_behind > 0 else -np.inf
            margin = np.where(z > 1e-9, margin + behind, margin)
    return margin


def _ln_reach_square(x: Array, y: Array, flat_square: Array, square: Array, footprint: Footprint) -> Array:
    flat = np.sqrt(flat_square)
    cos_phi, sin_phi = _azimuth(x, y, flat)
    radius_square = footprint.shape.radius(cos_phi, sin_phi) ** 2
    slant_square = radius_square + footprint.drop**2
    # w = sin²θ / sin²θ_edge = (ρ²/s²) / (r²/s0²); on the axis itself 0, whatever the edge.
    with np.errstate(invalid="ignore"):
        weight = np.minimum(flat_square * slant_square / (square * radius_square), 1)
    weight = np.where(flat_square > 0, weight, 0)
    mean = 2 * footprint.mean_log_slant
    return mean + weight * (np.log(slant_square) - mean)


def _azimuth(x: Array, y: Array, flat: Array) -> tuple[Array, Array]:
    with np.errstate(divide="ignore", invalid="ignore"):
        on_axis = flat == 0
        return np.where(on_axis, 1, x / flat), np.where(on_axis, 0, y / flat)


def inside_lens(local: Local, footprint: Footprint) -> NDArray[np.bool_]:
    """Whether points lie within the infrared lens edge tan θmax(φ) = r / drop (edge included)."""
    x, y, z = local
    flat_square = x * x + y * y
    down = np.maximum(-z, 0)
    if (radius := footprint.shape.constant) is not None:
        return (flat_square <= (down * (radius / footprint.drop * _EDGE)) ** 2) & (down > 0)
    cos_phi, sin_phi = _azimuth(x, y, np.sqrt(flat_square))
    edge = down * (footprint.shape.radius(cos_phi, sin_phi) / footprint.drop * _EDGE)
    return (flat_square <= edge * edge) & (down > 0)


def mask_loss_db(local: Local, masks: Sequence[Mask]) -> Array:
    """One-way loss (dB) of the masks towards points; infinite behind a total one. Overlaps add up."""
    x, y, z = (np.asarray(part, float) for part in local)
    shape = np.broadcast_shapes(x.shape, y.shape, z.shape)
    loss = np.zeros(shape)
    flat = np.sqrt(np.broadcast_to(x * x + y * y, shape))
    cos_phi, sin_phi = _azimuth(np.broadcast_to(x, shape), np.broadcast_to(y, shape), flat)
    off_axis = None
    for mask in masks:
        covered = mask.covers_azimuth(cos_phi, sin_phi)
        if mask.off_axis_from_deg > 0 or mask.off_axis_to_deg < 180:
            if off_axis is None:
                off_axis = np.degrees(np.arctan2(flat, -np.broadcast_to(z, shape)))
            covered &= (off_axis >= mask.off_axis_from_deg) & (off_axis <= mask.off_axis_to_deg)
        elif mask.span_deg < 360:
            covered &= flat > 0  # straight below there is no azimuth to mask
        loss[covered] += mask.loss_db
    return loss


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
    breaks and 1 is exact in t; azimuths are taken every tenth of a degree and at every corner.
    """
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
        reach.append(mean + weight * (there - mean))
    return bool(np.all(reach[0] >= reach[1]))
