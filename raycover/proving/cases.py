"""Places that a changed unit counts for, cast together: only the cells where what it sees decides anything."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from raycover.detectors import Unit
from raycover.proving.needs import Figures, NeedVerdict, PlaceVerdict, figures_of, nth_best
from raycover.proving.sites import Site
from raycover.proving.situations import Situation
from raycover.rays.recall import Recall
from raycover.walking.kinematics import WALK

Floats = NDArray[np.floating]
Ints = NDArray[np.integer]
#: Margins count for comparing changes between these (dB): what is seen well need not be seen better.
LEAST_DB, AMPLE_DB = -15.0, 3.0
_ROUNDING = 1e-6
#: Of somebody who walks every so many steps are looked at first.
_STRIDE = 5


@dataclass(frozen=True)
class Case:
    """A place that a changed unit counts for: the unit is one of several at each cell.

    The margin that decides at a cell is `low_db` (n,) where the unit sees nothing, `high_db` at most, else the
    unit's own: of one unit that must see it, the best of the others and infinity. `mine_db` is the unit's now.
    """

    verdict: NeedVerdict
    place: PlaceVerdict
    site: Site
    low_db: Floats
    high_db: Floats
    mine_db: Floats

    @classmethod
    def of(cls, verdict: NeedVerdict, place: PlaceVerdict, index: int | None) -> Case:
        """Of unit `index`, or of a new one."""
        n, by = len(place.site), verdict.need.by
        mine, rest = np.full(n, -np.inf), place.margin_db
        if index is not None:
            row = place.units.index(index)
            mine, rest = rest[row], np.delete(rest, row, axis=0)
        return cls(verdict, place, place.site, _nth(rest, by, n), _nth(rest, by - 1, n), mine)

    @property
    def situation(self) -> Situation:
        return self.verdict.situation

    @property
    def name(self) -> str:
        return name_of(self.situation, self.site)

    @property
    def key(self) -> tuple[str, str]:
        return self.verdict.need.name, self.site.name

    @property
    def is_whole(self) -> bool:
        """Whether all cells of its place are in it."""
        return len(self.site) == len(self.place.site)

    @cached_property
    def now(self) -> Figures:
        """The figures of its cells with the unit as it is."""
        if self.is_whole:
            return self.place.figures
        return figures_of(self.verdict.need, self.site, self.decides(self.mine_db))

    @property
    def matters(self) -> bool:
        """Whether the unit alone shows something of it now."""
        return bool(((self.low_db < 0) & (self.decides(self.mine_db) >= 0)).any())

    def decides(self, mine_db: Floats) -> Floats:
        """(n,) the margin that decides at each cell, the unit's being `mine_db`."""
        return np.asarray(np.maximum(self.low_db, np.minimum(self.high_db, mine_db)))

    def trips(self, mine_db: Floats) -> bool:
        """Whether the unit is tripped from this never-area."""
        return bool(mine_db.max() > -self.verdict.need.reserve_db + 1e-9)

    def only(self, chosen: Ints, area: Floats | None = None) -> Case:
        """The same at some of its cells, with the area that each then stands for."""
        site = self.site.some(chosen)
        if area is not None:
            site = replace(site, area=area)
        return replace(
            self, site=site, low_db=self.low_db[chosen], high_db=self.high_db[chosen], mine_db=self.mine_db[chosen]
        )

    def along(self) -> Case:
        """Of a way: the same at every few steps, each standing for the time until the next."""
        steps = few_steps(self.site)
        # A stop that is judged at both its ends weighs what it lasts.
        after = np.append(steps[1:], len(self.site))
        return self.only(steps, (after - steps).astype(float))


def name_of(situation: Situation, site: Site) -> str:
    """A place by its label, or whole name where the building has several stairs; a way to a seat by the seat."""
    if site.kind == "way":
        return site.short
    return site.label if len(situation.building.stairs) < 2 else site.name


def few_steps(site: Site) -> NDArray[np.intp]:
    """Steps of a way that are enough to know how long somebody goes unnoticed: every few, of a stop its two ends."""
    pose = site.stepped(site.lines[0].track.pose)
    turns = (np.diff(pose) != 0) | ((pose[1:] != WALK) & (np.diff(site.ground, axis=0) != 0).any(axis=1))
    edges = np.concatenate([[True], turns]) | np.concatenate([turns, [True]])
    return np.flatnonzero(edges | ((pose == WALK) & (np.arange(len(pose)) % _STRIDE == 0)))


def spread(cells: Ints, n: int) -> Ints:
    """About n of some cells, spread over them."""
    if len(cells) <= n:
        return cells
    # The golden section's steps leave no row or column of a raster out, as even steps may.
    order = np.argsort((np.arange(len(cells)) * 0.6180339887498949) % 1.0, kind="stable")
    return np.sort(cells[order[:n]])


def _nth(margin_db: Floats, by: int, n: int) -> Floats:
    """(n,) the by-th best of margins (units, n) at each cell; infinite for the noughth."""
    return nth_best(margin_db, by, n) if by > 0 else np.full(n, np.inf)


@dataclass(frozen=True)
class _Group:
    """Cells of some cases, cast in one go as one place: `parts` says of each case which of its cells, and where."""

    situation: Situation
    site: Site
    least_db: Floats | float
    parts: tuple[tuple[int, Ints, slice], ...]


class Casts:
    """Some cases, cast together: those that look for the same in one situation in one go.

    A cell is cast only where the others leave something to decide: where the margin without the unit lies below
    `below_db`, and in never-areas. No ray is cast to cells that the open air puts below `least_db`, in places met
    now below 0, with `quick` in never-areas below the limit. `straight`: by straight ways only.
    """

    def __init__(
        self,
        cases: Sequence[Case],
        *,
        below_db: float = AMPLE_DB,
        least_db: float = LEAST_DB,
        quick: bool = True,
        straight: bool = False,
    ) -> None:
        self.cases = list(cases)
        self._below_db, self._least, self._quick, self._straight = below_db, least_db, quick, straight
        self._recall: dict[int, Recall] = defaultdict(Recall)  # one a group

    @cached_property
    def _groups(self) -> list[_Group]:
        found: dict[object, list[int]] = {}
        for index, case in enumerate(self.cases):
            site = case.site
            walk = site.kind if site.lines else None
            found.setdefault((id(case.situation), site.heights, site.motion, site.target_m2, walk), []).append(index)
        return [self._group([(i, self._cells(self.cases[i])) for i in indices]) for indices in found.values()]

    def _cells(self, case: Case) -> Ints:
        if case.verdict.need.never:
            return np.arange(len(case.site))
        # What is told of a walk may be the margin at any of its steps.
        below = np.inf if case.site.lines and not self._quick else self._below_db
        return np.flatnonzero((case.low_db < below) & (case.low_db < case.high_db))

    def _group(self, asked: Sequence[tuple[int, Ints]]) -> _Group:
        site = Site.joined([self.cases[i].site.some(cells) for i, cells in asked])
        situation = self.cases[asked[0][0]].situation
        if self._straight:
            situation = replace(situation, weather=replace(situation.weather, reflections=0))
        ends = np.cumsum([len(cells) for _, cells in asked]).tolist()
        parts = [(i, cells, slice(end - len(cells), end)) for (i, cells), end in zip(asked, ends, strict=True)]
        least = np.concatenate([np.full(len(cells), self._least_db(self.cases[i])) for i, cells in asked])
        return _Group(situation, site, least if len(least) else -np.inf, tuple(parts))

    def _least_db(self, case: Case) -> float:
        if case.verdict.need.never:
            return -case.verdict.need.reserve_db - _ROUNDING if self._quick else -np.inf
        # Of a place that is met only whether it stays so is asked.
        return -_ROUNDING if case.place.met else self._least - _ROUNDING

    def margins(self, unit: Unit) -> list[Floats]:
        """Of a unit at the cells of each case; −inf where nothing hangs on it."""
        found = [np.full(len(case.site), -np.inf) for case in self.cases]
        for number, group in enumerate(self._groups):
            if not len(group.site):
                continue
            margin = group.situation.margin_db(unit, group.site, least_db=group.least_db, recall=self._recall[number])
            for i, cells, where in group.parts:
                found[i][cells] = margin[where]
        return found

    def filled(self, unit: Unit, margins: Sequence[Floats]) -> list[Floats]:
        """Margins with those of cells not yet cast that lie below the worst that was found, of cases seen whole.

        The lowest margin that decides is then known, whatever the others see by themselves.
        """
        found = list(margins)
        for i, (case, mine) in enumerate(zip(self.cases, margins, strict=True)):
            if case.verdict.need.never or case.place.met:
                continue
            cast = np.zeros(len(mine), bool)
            cast[self._cells(case)] = True
            worst = float(case.decides(mine)[cast].min(initial=np.inf))
            if worst < self._below_db:
                continue
            cells = np.flatnonzero(~cast & (case.low_db < worst) & (case.low_db < case.high_db))
            if len(cells):
                found[i] = mine.copy()
                found[i][cells] = case.situation.margin_db(unit, case.site.some(cells))
        return found
