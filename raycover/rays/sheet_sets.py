"""Sheets that weaken microwave, in sets that are traced each by itself.

A ray tracer passes over what lies within a tolerance of the crossing before. Sheets that touch, of different
constructions, therefore stand in different sets: neither can hide the other at their joint.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from raycover.catalogue import Construction, Losses
from raycover.physics.slab import LossTables
from raycover.rays.segments import TOLERANCE
from raycover.rays.tracers import Bools, Ints, Round, Tracer, make_tracer
from raycover.rays.vectors import Single

Floats = NDArray[np.floating]
Index = NDArray[np.intp]
#: So many pairs of sheets are compared; where there are more, constructions are taken to touch.
_MOST_PAIRS = 4_000_000
_AT_ONCE = 32


@dataclass(frozen=True)
class Sheets:
    """Triangles of sheets (n, 3, 3), ordered by part, with part, flat face and unit normal (n, 3) of each."""

    triangles: Single
    part: Ints
    face: Ints
    normals: Floats

    @cached_property
    def corners(self) -> tuple[Single, Single]:
        """Lowest and highest coordinates (m, 3) of each part, a tolerance wide of it."""
        starts = np.flatnonzero(np.diff(self.part, prepend=-1))
        if not len(starts):
            return np.zeros((0, 3), np.float32), np.zeros((0, 3), np.float32)
        low = np.minimum.reduceat(self.triangles.min(axis=1), starts) - np.float32(TOLERANCE)
        return low, np.maximum.reduceat(self.triangles.max(axis=1), starts) + np.float32(TOLERANCE)

    def may_touch(self, other: Sheets) -> bool:
        """Whether any two of their parts, as upright boxes a tolerance wide of them, meet."""
        (low, high), (low_other, high_other) = self.corners, other.corners
        if len(low) * len(low_other) > _MOST_PAIRS:
            return True
        # Some at a time: most that touch at all do so soon.
        return any(
            _boxes_meet(low[k : k + _AT_ONCE], high[k : k + _AT_ONCE], low_other, high_other).any()
            for k in range(0, len(low), _AT_ONCE)
        )


def _boxes_meet(low: Single, high: Single, low_other: Single, high_other: Single) -> Bools:
    """Which upright boxes (k,) meet which others (m,), faces included, as (k, m), by their corners (.., 3)."""
    meet = np.ones((len(low), len(low_other)), bool)
    for axis in (2, 0, 1):
        meet &= low[:, None, axis] <= high_other[None, :, axis]
        meet &= low_other[None, :, axis] <= high[:, None, axis]
    return meet


class SheetSet:
    """Sheets of one construction, or of several none of which touch another's, with their tracer."""

    def __init__(self, members: Sequence[tuple[Construction, Sheets]], backend: str) -> None:
        self.constructions = tuple(construction for construction, _ in members)
        sheets = [some for _, some in members]
        self.tracer: Tracer = make_tracer(np.concatenate([s.triangles for s in sheets]), backend)
        self.part = np.concatenate([s.part for s in sheets])
        self.face = np.concatenate([s.face for s in sheets])
        # Single precision, as the directions are: numpy takes twice as long where the two differ.
        self._normals = np.concatenate([s.normals for s in sheets]).T.astype(np.float32, order="C")
        self._which = np.repeat(np.arange(len(sheets)), [len(s.part) for s in sheets])
        self._start = LossTables.starts(self._which)
        # A step of the tolerance leaves a face wherever the last bits of a place do not reach as far.
        farthest = max((float(np.abs(s.triangles).max()) for s in sheets if len(s.triangles)), default=0.0)
        self._grazing = 16 * float(np.finfo(np.float32).eps) * farthest / TOLERANCE
        self._tables: dict[tuple[float, Losses], LossTables] = {}
        self._low, self._high = (np.concatenate([s.corners[k] for s in sheets]) for k in (0, 1))

    @property
    def weakens(self) -> bool:
        """Whether what crosses these sheets loses something, but not everything."""
        return self.constructions[0].kind not in ("opaque", "open")

    def met_by(self, low: Single, high: Single) -> Bools:
        """Which bundles (k,) of rays, of corners (k, 3) each, any of these sheets reaches into."""
        return np.asarray(_boxes_meet(low, high, self._low, self._high).any(axis=1))

    def cosine(self, triangle: NDArray[np.integer], along: Single) -> Single:
        """Cosine of incidence (n,) of unit vectors (n, 3) on triangles (n,)."""
        terms = self._normals.take(triangle, axis=1)
        terms *= along.T
        total: Single = terms[0]
        total += terms[1]
        total += terms[2]
        return np.abs(total, out=total)

    def met_again(self, met: Round, cosine: Floats, near_m: float) -> Index:
        """Rays (k,) that meet the flat face they met just before: at grazing incidence, in single precision; and those
        that meet anything within `near_m` of the step after what they met before."""
        assert met.before is not None
        before, farther = met.before
        some = (cosine < self._grazing).nonzero()[0]
        if len(some):
            some = some[self.face.take(met.triangle.take(some)) == self.face.take(before.take(some))]
        if float(farther.min(initial=np.inf)) <= near_m:
            some = np.concatenate([some, np.flatnonzero(farther <= near_m)])
        return met.ray.take(some)

    def loss_db(
        self, triangle: NDArray[np.integer], cosine: Floats, frequency_ghz: float | None, losses: Losses
    ) -> Floats:
        """One-way loss (n,) of crossing triangles (n,); infrared (no frequency): none or all."""
        if frequency_ghz is None:
            stops = np.array([np.inf if c.stops_infrared else 0.0 for c in self.constructions])
            return stops[self._which[triangle]]
        key = frequency_ghz, losses
        if (tables := self._tables.get(key)) is None:
            tables = self._tables[key] = LossTables([c.loss_table(frequency_ghz, losses) for c in self.constructions])
        return tables.loss_db(self._start.take(triangle), cosine)


def sheet_sets(by_construction: Sequence[tuple[Construction, Sheets]], backend: str) -> list[SheetSet]:
    """As few sets as a first fit finds, the largest first; what stops everything, or nothing, stands by itself."""
    groups: list[list[tuple[Construction, Sheets]]] = []
    alone: list[list[tuple[Construction, Sheets]]] = []
    for construction, sheets in sorted(by_construction, key=lambda one: -len(one[1].part)):
        if construction.kind in ("opaque", "open"):
            alone.append([(construction, sheets)])
            continue
        for group in groups:
            if not any(sheets.may_touch(other) for _, other in group):
                group.append((construction, sheets))
                break
        else:
            groups.append([(construction, sheets)])
    return [SheetSet(group, backend) for group in groups + alone]
