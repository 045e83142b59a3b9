"""How units notice people who walk, stand and sit along ways, in varied cases.

Who stands or sits is asked as any place is. What a walk adds to any motion, or takes, by its direction and speed, is
that of the case as drawn: cases vary reach, materials, places and air, not the way somebody goes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from raycover.detectors import Unit
from raycover.proving.sites import Site
from raycover.proving.situations import Situation
from raycover.solving.doubt import chances
from raycover.spreads import Draws
from raycover.walking.declared import stops_of
from raycover.walking.kinematics import SIT, STAND, WALK
from raycover.walking.people import FIGURES

Floats = NDArray[np.floating]
#: What a walk that no footprint answers to loses (dB): more than any case gives.
_LOST_DB = -300.0


def best_along(site: Site, units: Sequence[Unit], situation: Situation, draws: Draws, lowest_db: float) -> Floats:
    """(n_cases, n) the best margin at each step of walks in by a door, or along ways, among units that count there."""
    best = np.full((draws.n, len(site)), -np.inf, np.float32)
    for unit in units:
        heard = np.ones(len(site), bool) if site.rooms is None else situation.hears(unit, site)
        for person, (cells, steps) in site.afoot.items():
            figure = FIGURES[person]
            for pose, heights in ((WALK, figure.walking), (STAND, figure.standing), (SIT, figure.seated)):
                here = cells[(steps.pose == pose) & heard[cells]]
                if len(here):
                    some = replace(site.some(here), rooms=None)  # where it does not count is left out already
                    ask = _walking if pose == WALK else _staying
                    mine = ask(replace(some, heights=heights), unit, situation, draws, lowest_db)
                    best[:, here] = np.maximum(best[:, here], mine)
    return best


def _walking(site: Site, unit: Unit, situation: Situation, draws: Draws, lowest_db: float) -> Floats:
    still = _as_any(site, "any")
    plain = situation.margin_db(unit, still)
    known = np.flatnonzero(np.isfinite(plain))
    if not len(known):
        return np.full((draws.n, len(site)), -np.inf)
    # Where nothing is seen as drawn, a walk does what it does at the nearest step that is.
    shift = np.maximum(situation.margin_db(unit, site)[known] - plain[known], _LOST_DB)
    return _asked(still, unit, situation, draws, lowest_db) + np.interp(np.arange(len(site)), known, shift)


def _staying(site: Site, unit: Unit, situation: Situation, draws: Draws, lowest_db: float) -> Floats:
    places, back = stops_of(site.ground)  # a stop is one place for all its steps
    stop = replace(_as_any(site, "presence"), ground=places, area=np.ones(len(places)))
    return _asked(stop, unit, situation, draws, lowest_db)[:, back]


def _as_any(site: Site, motion: str) -> Site:
    """The same places, asked about a motion, no walk."""
    return replace(site, lines=(), steps=None, motion=motion)


def _asked(site: Site, unit: Unit, situation: Situation, draws: Draws, lowest_db: float) -> Floats:
    found = chances(
        [unit], site.points, site.motion, situation.rays, situation.weather, draws, lifted=site.lifted,
        lowest_db=lowest_db, n_heights=len(site.heights),
    )  # fmt: skip
    return site.best(found.draws)
