"""Whether a seated person is noticed: every place at a desk or table, judged for presence at a few heights."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from raycover.building.parts import SeatMark
from raycover.detectors import Unit
from raycover.rays.ray_scene import RayScene
from raycover.scene.seating import SEAT_HEIGHTS
from raycover.solving.casting import CAUSES, Weather, in_reach, judge, potential_db

Floats = NDArray[np.floating]
_MOTION = "presence"


@dataclass(frozen=True)
class SeatView:
    """A seated person's place and the detector that notices them best, or comes nearest to it.

    `at` (x, y, z) is the ground below; `height_m` above it is where `detector` notices best; `margin_db` may be
    −inf. `cause` is one of `CAUSES`, `blocked_by` what hides the person, if anything does; of a dual detector both
    are those of its `half`.
    """

    name: str
    owner: str
    at: tuple[float, float, float]
    heading_deg: float
    margin_db: float
    height_m: float
    detector: str | None
    cause: str
    blocked_by: str | None
    half: str | None = None

    @property
    def noticed(self) -> bool:
        return self.margin_db >= 0


def judge_seats(
    seats: Sequence[SeatMark], units: Sequence[Unit], rays: RayScene, weather: Weather
) -> tuple[SeatView, ...]:
    """Each place with its best margin for presence at desk, shoulder and head height (`SEAT_HEIGHTS`).

    Where none has a margin the detector is the one that distance alone would let see best.
    """
    if not seats:
        return ()
    ground = np.array([[*seat.at, seat.ground] for seat in seats])
    n, n_heights = len(seats), len(SEAT_HEIGHTS)
    points = np.repeat(ground, n_heights, axis=0)
    points[:, 2] += np.tile(SEAT_HEIGHTS, n)
    margin = np.full(len(points), -np.inf)
    unit_of, nearest = np.full(len(points), -1), np.full(len(points), -1)
    nearest_db = np.full(len(points), -np.inf)
    cause = np.full(len(points), CAUSES.index("out-of-reach"))
    blocker = np.full(len(points), -1)
    half = np.zeros(len(points), np.intp)
    seat_of = np.arange(len(points)) // n_heights

    def take(k: int, chosen: NDArray[np.intp], *, better_only: bool) -> None:
        view = judge(units[k], points[chosen], _MOTION, rays, weather, people=seat_of[chosen])
        kept = view.margin_db > margin[chosen] if better_only else np.ones(len(chosen), bool)
        where = chosen[kept]
        margin[where], unit_of[where] = view.margin_db[kept], k
        cause[where], blocker[where], half[where] = view.cause[kept], view.blocker[kept], view.half[kept]

    for k, unit in enumerate(units):
        potential = potential_db(unit, points, _MOTION)
        closer = potential > nearest_db
        nearest_db[closer], nearest[closer] = potential[closer], k
        # What lies further is not followed up, as on maps.
        near = np.flatnonzero(in_reach(unit, points, _MOTION, weather))
        if len(near):
            take(k, near, better_only=True)
    lost = np.isneginf(margin)
    for k in np.unique(nearest[lost & (nearest >= 0)]).tolist():
        take(k, np.flatnonzero(lost & (nearest == k)), better_only=False)

    # Of the heights of one place the best; where no height has a margin, that which is nearest to a detector.
    score = np.where(np.isneginf(margin), np.maximum(nearest_db, -1e3) - 1e4, margin).reshape(n, n_heights)
    best = np.arange(n) * n_heights + score.argmax(axis=1)
    building = rays.building
    return tuple(
        SeatView(
            name=seat.name,
            owner=seat.owner,
            at=(*seat.at, seat.ground),
            heading_deg=seat.heading_deg,
            margin_db=float(margin[p]),
            height_m=float(points[p, 2] - seat.ground),
            detector=units[unit_of[p]].name if unit_of[p] >= 0 else None,
            cause=CAUSES[cause[p]],
            blocked_by=building.part_owner(int(blocker[p])) if blocker[p] >= 0 else None,
            half=half_name(units[unit_of[p]], int(half[p])) if unit_of[p] >= 0 else None,
        )
        for seat, p in zip(seats, best.tolist(), strict=True)
    )


def half_name(unit: Unit, half: int) -> str | None:
    """Which half of a dual unit, None of others."""
    return unit.parts[half].kind if unit.halves else None


#: At most so many places are named in a line.
_NAMED = 6


def seat_line(seats: Sequence[SeatView]) -> str:
    """One line of words: how many seated people are noticed, and who is not."""
    missed = [seat for seat in seats if not seat.noticed]
    line = f"seats: {len(seats) - len(missed)} of {len(seats)} seated people noticed by small movements"
    if not missed:
        return line
    why = [f"{s.name} ({s.cause}{f' by {s.blocked_by}' if s.blocked_by else ''})" for s in missed[:_NAMED]]
    more = f" and {len(missed) - _NAMED} more" if len(missed) > _NAMED else ""
    return f"{line}; not: {', '.join(why)}{more}"
