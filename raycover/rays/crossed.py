"""What rays cross, and which crossings count once: those within the tolerance of each other, the lossiest of them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from raycover.rays.segments import TOLERANCE
from raycover.rays.tracers import Index, Ints
from raycover.rays.vectors import Single

Floats = NDArray[np.floating]
#: Crossings that most rays have at most with one set, and sets that are compared with each other.
_FEW, _SETS = 4, 8
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

    def added_db(self, n: int) -> Floats:
        """What they cost each of n rays altogether, (n,) dB, each crossing once."""
        total = np.zeros(n)
        single = (np.bincount(self.ray, minlength=n) == 1)[self.ray]
        total[self.ray[single]] = self.loss_db[single]
        several = self.take(np.flatnonzero(~single))  # only these need putting in order
        if len(several.ray):
            starts, order = several.once()
            loss = np.maximum.reduceat(several.loss_db[order], starts)
            total += np.bincount(several.ray[order][starts], loss, minlength=n)
        return total

    def once(self) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """`counted_once` of all of them."""
        return counted_once(self.ray, self.distance, self.face)


#: Rays (k,), each once, and the distance (m) at which each crosses something.
_Met = tuple[Index, Single]


class Tally:
    """What crossings cost each of n rays, added up as they are found, set after set.

    A sum needs no order. Only rays that cross two things within the tolerance of each other, or one face twice, are in
    doubt, and the few that cross very many: `doubtful` tells which, for `Met.added_db` to settle. Crossings of one set
    are no nearer to each other than the tolerance, or whoever adds them says so (`doubt`).
    """

    def __init__(self, n: int, reach_m: float) -> None:
        """For n rays none of which is longer than `reach_m`."""
        # A little wide, since distances are rounded to single precision here.
        self.near_m = float(np.float32(TOLERANCE * 1.01) + np.float32(4e-7 * reach_m))
        self._n = n
        self.loss_db = np.zeros(n)
        self._doubt = np.zeros(n, bool)
        self._own: list[_Met] = []  # of the set that is being added
        self._sets: list[list[Single]] = []  # of each set before, distances (n,) of the first few crossings
        self._deep: list[tuple[int, _Met]] = []  # further ones, each with the number of its set

    def next_set(self) -> None:
        """What is added from here on may lie near what was added before."""
        if self._own and len(self._sets) < _SETS:
            self._deep += [(len(self._sets), some) for some in self._own[_FEW:]]
            self._sets.append([self._by_ray(some) for some in self._own[:_FEW]])
        self._own = []

    def add(self, ray: Index, distance: NDArray[np.floating], loss_db: Floats) -> None:
        """Crossings (k,) of rays, each ray at most once: distance in m, loss in dB."""
        np.add.at(self.loss_db, ray, loss_db)
        some = ray, distance.astype(np.float32, copy=False)
        if len(self._sets) == _SETS:
            self.doubt(ray)
        elif len(self._own) < _FEW:
            self._compare(some, self._sets)
        self._own.append(some)

    def doubt(self, ray: Index) -> None:
        self._doubt[ray] = True

    @property
    def doubtful(self) -> Index:
        """Rays in doubt."""
        self.next_set()
        for which, some in self._deep:
            self._compare(some, [one for k, one in enumerate(self._sets) if k != which])
        self._doubt_if_deep_twice()
        return np.flatnonzero(self._doubt)

    def _compare(self, some: _Met, sets: Sequence[Sequence[Single]]) -> None:
        """Doubt rays that cross anything of these sets near what they cross here."""
        ray, distance = some
        for one in sets:
            for other in one:
                apart = other.take(ray)
                apart -= distance
                np.abs(apart, out=apart)
                if apart.min(initial=np.inf) <= np.float32(self.near_m):
                    self.doubt(ray[apart <= np.float32(self.near_m)])

    def _doubt_if_deep_twice(self) -> None:
        """Doubt rays that cross more than a few of two sets: those were not compared with each other."""
        seen = np.full(self._n, -1, np.int8)
        for which, (ray, _) in self._deep:
            before = seen.take(ray)
            self.doubt(ray[(before >= 0) & (before != which)])
            seen[ray] = which

    def _by_ray(self, some: _Met) -> Single:
        """Distances (n,) of rays, infinite for the others."""
        found = np.full(self._n, np.inf, np.float32)
        found[some[0]] = some[1]
        return found


def by_rank(ray: Ints) -> Iterator[NDArray[np.intp]]:
    """Crossings (k,) by index: one of each ray, then another of each ray that has two, and so on."""
    order = np.argsort(ray, kind="stable") if np.any(ray[1:] < ray[:-1]) else np.arange(len(ray))
    first = np.flatnonzero(np.diff(ray[order], prepend=-1))
    n = np.diff(first, append=len(ray))
    while len(first):
        yield order[first]
        further = n > 1
        first, n = first[further] + 1, n[further] - 1


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
