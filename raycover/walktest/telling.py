"""Which unit to name at a point, and the way from it in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from raycover.detectors import Unit
from raycover.proving.way_words import Way, best_way
from raycover.solving.casting import LOWEST_DB, potential_db
from raycover.solving.combining import over_parts
from raycover.solving.open_air import Weather, open_margin_db
from raycover.walktest.moves import MOVES
from raycover.walktest.situated import Situated

Floats = NDArray[np.floating]


def ways_at(there: Situated, units: Sequence[Sequence[Unit]], ground: Floats, moves: Sequence[str]) -> list[Way]:
    """At each point (n, 3) the way of the one of `units` there that sees best; where none comes near its limit, of the
    one that would with nothing in the way, else of the one that distance alone would let see best.

    The margin is the best of all those units, whichever way is told.
    """
    response = there.respond(ground, moves)
    margins = response.by_unit(np.zeros(response.n_unknowns))
    number = {unit.name: k for k, unit in enumerate(there.units)}
    return [
        _way_at(there, some, margins[k][[number[unit.name] for unit in some]], ground[k], moves[k])
        for k, some in enumerate(units)
    ]


def _way_at(there: Situated, units: Sequence[Unit], margin_db: Floats, at: Floats, key: str) -> Way:
    move = MOVES[key]
    points = at + np.asarray(move.heights)[:, None] * [0.0, 0.0, 1.0]
    in_open = np.array([in_open_db(unit, points, move.motion, there.weather) for unit in units])
    near = np.array([potential_db(unit, points, move.motion) for unit in units])
    order = np.lexsort((near.max(axis=1), in_open.max(axis=1), np.where(margin_db >= LOWEST_DB, margin_db, -np.inf)))
    told = int(order[-1])
    if margin_db[told] < LOWEST_DB:  # why not where it comes nearest to noticing
        points = points[[int(np.lexsort((near[told], in_open[told]))[-1])]]
    way = best_way(units[told], points, move.motion, there.rays, there.weather)
    return replace(way, at=(float(at[0]), float(at[1]), float(at[2])), margin_db=float(margin_db.max()))


def in_open_db(unit: Unit, points: Floats, motion: str, weather: Weather) -> Floats:
    """Margins (n,) at points (n, 3) with nothing in the way."""
    x, y, z = (points - unit.position).T
    return over_parts(unit, motion, lambda part: open_margin_db(part, (x, y, z), part.footprints_for(motion), weather))
