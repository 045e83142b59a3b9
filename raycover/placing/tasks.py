"""What needs ask of candidates: cells, gaps, doors and ways as things to cover."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import count
from typing import Any

import numpy as np
import scipy.sparse as sp
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from raycover.placing.belonging import ZoneFloors
from raycover.placing.covering import Wanted
from raycover.placing.pool import Pool
from raycover.placing.quieting import Quiet
from raycover.placing.visibility import Asked
from raycover.proving.needs import NeedVerdict, PlaceVerdict, Proof
from raycover.proving.owning import home_of
from raycover.proving.sites import Site, Sites
from raycover.scene.needs import IN_A_ROOM, NeedSpec
from raycover.scene.schema import Scene
from raycover.walking.switching import switches_of
from raycover.walking.walk import rooms_along

Floats = NDArray[np.floating]
Ints = NDArray[np.integer]
Bools = NDArray[np.bool_]
#: Of the steps of a walk every so many-th is looked at, a second apart: hold times are far longer.
_EACH = 10
#: Steps are compared with what is asked with this tolerance (m, s).
_ROUNDING = 1e-9


@dataclass
class Task:
    """A place to cover: its candidates' view of it, and what units that stay do for it.

    `over`: by how much the cells looked at showed more of a share than all of them do.
    `roots`: the plain candidates that the need asks here, by index. `margins` (k cells, m) of them and their quieter
    ones. `counts` (k cells, room index) tells of a way in which rooms' units are heard at which of its cells, None
    where all are.
    """

    number: int  # among all places of the proof
    asked: Asked
    have: NDArray[np.integer]  # (n,) over all cells of the place
    roots: Ints
    margins: Any = None
    heard: Any = None
    hold_s: float = 0.0
    over: float = 0.0

    @property
    def need(self) -> NeedSpec:
        return self.asked.need

    def look(self, pool: Pool) -> None:
        """Cast what is not yet known of the candidates."""
        known = None if self.margins is None else self.margins.shape[1]
        found = pool.margins(self.asked, self.roots, self.margins)
        self.margins = found if self.heard is None else self._heard(found, pool, known or 0)

    def _heard(self, margins: Any, pool: Pool, first: int) -> Any:
        """The same without what counts for nothing: a unit is heard in its own room."""
        column = np.repeat(np.arange(margins.shape[1]), np.diff(margins.indptr))
        kept = (column < first) | self.heard[margins.indices, pool.candidates.room[column]]
        starts = np.concatenate([[0], np.cumsum(np.bincount(column[kept], minlength=margins.shape[1]))])
        return sp.csc_array((margins.data[kept], margins.indices[kept], starts), shape=margins.shape)

    def wanted(self, pool: Pool) -> list[Wanted]:
        """What this asks of the pool's candidates."""
        need, asked = self.need, self.asked
        seen = pool.seen(self.margins)
        have = self.have[asked.cells]
        if need.first_within is not None:
            return [_grouped(seen, have, self._lines())]
        if need.routes is not None:
            return [_grouped(seen, have, self._windows())]
        found = []
        if need.least_share is not None:
            found.append(Wanted(seen, asked.weight, need.least_share, need.by, have))
        if need.largest_gap is not None:
            found.append(_grouped(seen, have >= need.by, circles(asked, need.largest_gap)))
        return found

    def _lines(self) -> Any:
        """(lines, k): which of the steps that are allowed lie on which line in by a door."""
        line = self.asked.site.line_of[self.asked.cells]
        names, row = np.unique(line, return_inverse=True)
        return sp.csr_array((np.ones(len(row)), (row, np.arange(len(row)))), shape=(len(names), len(row)))

    def _windows(self) -> Any:
        """(stretches, k): of every stretch of a way as long as the hold time some step is noticed, and any of it."""
        time = np.asarray(self.asked.site.time_s)
        begin = np.append(time[self.asked.cells], time[-1])
        end = np.searchsorted(begin, begin[:-1] + self.hold_s - _ROUNDING)
        n = len(begin) - 1
        shut = np.flatnonzero(end <= n)
        # Of stretches with one end the shortest asks most.
        shut = shut[np.append(np.diff(end[shut]) > 0, True)] if len(shut) else shut
        spans = [(0, n), *zip(shut.tolist(), end[shut].tolist(), strict=True)]
        rows = np.repeat(np.arange(len(spans)), [b - a for a, b in spans])
        cells = np.concatenate([np.arange(a, b) for a, b in spans])
        return sp.csr_array((np.ones(len(rows)), (rows, cells)), shape=(len(spans), n))

    def missed(self, one: PlaceVerdict) -> Ints:
        """Cells of the place that too few units see."""
        return np.flatnonzero((one.margin_db >= 0).sum(axis=0) < self.need.by)


def _grouped(seen: Any, have: NDArray[Any], among: Any) -> Wanted:
    """Of each group of cells, rows of `among` (g, k), one at least is seen."""
    any_seen = (among @ seen.astype(float)) > 0
    return Wanted(any_seen.tocsr(), np.ones(among.shape[0]), 1.0, 1, (among @ (have > 0).astype(float) > 0).astype(int))


def circles(asked: Asked, widest: float, *, beyond: float = 0.0) -> Any:
    """(middles, k): the cells in every circle so wide, and `beyond` (m) wider all round, that lies in the place."""
    ground = asked.thinned.ground[:, :2]
    inner = np.asarray(shapely.contains_xy(asked.site.outline.buffer(-widest / 2 * 0.99), *ground.T))
    middles = np.flatnonzero(inner)
    near = cKDTree(ground).query_ball_point(ground[middles], widest / 2 + beyond)
    rows = np.repeat(np.arange(len(middles)), [len(n) for n in near])
    cells = np.array([c for n in near for c in n], int)
    return sp.csr_array((np.ones(len(rows)), (rows, cells)), shape=(len(middles), len(ground)))


def can_choose(need: NeedSpec) -> bool:
    """Whether units can be placed for a need: how large a zone is no unit changes."""
    return not need.only_area


def places_of(scene: Scene, bare: Proof, pool: Pool) -> tuple[list[Task], list[Quiet]]:
    """Places to be seen and places to keep quiet, of needs that units can be placed for, with whom each asks."""
    seen: list[Task] = []
    quiet: list[Quiet] = []
    number = count()
    for verdict in bare.needs:
        asked_of = _Asked(scene, verdict, pool)
        for one in verdict.places:
            k = next(number)
            if not can_choose(verdict.need):
                continue
            roots = asked_of.roots(one.site)
            asked = Asked(verdict.need, verdict.situation, one.site, np.arange(len(one.site)), one.site.area)
            if verdict.need.never:
                quiet.append(Quiet(k, asked, roots))
            elif verdict.need.routes is not None:
                seen.append(_way(scene, k, one, asked, roots, pool))
            elif verdict.need.first_within is not None:
                seen.append(_door(k, one, asked, roots, pool))
            else:
                seen.append(Task(k, asked, noticed(one), roots))
    return seen, quiet


def noticed(one: PlaceVerdict) -> NDArray[np.integer]:
    """(n,) by how many of the units asked each cell is seen."""
    return (one.margin_db >= 0).sum(axis=0) if len(one.margin_db) else np.zeros(len(one.site), int)


class _Asked:
    """Which plain candidates a need asks at each of its places."""

    def __init__(self, scene: Scene, verdict: NeedVerdict, pool: Pool) -> None:
        self._need, self._pool = verdict.need, pool
        self._building = verdict.situation.building
        need, situation = verdict.need, verdict.situation
        named = list(pool.candidates.units)
        self._over: dict[str, tuple[Bools, Bools]] = {}
        if need.whose is None or need.where in IN_A_ROOM or need.walked:
            pass
        elif need.zones is None:
            self._over = Sites(situation.scene, situation.building, named).belonging(need)
        else:
            self._over = ZoneFloors(situation.scene, situation.building).belonging(need, named)

    def roots(self, site: Site) -> Ints:
        need = self._need
        n = len(self._pool)
        if need.detectors is not None:
            return np.zeros(0, int)
        if need.whose is not None and need.where in IN_A_ROOM:
            home = home_of(site.ground, self._building)
            return np.flatnonzero((self._pool.candidates.room == home) & (home >= 0))
        if need.whose is not None and not need.walked:
            own, others = self._over[site.name]
            return np.flatnonzero(own if need.whose == "own" else others)
        if need.first_within is not None:
            here = [self._building.rooms[k].name == site.owner for k in range(len(self._building.rooms))]
            mine = np.flatnonzero(np.array(here, bool)[self._pool.candidates.room])
            if need.whose is not None:  # those over the aisle
                return mine[shapely.dwithin(site.floor, shapely.points(self._pool.candidates.at[mine]), 1e-6)]
            return mine if len(mine) else np.arange(n)
        return np.arange(n)


def _door(number: int, one: PlaceVerdict, asked: Asked, roots: Ints, pool: Pool) -> Task:
    """A door: of each line in some step that is allowed is noticed, by the room's own units where it may have any."""
    within = asked.need.first_within
    assert within is not None
    allowed = np.flatnonzero(asked.site.walked <= within + _ROUNDING)
    building = asked.situation.building
    have = noticed(one)
    if len(roots) < len(pool):  # who hangs elsewhere counts only where nobody hangs in the room
        units = [asked.situation.units[k] for k in one.units]
        mine = [getattr(building.room_at(*unit.position.tolist()), "name", None) == asked.site.owner for unit in units]
        have = (one.margin_db[np.array(mine, bool)] >= 0).sum(axis=0) if any(mine) else np.zeros(len(one.site), int)
    return Task(number, replace(asked, cells=allowed, weight=np.ones(len(allowed))), have, roots)


def _way(scene: Scene, number: int, one: PlaceVerdict, asked: Asked, roots: Ints, pool: Pool) -> Task:
    """A way: nobody on it goes unnoticed for the hold time. In a room that may have units, its own are heard."""
    site, building = asked.site, asked.situation.building
    track = site.lines[0].track
    units = asked.situation.units
    here = rooms_along(track, building)
    home = building.rooms_at(np.array([unit.position for unit in units]).reshape(-1, 3))
    manned = np.unique(np.concatenate([home, pool.candidates.room]))
    foreign = ~np.isin(here, manned)
    heard = (np.arange(len(building.rooms)) == here[:, None]) | foreign[:, None]
    silent = replace(site, rooms=None)
    have = np.zeros(len(site), int)
    for k in one.units:
        counts = (here == home[k]) | foreign
        have += counts & (asked.situation.margin_db(units[k], silent) >= 0)
    # A stop is one cell for all its steps.
    still = (np.diff(track.position, axis=0) == 0).all(axis=1) & (np.diff(track.pose) == 0)
    still &= np.diff(here) == 0
    begins = np.append(True, ~still)
    walked = np.cumsum(begins)
    cells = np.flatnonzero(begins & (np.append(still, False) | (walked % _EACH == 0)))
    zones = [zone.hold_s for zone in scene.zones if zone.hold_s is not None]
    hold = min([switch.hold_s for switch in switches_of(scene)] + zones + [scene.conditions.hold_s])
    hold -= (_EACH + 1) * track.step_s  # nobody looks whether they are noticed between two steps looked at
    task = replace(asked, site=silent, cells=cells, weight=np.ones(len(cells)))
    near = roots[heard[cells].any(axis=0)[pool.candidates.room[roots]]]
    return Task(number, task, have, near, heard=heard[cells], hold_s=hold)
