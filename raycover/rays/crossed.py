"""What rays cross, and which crossings count once: those within the tolerance of each other, the lossiest of them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from raycover.rays.segments import TOLERANCE
from raycover.rays.tracers import Ints

Floats = NDArray[np.floating]
#: Crossings of a ray that there is room for, and those that most rays have at most.
_SLOTS, _FEW = 8, 4
#: Distance, cosine of incidence, part, loss in dB, flat face.
Row = tuple[float, float, int, float, int]


@dataclass(frozen=True)
class Crossing:
    """One thing a ray meets on its way: `loss_db` one way, infinite where nothing passes."""

    object: str
    owner: str
    construction: str
    distance_m: float
    incidence_deg: float
    loss_db: float


@dataclass(frozen=True)
class Met:
    """Crossings, arrays (k,): which ray, distance (m) along it, cosine of incidence, chord (m, 0 for sheets), one-way
    loss (dB), part and flat face."""

    ray: Ints
    distance: Floats
    cosine: Floats
    chord_m: Floats
    loss_db: Floats
    part: Ints
    face: Ints

    @classmethod
    def join(cls, many: Sequence[Met]) -> Met:
        if not many:
            none, nothing = np.zeros(0, np.int32), np.zeros(0)
            return cls(none, nothing, nothing, nothing, nothing, none, none)
        return cls(*(np.concatenate([getattr(one, name) for one in many]) for name in cls.__dataclass_fields__))

    def take(self, index: NDArray[np.integer]) -> Met:
        return Met(*(getattr(self, name)[index] for name in self.__dataclass_fields__))

    def once(self) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """`counted_once` of all of them."""
        return counted_once(self.ray, self.distance, self.face)


class Tally:
    """What crossings cost each of n rays, added up as they are found.

    A sum needs no order. Only rays that cross two things within the tolerance of each other, or one face twice, are in
    doubt, and the few that cross very many: `doubtful` tells which, for `counted_once` to settle.
    """

    def __init__(self, n: int, reach_m: float) -> None:
        """For n rays none of which is longer than `reach_m`."""
        self.loss_db = np.zeros(n)
        self._n, self._reach = n, reach_m
        self._count = np.zeros(n, np.intp)
        self._doubt = np.zeros(n, bool)
        self._distance = np.full((_SLOTS, n), np.nan, np.float32)

    def add(self, ray: NDArray[np.intp], distance: NDArray[np.floating], loss_db: Floats) -> None:
        """Crossings (k,) of rays, each ray at most once."""
        self.loss_db[ray] = self.loss_db.take(ray) + loss_db
        count = self._count.take(ray)
        place = count * self._n
        place += ray
        count += 1
        self._count[ray] = count
        if count.max(initial=0) > _SLOTS:
            kept = np.flatnonzero(count <= _SLOTS)
            self.doubt(ray[count > _SLOTS])
            place, distance = place.take(kept), distance.take(kept)
        self._distance.reshape(-1)[place] = distance

    def doubt(self, ray: NDArray[np.intp]) -> None:
        self._doubt[ray] = True

    @property
    def doubtful(self) -> NDArray[np.intp]:
        """Rays in doubt."""
        # A little wide, since distances are rounded to single precision here.
        near = np.float32(TOLERANCE * 1.01) + np.float32(4e-7 * self._reach)
        doubt = self._doubt
        _near_each_other(self._distance[:_FEW], near, doubt)
        if int(self._count.max(initial=0)) > _FEW:
            many = np.flatnonzero(self._count > _FEW)
            some = np.zeros(len(many), bool)
            _near_each_other(self._distance.take(many, axis=1), near, some)
            doubt[many] |= some
        return np.flatnonzero(doubt)


def by_rank(ray: Ints) -> Iterator[NDArray[np.intp]]:
    """Crossings (k,) by index: one of each ray, then another of each ray that has two, and so on."""
    order = np.argsort(ray, kind="stable")
    first = np.flatnonzero(np.diff(ray[order], prepend=-1))
    n = np.diff(first, append=len(ray))
    while len(first):
        yield order[first]
        further = n > 1
        first, n = first[further] + 1, n[further] - 1


def _near_each_other(distance: NDArray[np.float32], near: np.float32, found: NDArray[np.bool_]) -> None:
    """Mark (n,) rays any two of whose distances (k, n), NaN where there is none, are near."""
    for i in range(1, len(distance)):
        for j in range(i):
            found |= np.abs(distance[i] - distance[j]) <= near


def counted_once(ray: Ints, distance: Floats, face: Ints) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """(starts, order): crossings sorted by `order`, along each ray; those from each start on count as one.

    Crossings within the tolerance of the one before form a cluster, of which the lossiest counts. A flat face
    met again after the step is the same crossing, at grazing incidence and single precision.
    """
    order = _in_order(ray, distance)
    if not len(order):
        return order, order
    ray, distance, face = ray[order], distance[order], face[order]
    apart = (np.diff(distance) > TOLERANCE) & (np.diff(face) != 0)
    new = np.concatenate([[True], (np.diff(ray) != 0) | apart])
    return np.flatnonzero(new), order


def _in_order(ray: Ints, distance: Floats) -> NDArray[np.intp]:
    """As `np.lexsort((distance, ray))`, which sorts twice and takes longer.

    The bits of positive numbers in single precision are in the order of the numbers, so that one number holds ray and
    distance. Where distances in double precision are nearer to each other than that tells, they are sorted twice.
    """
    single = distance.astype(np.float32)
    if np.any(np.signbit(single)):
        return np.lexsort((distance, ray))
    order = np.argsort((ray.astype(np.int64) << 32) | single.view(np.int32), kind="stable")
    along, farther = np.diff(ray[order]) == 0, np.diff(distance[order])
    return np.lexsort((distance, ray)) if np.any(along & (farther < 0)) else order


def lossiest_of(loss: Floats, starts: NDArray[np.intp], order: NDArray[np.intp]) -> NDArray[np.intp]:
    """Of each cluster of sorted losses (k,), the index of its lossiest, by `order`."""
    cluster = np.cumsum(np.isin(np.arange(len(loss)), starts)) - 1
    by_loss = np.lexsort((loss, cluster))
    return order[by_loss[np.append(np.flatnonzero(np.diff(cluster[by_loss])), len(loss) - 1)]]


def once(ordered: Sequence[Row]) -> list[Row]:
    """Of crossings within the tolerance of each other, the lossiest; of one flat face's, the first."""
    kept: list[Row] = []
    last, face = -np.inf, None
    for entry in ordered:
        if kept and (entry[0] - last <= TOLERANCE or entry[4] == face):
            if entry[3] > kept[-1][3]:
                kept[-1] = (kept[-1][0], *entry[1:])
        else:
            kept.append(entry)
        last, face = entry[0], entry[4]
    return kept
