"""`place`: the fewest or cheapest units that meet a scene's needs, with a bound that says how far from the best.

Needs are looked at in some of their cells first; what that finds is judged on all of them, and cells that are missed
join those looked at until nothing is. Where every cell is asked, a bound found on some holds for all: more cells only
ask for more. Of a share it is the bound of the cells looked at, each standing for those around it.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import count, islice
from typing import Any

import numpy as np
import scipy.sparse as sp
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from raycover.building.aisles import find_aisles
from raycover.building.parts import Building
from raycover.detectors import Unit
from raycover.errors import InputError, Problem
from raycover.hanging import HangingPlaces
from raycover.needs import NeedVerdict, Proof, counting_units, judge_need, prove
from raycover.placing.candidates import Candidates, find_candidates
from raycover.placing.covering import Wanted, cheaper, cover, greedy, in_lines
from raycover.placing.lattices import as_candidates, joined, lattices
from raycover.placing.visibility import Asked, seen_by, thin, with_cells
from raycover.scene.devices import DetectorSpec
from raycover.scene.needs import NeedSpec
from raycover.scene.placing import PlacingSpec
from raycover.scene.schema import Scene
from raycover.scene.wiring_checks import members
from raycover.sites import Site, Sites

Floats = NDArray[np.floating]
Progress = Callable[[int, int], None]
#: Cells a place that candidates are looked at from first: no fewer and no more, and about this many pitches apart.
_CELLS, _MOST_CELLS, _APART = 160, 1500, 0.8
#: Of a never-area, where one cell decides.
_NEVER_CELLS = 400
#: So often are missed cells added, so many of a place at a time.
_ROUNDS, _MORE = 40, 40
#: No more candidates than this: memory and minutes. A coarser pitch, or fewer models, gives fewer.
MOST_CANDIDATES = 60_000
#: Of the time allowed, this share may go into putting units in line.
_LINES_SHARE = 0.3
#: So many regular layouts a room are judged.
_LATTICES = 150
#: What is chosen, all detectors with it, and the needs judged.
_Found = tuple[Candidates, list[DetectorSpec], Proof]
#: What hangs where: entry, mounting height, turn and place of every unit.
_Hung = tuple[tuple[str, float, float, float, float], ...]


@dataclass(frozen=True)
class Layout:
    """A proposal. `detectors`: every detector of the new scene, those that stay first; `proof` of it, on all cells.

    `cost` that of the new units, `bound`: no choice of these candidates costs less (by the cells looked at);
    `optimal` where they are one; `per_unit`: without prices each unit counts 1. `notes`: what was not asked as
    written.
    """

    scene: Scene
    detectors: tuple[DetectorSpec, ...]
    new: tuple[str, ...]
    proof: Proof
    cost: float
    bound: float
    optimal: bool
    per_unit: bool
    n_candidates: int
    n_banned: int
    n_cells: int
    rounds: int
    seconds: float
    notes: tuple[str, ...] = ()

    @property
    def met(self) -> bool:
        return self.proof.met


@dataclass
class _Task:
    """A place to cover, its candidates' view of it, and what units that stay do for it."""

    number: int  # among all places of the proof
    asked: Asked
    have: NDArray[np.integer]  # (n,) over all cells of the place
    counts: NDArray[np.integer]  # candidates that the need asks here, by index
    seen: Any = None


def place(
    scene: Scene, spec: PlacingSpec | None = None, *, seconds: float = 60.0, progress: Progress | None = None
) -> Layout:
    """Propose detectors for the needs of a scene.

    `spec`: what may hang where, the scene's own if None. `seconds`: time for the optimiser; what it has by then is
    taken, with the bound it proved. Raises InputError for needs that nothing offered can meet, naming the cells.
    """
    began = time.perf_counter()
    spec = scene.placing if spec is None else spec
    spec = PlacingSpec() if spec is None else spec
    staying = set(members(scene, spec.keep))
    kept = [d for d in scene.detectors if d.name in staying]
    needs, notes = _needs(scene, staying)
    bare = prove(scene.model_copy(update={"detectors": kept, "needs": needs}))
    building = bare.needs[0].situation.building
    aisles = [aisle.middle for aisle in find_aisles(building)] if "aisles" in spec.sorts else []
    candidates = find_candidates(scene, building, spec, _rooms_of(bare, building), aisles)
    _some_there(scene, candidates)
    _, nevers = _places(bare, candidates)
    step = _Steps(progress, sum(_can_choose(v.need) for v in bare.needs for _ in v.places))
    allowed = np.ones(len(candidates), bool)
    for task in nevers:
        asked = thin(task.asked.need, task.asked.situation, task.asked.site, _NEVER_CELLS)
        hot = seen_by(candidates.units, asked, -asked.need.reserve_db + 1e-9, only=task.counts)
        allowed &= np.asarray(hot.sum(axis=0)).ravel() == 0
        step()
    banned, n_all = candidates.some(~allowed), len(candidates)
    candidates = candidates.some(allowed)
    tasks, nevers = _places(bare, candidates)
    for task in tasks:
        area = float(task.asked.site.area.sum())
        most = int(np.clip(area / (_APART * spec.pitch) ** 2, _CELLS, _MOST_CELLS))
        task.asked = thin(task.asked.need, task.asked.situation, task.asked.site, most)
        task.seen = seen_by(candidates.units, task.asked, only=task.counts)
        step()
    _reachable(scene, bare, tasks, banned)
    return _search(
        scene, spec, kept, bare, tasks, nevers, candidates, n_all, seconds=seconds, began=began, notes=notes
    )  # fmt: skip


class _Steps:
    def __init__(self, progress: Progress | None, total: int) -> None:
        self._progress, self._total, self._done = progress, total, 0

    def __call__(self) -> None:
        self._done += 1
        if self._progress is not None:
            self._progress(self._done, self._total)


def _needs(scene: Scene, kept: set[str]) -> tuple[list[NeedSpec], tuple[str, ...]]:
    """The scene's needs, asked of every unit where they name ones that will be gone."""
    found, notes = [], []
    for need in scene.needs:
        if need.detectors is not None and not set(need.detectors) <= kept:
            gone = ", ".join(name for name in need.detectors if name not in kept)
            notes.append(f'"{need.name}" names {gone}, which do not stay: it is asked of every unit')
            need = need.model_copy(update={"detectors": None})
        if not _can_choose(need):
            why = "ways are walked past units that are there" if need.walked else "zones name their units"
            notes.append(f'"{need.name}" is judged, not placed for: {why}')
        found.append(need)
    return found, tuple(notes)


def _rooms_of(proof: Proof, building: Building) -> list[int]:
    """Rooms that places to be seen lie in, by index, in the building's order."""
    found = set()
    for verdict in proof.needs:
        if verdict.need.never:
            continue
        for one in verdict.places:
            ground = one.site.ground
            for index, room in enumerate(building.rooms):
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


def _places(bare: Proof, candidates: Candidates) -> tuple[list[_Task], list[_Task]]:
    """Places to be seen and places to keep quiet, of needs that units can be placed for.

    With the candidates that each asks: where units belong to places, those that would.
    """
    named = [replace(unit, name=_tag(k)) for k, unit in enumerate(candidates.units)]
    seen: list[_Task] = []
    quiet: list[_Task] = []
    number = count()
    for verdict in bare.needs:
        situation, need = verdict.situation, verdict.need
        units = (*situation.units, *named)
        for one, site in zip(verdict.places, _sites(verdict, units), strict=True):
            have = (one.margin_db >= 0).sum(axis=0) if len(one.margin_db) else np.zeros(len(site), int)
            counts = np.array(counting_units(need, units, site), int) - len(situation.units)
            asked = Asked(need, situation, site, np.arange(len(site)), site.area)
            task = _Task(next(number), asked, have, counts[counts >= 0])
            if _can_choose(need):
                (quiet if need.never else seen).append(task)
    return seen, quiet


def _can_choose(need: NeedSpec) -> bool:
    """Whether units can be placed for a need.

    Which units a zone has, and how large it is, the scene must say; ways walked are followed past units that are there.
    """
    if need.walked:
        return False
    return need.zones is None or (need.whose is None and need.largest_area is None)


def _tag(index: int) -> str:
    """A name that no detector of a scene can have."""
    return f"/{index}"


def _sites(verdict: NeedVerdict, units: Sequence[Unit]) -> tuple[Site, ...]:
    """The places of a need as they are with other units."""
    if verdict.need.whose is None:
        return tuple(one.site for one in verdict.places)
    return Sites(verdict.situation.scene, verdict.situation.building, units).of(verdict.need, None)


def _wanted(tasks: Sequence[_Task]) -> list[Wanted]:
    """What the tasks ask of the candidates."""
    found = []
    for task in tasks:
        need, asked = task.asked.need, task.asked
        have = task.have[asked.cells]
        if need.least_share is not None:
            found.append(Wanted(task.seen, asked.weight, need.least_share, need.by, have))
        if need.largest_gap is not None:
            found.append(_no_gap(task, need.largest_gap))
    return found


def _no_gap(task: _Task, widest: float) -> Wanted:
    """Of every circle so wide that lies in the place some cell is seen."""
    asked = task.asked
    site = asked.thinned
    ground = site.ground[:, :2]
    inner = np.asarray(shapely.contains_xy(task.asked.site.outline.buffer(-widest / 2 * 0.99), *ground.T))
    middles = np.flatnonzero(inner)
    near = cKDTree(ground).query_ball_point(ground[middles], widest / 2)
    rows = np.repeat(np.arange(len(middles)), [len(n) for n in near])
    columns = np.array([c for n in near for c in n], int)
    among = sp.csr_array((np.ones(len(rows)), (rows, columns)), shape=(len(middles), len(ground)))
    seen = (among @ task.seen.astype(float)) > 0
    have = np.asarray(among @ (task.have[asked.cells] >= asked.need.by).astype(float) > 0).astype(int)
    return Wanted(seen.tocsr(), np.ones(len(middles)), 1.0, 1, have)


def _reachable(scene: Scene, proof: Proof, tasks: Sequence[_Task], banned: Candidates) -> None:
    """Raises InputError naming every place that all candidates together cannot see as asked."""
    problems = []
    for task in tasks:
        need, asked = task.asked.need, task.asked
        count = np.asarray(task.seen.sum(axis=1)).ravel() + task.have[asked.cells]
        lost = count < need.by
        share = 1 - float(asked.weight[lost].sum() / asked.weight.sum())
        if need.least_share is None or share >= need.least_share - 1e-9:
            continue
        spot = asked.thinned.ground[np.flatnonzero(lost)]
        x, y = spot[np.argmin(np.linalg.norm(spot - spot.mean(axis=0), axis=1))][:2]
        site = asked.site.name
        where = f"{site}: all candidates together see {share:.1%} of it, {need.least_share:.0%} is asked"
        blocked = ""
        if len(banned):
            lonely = replace(asked, cells=asked.cells[lost], weight=asked.weight[lost])
            cured = np.asarray(seen_by(banned.units, lonely).sum(axis=1)).ravel() > 0
            if cured.any():
                names = ", ".join(f'"{v.need.name}"' for v in proof.needs if v.need.never)
                blocked = f"; {cured.mean():.0%} of the rest is seen only by candidates that {names} forbids"
        problems.append(Problem(
            "contradiction" if blocked else "out-of-all-reach",
            f'need "{need.name}" cannot be met by what is offered: {where}, '
            f"not around ({x:.2f}, {y:.2f}){blocked}",
            _position(scene, need),
            "offer other models, heights or places (placing:), or ask for less",
        ))  # fmt: skip
    if problems:
        raise InputError(problems)


def _position(scene: Scene, need: NeedSpec) -> Any:
    names = [one.name for one in scene.needs]
    return scene.position("needs", names.index(need.name)) if need.name in names else scene.position()


def _search(
    scene: Scene, spec: PlacingSpec, kept: Sequence[DetectorSpec], bare: Proof, tasks: Sequence[_Task],
    nevers: Sequence[_Task], candidates: Candidates, n_all: int, *, seconds: float, began: float,
    notes: tuple[str, ...],
) -> Layout:  # fmt: skip
    cost = candidates.cost
    spots = _spots(candidates)
    bound = 0.0
    deadline = time.perf_counter() + seconds
    rounds = 0
    alive = np.ones(len(candidates), bool)
    failed: set[tuple[int, _Hung]] = set()
    while True:
        rounds += 1
        left = max(deadline - time.perf_counter(), 1.0)
        wanted = _wanted(tasks)
        found = cover(wanted, cost, spots=spots, seconds=left)
        if found is None:
            _reachable(scene, bare, tasks, candidates.some(~alive))
            raise InputError([Problem(
                "no-layout", "no choice of these candidates meets all needs at once",
                scene.position("needs"), "a finer pitch, other models or heights may; or ask for less",
            )])  # fmt: skip
        bound = max(bound, found.bound)
        timed_out = not found.found
        taken = found.chosen if found.optimal else cheaper(wanted, cost, found)
        chosen = candidates.some(taken)
        best = (chosen, *_judged(bare, kept, chosen))
        missing = _add_missed(tasks, best[2], candidates)
        tripping = _tripping(nevers, candidates, taken)
        if len(tripping):
            alive[tripping] = False
            for task in tasks:
                task.counts = task.counts[alive[task.counts]]
                task.seen = (task.seen @ sp.diags_array(alive.astype(np.int8), dtype=np.int8)).tocsc()
            missing = True
        if spec.regular:
            best = _evened(scene, spec, kept, bare, tasks, candidates, best, failed)
        if best[2].met or not missing or rounds >= _ROUNDS or time.perf_counter() > deadline:
            break
    if not best[2].met:
        best = _repaired(bare, kept, candidates.some(alive), best)
        timed_out = True
    if spec.regular and best[2].met and best[0] is chosen and len(chosen) > 1:
        best = _in_lines(kept, bare, tasks, candidates, spots, best, seconds * _LINES_SHARE)
    chosen, detectors, proof = best
    total = float(chosen.cost.sum())
    return Layout(
        scene, tuple(detectors), tuple(d.name for d in detectors[len(kept) :]), proof, total, min(bound, total),
        bool(bound >= total - 1e-6) and not timed_out, not spec.prices, n_all, n_all - int(alive.sum()),
        sum(len(task.asked.cells) for task in tasks), rounds, time.perf_counter() - began, notes,
    )  # fmt: skip


def _tripping(nevers: Sequence[_Task], candidates: Candidates, chosen: NDArray[np.integer]) -> NDArray[np.integer]:
    """Those chosen that trip from a cell that was not looked at before."""
    found = [np.zeros(0, int)]
    for task in nevers:
        asked = task.counts[np.isin(task.counts, chosen)]
        hot = seen_by(candidates.units, task.asked, -task.asked.need.reserve_db + 1e-9, only=asked)
        found.append(np.flatnonzero(np.asarray(hot.sum(axis=0)).ravel()))
    return np.unique(np.concatenate(found)).astype(int)


def _repaired(bare: Proof, kept: Sequence[DetectorSpec], candidates: Candidates, best: _Found) -> _Found:
    """The same with units added, one by one, until every need is met: for when the time has run out."""
    tasks, _ = _places(bare, candidates)
    for _ in range(_ROUNDS):
        chosen, _, proof = best
        lots = []
        judged = [one for verdict in proof.needs for one in verdict.places]
        for task in tasks:
            one = judged[task.number]
            if one.met:
                continue
            cells = np.flatnonzero((one.margin_db >= 0).sum(axis=0) < task.asked.need.by)
            cells = cells[np.unique(np.linspace(0, len(cells) - 1, _CELLS).astype(int))]
            asked = replace(task.asked, cells=cells, weight=task.asked.site.area[cells])
            lots.append((asked, seen_by(candidates.units, asked, only=task.counts)))
        if not lots:
            break
        seen = sp.vstack([table for _, table in lots])
        added = greedy(seen, np.concatenate([asked.weight for asked, _ in lots]), candidates.cost)
        if not len(added):
            break
        # The first sees most; what is enough for a share or a gap is found out one at a time.
        tried = joined([chosen, candidates.some(added[:1])])
        best = (tried, *_judged(bare, kept, tried))
    return best


def _evened(
    scene: Scene, spec: PlacingSpec, kept: Sequence[DetectorSpec], bare: Proof, tasks: Sequence[_Task],
    candidates: Candidates, best: _Found, failed: set[tuple[int, _Hung]],
) -> _Found:  # fmt: skip
    """The same with rows and columns in each room where they cost no more and meet every need there.

    `failed`: what was judged for a room before and met them not; it is not judged again.
    """
    building = bare.needs[0].situation.building
    hanging = HangingPlaces(scene, building)
    for room in np.unique(best[0].room).tolist():
        chosen, _, before = best
        mine = chosen.room == room
        here = _places_in(before, building, room)
        met = _met(before)
        spent = float(chosen.cost[mine].sum())
        least = _least_units(tasks, candidates, np.flatnonzero(here))
        for lattice in islice(lattices(hanging, spec, candidates, room, least, spent), _LATTICES):
            tried = joined([chosen.some(~mine), as_candidates(scene, building, lattice, room)])
            hung = room, _hung(tried)
            if hung in failed:
                continue
            detectors, proof = _judged(bare, kept, tried)
            now = _met(proof)
            if not now[here].all():
                failed.add(hung)
            elif (now >= met).all():
                best = (tried, detectors, proof)
                break
    return best


def _hung(chosen: Candidates) -> _Hung:
    return tuple(
        (chosen.offers[k].model.name, chosen.offers[k].mounting, float(turn), float(x), float(y))
        for k, turn, (x, y) in zip(chosen.offer, chosen.turn_deg, chosen.at, strict=True)
    )


def _least_units(tasks: Sequence[_Task], candidates: Candidates, places: NDArray[np.integer]) -> int:
    """No fewer units than this see any of some places (by number): each is seen by none more than by its best."""
    least = 1
    for task in tasks:
        share = task.asked.need.least_share
        if task.number in places and share is not None and not task.have.any():
            most = float((task.seen.T.astype(float) @ task.asked.weight).max(initial=0.0))
            if most > 0:
                least = max(least, int(np.ceil(share * task.asked.weight.sum() / most * 0.98)))
    return least


def _met(proof: Proof) -> NDArray[np.bool_]:
    return np.array([place.met for verdict in proof.needs for place in verdict.places])


def _places_in(proof: Proof, building: Building, room: int) -> NDArray[np.bool_]:
    """Which places, in the order of the proof's, lie in a room."""
    shape = building.rooms[room].polygon.buffer(1e-6)
    sites = [place.site for verdict in proof.needs for place in verdict.places]
    return np.array([bool(shapely.intersects_xy(shape, *site.ground[:, :2].T).any()) for site in sites])


def _in_lines(
    kept: Sequence[DetectorSpec], bare: Proof, tasks: Sequence[_Task], candidates: Candidates,
    spots: Sequence[NDArray[np.integer]], best: _Found, seconds: float,
) -> _Found:  # fmt: skip
    """A choice that costs the same in fewer straight lines, where one is found that meets the needs as well."""
    lines: list[NDArray[np.integer]] = []
    for axis in (0, 1):
        lines += _groups(np.column_stack([np.round(candidates.at[:, axis], 2), candidates.room]))
    cost = candidates.cost
    tidy = in_lines(_wanted(tasks), cost, float(best[0].cost.sum()), lines, spots=spots, seconds=seconds)
    if tidy is None:
        return best
    chosen = candidates.some(tidy.chosen)
    detectors, proof = _judged(bare, kept, chosen)
    return (chosen, detectors, proof) if proof.met else best


def _spots(candidates: Candidates) -> list[NDArray[np.integer]]:
    """Candidates that hang at one spot."""
    key = np.column_stack([np.round(candidates.at, 3), candidates.room])
    return [part for part in _groups(key) if len(part) > 1]


def _groups(key: Floats) -> list[NDArray[np.integer]]:
    """Rows of a table (n, k) that are alike, by index."""
    _, group = np.unique(key, axis=0, return_inverse=True)
    order = np.argsort(group, kind="stable")
    return list(np.split(order, np.flatnonzero(np.diff(group[order])) + 1))


def _judged(bare: Proof, kept: Sequence[DetectorSpec], chosen: Candidates) -> tuple[list[DetectorSpec], Proof]:
    """Every detector, tagged room by room as one reads a plan, and the needs judged on all cells with them."""
    order = np.lexsort((chosen.at[:, 0], -chosen.at[:, 1], chosen.room))
    taken = {d.name for d in kept}
    free = (name for k in count(1) if (name := f"D{k}") not in taken)
    specs = [DetectorSpec(**chosen.spec(int(k), next(free))) for k in order]
    units = [replace(chosen.units[k], name=spec.name) for k, spec in zip(order, specs, strict=True)]
    verdicts = []
    for verdict in bare.needs:
        situation = replace(verdict.situation, units=(*verdict.situation.units, *units))
        sites = _sites(verdict, situation.units)
        verdicts.append(judge_need(verdict.need, sites, situation, assumed=verdict.assumed))
    return [*kept, *specs], replace(bare, needs=tuple(verdicts))


def _add_missed(tasks: Sequence[_Task], proof: Proof, candidates: Candidates) -> bool:
    """Look at missed cells of missed places too; whether there were any new ones."""
    found = False
    places = [place for verdict in proof.needs for place in verdict.places]
    for task in tasks:
        one = places[task.number]
        if one.met:
            continue
        enough = (one.margin_db >= 0).sum(axis=0) >= task.asked.need.by
        missed = np.setdiff1d(np.flatnonzero(~enough), task.asked.cells)
        if not len(missed):
            continue
        more = missed[np.unique(np.linspace(0, len(missed) - 1, _MORE).astype(int))]
        old = task.asked
        task.asked = with_cells(old, more)
        extra = replace(old, cells=more, weight=np.ones(len(more)))
        fresh = seen_by(candidates.units, extra, only=task.counts).tocsr()
        rows = sp.vstack([task.seen.tocsr(), fresh]).tocsr()
        task.seen = rows[np.argsort(np.concatenate([old.cells, more]))].tocsc()
        found = True
    return found
