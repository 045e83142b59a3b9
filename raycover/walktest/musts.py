"""Points that must be tested whatever they tell: where nobody may trip a unit, what is missed, gaps, shadows, seats."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import zip_longest

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from raycover.walktest.candidates import Candidates, Wanted
from raycover.walktest.choosing import spread_out
from raycover.walktest.floor import Floor
from raycover.walktest.moves import MOVES
from raycover.walktest.situated import ON_FLOOR, Situated
from raycover.walktest.telling import in_open_db

Floats = NDArray[np.floating]
Bools = NDArray[np.bool_]
#: This share of the points at most is there because it must, the rest for what it tells.
_MUST_SHARE = 0.6
#: Where the margin changes by more than this (dB) from one place to the next, a foot aside changes the answer.
_STEEP_DB = 8.0
#: So many gaps of a storey are looked at, the largest.
_MOST_GAPS = 3
#: A point in a unit's own field lies at least so far (m) from below it.
_BESIDE_UNIT_M = 1.0


def must_test(
    there: Situated,
    candidates: Candidates,
    wanted: Sequence[Wanted],
    floors: Sequence[Floor],
    margin: Floats,
    by_unit: Floats,
    n: int,
) -> tuple[dict[int, str], Bools]:
    """Candidates that must be tested with the reason, and which (n,) lie in steady surroundings."""
    steady = np.ones(len(margin), bool)
    gaps: list[tuple[float, int]] = []
    shadows: list[int] = []
    open_db = _open_db(there, candidates)
    for k, block in enumerate(candidates.blocks):
        if block.floor < 0:
            continue
        span = candidates.span(k)
        floor, mine = floors[block.floor], np.maximum(margin[span], -60.0)
        steady[span] = _steady(floor, mine)
        gaps += [(area, span.start + at) for area, at in _gap(floor, mine)]
        shadows += [span.start + at for at in _shadows(floor, mine, open_db[span], n // 6)]
    kinds: list[list[tuple[int, str]]] = [
        [(_most(w.within, margin), f'nobody here may trip a unit ("{w.need}")') for w in wanted if w.never],
        [(_most(w.within, -margin), f'missed ("{w.need}", {w.place})') for w in wanted if not w.never and w.missed],
        _needed(wanted, margin),
        [(at, "in a gap") for _, at in sorted(gaps, reverse=True)[: max(n // 6, 1)]],
        _places(candidates, margin, "seat", n),
        _places(candidates, margin, "cubicle", n),
        [(at, "hidden though in reach") for at in shadows],
        _fields(there, candidates, by_unit, steady, n),
    ]
    rounds = [one for some in zip_longest(*kinds) for one in some if one is not None]
    must: dict[int, str] = {}
    for at, reason in rounds:
        if len(must) < max(int(_MUST_SHARE * n), 1):
            must.setdefault(at, reason)
    return must, steady


def _most(within: NDArray[np.intp], value: Floats) -> int:
    return int(within[int(np.nan_to_num(value[within], posinf=1e9, neginf=-1e9).argmax())])


def _needed(wanted: Sequence[Wanted], margin: Floats) -> list[tuple[int, str]]:
    """Of every need that is met, the place with the least margin."""
    least: dict[str, tuple[float, int, str]] = {}
    for w in wanted:
        if not w.never and not w.missed:
            at = _most(w.within, -margin)
            found = (float(margin[at]), at, f'needed ("{w.need}", {w.place})')
            least[w.need] = min(least.get(w.need, found), found)
    return [(at, words) for _, at, words in least.values()]


def _places(candidates: Candidates, margin: Floats, sort: str, n: int) -> list[tuple[int, str]]:
    """Seats or cubicles: of each sort the ones nearest to the edge, then the rest."""
    some = np.flatnonzero([one == sort for one in candidates.sorts])
    order = some[np.argsort(np.abs(np.maximum(margin[some], -60.0)), kind="stable")]
    return [(int(k), f"a {sort}") for k in order[: max(n // 6, 1)]]


def _fields(there: Situated, candidates: Candidates, by_unit: Floats, steady: Bools, n: int) -> list[tuple[int, str]]:
    """A place in each unit's own field, where it leads the others most: does it answer at all? Of many units some."""
    floor = np.flatnonzero(steady & np.array([sort == "floor" for sort in candidates.sorts], bool))
    if not len(floor):
        return []
    home = there.building.rooms_at(np.array([unit.position for unit in there.units]))
    room = there.building.rooms_at(candidates.ground[floor] + ON_FLOOR)
    found = []
    for k in np.unique(
        np.linspace(0, len(there.units) - 1, min(len(there.units), max(n // 4, 1))).astype(int)
    ).tolist():
        mine = by_unit[floor, k]
        others = np.delete(by_unit[floor], k, axis=1).max(axis=1, initial=-np.inf)
        away = np.linalg.norm(candidates.ground[floor, :2] - there.units[k].position[:2], axis=1)
        # Enough is enough: of places where it leads well, the one farthest out; never right below it.
        lead = np.minimum(np.minimum(mine, 12.0) - np.maximum(others, -20.0), 20.0)
        own = (room == home[k]) & (mine >= 3.0) & (away >= _BESIDE_UNIT_M)
        lead = np.where(own, lead + 0.01 * away, -np.inf)
        if np.isfinite(lead.max()):
            found.append((int(floor[int(lead.argmax())]), f"in the field of {there.units[k].name}"))
    return found


def _open_db(there: Situated, candidates: Candidates) -> Floats:
    """Best margin (n,) with nothing in the way."""
    best = np.full(len(candidates.ground), -np.inf)
    keys = np.array(candidates.moves, object)
    for key in dict.fromkeys(candidates.moves):
        at = np.flatnonzero(keys == key)
        for unit in there.units:
            for height in MOVES[key].heights:
                points = candidates.ground[at] + [0, 0, height]
                best[at] = np.maximum(best[at], in_open_db(unit, points, MOVES[key].motion, there.weather))
    return best


def _local(floor: Floor, value: Floats, most: bool, size: int = 3) -> Floats:
    """The most, or least, of values (n,) of places about each place."""
    empty = -np.inf if most else np.inf
    whole = np.full(floor.shape, empty)
    whole[floor.rows, floor.columns] = value
    found = (ndimage.maximum_filter if most else ndimage.minimum_filter)(whole, size, mode="constant", cval=empty)
    return np.asarray(found[floor.rows, floor.columns])


def _steady(floor: Floor, margin: Floats) -> Bools:
    return np.asarray(_local(floor, margin, True) - _local(floor, margin, False) <= _STEEP_DB)


def _gap(floor: Floor, margin: Floats) -> list[tuple[float, int]]:
    """The largest connected areas where nobody is noticed: (m², the place deepest in it) of each."""
    missed = floor.raster(margin < 0)
    labels, n = ndimage.label(missed, np.ones((3, 3), int))
    if not n:
        return []
    sizes = np.bincount(labels.ravel())[1:]
    depth = ndimage.distance_transform_edt(np.pad(missed, 1))[1:-1, 1:-1][floor.rows, floor.columns]
    found = []
    for label in np.argsort(-sizes, kind="stable")[:_MOST_GAPS].tolist():
        within = labels[floor.rows, floor.columns] == label + 1
        found.append((float(sizes[label]) * floor.step**2, int(np.where(within, depth, -1.0).argmax())))
    return found


def _shadows(floor: Floor, margin: Floats, open_db: Floats, n: int) -> list[int]:
    """Places that something hides though they lie well in reach, deep enough that a foot aside changes nothing."""
    hidden = (open_db >= 1.0) & (_local(floor, margin, True) < -1.0) & (_local(floor, margin, True, 7) >= 0)
    some = np.flatnonzero(hidden)
    return [int(some[k]) for k in spread_out(floor.places[some], open_db[some], n)]
