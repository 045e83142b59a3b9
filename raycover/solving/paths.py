"""The ways microwave takes from a unit to points: straight, and by one mirror each.

A way by a mirror is the straight way to the point's image behind it: as long as the unfolded way, leaving the unit
in the direction of that image. With s_u and s_p the distances of unit and point from the mirror's plane,

    length² = |p − u|² + 4·s_u·s_p,   cosine of incidence = (s_u + s_p) / length,

and the mirror is met at the share s_u / (s_u + s_p) of the way. The two legs are cast one by one; neither crosses
the mirror. Margins m_i of several ways add as one-way powers, squared for the round trip: 20·log10 Σ 10^(m_i/20).

Ways are left out, before any ray, by the most they could carry: the margin in the open over the unfolded way at the
strongest reflection of the mirror's plane at that angle. What was left out is summed up and reported.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from raycover.detectors import Unit
from raycover.physics.margin import largest_reach_m, undominated
from raycover.physics.pattern import Footprint
from raycover.rays.mirrors import _N_BOUNDS, IN_PLANE, Images, Mirrors, images_of
from raycover.rays.ray_scene import RayScene, Segments
from raycover.rays.segments import off_floor
from raycover.solving.open_air import Weather, open_margin_db

Floats = NDArray[np.floating]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int32]
Index = NDArray[np.intp]

#: A way by a mirror that could carry less than this (dB) is left out: ten of them raise a margin of 0 dB by 0.8 dB
#: at the very most.
WAY_LOWEST_DB = -40.0
#: So is one that lies further than this (dB) below the straight way.
WAY_BELOW_DB = 40.0
#: Pairs of images and points looked at in one go.
_CHUNK = 1_000_000


def amplitude(margin_db: NDArray[Any]) -> Floats:
    """10^(m/20), the one-way power relative to that which is just noticed; 0 for −inf."""
    return np.asarray(10.0 ** (np.asarray(margin_db) / 20))


def margin_of(total: NDArray[Any]) -> Floats:
    """20·log10 of summed one-way powers; −inf for none."""
    with np.errstate(divide="ignore"):
        return np.asarray(20 * np.log10(total))


@dataclass(frozen=True)
class Ways:
    """Ways by a mirror, arrays (m,), and what was left out.

    `point` which point, `mirror`, `part` met; `open_db` the margin with nothing in the way; `offset` (m, 3) unit →
    image of the point; `cosine` of incidence; `reflect_db`, `loss_db` one way; `hit` (m, 3) where the mirror is
    met, a tolerance clear of it. `dropped` (n,) for each point the most that all ways left out could add, as
    one-way power. `images` (k,) planes by which any way was cast.
    """

    point: Index
    mirror: Ints
    part: Ints
    open_db: Floats
    offset: Floats
    cosine: Floats
    reflect_db: Floats
    loss_db: Floats
    hit: Floats
    dropped: Floats
    planes: Ints

    @property
    def margin_db(self) -> Floats:
        return np.asarray(self.open_db - 2 * (self.reflect_db + self.loss_db))

    def total(self, n_points: int) -> Floats:
        """Summed one-way powers (n_points,)."""
        return np.bincount(self.point, amplitude(self.margin_db), minlength=n_points).astype(float)

    def added_to(self, straight_db: Floats) -> tuple[Floats, Mirrored]:
        """Margins (n,) of all ways together, from those of the straight ones; and what to report."""
        total = amplitude(straight_db) + self.total(len(straight_db))
        missing = 20 * np.log10(1 + (self.dropped / np.maximum(total, 1.0)).max(initial=0.0))
        return margin_of(total), Mirrored(frozenset(self.planes.tolist()), len(self.point), float(missing))


@dataclass(frozen=True)
class Mirrored:
    """What ways by mirrors took: the planes in which a unit has images that were cast, how many ways carried
    something, and how much (dB) all ways left out could at the very most add to a margin of 0 dB or more."""

    planes: frozenset[int] = frozenset()
    n_ways: int = 0
    dropped_db: float = 0.0

    def __add__(self, other: Mirrored) -> Mirrored:
        return Mirrored(self.planes | other.planes, self.n_ways + other.n_ways, max(self.dropped_db, other.dropped_db))


@dataclass(frozen=True)
class Pairs:
    """Images and points for which a mirror may lie in the way: arrays (m,), with the most each could carry."""

    image: Index
    point: Index
    distance: Floats
    length: Floats
    bound: Floats
    n_points: int

    @property
    def total(self) -> Floats:
        """(n_points,) the most all ways of a point could carry, as one-way power."""
        return np.bincount(self.point, self.bound, minlength=self.n_points).astype(float)

    def of(self, points: Index) -> Pairs:
        """Those of some points, given in rising order and numbered anew."""
        number = np.full(self.n_points, -1, np.intp)
        number[points] = np.arange(len(points))
        kept = number[self.point] >= 0
        point = number[self.point[kept]]
        return Pairs(self.image[kept], point, self.distance[kept], self.length[kept], self.bound[kept], len(points))


@dataclass(frozen=True)
class Imaging:
    """A unit with its images, ready to be asked about points."""

    unit: Unit
    footprints: tuple[Footprint, ...]
    rays: RayScene
    weather: Weather
    images: Images
    reach_m: float

    @property
    def mirrors(self) -> Mirrors:
        return self.rays.mirrors

    def by_mirrors(self, offset: Floats, straight_db: Floats) -> Ways:
        """Ways by mirrors to points at offsets (n, 3) whose straight ways have margins (n,), maybe −inf."""
        return self.ways(offset, straight_db, self.pairs(offset))

    def legs(self, ways: Ways, offset: Floats) -> tuple[Segments, Segments]:
        """Both legs of ways to points at offsets (n, 3): from the unit to the mirror, and on to the point."""
        return self._first_legs(ways.hit, offset[ways.point]), self._last_legs(ways.hit, offset[ways.point])

    def pairs(self, offset: Floats) -> Pairs:
        """Which images could serve points at offsets (n, 3), from plane geometry alone."""
        images, mirrors = self.images, self.mirrors
        normal, u, v = (axis[images.plane] for axis in (mirrors.normal, mirrors.u, mirrors.v))
        square = np.einsum("ij,ij->i", offset, offset)
        found = [
            self._pairs_of(images, slice(k, k + step), (normal, u, v), offset, square)
            for step in [max(_CHUNK // max(len(offset), 1), 1)]
            for k in range(0, len(images), step)
        ]
        image, point, *others = (np.concatenate(column) for column in zip(*found, strict=True))
        distance, length, bound = others
        return Pairs(image.astype(np.intp), point.astype(np.intp), distance, length, bound, len(offset))

    def _pairs_of(
        self, images: Images, some: slice, axes: tuple[Floats, Floats, Floats], offset: Floats, square: Floats
    ) -> tuple[Index, Index, Floats, Floats, Floats]:
        normal, u, v = (axis[some] for axis in axes)
        own = images.distance[some, None]
        theirs = normal @ offset.T + own
        there = theirs * np.sign(own) > IN_PLANE
        share = np.divide(own, own + theirs, where=there, out=np.zeros_like(theirs))
        rect, along = images.rect[some], images.along[some]
        for axis, vector in enumerate((u, v)):
            place = along[:, axis, None] + share * (vector @ offset.T)
            there &= (place >= rect[:, axis, None]) & (place <= rect[:, axis + 2, None])
        image, point = np.nonzero(there)
        distance = theirs[image, point]
        unit_distance = own[image, 0]
        length = np.sqrt(square[point] + 4 * unit_distance * distance)
        step = np.minimum((np.abs(unit_distance + distance) / length * _N_BOUNDS).astype(np.intp), _N_BOUNDS - 1)
        bound = (self.reach_m / length) ** 2 * images.bound[image + (some.start or 0), step]
        return image + (some.start or 0), point, distance, length, bound

    def ways(self, offset: Floats, straight_db: Floats, pairs: Pairs) -> Ways:
        """Ways by mirrors to points at offsets (n, 3) whose straight ways have margins (n,), maybe −inf."""
        images, mirrors, unit = self.images, self.mirrors, self.unit
        assert unit.frequency_ghz is not None
        least_db = np.maximum(WAY_LOWEST_DB, straight_db - WAY_BELOW_DB)
        dropped = np.zeros(len(offset))

        def leave_out(kept: Bools, point: Index, power: Floats) -> None:
            nonlocal dropped
            dropped = dropped + np.bincount(point[~kept], power[~kept], minlength=len(offset))

        kept = pairs.bound >= amplitude(least_db)[pairs.point]
        leave_out(kept, pairs.point, pairs.bound)
        image, point = pairs.image[kept], pairs.point[kept]
        distance, length = pairs.distance[kept], pairs.length[kept]
        plane = images.plane[image]
        normal = mirrors.normal[plane]
        unfolded: Floats = offset[point] - 2 * distance[:, None] * normal
        cosine: Floats = np.abs(images.distance[image] + distance) / length
        open_db = open_margin_db(unit, tuple(unfolded.T), self.footprints, self.weather)
        step = np.minimum((cosine * _N_BOUNDS).astype(np.intp), _N_BOUNDS - 1)
        bound = amplitude(open_db) * images.bound[image, step]
        kept = bound >= amplitude(least_db)[point]
        leave_out(kept, point, bound)
        image, point, plane = image[kept], point[kept], plane[kept]
        distance, normal, unfolded, cosine, open_db = (a[kept] for a in (distance, normal, unfolded, cosine, open_db))
        share = images.distance[image] / (images.distance[image] + distance)
        hit = unit.position + share[:, None] * unfolded
        side = np.sign(images.distance[image])
        mirror, part = mirrors.hit(plane, hit, side)
        there = (mirror >= 0) & images.allowed[mirror]
        reflect_db = np.full(len(mirror), np.inf)
        reflect_db[there] = mirrors.reflect_db(mirror[there], cosine[there], unit.frequency_ghz, self.weather.losses)
        margin = open_db - 2 * reflect_db
        kept = there & (margin >= least_db[point])
        leave_out(kept | ~there, point, amplitude(margin))
        hit += (IN_PLANE * side)[:, None] * normal
        loss = np.zeros(len(mirror))
        # From the unit first, from the mirror on only where that leaves something.
        for legs in (self._first_legs, self._last_legs):
            asked = np.flatnonzero(kept)
            loss[asked] += self.rays.leg_loss_db(
                legs(hit[asked], offset[point[asked]]), unit.frequency_ghz, self.weather.losses
            )
            margin[asked] = open_db[asked] - 2 * (reflect_db[asked] + loss[asked])
            enough = kept & (margin >= least_db[point])
            leave_out(enough | ~kept, point, amplitude(margin))
            kept = enough
        open_db, unfolded, cosine, reflect_db, loss, hit = (
            a[kept] for a in (open_db, unfolded, cosine, reflect_db, loss, hit)
        )
        return Ways(
            point[kept], mirror[kept], part[kept], open_db, unfolded, cosine, reflect_db, loss, hit, dropped,
            np.unique(plane),
        )  # fmt: skip

    def _first_legs(self, hit: Floats, offset: Floats) -> Segments:
        return self.rays.segments(self.unit.position, hit, self.unit.ahead)

    def _last_legs(self, hit: Floats, offset: Floats) -> Segments:
        return self.rays.segments_between(hit, self.unit.position + offset)


def imaging(
    unit: Unit, footprints: tuple[Footprint, ...], rays: RayScene, weather: Weather, *, every_slab: bool = False
) -> Imaging | None:
    """A unit with its images, or None where there is nothing to mirror: infrared, `reflections: 0`, no mirror.

    `footprints` are those that count, `unit.footprints_for(motion)`. `every_slab` keeps the floor and ceiling of the
    unit's own room, for comparisons with other engines.
    """
    if not weather.reflections or unit.frequency_ghz is None or not footprints:
        return None
    counted = undominated(footprints)
    images = images_of(rays.mirrors, unit.position, unit.mounting, unit.frequency_ghz, weather.losses, every=every_slab)
    reach = max(largest_reach_m(f, unit.reach_behind) for f in counted)
    # The nearest point of a mirror is as near as a way by it can get.
    across = np.maximum(np.maximum(images.rect[:, :2] - images.along, images.along - images.rect[:, 2:]), 0)
    nearest = np.sqrt(images.distance**2 + (across**2).sum(axis=1))
    near = nearest <= reach * 10 ** (-WAY_LOWEST_DB / 40)
    return Imaging(unit, counted, rays, weather, images.chosen(near), reach) if near.any() else None


@dataclass(frozen=True)
class Traced:
    """All ways from one microwave unit to points (n, 3), before they are added up. Straight ones come first.

    Ways (m,): `point` where each ends, `mirror` index into `RayScene.mirrors`, −1 straight, `mirror_part` the part
    that mirrors; `open_db` margin with nothing in the way; `offset` (m, 3) unit → point or its image;
    `reflect_cosine` of incidence at the mirror, 1 where straight; `reflect_db` one-way reflection loss.
    Crossings (k,): `way`, `part`, `cosine` of incidence, `chord_m` (0 for sheets), `loss_db` one way, infinite where
    nothing passes; each counted once.
    """

    n_points: int
    point: Index
    mirror: Ints
    mirror_part: Ints
    open_db: Floats
    offset: Floats
    reflect_cosine: Floats
    reflect_db: Floats
    way: Index
    part: Ints
    cosine: Floats
    chord_m: Floats
    loss_db: Floats
    dropped: Floats = field(repr=False)

    def way_margin_db(self) -> Floats:
        """(m,) margin of each way by itself, may be −inf."""
        loss = np.bincount(self.way, self.loss_db, minlength=len(self.point))
        return np.asarray(self.open_db - 2 * (self.reflect_db + loss))

    def margin_db(self) -> Floats:
        """(n,) margin of all ways together."""
        return margin_of(np.bincount(self.point, amplitude(self.way_margin_db()), minlength=self.n_points))


def trace(
    unit: Unit,
    points: Floats,
    motion: str,
    rays: RayScene,
    weather: Weather,
    *,
    lifted: Bools | None = None,
    target_m2: float | None = None,
    every_slab: bool = False,
) -> Traced:
    """All ways from a microwave unit to points (n, 3); by mirrors where `weather.reflections` is 1.

    The straight way of each point stands at its own index, blocked or not; ways by mirrors that carry nothing are
    left out. `lifted` (n,) marks points on a floor; `target_m2` is the radar cross section (m²) of what moves there,
    None what each declaration assumes; `every_slab` keeps the unit's own floor and ceiling. Raises ValueError for an
    infrared unit.
    """
    if unit.frequency_ghz is None:
        raise ValueError(f"{unit.name} is an infrared unit: only microwave is traced")
    n = len(points)
    footprints = undominated(unit.footprints_for(motion, target_m2))
    plain = np.asarray(points - unit.position, float)
    offset = off_floor(plain, lifted)
    open_db = np.asarray(open_margin_db(unit, tuple(plain.T), footprints, weather), float)
    straight = rays.segments(unit.position, off_floor(points, lifted), unit.ahead)
    met = [rays.met(straight, unit.frequency_ghz, weather.losses)]
    ways = [np.arange(n)[met[0].ray]]
    loss = np.bincount(ways[0], met[0].loss_db, minlength=n)
    seen = imaging(unit, footprints, rays, weather, every_slab=every_slab)
    none = np.zeros(0)
    found = Ways(none.astype(np.intp), *(none.astype(np.int32),) * 2, none, np.zeros((0, 3)), *(none,) * 3,
                 np.zeros((0, 3)), np.zeros(n), none.astype(np.int32))  # fmt: skip
    if seen is not None and n:
        found = seen.by_mirrors(offset, open_db - 2 * loss)
        for legs in seen.legs(found, offset):
            met.append(rays.met(legs, unit.frequency_ghz, weather.losses))
            ways.append(n + met[-1].ray.astype(np.intp))
    return Traced(
        n,
        np.concatenate([np.arange(n), found.point]),
        np.concatenate([np.full(n, -1, np.int32), found.mirror]),
        np.concatenate([np.full(n, -1, np.int32), found.part]).astype(np.int32),
        np.concatenate([open_db, found.open_db]),
        np.concatenate([offset, found.offset]),
        np.concatenate([np.ones(n), found.cosine]),
        np.concatenate([np.zeros(n), found.reflect_db]),
        np.concatenate(ways),
        np.concatenate([one.part for one in met]),
        np.concatenate([one.cosine for one in met]),
        np.concatenate([one.chord_m for one in met]),
        np.concatenate([one.loss_db for one in met]),
        found.dropped,
    )
