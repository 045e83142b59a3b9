"""`place`: the fewest or cheapest units that meet a scene's needs, with a bound that says how far from the best.

Needs are looked at in some of their cells first; what that finds is judged on all of them, and cells that are missed
join those looked at until nothing is. Where every cell is asked, a bound found on some holds for all: more cells only
ask for more. Of shares and gaps the bound for all cells is found by itself (`bounding`).
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import scipy.sparse as sp
import shapely
from numpy.typing import NDArray

from raycover.building.parts import Building
from raycover.errors import InputError, Problem
from raycover.placing.bounding import bound_for_all
from raycover.placing.candidates import find_candidates
from raycover.placing.covering import Cover, Wanted, cheaper, cover, effort, greedy
from raycover.placing.exchanging import exchanged
from raycover.placing.judging import Judge, Judged
from raycover.placing.lacking import check_reach, find_lacking, reachable
from raycover.placing.offers import Candidates, Hung, joined
from raycover.placing.pool import Pool
from raycover.placing.quieting import Quieter
from raycover.placing.tasks import can_choose, places_of
from raycover.placing.tidying import evened, lined_up, spots_of
from raycover.placing.visibility import thin, with_cells
from raycover.proving.needs import Proof, prove
from raycover.scene.devices import DetectorSpec
from raycover.scene.needs import NeedSpec
from raycover.scene.placing import PITCH, PlacingSpec
from raycover.scene.schema import Scene
from raycover.scene.wiring_checks import members

Floats = NDArray[np.floating]
Ints = NDArray[np.integer]
Progress = Callable[[int, int], None]
#: Cells a place that candidates are looked at from first: no fewer and no more, and about this many pitches apart.
_CELLS, _MOST_CELLS, _APART = 160, 1500, 0.8
#: Cells of a never-area, where one decides: all of them, as long as no more pairs of candidate and cell come together
#: (ways by mirrors take so many times longer), and no fewer than so many; of those that trip so many are added.
_NEVER_CELLS, _NEVER_PAIRS, _MIRRORS, _HOT_CELLS = 400, 20_000_000, 40, 12
#: So often are missed cells added, so many of a place at a time.
_ROUNDS, _MORE = 40, 40
#: No more candidates than this: memory and minutes. A coarser pitch, or fewer models, gives fewer.
MOST_CANDIDATES = 60_000
#: When the time is out, rounds go on for this share of it as long as they find something out.
_LATE = 0.3
#: Of the time allowed, these shares may go into putting units in line, and into a bound for all cells.
_LINES_SHARE, _BOUND_SHARE = 0.3, 0.3
#: Of a round's time this share goes into exchanges, a second at least, where the solver is not through.
_EXCHANGE_SHARE = 0.25


@dataclass(frozen=True)
class Layout:
    """A proposal. `detectors`: every detector of the new scene, those that stay first; `proof` of it, on all cells.

    `zones`: the detectors of every zone then. `cost` that of the new units, `bound`: no choice of these candidates
    costs less, for all cells where `bound_of_all`, else as far as the cells looked at tell. `optimal` where the two are
    one, `out_of_time` where the optimiser was stopped; `per_unit`: without prices each unit counts 1. `n_banned` plain
    candidates trip where they must not, `n_quieter` are masked or set lower so that they do not. `notes`: what was not
    asked as written; `lacking`: what nothing offered can meet, so that only as much as can be is placed for.
    `interrupted`: by ^C, this being the best until then.
    """

    scene: Scene
    detectors: tuple[DetectorSpec, ...]
    new: tuple[str, ...]
    zones: dict[str, tuple[str, ...]]
    proof: Proof
    cost: float
    bound: float
    bound_of_all: bool
    optimal: bool
    out_of_time: bool
    per_unit: bool
    n_candidates: int
    n_banned: int
    n_quieter: int
    n_cells: int
    rounds: int
    seconds: float
    notes: tuple[str, ...] = ()
    lacking: tuple[Problem, ...] = ()
    interrupted: bool = False

    @property
    def met(self) -> bool:
        return self.proof.met


def place(
    scene: Scene, spec: PlacingSpec | None = None, *, seconds: float = 60.0, progress: Progress | None = None
) -> Layout:
    """Propose detectors for the needs of a scene.

    `spec`: what may hang where, the scene's own if None. `seconds`: time for the optimiser; what it has by then is
    taken, with the bound it proved; after ^C likewise, once there is a layout. Raises InputError where nothing offered
    can meet what is asked of any place, naming the cells.
    """
    began = time.perf_counter()
    spec = scene.placing if spec is None else spec
    spec = PlacingSpec() if spec is None else spec
    staying = set(members(scene, spec.keep))
    kept = [d for d in scene.detectors if d.name in staying]
    needs, notes = _needs(scene, staying)
    bare = prove(scene.model_copy(update={"detectors": kept, "needs": needs}))
    building = bare.needs[0].situation.building
    candidates = find_candidates(scene, building, spec, _rooms_of(bare, building))
    _some_there(scene, candidates)
    search = _Search(scene, spec, kept, bare, candidates, progress)
    found, bound, rounds, in_time = search.run(seconds)
    found = search.judge.judge(found.chosen, with_ways=True)
    pool = search.pool
    n_plain = len(candidates)
    total = found.cost
    whole = all(task.need.least_share == 1.0 or task.need.walked for task in search.tasks)
    whole &= not any(task.need.largest_gap for task in search.tasks)
    lacking = () if search.interrupted else search.lacking_in(found)
    if search.interrupted or lacking:
        whole = False
    elif not whole and found.proof.met:
        for_all = bound_for_all(search.tasks, pool, spots_of(pool.candidates), seconds * _BOUND_SHARE)
        if for_all is not None:
            bound, whole = for_all, True
    return Layout(
        scene, found.detectors, tuple(d.name for d in found.detectors[len(kept) :]), dict(found.zones), found.proof,
        total, min(bound, total), whole, bool(bound >= total - 1e-6), not in_time, not spec.prices,
        n_plain, int((~pool.alive[:n_plain]).sum()), len(pool) - n_plain,
        sum(len(task.asked.cells) for task in search.tasks), rounds, time.perf_counter() - began,
        notes, lacking, search.interrupted,
    )  # fmt: skip


def _needs(scene: Scene, kept: set[str]) -> tuple[list[NeedSpec], tuple[str, ...]]:
    """The scene's needs, asked of every unit where they name ones that will be gone."""
    found, notes = [], []
    for need in scene.needs:
        if need.detectors is not None and not set(need.detectors) <= kept:
            gone = ", ".join(name for name in need.detectors if name not in kept)
            if need.never and need.set is None:  # it forbids them, and nobody else
                stay = [name for name in need.detectors if name in kept]
                if stay:
                    notes.append(f'"{need.name}" names {gone}, which do not stay: it forbids {", ".join(stay)} alone')
                    found.append(need.model_copy(update={"detectors": stay}))
                else:
                    notes.append(f'"{need.name}" forbids {gone} alone, which do not stay: it is left out')
                continue
            notes.append(f'"{need.name}" names {gone}, which do not stay: it is asked of every unit')
            need = need.model_copy(update={"detectors": None})
        if not can_choose(need):
            notes.append(f'"{need.name}" is judged, not placed for: no unit changes how large a zone is')
        if need.walked:
            notes.append(f'"{need.name}" is asked of the units of the room that one walks in, where it may have any')
        found.append(need)
    return found, tuple(notes)


def _rooms_of(proof: Proof, building: Building) -> list[int]:
    """Rooms that places to be seen lie in, by index, in the building's order."""
    found = set()
    for verdict in proof.needs:
        if verdict.need.never or not can_choose(verdict.need):
            continue
        for one in verdict.places:
            ground = one.site.ground
            for index, room in enumerate(building.rooms):
                if one.site.kind == "door":
                    if room.name == one.site.owner:
                        found.add(index)
                    continue
                inside = shapely.intersects_xy(room.polygon.buffer(1e-6), ground[:, 0], ground[:, 1])
                level = (ground[:, 2] > room.floor - 0.5) & (ground[:, 2] < room.floor + room.height)
                if (inside & level).any():
                    found.add(index)
    return sorted(found)


def _some_there(scene: Scene, candidates: Candidates) -> None:
    where = scene.position("placing") if scene.placing is not None else scene.position()
    if not len(candidates):
        raise InputError([Problem(
            "no-candidate", "there is nowhere to hang a unit: no entry offered fits a room of the needs",
            where, "offer other models, mounting heights (placing: {models: [..], mounting: [..]}) or areas",
        )])  # fmt: skip
    if len(candidates) > MOST_CANDIDATES:
        raise InputError([Problem(
            "too-many-candidates",
            f"{len(candidates):,} candidates, {MOST_CANDIDATES:,} are the most",
            where, "make placing: {pitch: …} coarser, or offer fewer models, heights or turns",
        )])  # fmt: skip


class _Search:
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
        self._bound, self._rounds, self.interrupted = 0.0, 0, False
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
        for task in self.tasks:
            if not task.need.walked:
                area = float(task.asked.site.area.sum())
                most = int(np.clip(area / (_APART * pitch) ** 2, _CELLS, _MOST_CELLS))
                task.asked = thin(task.need, task.asked.situation, task.asked.site, most)
            task.look(self.pool)
            if progress is not None:
                progress(done := done + 1, steps)

    def _quieten(self, plain: Ints) -> None:
        """Plain candidates and their quieter ones may not be chosen any more; such as trip no more come instead."""
        self.pool.alive[np.isin(self.pool.root, plain)] = False
        self.quieter.extend(self.pool, plain)

    def run(self, seconds: float) -> tuple[Judged, float, int, bool]:
        """(what is best, the bound of the cells looked at, rounds, whether the time was enough)."""
        try:
            return self._run(seconds)
        except KeyboardInterrupt:
            self.interrupted = True
        best = self._so_far
        if best is None:  # not even the first round is through
            pool = self.pool
            nothing = Cover(np.zeros(0, int), np.inf, 0.0, optimal=False, found=False)
            taken = cheaper(self._wanted(), effort(pool.cost, pool.candidates.plain), nothing)  # at once
            best = self.judge.judge(pool.candidates.some(taken))
        return best, self._bound, self._rounds, False

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

    def lacking_in(self, best: Judged) -> tuple[Problem, ...]:
        """What nothing offered can meet, of places that a layout misses."""
        some = [task for task in self.tasks if task.number in self._lacking and not best.met[task.number]]
        return tuple(find_lacking(self.scene, self.bare, some, self.pool))

    def _done(self, best: Judged) -> bool:
        """Whether all is met that can be."""
        return all(met or number in self._lacking for number, met in enumerate(best.met.tolist()))

    def _run(self, seconds: float) -> tuple[Judged, float, int, bool]:
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
            best, in_time = self._pruned(self._repaired(best), len(best.chosen)), False
        self._keep(best)
        if best is chosen and self._done(best) and len(best.chosen) > 1 and self.spec.regular:
            spots = spots_of(pool.candidates)
            best = lined_up(self.judge, self._wanted(), pool, spots, best, seconds * _LINES_SHARE)
        left = deadline - time.perf_counter()
        # The last round found out that its candidates were too many, or there is time for a bound of its cells.
        if not bound or (not exact and left > 0):
            left = max(left, 0.0 if bound else seconds * _BOUND_SHARE)
            bound = max(bound, self._cover(self._wanted(exact=True), left).bound)
        return best, bound, rounds, in_time

    def _wanted(self, *, exact: bool = False) -> list[Wanted]:
        """What is asked of the candidates, as far as they can do it. Raises InputError where they can of no place.

        Unless `exact` a little more, as shares of the cells looked at promised more than there was.
        """
        found: list[Wanted] = []
        self._lacking = set()
        for task in self.tasks:
            for one in task.wanted(self.pool):
                part = reachable(one, 0.0 if exact else task.over)
                if len(part.weight) < len(one.weight):
                    self._lacking.add(task.number)
                if len(part.weight):
                    found.append(part)
        if len(self._lacking) == len(self.tasks):
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

    def _pruned(self, best: Judged, first: int) -> Judged:
        """The same without units, of those added from the `first` on, that no place needs; the dearest tried first."""
        left = list(range(len(best.chosen)))
        every = best.chosen
        for k in (first + np.argsort(-every.cost[first:], kind="stable")).tolist():
            rest = [one for one in left if one != k]
            tried = self.judge.judge(every.some(np.array(rest, int)))
            if (tried.met >= best.met).all():
                best, left = tried, rest
        return best

    def _repaired(self, best: Judged) -> Judged:
        """The same with units added, one a missed place at a time, until every need is met, when time has run out."""
        pool = self.pool
        for _ in range(_ROUNDS):
            lots = []
            judged = [one for verdict in best.proof.needs for one in verdict.places]
            for task in self.tasks:
                one = judged[task.number]
                done = one.met or task.need.walked or task.number in self._lacking
                cells = np.zeros(0, int) if done else task.missed(one)
                if len(cells):
                    cells = cells[np.unique(np.linspace(0, len(cells) - 1, _CELLS).astype(int))]
                    asked = replace(task.asked, cells=cells, weight=task.asked.site.area[cells])
                    lots.append((asked, pool.seen(pool.margins(asked, task.roots))))
            if not lots:
                break
            seen = sp.vstack([table for _, table in lots])
            added = greedy(seen, np.concatenate([asked.weight for asked, _ in lots]), pool.cost)
            if not len(added):
                break
            # The first see most; what is enough for a share or a gap is found out one a place at a time.
            best = self.judge.judge(joined([best.chosen, pool.candidates.some(added[: len(lots)])]))
        return best
