"""Of layouts that cost the same the tidiest: even rows and columns, mirror symmetry, few straight lines."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import islice

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.building.parts import Building
from raycover.hanging import HangingPlaces
from raycover.needs import Proof
from raycover.placing.covering import in_lines
from raycover.placing.judging import Judge, Judged
from raycover.placing.lattices import lattices
from raycover.placing.offers import Candidates, Hung, hung_at, joined
from raycover.placing.pool import Pool
from raycover.placing.tasks import Task
from raycover.scene.placing import PlacingSpec

Floats = NDArray[np.floating]
Ints = NDArray[np.integer]
#: So many regular layouts a room are judged.
_LATTICES = 150


def evened(
    judge: Judge, spec: PlacingSpec, tasks: Sequence[Task], pool: Pool, best: Judged,
    failed: set[tuple[int, tuple[Hung, ...]]],
) -> Judged:  # fmt: skip
    """The same with rows and columns in each room where they cost no more and meet every need there.

    `failed`: what was judged for a room before and met them not; it is not judged again.
    """
    building = judge.bare.needs[0].situation.building
    hanging = HangingPlaces(judge.scene, building)
    for room in np.unique(best.chosen.room).tolist():
        mine = best.chosen.room == room
        here = _places_in(best.proof, building, room)
        met = best.met
        spent = float(best.chosen.cost[mine].sum())
        least = _least_units(tasks, pool, np.flatnonzero(here))
        lots = lattices(hanging, spec, pool.candidates, room, least, spent)
        for lattice in islice(lots, _LATTICES):
            grid = hung_at(judge.scene, building.rooms[room], room, lattice.offer, lattice.at)
            tried = joined([best.chosen.some(~mine), grid])
            hung = room, tuple(tried.hung(k) for k in range(len(tried)))
            if hung in failed:
                continue
            now = judge.judge(tried)
            if not now.met[here].all():
                failed.add(hung)
            elif (now.met >= met).all():
                best = now
                break
    return best


def _least_units(tasks: Sequence[Task], pool: Pool, places: Ints) -> int:
    """No fewer units than this see any of some places (by number): each is seen by none more than by its best."""
    least = 1
    for task in tasks:
        share = task.need.least_share
        if task.number in places and share is not None and not task.have.any():
            seen = pool.seen(task.margins)
            most = float((seen.T.astype(float) @ task.asked.weight).max(initial=0.0))
            if most > 0:
                least = max(least, int(np.ceil(share * task.asked.weight.sum() / most * 0.98)))
    return least


def _places_in(proof: Proof, building: Building, room: int) -> NDArray[np.bool_]:
    """Which places, in the order of the proof's, lie in a room."""
    shape = building.rooms[room].polygon.buffer(1e-6)
    sites = [place.site for verdict in proof.needs for place in verdict.places]
    return np.array([bool(shapely.intersects_xy(shape, *site.ground[:, :2].T).any()) for site in sites])


def lined_up(
    judge: Judge, tasks: Sequence[Task], pool: Pool, spots: Sequence[Ints], best: Judged, seconds: float
) -> Judged:
    """A choice that costs the same in fewer straight lines, where one is found that meets the needs as well."""
    lines: list[Ints] = []
    at, room = pool.candidates.at, pool.candidates.room
    for axis in (0, 1):
        lines += groups(np.column_stack([np.round(at[:, axis], 2), room]))
    wanted = [one for task in tasks for one in task.wanted(pool)]
    extra = np.where(pool.candidates.plain, 0.0, 1.0)
    tidy = in_lines(wanted, pool.cost, best.cost, lines, spots=spots, seconds=seconds, extra=extra)
    if tidy is None:
        return best
    now = judge.judge(pool.candidates.some(tidy.chosen))
    return now if now.proof.met else best


def spots_of(candidates: Candidates) -> list[Ints]:
    """Candidates that hang at one spot."""
    key = np.column_stack([np.round(candidates.at, 3), candidates.room])
    return [part for part in groups(key) if len(part) > 1]


def groups(key: Floats) -> list[Ints]:
    """Rows of a table (n, k) that are alike, by index."""
    _, group = np.unique(key, axis=0, return_inverse=True)
    order = np.argsort(group, kind="stable")
    return list(np.split(order, np.flatnonzero(np.diff(group[order])) + 1))
