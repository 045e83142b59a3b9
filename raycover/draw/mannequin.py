"""A person for scale, 1.75 m tall: a smooth body about a chain of joints, walking or seated. Metres; x ahead, y left.

Heights of joints are shares of stature after Drillis and Contini as textbooks of biomechanics give them (from memory);
girths and the swing of limbs are ours: figures say how large things are, nothing is computed with them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Any, Literal

import numpy as np
import shapely
from contourpy import FillType, contour_generator
from numpy.typing import NDArray

from raycover.scene.seating import POPLITEAL, SEAT_HEIGHTS

Floats = NDArray[np.floating[Any]]
Pose = Literal["walking", "seated"]
#: Height of the person drawn (m), common practice, no source.
TALL_M = 1.75
#: Parts run into each other over about this length (m).
_BLEND_M = 0.028
#: Cells (m) of the raster that a body's surface is found on.
STEP_M = 0.0175


@dataclass(frozen=True)
class Limb:
    """A rounded part from `start` to `end` (3,), its radius (m) going from one to the other; `flat` scales x and y."""

    start: tuple[float, float, float]
    end: tuple[float, float, float]
    radius: tuple[float, float]
    flat: tuple[float, float] = (1.0, 1.0)


def _swung(start: Floats, length: float, deg: float, aside: float = 0.0) -> Floats:
    """The end of a limb that hangs from `start`, swung ahead by some degrees."""
    swing = np.radians(deg)
    return np.asarray(start + length * np.array([np.sin(swing), aside, -np.cos(swing)]))


def _leg(side: float, thigh_deg: float, knee_deg: float, foot_deg: float) -> list[Limb]:
    hip = np.array([0.0, side * 0.085, 0.915])
    knee = _swung(hip, 0.43, thigh_deg)
    ankle = _swung(knee, 0.41, thigh_deg - knee_deg)
    tilt = np.radians(foot_deg)
    ahead = np.array([np.cos(tilt), 0.0, np.sin(tilt)])
    heel, toe = ankle + 0.035 * np.array([-1.0, 0.0, -1.4]), ankle + 0.175 * ahead + np.array([0.0, 0.0, -0.052])
    return [
        Limb(_t(hip), _t(knee), (0.086, 0.058)),
        Limb(_t(knee), _t(0.6 * knee + 0.4 * ankle), (0.056, 0.058)),
        Limb(_t(0.6 * knee + 0.4 * ankle), _t(ankle), (0.056, 0.037)),
        Limb(_t(heel), _t(toe), (0.036, 0.027), (1.0, 1.3)),
    ]


def _arm(side: float, upper_deg: float, elbow_deg: float) -> list[Limb]:
    shoulder = np.array([0.0, side * 0.185, 1.415])
    elbow = _swung(shoulder, 0.30, upper_deg, side * 0.14)
    wrist = _swung(elbow, 0.25, upper_deg + elbow_deg, side * 0.02)
    hand = _swung(wrist, 0.11, upper_deg + elbow_deg + 6.0)
    return [
        Limb(_t(shoulder), _t(elbow), (0.052, 0.040)),
        Limb(_t(elbow), _t(wrist), (0.040, 0.029)),
        Limb(_t(wrist), _t(hand), (0.028, 0.030), (1.2, 0.7)),
    ]


def _t(point: Floats) -> tuple[float, float, float]:
    return float(point[0]), float(point[1]), float(point[2])


def _trunk(lift: float, lean: float) -> list[Limb]:
    """Hips, waist, chest, shoulders, neck and head, `lift` m higher than of one who stands, leaning ahead."""

    def at(z: float, y: float = 0.0, x: float = 0.0) -> tuple[float, float, float]:
        return x + lean * max(z - 0.95, 0.0), y, z + lift

    return [
        Limb(at(0.93), at(1.04), (0.118, 0.108), (0.86, 1.36)),
        Limb(at(1.04), at(1.30), (0.106, 0.128), (0.86, 1.32)),
        Limb(at(1.30), at(1.40), (0.126, 0.088), (0.86, 1.45)),
        Limb(at(1.425, 0.15), at(1.425, -0.15), (0.056, 0.056)),
        Limb(at(1.43), at(1.53, x=0.012), (0.056, 0.050)),
        Limb(at(1.60, x=0.018), at(1.655, x=0.014), (0.076, 0.088), (1.08, 0.86)),
        Limb(at(1.565, x=0.035), at(1.60, x=0.03), (0.052, 0.058), (1.0, 0.9)),  # jaw
    ]


@lru_cache(maxsize=2)
def limbs(pose: Pose) -> tuple[Limb, ...]:
    """The parts of a body that stands on z = 0 above the origin."""
    if pose == "walking":
        # Middle of a step: right heel down ahead, left foot about to leave the ground.
        body = [
            *_leg(-1, 20, 4, 10),
            *_leg(1, -15, 18, -26),
            *_arm(1, 18, 20),
            *_arm(-1, -20, 12),
            *_trunk(-0.02, 0.05),
        ]
        lowest = min(min(limb.start[2], limb.end[2]) - limb.radius[1] for limb in body)
        return tuple(_raised(limb, -lowest) for limb in body)
    shoulder, head = SEAT_HEIGHTS[1], SEAT_HEIGHTS[2]
    seat, down = POPLITEAL, shoulder - 1.425
    body = _trunk(down, 0.03)
    body[-2] = Limb((0.04, 0.0, head - 0.05), (0.035, 0.0, head - 0.01), (0.076, 0.088), (1.08, 0.86))
    body[-1] = Limb((0.055, 0.0, head - 0.10), (0.05, 0.0, head - 0.06), (0.052, 0.058), (1.0, 0.9))
    for side in (1.0, -1.0):
        body += [
            Limb((0.02, side * 0.085, seat + 0.08), (0.43, side * 0.10, seat + 0.06), (0.088, 0.060)),
            Limb((0.43, side * 0.10, seat + 0.05), (0.41, side * 0.10, 0.09), (0.056, 0.040)),
            Limb((0.38, side * 0.10, 0.04), (0.57, side * 0.11, 0.032), (0.036, 0.028), (1.0, 1.3)),
            Limb((0.02, side * 0.185, shoulder - 0.02), (0.08, side * 0.215, 0.80), (0.050, 0.040)),
            Limb((0.08, side * 0.215, 0.80), (0.32, side * 0.15, 0.79), (0.040, 0.030)),
            Limb((0.32, side * 0.15, 0.79), (0.41, side * 0.12, 0.785), (0.028, 0.028)),
        ]
    return tuple(body)


def chair(seat: float = POPLITEAL) -> tuple[Limb, ...]:
    """What a seated person sits on: foot, seat, back."""
    return (
        Limb((-0.04, 0.0, 0.04), (-0.04, 0.0, seat - 0.04), (0.035, 0.035)),
        Limb((-0.18, 0.0, seat - 0.02), (0.14, 0.0, seat - 0.02), (0.03, 0.03), (1.0, 6.0)),
        Limb((-0.25, 0.0, seat + 0.15), (-0.28, 0.0, seat + 0.45), (0.03, 0.03), (1.0, 5.0)),
    )


def _raised(limb: Limb, by: float) -> Limb:
    (x0, y0, z0), (x1, y1, z1) = limb.start, limb.end
    return Limb((x0, y0, z0 + by), (x1, y1, z1 + by), limb.radius, limb.flat)


def around(limb: Limb) -> Floats:
    """(52, 3) points on a part's two round ends."""
    axes = np.array([(x, y, z) for x in (-1, 0, 1) for y in (-1, 0, 1) for z in (-1, 0, 1) if (x, y, z) != (0, 0, 0)])
    ball = axes / np.linalg.norm(axes, axis=1, keepdims=True) * np.array([*limb.flat, 1.0])
    return np.concatenate([np.array(limb.start) + limb.radius[0] * ball, np.array(limb.end) + limb.radius[1] * ball])


def distance_m(points: Floats, parts: Sequence[Limb], blend: float = _BLEND_M) -> Floats:
    """About how far (n,) points (n, 3) lie outside a body, negative within; parts run smoothly into each other."""
    total = np.zeros(len(points))
    for limb in parts:
        scale = np.array([*limb.flat, 1.0])
        a, b = np.array(limb.start) / scale, np.array(limb.end) / scale
        offset, axis = points / scale - a, b - a
        share = np.clip(offset @ axis / max(float(axis @ axis), 1e-12), 0.0, 1.0)
        away = np.linalg.norm(offset - share[:, None] * axis, axis=1)
        radius = limb.radius[0] + share * (limb.radius[1] - limb.radius[0])
        total += np.exp(np.clip(-(away - radius) / blend * 3.0, -60.0, 60.0))
    return np.asarray(-np.log(np.maximum(total, 1e-30)) * blend / 3.0)


def raster(parts: Sequence[Limb], step: float = STEP_M) -> tuple[Floats, tuple[Floats, Floats, Floats]]:
    """Distances (nx, ny, nz) on a raster about a body, and its axes."""
    ends = np.array([[limb.start, limb.end] for limb in parts])
    reach = np.array([[max(limb.radius) * max(*limb.flat, 1.0)] * 3 for limb in parts])[:, None] + 2 * step
    low, high = (ends - reach).min(axis=(0, 1)), (ends + reach).max(axis=(0, 1))
    x, y, z = (np.arange(a, b + step, step) for a, b in zip(low, high, strict=True))
    grid = np.stack(np.meshgrid(x, y, z, indexing="ij"), axis=-1)
    return distance_m(grid.reshape(-1, 3), parts).reshape(grid.shape[:3]), (x, y, z)


@lru_cache(maxsize=4)
def silhouette(pose: Pose, *, mirrored: bool = False) -> tuple[tuple[Floats, ...], ...]:
    """Areas of rings (n, 2) over (ahead, height): a body seen from its side."""
    parts = limbs(pose) if pose == "walking" else (*limbs(pose), *chair())
    found, (x, _, z) = raster(parts)
    nearest = found.min(axis=1).T
    sign = np.array([-1.0 if mirrored else 1.0, 1.0])
    filled: Any = contour_generator(x, z, nearest, fill_type=FillType.OuterOffset).filled(-1e3, 0.0)
    points, offsets = filled
    areas = []
    for some, breaks in zip(points, offsets, strict=True):
        rings = [some[a:b] for a, b in pairwise(breaks)]
        # A chink between arm and trunk is no more than a speck on paper.
        rings = [ring for ring in rings if shapely.Polygon(ring).area > 2e-3]
        areas.append(
            tuple(np.asarray(shapely.simplify(shapely.LinearRing(r), 0.002).coords)[:-1] * sign for r in rings)
        )
    return tuple(areas)
