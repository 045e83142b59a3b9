"""The lens of an infrared detector: rings of zones, each a positive and a negative image of the element.

A lens splits its field into zones, one ring of them above the other; behind each lies a dual or a quad element,
so that every zone is an alternating pair. The response of the whole lens to a direction is one image in
stereographic coordinates (x, y)/(s + d): x, y in the unit's frame, d down, s the distance. No trigonometry,
no seam and no pole, and the projection keeps shapes, so an element fixed in the unit's frame keeps its
direction all over the image.

It is a model of a lens, not one maker's: zones are sharp but for a Gaussian blur of their edges.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import erf

from raycover.physics.pattern import Footprint, Mask

Floats = NDArray[np.floating]
Single = NDArray[np.float32]
Element = Literal["quad", "dual"]

#: Blur of the zones' edges: standard deviation over the pitch of a pair (our assumption).
SOFT_SHARE = 0.12
#: Height of a zone over the pitch of its ring (our assumption).
HEIGHT_SHARE = 0.8
#: A lens' outermost ring looks at a person's middle at the edge of the footprint (m above the floor). At the
#: floor it would see feet only there, and the threshold that follows would mean nothing.
MIDDLE_M = 1.0
#: Golden section: turns of the rings, in zones, that never come near each other.
_GOLDEN = 0.6180339887
#: Nothing is seen farther off axis than this (deg): straight out is 90.
LARGEST_OFF_AXIS_DEG = 100.0


@dataclass(frozen=True)
class Ring:
    """Zones evenly round the axis: `off_axis_deg` of their middle, how many, and their size.

    `width_deg` along the ring (of a whole pair), `height_deg` across it, `offset_deg` azimuth of the first.
    """

    off_axis_deg: float
    count: int
    width_deg: float
    height_deg: float
    offset_deg: float = 0.0


@dataclass(frozen=True)
class Zones:
    """A lens: its rings and what stands behind each zone.

    `quad`: four fields, two by two, opposite signs side by side. `dual`: two fields side by side along the
    unit's y axis, so that a pair lies across azimuth 0. Both are fixed in the unit's frame, whatever the zone.
    `n_pulses`: how many excursions beyond the threshold make a detection.
    """

    rings: tuple[Ring, ...]
    element: Element = "quad"
    n_pulses: int = 1

    @property
    def outermost_deg(self) -> float:
        """Largest angle off axis that a zone reaches."""
        return max(ring.off_axis_deg + ring.height_deg / 2 for ring in self.rings)

    @property
    def pitch_deg(self) -> float:
        """Width of a pair in the outermost ring."""
        return max(self.rings, key=lambda ring: ring.off_axis_deg).width_deg


def pair_pitch_deg(family: str, footprint: Footprint, mounting: float) -> float:
    """Pitch of a pair for a lattice that nobody gave, by the kind of unit (our assumption).

    11° for small ceilings, 9° for rectangular fields, 6° high up, 7° high up for aisles: above 10 m zones must be
    fine, or a step crosses none.
    """
    radius = _radii(footprint)
    if "high bay" in family.lower().replace("-", " ") or mounting >= 5:
        return 7.0 if radius.max() >= 3 * radius[radius > 0].min() else 6.0
    return 11.0 if footprint.shape.constant is not None or (radius == 0).any() else 9.0


def generic_zones(footprint: Footprint, mounting: float, pitch_deg: float) -> Zones:
    """A lattice of quad zones for a declared footprint: rings one pitch apart, outermost one at mid-body.

    tan θ = r / (H − 1.0 m) for the outermost ring's middle, r the largest declared radius; N = 360°·sin θ / P
    zones a ring, so that pairs touch. Each ring is turned by another part of a zone: a lattice with an axis of symmetry
    would never notice who walks along it, since its positive and negative halves balance there.
    """
    outer = outer_ring_deg(footprint.largest_radius, mounting)
    rings = []
    for index, off_axis in enumerate(np.arange(outer, 0.25 * pitch_deg, -pitch_deg).tolist()):
        count = max(round(360 * np.sin(np.radians(off_axis)) / pitch_deg), 2)
        width = 360 * float(np.sin(np.radians(off_axis))) / count
        offset = (0.25 + _GOLDEN * index) % 1 * 360 / count
        rings.append(Ring(off_axis, count, width, HEIGHT_SHARE * pitch_deg, offset))
    return Zones(tuple(rings))


def middle_m(mounting: float) -> float:
    """Height (m) at which the outermost ring aims: mid-body, and never above half the mounting height."""
    return min(MIDDLE_M, mounting / 2)


def outer_ring_deg(radius: float, mounting: float) -> float:
    """Angle off axis (deg) at which a person's middle is seen at a horizontal distance (m)."""
    return float(np.degrees(np.arctan2(radius, mounting - middle_m(mounting))))


def _radii(footprint: Footprint) -> Floats:
    phi = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    return footprint.shape.radius(np.cos(phi), np.sin(phi))


@dataclass(frozen=True)
class ResponseImage:
    """Response −1 to 1 by direction: `values` (n, n) float32, row by y, column by x, over ±`half` in each."""

    values: Single
    half: float

    def sample(self, x: Floats, y: Floats) -> Single:
        """Bilinear response at stereographic coordinates of any shape; 0 beyond the image."""
        n = len(self.values)
        scale = (n - 1) / (2 * self.half)
        u = np.clip((x + self.half) * scale, 0, n - 1.001).astype(np.float32)
        v = np.clip((y + self.half) * scale, 0, n - 1.001).astype(np.float32)
        column, row = u.astype(np.int32), v.astype(np.int32)
        u -= column
        v -= row
        flat = self.values.ravel()
        at = row * n + column
        low = flat[at] * (1 - u) + flat[at + 1] * u
        high = flat[at + n] * (1 - u) + flat[at + n + 1] * u
        return low * (1 - v) + high * v

    def masked(self, masks: Sequence[Mask]) -> ResponseImage:
        """The same lens with sectors taped over."""
        if not masks:
            return self
        x, y = _grid(self.half, len(self.values))
        rho = np.hypot(x, y)
        off_axis = 2 * np.degrees(np.arctan(rho))
        with np.errstate(invalid="ignore", divide="ignore"):
            cos_phi, sin_phi = np.where(rho > 0, x / rho, 1.0), np.where(rho > 0, y / rho, 0.0)
        values = self.values.copy()
        for mask in masks:
            in_ring = (off_axis >= mask.off_axis_from_deg) & (off_axis <= mask.off_axis_to_deg)
            values[in_ring & mask.covers_azimuth(cos_phi, sin_phi)] = 0
        return ResponseImage(values, self.half)


@lru_cache(maxsize=64)
def response_image(
    zones: Zones, edges: tuple[Footprint, ...] = (), mounting: float = 0.0, n: int | None = None
) -> ResponseImage:
    """The response of a lens by direction.

    `edges`, seen from `mounting` (m): zones are cut off, softly and half a zone beyond, where every one of these
    declared footprints ends, azimuth by azimuth. `n` pixels a side: 1024, or 512 where pairs are more than 8° wide.
    """
    outer = min(zones.outermost_deg + 4 * _blur(zones.rings[0]), LARGEST_OFF_AXIS_DEG)
    half = float(np.tan(np.radians(outer) / 2))
    if n is None:
        n = 512 if zones.pitch_deg > 8 else 1024
    x, y = _grid(half, n)
    off_axis = np.degrees(2 * np.arctan(np.hypot(x, y)))
    azimuth = np.degrees(np.arctan2(y, x))
    total = np.zeros((n, n), np.float32)
    for ring in zones.rings:
        blur = _blur(ring)
        rows, columns = np.nonzero(np.abs(off_axis - ring.off_axis_deg) < ring.height_deg / 2 + 3.5 * blur)
        total[rows, columns] += _ring_response(
            ring, zones.element, x[0, columns], y[rows, 0], off_axis[rows, columns], azimuth[rows, columns]
        )
    if edges and any(edge.shape.constant is None for edge in edges):
        angle = np.radians(azimuth)
        radius = np.max([edge.shape.radius(np.cos(angle), np.sin(angle)) for edge in edges], axis=0)
        ring = max(zones.rings, key=lambda one: one.off_axis_deg)
        limit = np.degrees(np.arctan2(radius, mounting - middle_m(mounting))) + ring.height_deg / 2
        total *= _step(limit - off_axis, _blur(ring))
        total[radius == 0] = 0
    return ResponseImage(total.astype(np.float32), half)


def _ring_response(ring: Ring, element: Element, x: Floats, y: Floats, off_axis: Floats, azimuth: Floats) -> Floats:
    """Response (k,) of one ring at pixels: the zone each lies in and the nearer neighbour, whose edges overlap."""
    blur = _blur(ring)
    across = _box(off_axis - ring.off_axis_deg, ring.height_deg, blur)
    step = 360 / ring.count
    nearest = np.round((azimuth - ring.offset_deg) / step)
    along = (azimuth - ring.offset_deg - nearest * step) * np.sin(np.radians(off_axis))
    rho = float(np.tan(np.radians(ring.off_axis_deg) / 2))
    # In a stereographic image a small angle α about a direction at ρ spans α·(1 + ρ²)/2, in every direction.
    to_deg = float(np.degrees(2 / (1 + rho * rho)))

    balance = _imbalance(ring).astype(x.dtype) if element == "quad" else np.zeros(1)

    def zone(number: Floats, x: Floats, y: Floats, along: Floats) -> Floats:
        middle = np.radians(ring.offset_deg + number * step)
        u, v = (x - rho * np.cos(middle)) * to_deg, (y - rho * np.sin(middle)) * to_deg
        sign = _sign(v, blur)
        if element == "quad":
            sign = sign * _sign(u, blur) - balance[number.astype(int) % ring.count]
        return sign * _box(along, ring.width_deg, blur)

    total = zone(nearest, x, y, along)
    side = np.sign(along)
    pitch = step * np.sin(np.radians(off_axis))
    near = np.flatnonzero(pitch - np.abs(along) < ring.width_deg / 2 + 3.5 * blur)
    if ring.count > 1 and len(near):
        beside = along[near] - side[near] * pitch[near]
        total[near] += zone(nearest[near] + side[near], x[near], y[near], beside)
    return np.asarray(across * total)


def _imbalance(ring: Ring) -> Floats:
    """Mean sign (count,) of a quad over each of a ring's zones, which an element takes off: it answers no even warmth.

    A zone that lies aslant in the unit's frame, and is not as high as wide, holds more of one sign.
    """
    blur = _blur(ring)
    along, across = (np.linspace(-0.5, 0.5, 48) * (size + 6 * blur) for size in (ring.width_deg, ring.height_deg))
    weight = _box(along, ring.width_deg, blur)[:, None] * _box(across, ring.height_deg, blur)
    phi = np.radians(ring.offset_deg + 360 / ring.count * np.arange(ring.count))[:, None, None]
    u = across * np.cos(phi) - along[:, None] * np.sin(phi)
    v = across * np.sin(phi) + along[:, None] * np.cos(phi)
    return np.asarray((_sign(u, blur) * _sign(v, blur) * weight).sum(axis=(1, 2)) / weight.sum())


def _blur(ring: Ring) -> float:
    return SOFT_SHARE * min(ring.width_deg, ring.height_deg / HEIGHT_SHARE)


def _step(x: Floats, blur: float) -> Floats:
    """0 to 1 where x passes 0, blurred."""
    return np.asarray(0.5 * (1 + erf(x / float(np.sqrt(2) * blur))))


def _sign(x: Floats, blur: float) -> Floats:
    return np.asarray(erf(x / float(np.sqrt(2) * blur)))


def _box(x: Floats, width: float, blur: float) -> Floats:
    return _step(x + width / 2, blur) - _step(x - width / 2, blur)


def _grid(half: float, n: int) -> tuple[Floats, Floats]:
    """x and y (n, n) of pixels, rows by y."""
    axis = np.linspace(-half, half, n, dtype=np.float32)
    x, y = np.meshgrid(axis, axis)
    return x, y
