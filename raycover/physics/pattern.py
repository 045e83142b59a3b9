"""From declared footprints to what holds at a mounting height: lens edge, slant range, masks.

Formulation: PHYSICS of this project. A data sheet declares, for a motion, the polar radius r(φ) seen on a
plane h_p from a mounting height H. Then

- slant range of the edge s0(φ) = √(r² + (H − h_p)²),
- infrared lens edge tan θmax(φ) = r / (H − h_p),
- between two declared mounting heights r (and h_p) is linear in H,
- outside them the angles and slant ranges of the nearest hold, and the result says so.

All this is geometry; that it describes a real unit between and beyond its declarations is an assumption.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import ConvexHull

from raycover.physics.directivity import Directivity
from raycover.physics.shapes import Array, Blend, Shape, azimuth_cells

MOTIONS = ("tangential", "radial", "presence")


@dataclass(frozen=True)
class Declaration:
    """One declared footprint: heights in metres."""

    mounting: float
    plane: float
    motion: str
    shape: Shape


@dataclass(frozen=True)
class Mask:
    """A blocked sector in the unit's frame, anticlockwise from `from_deg` to `to_deg`, and off-axis range.

    `loss_db` is the one-way loss, infinite for a total mask.
    """

    from_deg: float
    to_deg: float
    off_axis_from_deg: float = 0.0
    off_axis_to_deg: float = 180.0
    loss_db: float = np.inf

    @property
    def span_deg(self) -> float:
        """Width in azimuth, 0 < span <= 360."""
        return (
            min(self.to_deg - self.from_deg, 360.0)
            if self.to_deg - self.from_deg >= 360
            else ((self.to_deg - self.from_deg) % 360.0 or 360.0)
        )

    def covers_azimuth(self, cos_phi: Array, sin_phi: Array, *, with_end: bool = True) -> NDArray[np.bool_]:
        """Whether unit azimuths (cos φ, sin φ) lie in the sector, its start included, its end if asked for."""
        if self.span_deg >= 360:
            return np.ones(np.shape(cos_phi), bool)
        start, end = np.radians(self.from_deg), np.radians(self.from_deg + self.span_deg)
        after_start = np.cos(start) * sin_phi - np.sin(start) * cos_phi >= -1e-12
        before_end = cos_phi * np.sin(end) - sin_phi * np.cos(end) >= (-1e-12 if with_end else 1e-12)
        return (after_start & before_end) if self.span_deg <= 180 else (after_start | before_end)


@dataclass(frozen=True)
class Footprint:
    """The edge of detection for one motion at one mounting height.

    `shape` at a distance `drop` (m) below the unit gives both the lens edge and the slant range.
    `extrapolated`: the mounting height lies outside the declared ones. `directivity` says what holds off the
    declared plane, None: s0 all over the front. `gain_db` is added to the margin: a sensitivity setting, another
    body than the declared one. `derived`: from what, where the motion itself is not declared.
    """

    motion: str
    shape: Shape
    drop: float
    extrapolated: bool
    directivity: Directivity | None = None
    gain_db: float = 0.0
    derived: str = ""

    def __hash__(self) -> int:
        # Of what tells most apart: tables of many numbers take long, and hashes are asked for every unit and surface.
        return hash((self.motion, type(self.shape), self.drop, self.gain_db))

    @property
    def is_round(self) -> bool:
        """Whether it is alike at every azimuth, off the declared plane too."""
        return self.shape.constant is not None and (self.directivity is None or self.directivity.is_round)

    @cached_property
    def mean_log_slant(self) -> float:
        """Mean over all azimuths of ln s0(φ) (s0 in m)."""
        phi, width = azimuth_cells(self.shape.corners_rad)
        radius = self.shape.radius(np.cos(phi), np.sin(phi))
        return float(np.sum(width * 0.5 * np.log(radius**2 + self.drop**2)) / (2 * np.pi))

    def edge_share(self, cos_phi: Array, sin_phi: Array) -> Array:
        """The directivity's share f along the footprint's edge at azimuths."""
        assert self.directivity is not None
        radius = self.shape.radius(cos_phi, sin_phi)
        slant = np.hypot(radius, self.drop)
        return self.directivity.share(radius * cos_phi / slant, radius * sin_phi / slant, -self.drop / slant)

    @cached_property
    def mean_log_edge_share(self) -> float:
        """Mean over all azimuths of ln f along the edge; 0 without a directivity."""
        if self.directivity is None:
            return 0.0
        phi, width = azimuth_cells(self.shape.corners_rad)
        return float(np.sum(width * np.log(self.edge_share(np.cos(phi), np.sin(phi)))) / (2 * np.pi))

    @cached_property
    def outline(self) -> Array:
        """Points (n, 2) around the edge at `drop` below the unit, in its frame, corners and jumps included."""
        phi, _ = azimuth_cells(self.shape.corners_rad)
        corners = np.asarray(self.shape.corners_rad)
        phi = np.sort(np.concatenate([phi, corners, corners - 1e-9, corners + 1e-9]) % (2 * np.pi))
        direction = np.stack([np.cos(phi), np.sin(phi)], axis=1)
        return self.shape.radius(direction[:, 0], direction[:, 1])[:, None] * direction

    @cached_property
    def hull(self) -> Array:
        """Corner points (n, 2) of the outline's convex hull: what decides a bounding box at any turn."""
        # To the micrometre, or the points along a straight edge would be corners by rounding alone.
        points = np.unique(np.round(self.outline, 6), axis=0)
        corners = points[ConvexHull(points).vertices]
        before, after = corners - np.roll(corners, 1, axis=0), np.roll(corners, -1, axis=0) - corners
        bend = np.abs(before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0])
        return corners[bend > 2e-6 * np.linalg.norm(after - before, axis=1)]

    @cached_property
    def largest_radius(self) -> float:
        """Largest radius (m) at `drop` below the unit."""
        if self.shape.constant is not None:
            return self.shape.constant
        return float(np.linalg.norm(self.outline, axis=1).max())

    @property
    def largest_slant(self) -> float:
        """Largest slant range (m) of the edge."""
        return float(np.hypot(self.largest_radius, self.drop))

    @property
    def gain_ratio(self) -> float:
        """What `gain_db` does to every reach."""
        return float(10 ** (self.gain_db / 40))

    @property
    def edge_off_axis_rad(self) -> float:
        """Largest angle off the axis of the lens edge."""
        return float(np.arctan2(self.largest_radius, self.drop))


@lru_cache(maxsize=4096)
def with_gain(footprint: Footprint, gain_db: float) -> Footprint:
    """A footprint with that much (dB) more margin all over."""
    return replace(footprint, gain_db=footprint.gain_db + gain_db)


@lru_cache(maxsize=4096)
def resolve(
    declarations: tuple[Declaration, ...], mounting: float, directivity: Directivity | None = None
) -> tuple[Footprint, ...]:
    """The footprint of each declared motion at a mounting height (m), in the order of `MOTIONS`.

    `directivity`: that of the unit, if one is given. Remembered: a hundred units of one model at one height share
    their footprints and what is worked out of them.
    """
    footprints = []
    for motion in MOTIONS:
        known = sorted((d for d in declarations if d.motion == motion), key=lambda d: d.mounting)
        if known:
            footprints.append(replace(_resolve_one(known, mounting), directivity=directivity))
    return tuple(footprints)


def _resolve_one(known: Sequence[Declaration], mounting: float) -> Footprint:
    first, last = known[0], known[-1]
    nearest = first if mounting <= first.mounting else last
    if not first.mounting < mounting < last.mounting:
        extrapolated = abs(mounting - nearest.mounting) > 1e-9
        return Footprint(nearest.motion, nearest.shape, nearest.mounting - nearest.plane, extrapolated)
    index = next(i for i, d in enumerate(known) if d.mounting >= mounting)
    low, high = known[index - 1], known[index]
    weight = (mounting - low.mounting) / (high.mounting - low.mounting)
    plane = low.plane + weight * (high.plane - low.plane)
    return Footprint(low.motion, Blend(low.shape, high.shape, weight), mounting - plane, False)


def mask_share(masks: Sequence[Mask], declaration: Declaration) -> float:
    """Share of the declared footprint's area that the union of the masks takes, partial masks included."""
    if not masks:
        return 0.0
    edges = tuple(np.radians(a) for m in masks for a in (m.from_deg, m.to_deg))
    phi, width = azimuth_cells((*declaration.shape.corners_rad, *edges), n=36_000)
    cos_phi, sin_phi = np.cos(phi), np.sin(phi)
    radius = declaration.shape.radius(cos_phi, sin_phi)
    in_azimuth = np.array([m.covers_azimuth(cos_phi, sin_phi) for m in masks])
    # Bands between neighbouring off-axis limits: within one, a mask covers all or nothing.
    drop = declaration.mounting - declaration.plane
    limits = sorted({0.0, 90.0, *(min(a, 90.0) for m in masks for a in (m.off_axis_from_deg, m.off_axis_to_deg))})
    taken = 0.0
    for low, high in pairwise(limits):
        covering = [m.off_axis_from_deg <= low and high <= min(m.off_axis_to_deg, 90.0) for m in masks]
        covered = in_azimuth[covering].any(axis=0)
        inner = np.minimum(radius, drop * np.tan(np.radians(low)))
        outer = radius if high == 90.0 else np.minimum(radius, drop * np.tan(np.radians(high)))
        taken += float(np.sum(width * covered * (outer**2 - inner**2)))
    return taken / float(np.sum(width * radius**2))
