"""`place`: the fewest or cheapest units that meet a scene's needs, with a bound that says how far from the best.

`searching` finds the units; where every cell is asked its bound holds, of shares and gaps that for all cells is found
by itself (`bounding`).
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
import shapely

from raycover.building.parts import Building
from raycover.errors import InputError, Problem
from raycover.placing.bounding import bound_for_all
from raycover.placing.candidates import find_candidates
from raycover.placing.judging import Judged
from raycover.placing.kinds import Among, of_fewer_models
from raycover.placing.merging import Choose, merged
from raycover.placing.offers import Candidates
from raycover.placing.searching import Progress, Search
from raycover.placing.tasks import can_choose
from raycover.placing.tidying import spots_of
from raycover.proving.needs import Proof, prove
from raycover.scene.devices import DetectorSpec
from raycover.scene.needs import NeedSpec
from raycover.scene.placing import PlacingSpec
from raycover.scene.schema import Scene
from raycover.scene.wiring_checks import members

#: No more candidates than this: memory and minutes. A coarser pitch, or fewer models, gives fewer.
MOST_CANDIDATES = 60_000
#: Of the time allowed this share may go into a bound for all cells, and this into units near each other at least.
_BOUND_SHARE, _MERGE_SHARE = 0.3, 0.15


@dataclass(frozen=True)
class Layout:
    """A proposal. `detectors`: every detector of the new scene, those that stay first; `proof` of it, on all cells.

    `zones`: the detectors of every zone then. `cost` that of the new units, `bound`: no choice of these candidates
    costs less, for all cells where `bound_of_all`, else as far as the cells looked at tell. `optimal` where the two are
    one, `out_of_time` where the optimiser was stopped; `per_unit`: without prices each unit counts 1. `n_banned` plain
    candidates trip where they must not, `n_quieter` are masked or set lower so that they do not. `notes`: what was not
    asked as written; `lacking`: what nothing offered can meet, so that only as much as can be is placed for.
    `interrupted`: by ^C, this being the best until then; `undone` says what was left out for it. A unit that took the
    place of two (`merging`) is none of the candidates: the cost may then be less than they allow.
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
    undone: tuple[str, ...] = ()

    @property
    def met(self) -> bool:
        return self.proof.met


def place(
    scene: Scene, spec: PlacingSpec | None = None, *, seconds: float = 60.0, progress: Progress | None = None,
    on_interrupt: Callable[[], None] | None = None,
) -> Layout:  # fmt: skip
    """Propose detectors for the needs of a scene.

    `spec`: what may hang where, the scene's own if None. `seconds`: time for the optimiser; what it has by then is
    taken, with the bound it proved; after ^C likewise, once there is a layout: `on_interrupt` is called, and some more
    seconds, or until another ^C, go into making it whole. Raises InputError where nothing offered can meet what is
    asked of any place, naming the cells.
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
    search = Search(scene, spec, kept, bare, candidates, progress)
    found = search.run(seconds, on_interrupt)
    best, bound, interrupted, undone = found.best, found.bound, found.interrupted, found.undone
    pool = search.pool
    n_plain = len(candidates)
    whole = all(task.need.least_share == 1.0 or task.need.walked for task in search.tasks)
    whole &= not any(task.need.largest_gap for task in search.tasks)
    lacking: tuple[Problem, ...] = ()
    try:
        if best.proof.met and not interrupted:
            until = max(began + seconds, time.perf_counter() + seconds * _MERGE_SHARE)
            united = partial(merged, scene, spec, search.judge, choose=_chosen_beside(scene, spec), prove=prove)
            best = united(best, until=until)
            fewer = of_fewer_models(search, best, _chosen_among(scene, spec, kept, bare, candidates), until)
            best = best if fewer is best else united(fewer, until=until)
        best = search.judge.judge(best.chosen, with_ways=True)
        lacking = () if interrupted else search.lacking_in(best)
        if interrupted or lacking:
            whole = False
        elif not whole and best.proof.met:
            for_all = bound_for_all(search.tasks, pool, spots_of(pool.candidates), seconds * _BOUND_SHARE)
            if for_all is not None:
                bound, whole = for_all, True
    except KeyboardInterrupt:  # there is nothing more to do about the layout itself
        if not interrupted:
            interrupted, undone = True, ("a bound for all cells",)
    total = best.cost
    return Layout(
        scene, best.detectors, tuple(d.name for d in best.detectors[len(kept) :]), dict(best.zones), best.proof,
        total, min(bound, total), whole, bool(bound >= total - 1e-6), not found.in_time, not spec.prices,
        n_plain, int((~pool.alive[:n_plain]).sum()), len(pool) - n_plain,
        sum(len(task.asked.cells) for task in search.tasks), found.rounds, time.perf_counter() - began,
        notes, lacking, interrupted, undone,
    )  # fmt: skip


def _chosen_beside(scene: Scene, spec: PlacingSpec) -> Choose:
    """A search of a few candidates beside units that stay, for `merged`; None where it meets not all."""
    plain = spec.model_copy(update={"regular": False})

    def choose(stay: list[DetectorSpec], bare: Proof, few: Candidates, seconds: float) -> Judged | None:
        try:
            found = Search(scene, plain, stay, bare, few, None).run(seconds).best
        except InputError:  # none of them does what is asked
            return None
        return found if found.proof.met else None

    return choose


def _chosen_among(
    scene: Scene, spec: PlacingSpec, kept: list[DetectorSpec], bare: Proof, candidates: Candidates
) -> Among:  # fmt: skip
    """A search of candidates of some models alone, for `of_fewer_models`; None where it meets not all."""

    def among(models: tuple[str, ...], seconds: float) -> Judged | None:
        names = np.array([offer.model.name for offer in candidates.offers])[candidates.offer]
        some = candidates.some(np.isin(names, models))
        try:
            found = Search(scene, spec.model_copy(update={"models": list(models)}), kept, bare, some, None).run(seconds)
        except InputError:  # they cannot see what is asked
            return None
        if found.interrupted:
            raise KeyboardInterrupt
        return found.best if found.best.proof.met else None

    return among


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
