"""Two units near each other made one between them, at places finer than a pitch, where that meets as much.

The search chooses among whole pitches, and even rows are tried with units as they come. Where units are set lower lest
they trip, half a pitch decides whether one of them is enough.
"""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.distance import pdist, squareform

from raycover.placing.candidates import free_places
from raycover.placing.judging import Judge, Judged
from raycover.placing.offers import Candidates, hung_at, joined
from raycover.proving.hanging import ROUND_M, HangingPlaces
from raycover.proving.needs import Proof
from raycover.scene.devices import DetectorSpec
from raycover.scene.placing import PITCH, PlacingSpec
from raycover.scene.schema import Scene

Floats = NDArray[np.floating]
#: Units no farther apart (m) than so are near each other: a designer would hang one. Common practice, no source.
#: Places tried lie this share of that apart, on whole steps (m), no closer than so, this many each way from the middle.
_NEAR, _SHARE, _CLOSEST, _EACH_WAY = 1.5 * PITCH, 0.2, 0.1, 3
#: So many pairs are tried, of no more units than so: beside many others, all of them are judged anew each time.
_PAIRS, _MOST = 3, 12
#: Chooses from few candidates beside units that stay: a choice judged, or None.
Choose = Callable[[list[DetectorSpec], Proof, Candidates, float], Judged | None]


def merged(
    scene: Scene, spec: PlacingSpec, judge: Judge, best: Judged, choose: Choose, prove: Callable[[Scene], Proof],
    until: float,
) -> Judged:  # fmt: skip
    """The same with pairs near each other made one where that meets as much for less; no pair is begun after `until`.

    Units that hang along lines or over aisles, on walls or at a pitch that was asked for stay as they are.
    """
    if spec.pitch is not None or "ceiling" not in spec.sorts or len(best.chosen) > _MOST:
        return best
    hanging = HangingPlaces(scene, judge.bare.needs[0].situation.building)
    for pair in _near(best.chosen):
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


def _near(chosen: Candidates) -> list[NDArray[np.intp]]:
    """Pairs in a room that hang on its ceiling, the nearest to each other first."""
    if len(chosen) < 2:
        return []
    apart = squareform(pdist(chosen.at))
    on_wall = np.array([unit.is_one_sided for unit in chosen.units])
    apart[(chosen.room[:, None] != chosen.room) | on_wall | on_wall[:, None]] = np.inf
    first, second = np.triu_indices(len(chosen), 1)
    order = np.argsort(apart[first, second], kind="stable")
    near = order[apart[first, second][order] <= _NEAR + 1e-9][:_PAIRS]
    return [np.array([first[k], second[k]]) for k in near]


def _between(scene: Scene, hanging: HangingPlaces, spec: PlacingSpec, pair: Candidates) -> Candidates:
    """Units of the pair's kinds, as they come, about the middle between them."""
    room = int(pair.room[0])
    shape = hanging.building.rooms[room]
    apart = float(np.linalg.norm(pair.at[1] - pair.at[0]))
    steps = np.arange(-_EACH_WAY, _EACH_WAY + 1) * max(round(_SHARE * apart / ROUND_M) * ROUND_M, _CLOSEST)
    middle = np.round(pair.at.mean(axis=0) / ROUND_M) * ROUND_M
    places = middle + np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2)
    lots = []
    for k in np.unique(pair.offer).tolist():
        offer = pair.offers[k]
        free = places[free_places(hanging, spec, shape, places, offer.mounting)]
        lots.append(hung_at(scene, shape, room, offer, free))
    return joined(lots)
