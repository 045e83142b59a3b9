"""Margins along a track from declared footprints: no simulated lens, the person as a few heights.

Someone who walks moves across a detector's line of sight and along it at once. A microwave unit is asked by its Doppler
shift (`open_air.moving_margin_db`). Where an infrared entry declares both, the powers of the two add by the share of
the movement in each: 10·log10(sin²ψ·10^(m_t/10) + cos²ψ·10^(m_r/10)), ψ the angle in plan between the movement and the
line of sight. Our assumption. Where it declares one, that one counts; who stands or sits is noticed by small movements
(presence) or not at all.
"""

from __future__ import annotations

from collections.abc import Sequence, Set
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from raycover.building.parts import Floats
from raycover.detectors import Unit
from raycover.rays.ray_scene import RayScene
from raycover.rays.recall import Recall
from raycover.scene.routes import Person
from raycover.solving.casting import CAUSES, judge, margins, potential_db
from raycover.solving.open_air import Weather, moving_margin_db, open_margin_db
from raycover.walking.kinematics import SIT, STAND, WALK, Track
from raycover.walking.people import FIGURES

#: Margins below this (dB) are not followed: far from every threshold.
LOWEST_DB = -40.0


@dataclass(frozen=True)
class Steps:
    """Steps of people on their ways: `position` (n, 3) of the feet, `heading_rad` (n,), `velocity` (n, 3), `pose` (n,).

    They may be of several ways, one after another.
    """

    position: Floats
    heading_rad: Floats
    velocity: Floats
    pose: NDArray[np.int8]

    @classmethod
    def of(cls, track: Track, chosen: NDArray[np.intp] | None = None) -> Steps:
        """All steps of a track, or those chosen."""
        kept = slice(None) if chosen is None else chosen
        return cls(track.position[kept], track.heading_rad[kept], _velocity(track)[kept], track.pose[kept])

    @classmethod
    def join(cls, several: Sequence[Steps]) -> Steps:
        return cls(*(np.concatenate([getattr(one, f.name) for one in several]) for f in fields(cls)))


def margins_along(unit: Unit, track: Track, person: Person, rays: RayScene, weather: Weather) -> Floats:
    """The margin (t,) in dB at every step of a track, −inf where the detector can see nothing."""
    return margins_at(unit, Steps.of(track), person, rays, weather)


def margins_at(
    unit: Unit,
    steps: Steps,
    person: Person,
    rays: RayScene,
    weather: Weather,
    *,
    least_db: float = -np.inf,
    recall: Recall | None = None,
) -> Floats:
    """The margin (n,) in dB at steps, −inf where the detector can see nothing.

    Margins of who stays that the open air puts below `least_db` are not followed; `recall`: what is known from before.
    """
    recall = Recall() if recall is None else recall  # across and along ask for the same rays
    figure = FIGURES[person]
    margin = np.full(len(steps.pose), -np.inf)
    walking = np.flatnonzero(steps.pose == WALK)
    if len(walking):
        margin[walking] = _walking(unit, steps, walking, figure.walking, rays, weather, recall)
    for kind, heights in ((STAND, figure.standing), (SIT, figure.seated)):
        still = np.flatnonzero(steps.pose == kind)
        if len(still):
            places, back = stops_of(steps.position[still])
            margin[still] = _best(unit, places, heights, "presence", rays, weather, recall, least_db)[back]
    return margin


def stops_of(position: Floats) -> tuple[Floats, NDArray[np.intp]]:
    """The places (k, 3) of people who stay, steps (n, 3) in their order, and which of them each step is at.

    A stop is one place for all its steps.
    """
    rounded = np.round(position, 6)
    begins = np.concatenate([[True], (np.diff(rounded, axis=0) != 0).any(axis=1)])
    return rounded[begins], np.cumsum(begins) - 1


def _walking(
    unit: Unit,
    steps: Steps,
    walking: NDArray[np.intp],
    heights: tuple[float, ...],
    rays: RayScene,
    weather: Weather,
    recall: Recall,
) -> Floats:
    feet = steps.position[walking]
    if unit.kind == "microwave":
        return _by_doppler(unit, feet, steps.velocity[walking], heights, rays, weather, recall)
    declared = {f.motion for f in unit.footprints}
    found = {
        motion: _best(unit, feet, heights, motion, rays, weather, recall)
        for motion in ("tangential", "radial")
        if motion in declared
    }
    if len(found) == 2:
        return across_and_along(found["tangential"], found["radial"], steps.heading_rad[walking], feet, unit.position)
    if found:
        return next(iter(found.values()))
    return _best(unit, feet, heights, "any", rays, weather, recall)


def _by_doppler(
    unit: Unit,
    feet: Floats,
    velocity: Floats,
    heights: tuple[float, ...],
    rays: RayScene,
    weather: Weather,
    recall: Recall,
) -> Floats:
    """A microwave unit's margin (n,) of a walk: its direction and speed in the open, then what stands in the way.

    What obstacles take and mirrors add is that of any motion, the same for all of them.
    """
    points = _points(feet, heights)
    velocity = np.repeat(velocity, len(heights), axis=0)
    margin = np.full(len(points), -np.inf)
    near = np.flatnonzero(potential_db(unit, points, "any") >= LOWEST_DB)
    if len(near):
        x, y, z = (points[near] - unit.position).T
        vx, vy, vz = velocity[near].T
        moving = moving_margin_db(unit, (x, y, z), (vx, vy, vz), weather)
        still = np.asarray(open_margin_db(unit, (x, y, z), unit.footprints_for("any"), weather), float)
        seen = margins(unit, points[near], "any", rays, weather, recall=recall)
        known = np.isfinite(still) & np.isfinite(seen) & np.isfinite(moving)
        margin[near[known]] = moving[known] + seen[known] - still[known]
    return np.asarray(margin.reshape(len(feet), len(heights)).max(axis=1))


def _velocity(track: Track) -> Floats:
    """(t, 3) m/s of the feet: on from each step, at the last and before a stop that of the step before."""
    step = np.diff(track.position, axis=0) / track.step_s
    ahead, behind = np.concatenate([step, step[-1:]]), np.concatenate([step[:1], step])
    slower = np.linalg.norm(ahead, axis=1) < np.linalg.norm(behind, axis=1)
    return np.asarray(np.where(slower[:, None], behind, ahead))


def _points(feet: Floats, heights: tuple[float, ...]) -> Floats:
    """A person's heights over each of places (n, 3), one after another."""
    points = np.repeat(feet, len(heights), axis=0)
    points[:, 2] += np.tile(heights, len(feet))
    return points


def across_and_along(
    tangential_db: Floats, radial_db: Floats, heading_rad: Floats, feet: Floats, position: Floats
) -> Floats:
    """Margin (t,) of a movement with headings (t,) at places (t, 3) seen from a position (3,); see the module."""
    sight = feet[:, :2] - position[:2]
    distance = np.linalg.norm(sight, axis=1)
    along = sight[:, 0] * np.cos(heading_rad) + sight[:, 1] * np.sin(heading_rad)
    with np.errstate(invalid="ignore", divide="ignore"):
        cos2 = np.where(distance > 1e-6, (along / distance) ** 2, 0.5)
        power = (1 - cos2) * 10 ** (tangential_db / 10) + cos2 * 10 ** (radial_db / 10)
        return np.asarray(10 * np.log10(power))


def _best(
    unit: Unit,
    feet: Floats,
    heights: tuple[float, ...],
    motion: str,
    rays: RayScene,
    weather: Weather,
    recall: Recall,
    least_db: float = -np.inf,
) -> Floats:
    """Best margin (n,) of a person's heights at places (n, 3)."""
    if not unit.footprints_for(motion):
        return np.full(len(feet), -np.inf)
    points = _points(feet, heights)
    margin = margins(
        unit, points, motion, rays, weather, lowest_db=LOWEST_DB, least_db=least_db, recall=recall
    )  # fmt: skip
    return np.asarray(margin.reshape(len(feet), len(heights)).max(axis=1))


@dataclass(frozen=True)
class Reason:
    """Why nobody is noticed at a place: the detector nearest to seeing there, the cause, what hides the person.

    `cause` is one of `CAUSES`, or `direction` (in reach for another direction of movement), `weak` (in reach,
    too little signal), `still` (in reach, too little movement), `no-presence` (no detector
    declares small movements), `no-detector`. Of a dual detector the cause is that of its `half`.
    """

    detector: str | None
    cause: str
    blocked_by: str | None
    half: str | None = None


def why_not(
    units: Sequence[Unit],
    feet: Floats,
    person: Person,
    pose: int,
    rays: RayScene,
    weather: Weather,
    *,
    simulated: Set[str] = frozenset(),
) -> Reason:
    """The reason at one place (3,): that of the unit which distance alone would let see best there.

    Where its declared footprint holds the place, what a `simulated` one lacks is signal. `simulated` names parts.
    """
    figure = FIGURES[person]
    heights = {WALK: figure.walking, STAND: figure.standing, SIT: figure.seated}[pose]
    motion = "any" if pose == WALK else "presence"
    points = feet + np.column_stack([np.zeros((len(heights), 2)), heights])
    reaches = [float(potential_db(unit, points, motion).max()) for unit in units]
    if not len(units) or not np.isfinite(max(reaches)):
        return Reason(None, "no-presence" if units else "no-detector", None)
    unit = units[int(np.argmax(reaches))]
    view = judge(unit, points, motion, rays, weather, people=np.zeros(len(points), np.intp))
    k = int(view.margin_db.argmax())
    part_of = unit.parts[int(view.half[k])]
    part = int(view.blocker[k])
    cause = CAUSES[view.cause[k]]
    by = rays.building.part_owner(part) if part >= 0 else None
    if cause == "none":
        cause = "direction" if part_of.name not in simulated else "weak" if pose == WALK else "still"
    return Reason(unit.name, cause, by, part_of.kind if unit.halves else None)
