"""Two units near each other made one between them, at places finer than a pitch, where that meets as much.

The search chooses among whole pitches, and even rows are tried with units as they come. Where units are set lower lest
they trip, half a pitch decides whether one of them is enough: over an aisle that a lens just fills, a few centimetres.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from itertools import islice, pairwise

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial.distance import pdist, squareform

from raycover.placing.candidates import MIDDLE, aisles_along, beside_middles, free_places
from raycover.placing.judging import Judge, Judged
from raycover.placing.offers import NOBODY, Candidates, hung_at, joined
from raycover.proving.hanging import OFF_WALL_M, ROUND_M, HangingPlaces
from raycover.proving.needs import Proof
from raycover.scene.devices import DetectorSpec
from raycover.scene.placing import PITCH, PlacingSpec
from raycover.scene.schema import Scene

Floats = NDArray[np.floating]
#: Units no farther apart (m) than so are near each other: a designer would hang one. Common practice, no source.
#: On a ceiling places tried lie this share of that apart, on whole steps (m), no closer than so, this many each way
#: from the middle; along an aisle, a line or a wall on every such step from one unit to the other.
_NEAR, _SHARE, _CLOSEST, _EACH_WAY = 1.5 * PITCH, 0.2, 0.1, 3
#: Along one aisle, line or wall they may be so far apart (m): even rows spread what one would do.
_ALONG = 4 * PITCH
#: So many pairs are tried, of no more units than so: beside many others, all of them are judged anew each time.
_PAIRS, _MOST = 3, 12
#: Chooses from few candidates beside units that stay: a choice judged, or None.
Choose = Callable[[list[DetectorSpec], Proof, Candidates, float], Judged | None]


def merged(
    scene: Scene, spec: PlacingSpec, judge: Judge, best: Judged, choose: Choose, prove: Callable[[Scene], Proof],
    until: float,
) -> Judged:  # fmt: skip
    """The same with pairs near each other made one where that meets as much for less; no pair is begun after `until`.

    What two share they keep: the middle of their aisle, their line, their wall. Units at a pitch that was asked for, of
    two walls or of two aisles stay as they are.
    """
    if spec.pitch is not None or len(best.chosen) > _MOST:
        return best
    hanging = HangingPlaces(scene, judge.bare.needs[0].situation.building)
    for pair in _near(hanging, spec, best.chosen):
        if time.perf_counter() > until:
            break
        rest = np.setdiff1d(np.arange(len(best.chosen)), pair)
        fine = _between(scene, hanging, spec, best.chosen.some(pair))
        if not len(fine):
            continue
        beside = [best.detectors[len(judge.kept) + best.order.index(k)] for k in rest.tolist()]
        stay = [*judge.kept, *beside]
        bare = prove(judge.bare.scene.model_copy(update={"detectors": stay}))
        one = choose(stay, bare, fine, max(until - time.perf_counter(), 1.0))
        if one is None:
            continue
        now = judge.judge(joined([best.chosen.some(rest), one.chosen]))
        if (now.met >= best.met).all() and now.cost < best.cost - 1e-9:
            return merged(scene, spec, judge, now, choose, prove, until)
    return best


def _near(hanging: HangingPlaces, spec: PlacingSpec, chosen: Candidates) -> list[NDArray[np.intp]]:
    """Pairs in a room, both on its ceiling or both on walls, the nearest to each other first."""
    if len(chosen) < 2:
        return []
    apart = squareform(pdist(chosen.at))
    on_wall = np.array([unit.is_one_sided for unit in chosen.units])
    apart[(chosen.room[:, None] != chosen.room) | (on_wall[:, None] != on_wall)] = np.inf
    first, second = np.triu_indices(len(chosen), 1)
    order = np.argsort(apart[first, second], kind="stable")
    pairs = np.column_stack([first, second])[order[apart[first, second][order] <= _ALONG + 1e-9]]
    near = (p for p in pairs if apart[p[0], p[1]] <= _NEAR + 1e-9 or _on_one_line(hanging, spec, chosen.some(p)))
    return list(islice(near, _PAIRS))


def _between(scene: Scene, hanging: HangingPlaces, spec: PlacingSpec, pair: Candidates) -> Candidates:
    """Units of the pair's kinds, as they come, between them: along what both hang along, else about their middle."""
    room = int(pair.room[0])
    shape = hanging.building.rooms[room]
    on_wall = pair.units[0].is_one_sided
    apart = float(np.linalg.norm(pair.at[1] - pair.at[0]))
    if _on_one_line(hanging, spec, pair):
        steps = np.arange(0, apart + 1e-9, ROUND_M)[:, None]
        places = pair.at[0] + steps * (pair.at[1] - pair.at[0]) / max(apart, 1e-9)
    elif on_wall or "ceiling" not in spec.sorts:
        return NOBODY
    else:
        steps = np.arange(-_EACH_WAY, _EACH_WAY + 1) * max(round(_SHARE * apart / ROUND_M) * ROUND_M, _CLOSEST)
        middle = np.round(pair.at.mean(axis=0) / ROUND_M) * ROUND_M
        places = middle + np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2)
    lots = []
    for k in np.unique(pair.offer).tolist():
        offer = pair.offers[k]
        off = OFF_WALL_M / 2 if on_wall else None
        good = free_places(hanging, spec, shape, places, offer.mounting, from_wall=off)
        if on_wall:  # not across a recess
            good &= shapely.distance(shape.polygon.exterior, shapely.points(places)) <= OFF_WALL_M + 1e-3
        else:
            good &= ~beside_middles(spec, aisles_along(hanging, spec, shape, offer.mounting), places)
        lots.append(hung_at(scene, shape, room, offer, places[good]))
    return joined(lots)


def _on_one_line(hanging: HangingPlaces, spec: PlacingSpec, pair: Candidates) -> bool:
    """Whether two hang over the middle of one aisle, or on one straight part of a line or of a wall."""
    if pair.units[0].is_one_sided:
        one, other = (np.radians(pair.offers[k].turn_deg) for k in pair.offer)
        square = np.array([np.cos(one), np.sin(one)]) @ (pair.at[1] - pair.at[0])
        return bool(np.cos(one - other) > 1 - 1e-6 and abs(square) <= MIDDLE)
    lines = [np.asarray(aisle.middle) for aisle in hanging.aisles] if "aisles" in spec.sorts else []
    if "lines" in spec.sorts:
        lines += [np.array(part) for line in spec.lines for part in pairwise(line)]
    points = shapely.points(pair.at)
    return any((shapely.distance(shapely.LineString(line), points) <= MIDDLE).all() for line in lines)
