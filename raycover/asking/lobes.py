"""Lobes: how far one unit notices, direction by direction, as a surface in space. No drawing here.

A lobe is the set of points with a margin of at least 0 dB for any motion that counts, seen from the unit as
distance by direction. Along one direction the margin falls steadily, with distance and with every crossing,
so the set has one end. It is where

- the reach in the open ends (`open_air`): declared slant range and what an entry says of directions off it,
  infrared only inside the lens edge, less heat, masks and setting;
- infrared: the first thing in the way stands;
- microwave: 40·log10(s0/s) − 2·L(s) reaches 0, L(s) the one-way loss (dB) of what is crossed up to s. Behind
  a loss L the reach is s0·10^(−L/20), so a lobe bulges through a light partition and stops at steel;
- the floor that the unit is mounted above lies.

Both lobes of a dual unit start from one place, so along each direction the farther or the nearer end is exactly what
they make together (`combining`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from raycover.catalogue import Losses
from raycover.detectors import Unit
from raycover.physics.microwave import reach_factor
from raycover.rays.ray_scene import TOLERANCE, RayScene
from raycover.rays.segments import Segments, in_metres
from raycover.solving.airs import Airs
from raycover.solving.casting import Weather
from raycover.solving.combining import over_parts, question_of, rule_of
from raycover.solving.open_air import open_margin_db

Floats = NDArray[np.floating]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: Directions this near (rad) on either side of a corner or a mask's edge keep it sharp.
_SHARP = 1e-5
#: Surfaces stand this far (m) off what cut them, so that a picture shows no mixture of the two.
_OFF = 0.02
#: Between the reach in the worst air and in the best, so many steps are looked at, and the last halved so many times.
_AIR_STEPS, _AIR_HALVINGS = 32, 12
#: A loss (dB) beyond which more makes no difference; keeps sums finite.
_ENOUGH_DB = 1e4


@dataclass(frozen=True)
class Lobe:
    """One unit's lobe.

    `directions` (n_rings, n_azimuths, 3) are unit vectors in the scene, `distance_m` (n_rings, n_azimuths)
    the reach along each, 0 where nothing is noticed, `on_floor` the same shape: ended by the floor (or by the
    height a lobe was asked up to).
    `vertices` (n, 3) and `triangles` (m, 3) are the surface without what lies on the floor or at that height, `ribs`
    lines (k, 3) over it at even azimuths.
    """

    name: str
    position: Floats
    directions: Floats
    distance_m: Floats
    on_floor: Bools
    vertices: Floats
    triangles: Ints
    ribs: tuple[Floats, ...]

    @property
    def points(self) -> Floats:
        """(n_rings, n_azimuths, 3): the far end along each direction."""
        return self.position + self.distance_m[..., None] * self.directions


def make_lobe(
    unit: Unit,
    rays: RayScene | None,
    weather: Weather,
    *,
    motion: str = "any",
    n_azimuths: int = 180,
    n_rings: int = 48,
    rib_every_deg: float = 15.0,
    below_m: float = np.inf,
) -> Lobe:
    """The lobe of a unit among what `rays` holds, or in the open where `rays` is None.

    Only what lies below z = `below_m` is kept: a ceiling that a picture leaves out, say.
    The grid is regular in the unit's own frame: rings from the axis to the lens edge (infrared) or to
    straight back (microwave), azimuths with every corner and mask edge kept.
    """
    azimuths, n_even = _azimuths(unit, motion, n_azimuths)
    off_axis = _off_axis(unit, motion, azimuths, n_rings)
    local = np.stack(
        [np.sin(off_axis) * np.cos(azimuths), np.sin(off_axis) * np.sin(azimuths), -np.cos(off_axis)], axis=-1
    )
    directions = local @ unit.rotation.T
    flat = directions.reshape(-1, 3)
    floor = np.minimum(floor_distance_m(unit, flat), _ceiling_distance_m(unit, flat, below_m))

    def end_of(part: Unit) -> Floats:
        reach = open_reach_m(part, local.reshape(-1, 3), weather, motion=motion)
        limit = np.minimum(reach, floor)
        return limit if rays is None else cut_off_m(part, flat, reach, limit, rays, weather)

    distance = over_parts(unit, motion, end_of)
    on_floor = (distance >= floor - 2 * TOLERANCE) & (distance > 0)
    shape = off_axis.shape
    distance, on_floor = distance.reshape(shape), on_floor.reshape(shape)
    closed = ends_with_the_lens(unit, motion)
    vertices, triangles = _surface(unit.position, directions, distance, on_floor, from_apex=closed)
    step = max(round(n_even * rib_every_deg / 360), 1)
    at_even = np.searchsorted(azimuths[0], np.arange(0, n_even, step) * 2 * np.pi / n_even - 1e-12)
    ribs = _ribs(unit.position, directions, distance, on_floor, at_even, from_apex=closed)
    return Lobe(unit.name, unit.position, directions, distance, on_floor, vertices, triangles, ribs)


def ends_with_the_lens(unit: Unit, motion: str) -> bool:
    """Whether nothing is noticed outside an infrared lens."""
    if unit.halves:
        return rule_of(unit, question_of(motion)) != "higher"
    return unit.kind == "infrared"


def open_reach_m(unit: Unit, local: Floats, weather: Weather, *, motion: str = "any") -> Floats:
    """Distance (n,) at which the margin is 0 in the open, along unit vectors (n, 3) in the unit's frame.

    0 outside the lens, behind a total mask and where no such motion is declared. Where rooms have airs of their own
    it ends where somebody who walks away from the unit is first lost.
    """
    directions = local @ unit.rotation.T
    x, y, z = directions.T
    airs = weather.airs_of(unit)
    best = open_margin_db(unit, (x, y, z), unit.footprints_for(motion), weather if airs is None else weather.unheated)
    # The margin at 1 m is 40·log10 of the reach.
    reach: Floats = 10.0 ** (best / 40)
    return reach if airs is None else _through_airs_m(unit, directions, reach, airs)


def _through_airs_m(unit: Unit, directions: Floats, reach: Floats, airs: Airs) -> Floats:
    """What the airs on the way leave (n,) of a reach (n,) at a declaration's contrast along unit vectors (n, 3).

    Looked for between the reach in the worst air and that in the best, by steps, then by halving the step.
    """
    share = 10.0 ** (airs.contrast_db / 40)
    low, high = reach * share.min(), reach * share.max()

    def seen(distance: Floats) -> NDArray[np.bool_]:
        x, y, z = (unit.position + directions * distance[..., None]).T
        return np.asarray(distance <= reach * share[airs.at(x, y, z).T] * (1 + 1e-12))

    steps = low + np.linspace(0, 1, _AIR_STEPS + 1)[1:, None] * (high - low)
    lost = ~seen(steps)
    first = np.where(lost.any(axis=0), lost.argmax(axis=0), _AIR_STEPS)
    ends = np.concatenate([low[None], steps, high[None]])
    near, far = (np.take_along_axis(ends, (first + k)[None], axis=0)[0] for k in (0, 1))
    for _ in range(_AIR_HALVINGS):
        middle = (near + far) / 2
        held = seen(middle)
        near, far = np.where(held, middle, near), np.where(held, far, middle)
    return np.asarray(near)


def floor_distance_m(unit: Unit, directions: Floats) -> Floats:
    """Distance (n,) along directions (n, 3) to the floor that the unit is mounted above; infinite upward."""
    down = -directions[:, 2]
    with np.errstate(divide="ignore"):
        distance: Floats = np.where(down > 1e-9, unit.mounting / np.where(down > 1e-9, down, 1.0), np.inf)
    return distance


def _ceiling_distance_m(unit: Unit, directions: Floats, below_m: float) -> Floats:
    """Distance (n,) along directions (n, 3) to a height above the unit; infinite downward."""
    up = directions[:, 2]
    room = max(below_m - float(unit.position[2]), 0.0)
    distance: Floats = np.where(up > 1e-9, room / np.where(up > 1e-9, up, 1.0), np.inf)
    return distance


def cut_off_m(unit: Unit, directions: Floats, reach: Floats, limit: Floats, rays: RayScene, weather: Weather) -> Floats:
    """What obstacles leave of a reach (n,) along unit vectors (n, 3), followed up to `limit` (n,) at most."""
    cut = limit.copy()
    live = np.flatnonzero(limit > 4 * TOLERANCE)
    if not len(live):
        return cut
    targets = unit.position + directions[live] * limit[live, None]
    segments = in_metres(rays.segments(unit.position, targets, unit.ahead))
    stop = rays.stopped_at_m(segments, unit.frequency_ghz)
    cut[live] = np.minimum(cut[live], stop)
    if unit.frequency_ghz is not None:
        weakened = _weakened_m(segments, reach[live], rays, unit.frequency_ghz, weather.losses)
        cut[live] = np.minimum(cut[live], weakened)
    return cut


def _azimuths(unit: Unit, motion: str, n: int) -> tuple[Floats, int]:
    """(1, n_azimuths) azimuths in the unit's frame over a whole turn, both ends, and how many are even."""
    corners = [a for f in unit.footprints_for(motion) for a in f.shape.corners_rad]
    edges = [np.radians(a) for mask in unit.all_masks for a in (mask.from_deg, mask.to_deg) if mask.span_deg < 360]
    sharp = np.array([*corners, *edges])
    even = np.linspace(0, 2 * np.pi, n + 1)
    either = np.concatenate([sharp - _SHARP, sharp, sharp + _SHARP]) % (2 * np.pi)
    return np.unique(np.concatenate([even, either]))[None], n


def _off_axis(unit: Unit, motion: str, azimuths: Floats, n: int) -> Floats:
    """(n_rings, n_azimuths) angles off the unit's axis, rising from 0."""
    if unit.halves:
        lens = _off_axis(unit.parts[0], motion, azimuths, n)
        if ends_with_the_lens(unit, motion):
            return lens
        # The lens' edge stays sharp within the other half's lobe.
        beyond = np.minimum(lens[-1:] + _SHARP, np.pi)
        return np.sort(np.concatenate([lens, beyond, _off_axis(unit.parts[1], motion, azimuths, n)]), axis=0)
    share = np.linspace(0, 1, n)[:, None]
    if unit.kind == "infrared":
        cos_phi, sin_phi = np.cos(azimuths), np.sin(azimuths)
        edge = np.zeros_like(azimuths)
        for footprint in unit.footprints_for(motion):
            edge = np.maximum(edge, np.arctan2(footprint.shape.radius(cos_phi, sin_phi), footprint.drop))
        limits = [m.off_axis_from_deg for m in unit.masks] + [m.off_axis_to_deg for m in unit.masks]
        bounds = [float(b) for b in np.radians(limits) if 0 < b < edge.max()]
        rings = share * edge
        extra = [np.minimum(np.full_like(edge, b + d), edge) for b in bounds for d in (-_SHARP, _SHARP)]
        # Evened to a hair inside, so that rounding leaves the rim within the lens.
        return np.sort(np.concatenate([rings * (1 - 1e-12), *extra]), axis=0)
    front = share[:, 0] * np.pi / 2
    behind = np.pi / 2 + 1e-6 + (np.pi / 2 - 1e-6) * share[:, 0]
    limits_rad = [np.radians(a) for m in unit.masks for a in (m.off_axis_from_deg, m.off_axis_to_deg)]
    extra_rad = [b + d for b in limits_rad if 0 < b < np.pi for d in (-_SHARP, _SHARP)]
    back = (unit.reach_behind or 0) > 0 or any(f.directivity is not None for f in unit.footprints_for(motion))
    rings = np.unique(np.concatenate([front, behind if back else behind[:1], extra_rad]))
    return np.broadcast_to(rings[:, None], (len(rings), azimuths.shape[1])).copy()


def _weakened_m(segments: Segments, reach: Floats, rays: RayScene, frequency_ghz: float, losses: Losses) -> Floats:
    """Where the margin reaches 0 behind what weakens it, (n,).

    Behind the k-th crossing at x_k, with the losses up to it, the reach is s_k = s0·10^(−ΣL/20). The first k
    with s_k before the next crossing ends it, at s_k or, if that lies in front, at x_k: the least of
    max(s_k, x_k) over all k, since s_k falls and x_k rises.
    """
    least = reach.copy()
    met = rays.lossy_met(segments, frequency_ghz, losses)
    starts, order = met.once()
    if not len(order):
        return least
    loss = np.maximum.reduceat(np.minimum(met.loss_db[order], _ENOUGH_DB), starts)
    ray, distance = met.ray[order][starts], met.distance[order][starts]
    begins = np.concatenate([[True], np.diff(ray) != 0])
    total = np.cumsum(loss)
    before = np.maximum.accumulate(np.where(begins, total - loss, -np.inf))
    behind = reach[ray] * reach_factor(total - before)
    np.minimum.at(least, ray, np.maximum(behind, distance + TOLERANCE))
    return least


def _surface(
    position: Floats, directions: Floats, distance: Floats, on_floor: Bools, *, from_apex: bool
) -> tuple[Floats, Ints]:
    """Triangles over the grid and, where it has an open rim, from the unit to the rim."""
    n_rings, n_azimuths = distance.shape
    drawn = np.where(on_floor, distance, np.maximum(distance - _OFF, 0.0))
    ends = (position + drawn[..., None] * directions).reshape(-1, 3)
    vertices = np.concatenate([ends, position[None]])
    ring, azimuth = np.meshgrid(np.arange(n_rings - 1), np.arange(n_azimuths - 1), indexing="ij")
    a = (ring * n_azimuths + azimuth).ravel()
    b, c, d = a + 1, a + n_azimuths + 1, a + n_azimuths
    # Facing out: towards rising azimuth first, then away from the axis.
    triangles = [np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)]
    floor = np.append(on_floor.ravel(), False)
    apex = len(vertices) - 1
    if from_apex:
        rim = (n_rings - 1) * n_azimuths + np.arange(n_azimuths - 1)
        triangles.append(np.stack([np.full_like(rim, apex), rim, rim + 1], axis=1))
    every = np.concatenate(triangles)
    corners = vertices[every]
    area = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1)
    # Nothing closes it at a height asked up to: a lid there would reach from beside the unit through every wall.
    lid = np.append(on_floor.ravel() & (directions[..., 2].ravel() > 0), False)
    kept = ~floor[every].all(axis=1) & ~lid[every].any(axis=1) & (area > 1e-8)
    return vertices, every[kept]


def _ribs(
    position: Floats, directions: Floats, distance: Floats, on_floor: Bools, at: Ints, *, from_apex: bool
) -> tuple[Floats, ...]:
    """Lines over the surface at some azimuths: from the unit to the rim and on, until the floor."""
    ends = position + np.maximum(distance - _OFF, 0)[..., None] * directions
    lines: list[Floats] = []
    for k in at:
        line, floor, near = ends[::-1, k], on_floor[::-1, k], distance[::-1, k] <= _OFF
        if from_apex:
            line = np.concatenate([position[None], line])
            floor, near = np.concatenate([[False], floor]), np.concatenate([[False], near])
        # The first point on the floor still ends a line; what follows lies on it.
        gone = (floor & np.concatenate([[False], floor[:-1]])) | near
        for piece in np.split(np.arange(len(line)), np.flatnonzero(np.diff(gone)) + 1):
            if not gone[piece[0]] and len(piece) > 1:
                lines.append(line[piece])
    return tuple(lines)
