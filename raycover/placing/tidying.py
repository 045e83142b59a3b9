"""Of layouts that cost the same the tidiest: even rows and columns, mirror symmetry, few straight lines."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from itertools import islice
from typing import Any

import numpy as np
import scipy.sparse as sp
import shapely
from numpy.typing import NDArray

from raycover.building.parts import Building
from raycover.placing.covering import Wanted, in_lines
from raycover.placing.judging import Judge, Judged
from raycover.placing.lattices import lattices
from raycover.placing.offers import Candidates, Hung, hung_at, joined
from raycover.placing.pool import Pool
from raycover.placing.tasks import Task
from raycover.proving.hanging import HangingPlaces
from raycover.proving.needs import Proof
from raycover.scene.placing import PlacingSpec

Floats = NDArray[np.floating]
Ints = NDArray[np.integer]
#: So many regular layouts a room are judged.
_LATTICES = 150
#: In a hall of more units than so nobody sees that they make one field.
_MOST_EVEN = 120
#: Mirror images about a room's middle: of x and y, of x alone, of y alone; looked for in no more rooms than so.
_AXES, _ROOMS = ((True, True), (True, False), (False, True)), 6


def evened(
    judge: Judge, spec: PlacingSpec, tasks: Sequence[Task], pool: Pool, best: Judged,
    failed: set[tuple[int, tuple[Hung, ...]]], lacking: Collection[int] = (),
) -> Judged:  # fmt: skip
    """The same with rows and columns in each room where they cost no more and meet every need there.

    `failed`: what was judged for a room before and met them not; it is not judged again. Rooms with places that cannot
    be seen as asked, `lacking` by number, stay as they are.
    """
    building = judge.bare.needs[0].situation.building
    hanging = HangingPlaces(judge.scene, building)
    for room in np.unique(best.chosen.room).tolist():
        mine = best.chosen.room == room
        if mine.sum() > _MOST_EVEN:
            continue
        here = _places_in(best.proof, building, room)
        if here[list(lacking)].any():
            continue
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
    judge: Judge, wanted: Sequence[Wanted], pool: Pool, spots: Sequence[Ints], best: Judged, seconds: float
) -> Judged:
    """A choice that costs the same, in fewer straight lines and where there is one mirrored about the rooms' middles.

    Room by room a symmetric one is looked for, in time; what is found is judged, and the best kept else.
    """
    building = judge.bare.needs[0].situation.building
    rooms, counts = np.unique(best.chosen.room, return_counts=True)
    several = rooms[counts > 1].tolist()[:_ROOMS]
    each = seconds / (len(_AXES) * len(several) + 1)
    folds: dict[int, tuple[bool, bool]] = {}
    found = best
    for room in several:
        for axes in _AXES:
            tried = _tidied(judge, wanted, pool, spots, best, {**folds, room: axes}, building, each)
            if tried is not None:
                found, folds[room] = tried, axes
                break
    if folds:
        return found
    tried = _tidied(judge, wanted, pool, spots, best, {}, building, each)
    return best if tried is None else tried


def _tidied(
    judge: Judge, wanted: Sequence[Wanted], pool: Pool, spots: Sequence[Ints], best: Judged,
    folds: Mapping[int, tuple[bool, bool]], building: Building, seconds: float,
) -> Judged | None:  # fmt: skip
    """The choice on fewest lines that does as much as `best` for no more, of lots as `folds` makes them, or None."""
    lots = orbits(pool.candidates, building, folds)
    if not lots.shape[1]:
        return None
    lot_of = lots.tocsr()
    one_of = [replace(one, seen=(one.seen.astype(float) @ lots).tocsr()) for one in wanted]
    at, room = pool.candidates.at, pool.candidates.room
    lines: list[Ints] = []
    for axis in (0, 1):
        lines += groups(np.column_stack([np.round(at[:, axis], 2), room]))
    some = [np.unique(lot_of[line].indices) for line in lines]
    once = [np.unique(lot_of[spot].indices) for spot in spots]
    extra = np.where(pool.candidates.easy, 0.0, 1.0) @ lots
    tidy = in_lines(
        one_of, pool.cost @ lots, best.cost, [line for line in some if len(line)],
        spots=[spot for spot in once if len(spot) > 1], seconds=seconds, extra=extra,
    )  # fmt: skip
    if tidy is None:
        return None
    chosen = np.unique(lots[:, tidy.chosen].indices)
    now = judge.judge(pool.candidates.some(chosen))
    return now if (now.met >= best.met).all() and now.cost <= best.cost * (1 + 1e-9) else None


def spots_of(candidates: Candidates) -> list[Ints]:
    """Candidates that hang at one spot."""
    key = np.column_stack([np.round(candidates.at, 3), candidates.room])
    return [part for part in groups(key) if len(part) > 1]


def groups(key: Floats) -> list[Ints]:
    """Rows of a table (n, k) that are alike, by index."""
    _, group = np.unique(key, axis=0, return_inverse=True)
    order = np.argsort(group, kind="stable")
    return list(np.split(order, np.flatnonzero(np.diff(group[order])) + 1))


def orbits(candidates: Candidates, building: Building, folds: Mapping[int, tuple[bool, bool]]) -> Any:
    """(m, q) CSC, 1 where a candidate belongs to a lot taken as one: mirror images in rooms (by index) of `folds`.

    Images lie about the middle of the room's bounding box. What has none is in no lot; what is masked has none.
    """
    number: dict[tuple[Any, ...], int] = {}
    keys = [_key(candidates, k, candidates.at[k], candidates.offers[candidates.offer[k]].turn_deg)
            for k in range(len(candidates))]  # fmt: skip
    for k, key in enumerate(keys):
        number.setdefault(key, k)
    lots: list[tuple[int, ...]] = []
    for k in range(len(candidates)):
        fold = folds.get(int(candidates.room[k]))
        if fold is None:
            lots.append((k,))
            continue
        images = _images(candidates, building, k, fold, number)
        if images is not None and min(images) == k:
            lots.append(images)
    rows = np.array([k for lot in lots for k in lot], int)
    starts = np.concatenate([[0], np.cumsum([len(lot) for lot in lots])])
    return sp.csc_array((np.ones(len(rows), np.int8), rows, starts), shape=(len(candidates), len(lots)))


def _images(
    candidates: Candidates, building: Building, k: int, fold: tuple[bool, bool], number: Mapping[tuple[Any, ...], int]
) -> tuple[int, ...] | None:
    """A candidate and its mirror images, by index; None where one is missing."""
    if candidates.masks[k]:
        return None
    x0, y0, x1, y1 = building.rooms[candidates.room[k]].polygon.bounds
    found = {k}
    places = [(candidates.at[k], candidates.offers[candidates.offer[k]].turn_deg)]
    if fold[0]:
        places += [(np.array([x0 + x1 - at[0], at[1]]), 180 - turn) for at, turn in places]
    if fold[1]:
        places += [(np.array([at[0], y0 + y1 - at[1]]), -turn) for at, turn in places]
    for at, turn in places[1:]:
        image = number.get(_key(candidates, k, at, turn))
        if image is None:
            return None
        found.add(image)
    there = {tuple(np.round(candidates.at[one], 3)) for one in found}
    return tuple(sorted(found)) if len(there) == len(found) else None  # no two at one spot


def _key(candidates: Candidates, k: int, at: Floats, turn_deg: float) -> tuple[Any, ...]:
    """What a candidate and its image have in common, with a place and a turn; half a turn shows with one-sided ones."""
    offer, unit = candidates.offers[candidates.offer[k]], candidates.units[k]
    turn = round(turn_deg % (360 if unit.is_one_sided else 180), 1)
    x, y = (round(float(v), 2) + 0.0 for v in at)
    return (
        int(candidates.room[k]),
        offer.model.name,
        offer.mounting,
        offer.tilt_deg,
        float(candidates.pct[k]),
        turn,
        x,
        y,
    )
