"""Rounds of choosing units and judging them: what is asked of some cells first, then of those that were missed.

Where every cell is asked, a bound found on some holds for all: more cells only ask for more.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from raycover.errors import InputError, Problem
from raycover.placing.covering import Cover, Wanted, cheaper, cover, effort
from raycover.placing.exchanging import exchanged
from raycover.placing.judging import Judge, Judged
from raycover.placing.lacking import check_reach, find_lacking, reachable
from raycover.placing.offers import Candidates, Hung
from raycover.placing.pool import Pool
from raycover.placing.quieting import Quieter
from raycover.placing.repairing import made_whole
from raycover.placing.tasks import places_of
from raycover.placing.tidying import evened, lined_up, spots_of
from raycover.placing.visibility import thin, with_cells
from raycover.proving.needs import Proof
from raycover.scene.devices import DetectorSpec
from raycover.scene.placing import PITCH, PlacingSpec
from raycover.scene.schema import Scene

Ints = NDArray[np.integer]
Progress = Callable[[int, int], None]
#: Cells a place that candidates are looked at from first: no fewer and no more, and about this many pitches apart.
_CELLS, _MOST_CELLS, _APART = 160, 1500, 0.8
#: Nearer together, by pitches, where all places then have no more than so many: what is missed is known sooner, and
#: less is asked than where every share missed is made up for by asking for more.
_NEAR, _MOST_NEAR = 0.4, 12_000
#: Cells of a never-area, where one decides: all of them, as long as no more pairs of candidate and cell come together
#: (ways by mirrors take so many times longer), and no fewer than so many; of those that trip so many are added.
_NEVER_CELLS, _NEVER_PAIRS, _MIRRORS, _HOT_CELLS = 400, 20_000_000, 40, 12
#: So often are missed cells added, so many of a place at a time.
_ROUNDS, _MORE = 40, 40
#: When the time is out, rounds go on for this share of it as long as they find something out.
_LATE = 0.3
#: Of the time allowed, these shares may go into putting units in line, and into a bound for all cells.
_LINES_SHARE, _BOUND_SHARE = 0.3, 0.3
#: Of a round's time this share goes into exchanges, a second at least, where the solver is not through.
_EXCHANGE_SHARE = 0.25
#: After ^C the best so far is made whole for so long (s).
_AFTERWARDS_S = 10.0


@dataclass(frozen=True)
class Found:
    """What a search came to: the best, judged, with the bound of the cells looked at.

    `in_time`: the solver was through in the last round. `interrupted` by ^C; `undone` then says what was left out.
    """

    best: Judged
    bound: float
    rounds: int
    in_time: bool
    interrupted: bool = False
    undone: tuple[str, ...] = ()


class Search:
    """Rounds of choosing and judging."""

    def __init__(
        self, scene: Scene, spec: PlacingSpec, kept: Sequence[DetectorSpec], bare: Proof, candidates: Candidates,
        progress: Progress | None,
    ) -> None:  # fmt: skip
        self.scene, self.spec, self.bare = scene, spec, bare
        self.judge = Judge(scene, kept, bare)
        self.pool = Pool(candidates)
        self._known: dict[bytes, tuple[Any, float]] = {}
        self._lacking: set[int] = set()
        self._so_far: Judged | None = None
        self._bound, self._rounds = 0.0, 0
        self.tasks, self.quiets = places_of(bare.scene, bare, self.pool)
        steps, done = len(self.tasks) + len(self.quiets), 0
        for quiet in self.quiets:
            mirrors = _MIRRORS if quiet.asked.situation.weather.reflections else 1
            most = max(_NEVER_CELLS, _NEVER_PAIRS // (mirrors * max(len(quiet.roots), 1)))
            quiet.asked = thin(quiet.asked.need, quiet.asked.situation, quiet.asked.site, most)
            quiet.excess = quiet.look(candidates.units, quiet.roots)
            if progress is not None:
                progress(done := done + 1, steps)
        self.quieter = Quieter(scene, spec, self.quiets)
        if self.quiets:
            self._quieten(np.flatnonzero(self.quieter.worst_db(len(candidates)) > 0))
        pitch = PITCH if spec.pitch is None else spec.pitch
        areas = {task.number: float(task.asked.site.area.sum()) for task in self.tasks if not task.need.walked}
        near = sum(areas.values()) <= _MOST_NEAR * (_NEAR * pitch) ** 2
        apart, most = (_NEAR, _MOST_NEAR) if near else (_APART, _MOST_CELLS)
        for task in self.tasks:
            if not task.need.walked:
                n = int(np.clip(areas[task.number] / (apart * pitch) ** 2, _CELLS, most))
                task.asked = thin(task.need, task.asked.situation, task.asked.site, n)
            task.look(self.pool)
            if progress is not None:
                progress(done := done + 1, steps)

    def _quieten(self, plain: Ints) -> None:
        """Plain candidates and their quieter ones may not be chosen any more; such as trip no more come instead."""
        self.pool.alive[np.isin(self.pool.root, plain)] = False
        self.quieter.extend(self.pool, plain)

    def run(self, seconds: float, on_interrupt: Callable[[], None] | None = None) -> Found:
        """The best that is found in a time; after ^C, of which `on_interrupt` is told, the best until then.

        That is made whole as far as some seconds go, or another ^C: the search adds units for the cells that it found
        out last to be missed, which the best until then may lack.
        """
        try:
            return self._run(seconds)
        except KeyboardInterrupt:
            if on_interrupt is not None:
                on_interrupt()
        stopped = False
        try:
            self._made_whole(time.perf_counter() + _AFTERWARDS_S)
        except KeyboardInterrupt:
            stopped = True
        best = self._so_far
        if best is None:
            raise KeyboardInterrupt
        undone = ["the search for fewer units"]
        n_missed = int((~best.met).sum()) - len([one for one in self._lacking if not best.met[one]])
        if n_missed:
            why = "by another ^C" if stopped else f"after {_AFTERWARDS_S:g} s"
            undone.append(f"units for {n_missed} place{'s' * (n_missed != 1)} missed, left off {why}")
        if self.spec.regular:
            undone.append("straight lines")
        return Found(best, self._bound, self._rounds, False, True, tuple(undone))

    def _made_whole(self, until: float) -> None:
        """Keep the best so far with units added where places are missed."""
        best = self._so_far
        if best is None:  # not even the first round is through
            pool = self.pool
            nothing = Cover(np.zeros(0, int), np.inf, 0.0, optimal=False, found=False)
            taken = cheaper(self._wanted(), effort(pool.cost, pool.candidates.plain), nothing)  # at once
            best = self.judge.judge(pool.candidates.some(taken))
            self._keep(best)
        if not self._done(best):
            self._keep(made_whole(self.judge, self.pool, self.tasks, self._lacking, best, self._keep, until))

    def _exchanged(self, wanted: Sequence[Wanted], found: Cover, seconds: float) -> Ints:
        """The cheapest choice known where the solver had too little time."""
        pool = self.pool
        cost = effort(pool.cost, pool.candidates.plain)
        return exchanged(
            wanted, cost, cheaper(wanted, cost, found), spots=spots_of(pool.candidates), seconds=max(seconds, 1.0)
        )

    def _keep(self, best: Judged) -> None:
        """Of what was judged the best so far: what meets most places, then what costs least."""
        old = self._so_far
        if old is None or (-best.met.sum(), best.cost) < (-old.met.sum(), old.cost):
            self._so_far = best

    def least_of(self, models: Collection[str], seconds: float) -> float:
        """No choice of candidates of some models alone costs less, on the cells looked at; infinite if none will do."""
        pool, alive = self.pool, self.pool.alive
        names = np.array([offer.model.name for offer in pool.candidates.offers])[pool.candidates.offer]
        pool.alive = alive & np.isin(names, list(models))
        try:
            wanted = [one for task in self.tasks for one in task.wanted(pool)]
            found = cover(wanted, pool.cost, spots=spots_of(pool.candidates), seconds=seconds)
        finally:
            pool.alive = alive
        return np.inf if found is None else found.bound

    def lacking_in(self, best: Judged) -> tuple[Problem, ...]:
        """What nothing offered can meet, of places that a layout misses."""
        some = [task for task in self.tasks if task.number in self._lacking and not best.met[task.number]]
        return tuple(find_lacking(self.scene, self.bare, some, self.pool))

    def _done(self, best: Judged) -> bool:
        """Whether all is met that can be."""
        return all(met or number in self._lacking for number, met in enumerate(best.met.tolist()))

    def _run(self, seconds: float) -> Found:
        pool, tasks = self.pool, self.tasks
        bound, rounds = 0.0, 0
        deadline = time.perf_counter() + seconds
        failed: set[tuple[int, tuple[Hung, ...]]] = set()
        while True:
            rounds += 1
            wanted = self._wanted()
            # Half of what is left: what one round finds out about the cells is worth another.
            left = max((deadline - time.perf_counter()) / 2, 1.0)
            found = self._cover(wanted, left)
            exact = not any(task.over for task in tasks)
            if exact:
                bound = max(bound, found.bound)
            in_time = found.optimal
            taken = found.chosen if found.optimal else self._exchanged(wanted, found, left * _EXCHANGE_SHARE)
            best = chosen = self.judge.judge(pool.candidates.some(taken))
            missing = self._add_missed(best)
            tripping = self._add_tripping(best, taken)
            if tripping:
                missing, bound = True, 0.0
            if self.spec.regular:
                best = evened(self.judge, self.spec, tasks, pool, best, failed, self._lacking)
            self._keep(best)
            self._bound, self._rounds = bound, rounds
            # What trips no added unit mends, and rooms that are quickly solved better than by repair have not had their
            # turn where a large one took all the time: a little more is given to both.
            late = time.perf_counter() - deadline
            if self._done(best) or not missing or rounds >= _ROUNDS or late > seconds * (1.0 if tripping else _LATE):
                break
        if not self._done(best):
            best, in_time = made_whole(self.judge, pool, tasks, self._lacking, best, self._keep), False
        self._keep(best)
        if best is chosen and self._done(best) and len(best.chosen) > 1 and self.spec.regular:
            spots = spots_of(pool.candidates)
            best = lined_up(self.judge, self._wanted(), pool, spots, best, seconds * _LINES_SHARE)
        left = deadline - time.perf_counter()
        # The last round found out that its candidates were too many, or there is time for a bound of its cells.
        if not bound or (not exact and left > 0):
            left = max(left, 0.0 if bound else seconds * _BOUND_SHARE)
            bound = max(bound, self._cover(self._wanted(exact=True), left).bound)
        return Found(best, bound, rounds, in_time)

    def _wanted(self, *, exact: bool = False) -> list[Wanted]:
        """What is asked of the candidates, as far as they can do it. Raises InputError where they can of no place.

        Unless `exact` a little more, as shares of the cells looked at promised more than there was.
        """
        found: list[Wanted] = []
        lacking: set[int] = set()
        for task in self.tasks:
            for one in task.wanted(self.pool):
                part = reachable(one, 0.0 if exact else task.over)
                if len(part.weight) < len(one.weight):
                    lacking.add(task.number)
                if len(part.weight):
                    found.append(part)
        self._lacking = lacking
        if len(lacking) == len(self.tasks):
            check_reach(self.scene, self.bare, self.tasks, self.pool)
        return found

    def _cover(self, wanted: Sequence[Wanted], seconds: float) -> Cover:
        pool = self.pool
        found = cover(
            wanted, pool.cost, spots=spots_of(pool.candidates), seconds=seconds, plain=pool.candidates.plain,
            known=self._known,
        )  # fmt: skip
        if found is None:
            raise InputError([Problem(
                "no-layout", "no choice of these candidates meets all needs at once",
                self.scene.position("needs"), "a finer pitch, other models or heights may; or ask for less",
            )])  # fmt: skip
        return found

    def _add_missed(self, best: Judged) -> bool:
        """Look at missed cells of missed places too; whether there were any new ones."""
        found = False
        places = [place for verdict in best.proof.needs for place in verdict.places]
        for task in self.tasks:
            one = places[task.number]
            if one.met or task.need.walked or task.number in self._lacking:
                continue
            missed = np.setdiff1d(task.missed(one), task.asked.cells)
            if not len(missed):
                continue
            more = missed[np.unique(np.linspace(0, len(missed) - 1, _MORE).astype(int))]
            old = task.asked
            fresh = self.pool.margins(replace(old, cells=more, weight=np.ones(len(more))), task.roots)
            order = np.argsort(np.concatenate([old.cells, more]))
            task.asked = with_cells(old, more)
            task.margins = sp.vstack([task.margins.tocsr(), fresh.tocsr()], format="csr")[order].tocsc()
            found = True
            if task.need.least_share is not None and task.need.least_share < 1:
                task.over += max(task.need.least_share - one.figures.share, 0.0)
        return found

    def _add_tripping(self, best: Judged, taken: Ints) -> bool:
        """Look at cells from which those chosen trip too, and quieten these candidates anew; whether there were any."""
        places = [place for verdict in best.proof.needs for place in verdict.places]
        n_kept = len(self.judge.kept)
        found: list[int] = []
        for quiet in self.quiets:
            one = places[quiet.number]
            cells: list[int] = []
            for k, margin in zip(one.units, one.margin_db, strict=True):
                hot = np.flatnonzero(margin > -quiet.asked.need.reserve_db + 1e-9)
                if k >= n_kept and len(hot):
                    found.append(int(taken[best.order[k - n_kept]]))
                    some = hot[np.unique(np.linspace(0, len(hot) - 1, _HOT_CELLS).astype(int))]
                    cells += [*some.tolist(), int(margin.argmax())]
            if cells:
                quiet.add(np.unique(cells), self.pool.candidates.units)
        if not found:
            return False
        self.pool.alive[found] = False
        tripping = self.quieter.worst_db(int(self.pool.root.max()) + 1) > 0
        plain = np.unique(self.pool.root[found])
        self._quieten(plain[tripping[plain]])
        for task in self.tasks:
            task.look(self.pool)
        return True
