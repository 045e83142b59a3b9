"""Quieter ones of candidates that trip from a never-area: set lower, masked, or masked over the worst and set lower."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from raycover.detectors import Unit
from raycover.physics.pattern import Mask
from raycover.placing.offers import Candidates, Offer, joined, unit_of
from raycover.placing.pool import Pool
from raycover.placing.visibility import Asked, margins_by
from raycover.proving.sensitivity import pct_for, shift_db
from raycover.proving.trials import Hot, largest_share
from raycover.scene.placing import PlacingSpec
from raycover.scene.schema import Scene
from raycover.trips.remedies import share_of

Floats = NDArray[np.floating]
Ints = NDArray[np.integer]
#: What stays below the limit by less than this (dB) trips, whatever the rounding.
_ROUNDING = 1e-9


@dataclass
class Quiet:
    """A place from which nobody may trip, looked at in some cells; `roots` are the candidates that it is asked of.

    `excess` (k cells, roots' m) CSC: by how much (dB) each plain candidate trips from each cell.
    """

    number: int  # among all places of the proof
    asked: Asked
    roots: Ints
    excess: Any = None

    def look(self, units: Sequence[Unit], only: Ints, asked: Asked | None = None) -> Any:
        """(k, m) CSC, by how much (dB) units trip from the cells."""
        asked = self.asked if asked is None else asked
        reserve = asked.need.reserve_db
        found = margins_by(units, asked, -reserve + _ROUNDING, only=only)
        found.data = found.data + reserve
        return found

    def add(self, cells: Ints, units: Sequence[Unit]) -> None:
        """Look at more cells too."""
        fresh = np.setdiff1d(cells, self.asked.cells)
        if not len(fresh):
            return
        area = self.asked.site.area
        more = replace(self.asked, cells=fresh, weight=area[fresh])
        plain = units[: self.excess.shape[1]]
        self.excess = sp.vstack([self.excess, self.look(plain, self.roots, more)], format="csc")
        both = np.concatenate([self.asked.cells, fresh])
        self.asked = replace(self.asked, cells=both, weight=area[both])


class Quieter:
    """Makes quieter candidates, as entries permit and the scene's `placing` lets them."""

    def __init__(self, scene: Scene, spec: PlacingSpec, quiets: Sequence[Quiet]) -> None:
        self._scene, self._spec, self._quiets = scene, spec, quiets
        self._shares: dict[object, float] = {}
        self._made: dict[object, Unit] = {}

    def worst_db(self, n_plain: int) -> Floats:
        """(n_plain,) by how much each plain candidate trips at most where looked at, 0 where it does not."""
        return np.max([_highest(quiet.excess) for quiet in self._quiets] + [np.zeros(n_plain)], axis=0)

    def extend(self, pool: Pool, plain: Ints) -> None:
        """Add quieter ones of plain candidates that trip, as far as they can be made."""
        worst = self.worst_db(int(pool.root.max(initial=-1)) + 1)
        lots = [*(self._lowered(pool, plain, worst) if self._spec.settings else ()), *self._masked(pool, plain)]
        pool.add(
            joined([one for one, _, _ in lots]), np.array([k for _, k, _ in lots], int),
            np.array([shift for _, _, shift in lots], float),
        )  # fmt: skip

    def _lowered(self, pool: Pool, plain: Ints, worst_db: Floats) -> Iterator[tuple[Candidates, int, float]]:
        """(candidate, its root, what is taken from every margin): set to what trips no more."""
        for k in plain.tolist():
            one = pool.candidates.some(np.array([k]))
            offer = one.offers[one.offer[0]]
            pct = pct_for(float(worst_db[k]), offer.pct, offer.model.settings_pct[0])
            if pct is not None:
                yield self._changed(one, offer, float(pct), ()), k, shift_db(pct, offer.pct)

    def _masked(self, pool: Pool, plain: Ints) -> Iterator[tuple[Candidates, int, float]]:
        """The same with a mask over everywhere that it trips from, or over the worst, then set lower for the rest."""
        if not self._spec.masks:
            return
        made, roots = [], []
        for k in plain.tolist():
            one = pool.candidates.some(np.array([k]))
            offer = one.offers[one.offer[0]]
            mask = self._mask(one.units[0], offer, k)
            if mask is not None:
                made.append(self._changed(one, offer, offer.pct, (mask,)))
                roots.append(k)
        if not made:
            return
        # By mirrors, and where a mask hides but the worst of it, it may still trip.
        units = [one.units[0] for one in made]
        left = np.zeros(len(made))
        for quiet in self._quiets:
            left = np.maximum(left, _highest(quiet.look(units, np.flatnonzero(np.isin(roots, quiet.roots)))))
        for one, k, lacks in zip(made, roots, left.tolist(), strict=True):
            offer = one.offers[one.offer[0]]
            if lacks <= 0:
                yield one, k, np.nan
            elif self._spec.settings and (pct := pct_for(lacks, offer.pct, offer.model.settings_pct[0])) is not None:
                yield self._changed(one, offer, float(pct), one.masks[0]), k, np.nan

    def _mask(self, unit: Unit, offer: Offer, k: int) -> Mask | None:
        """The mask over everywhere that a candidate trips from; where that is too large, over the worst of it."""
        points, excess = [np.zeros((0, 3))], [np.zeros(0)]
        for quiet in self._quiets:
            some = slice(*quiet.excess.indptr[k : k + 2].tolist())
            site = quiet.asked.thinned
            for height in range(len(site.heights)):
                points.append(site.points[height * len(site) + quiet.excess.indices[some]])
                excess.append(quiet.excess.data[some])
        hot = Hot.of(unit, np.concatenate(points), np.concatenate(excess))
        whole = hot.mask()
        fits = self._fits(unit, offer)
        if whole is not None and fits(whole):
            return whole
        return hot.part(fits) if self._spec.settings else None

    def _fits(self, unit: Unit, offer: Offer) -> Callable[[Mask], bool]:
        most = largest_share(offer.model)

        def fits(mask: Mask) -> bool:
            key = (offer.model.name, mask)  # shares go by what is declared, not by how it hangs
            if key not in self._shares:
                self._shares[key] = share_of(replace(unit, masks=(mask,)), offer.model)
            return self._shares[key] <= most + 1e-9

        return fits

    def _changed(self, one: Candidates, offer: Offer, pct: float, masks: tuple[Mask, ...]) -> Candidates:
        """A single candidate at another setting, with masks."""
        unit = one.units[0]
        floor = float(unit.position[2] - unit.mounting)
        key = offer.model.name, offer.mounting, offer.turn_deg, offer.tilt_deg, floor, pct
        if key not in self._made:
            self._made[key] = unit_of(self._scene, floor, offer, pct, ())
        made = replace(self._made[key], position=unit.position, masks=masks)
        return replace(one, pct=np.array([pct]), masks=(masks,), units=(made,))


def _highest(table: Any) -> Floats:
    """(m,) the highest stored value of each column of a CSC table, 0 where there is none."""
    found = np.zeros(table.shape[1])
    some = np.flatnonzero(np.diff(table.indptr))
    if len(some):
        found[some] = np.maximum.reduceat(table.data, table.indptr[some])
    return found
