"""Which points to test: those that tell most of the unknowns, greedily, beside those that must be there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from raycover.walktest.unknowns import information

Floats = NDArray[np.floating]
Bools = NDArray[np.bool_]
Index = NDArray[np.intp]
#: Nodes and weights of Gauss and Hermite, for a mean over what is not known yet.
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(7)
_WEIGHTS = _WEIGHTS / _WEIGHTS.sum()
#: What the reckoning gets wrong at a place it gets wrong beside it too: over so far (m). Our assumption.
_ALIKE_M = 2.0
#: What must be there may lie nearer to each other, by this share, than what is taken for what it tells: no nearer
#: than marks need so as not to lie on one another (4 mm of 7.5 mm; a plan's scale is up to a third smaller than asked).
_MUST_APART = 0.75
#: A point that is expected to tell less than this (nats: to narrow one spread by 2 %) is not worth the steps.
LEAST_NATS = 0.02


@dataclass(frozen=True)
class Known:
    """What is known of the unknowns so far: their covariance (k, k) in dB²."""

    covariance: Floats

    @classmethod
    def before(cls, prior_db: Floats) -> Known:
        return cls(np.diag(np.asarray(prior_db, float) ** 2))

    def gains(self, margin_db: Floats, slopes: Floats) -> Floats:
        """(n,) nats by which an answer at each point is expected to narrow the unknowns: ½·log(1 + I·gᵀCg).

        I is the mean information over where the margin may lie by what is known so far.
        """
        spread = np.sqrt(np.maximum(np.einsum("ij,jk,ik->i", slopes, self.covariance, slopes), 0.0))
        with np.errstate(invalid="ignore"):
            told = sum(w * information(margin_db + x * spread) for x, w in zip(_NODES, _WEIGHTS, strict=True))
        return np.asarray(0.5 * np.log1p(np.where(np.isfinite(margin_db), told, 0.0) * spread**2))

    def after(self, margin_db: float, slope: Floats) -> Known:
        """What is known once a point has been answered."""
        gain = self.gains(np.array([margin_db]), slope[None])[0]
        moved = self.covariance @ slope
        spread = float(slope @ moved)
        if spread <= 0:
            return self
        told = np.expm1(2 * gain) / spread
        return Known(self.covariance - told / (1 + told * spread) * np.outer(moved, moved))


def choose(
    places: Floats,
    margin_db: Floats,
    slopes: Floats,
    prior_db: Floats,
    must: Sequence[int],
    n: int,
    apart_m: float,
    *,
    allowed: Bools | None = None,
) -> list[int]:
    """Indices of up to n points: those of `must` first, then what tells most, no two nearer than `apart_m`.

    `places` (N, 3) m, `margin_db` (N,), `slopes` (N, k) as `Response.answers`. Points of `must` may lie
    `_MUST_APART` as far apart. `allowed` (N,) are those that may be taken for what they tell. A point tells less the
    nearer it lies to one taken already, since whatever else is wrong there is wrong at both.
    """
    known = Known.before(prior_db)
    chosen: list[int] = []
    for k in must:
        if len(chosen) < n and all(_distance(places[k], places[o]) >= _MUST_APART * apart_m for o in chosen):
            chosen.append(k)
            known = known.after(float(margin_db[k]), slopes[k])
    free = np.ones(len(places), bool) if allowed is None else allowed.copy()
    away = np.full(len(places), np.inf)
    for k in chosen:
        away = np.minimum(away, np.linalg.norm(places - places[k], axis=1))
    while len(chosen) < n and (free & (away >= apart_m)).any():
        fresh = -np.expm1(-((away / _ALIKE_M) ** 2))
        gains = np.where(free & (away >= apart_m), known.gains(margin_db, slopes) * fresh, -1.0)
        k = int(gains.argmax())
        if gains[k] <= LEAST_NATS:
            break
        chosen.append(k)
        known = known.after(float(margin_db[k]), slopes[k])
        away = np.minimum(away, np.linalg.norm(places - places[k], axis=1))
    return chosen


def _distance(one: Floats, other: Floats) -> float:
    return float(np.linalg.norm(one - other))


def spread_out(places: Floats, worth: Floats, n: int) -> list[int]:
    """Up to n indices, the worthiest first, each next one far from those taken and worthy (product of both)."""
    if not len(places) or n < 1:
        return []
    taken = [int(worth.argmax())]
    away = np.linalg.norm(places - places[taken[0]], axis=1)
    while len(taken) < min(n, len(places)):
        k = int((away * worth).argmax())
        if away[k] * worth[k] <= 0:
            break
        taken.append(k)
        away = np.minimum(away, np.linalg.norm(places - places[k], axis=1))
    return taken
