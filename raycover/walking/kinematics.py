"""A way becomes a track: where a person is, which way they go and whether they move, at even time steps."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.building.parts import Floats
from raycover.walking.ways import Way

#: Time step (s): at 2.5 m a simulated infrared signal is then within 0.7 dB of finer ones.
STEP_S = 0.04
#: Corners are walked on arcs of at most this radius (m), shorter where a stretch is. Our assumption.
_CORNER = 0.35
#: Parts of an arc no longer than this (m).
_FINE = 0.04
#: A room that one is in for less than this (s) is not entered.
_VISIT = 0.3
Pose = Literal["walk", "stand", "sit"]
WALK, STAND, SIT = range(3)
POSES: tuple[Pose, ...] = ("walk", "stand", "sit")


@dataclass(frozen=True)
class Track:
    """A person's movement. `time_s` (t,), `position` (t, 3) of the feet (m), `heading_rad` (t,) from +x.

    `walked_m` (t,) metres walked, `moving` (t,), `pose` (t,) index into `POSES`.
    """

    time_s: Floats
    position: Floats
    heading_rad: Floats
    walked_m: Floats
    moving: NDArray[np.bool_]
    pose: NDArray[np.int8]

    @property
    def step_s(self) -> float:
        return float(self.time_s[1] - self.time_s[0]) if len(self.time_s) > 1 else STEP_S

    @property
    def seconds(self) -> float:
        return float(self.time_s[-1])

    @property
    def length_m(self) -> float:
        return float(self.walked_m[-1])


def make_track(way: Way, step_s: float = STEP_S) -> Track:
    """Walk a way at its speed, stand at its pauses, sit at its end.

    Speed is even: starting and stopping take no time. Corners are rounded, so the track is a little shorter than the
    line. Raises ValueError for a speed that is not above zero.
    """
    if not way.speed > 0:
        raise ValueError("a speed above zero is needed")
    line = rounded(way.line, _CORNER)
    leg = np.linalg.norm(np.diff(line[:, :2], axis=0), axis=1)
    reached = np.concatenate([[0.0], np.cumsum(leg)])
    length = float(reached[-1])
    knots_t, knots_s, stops = [0.0], [0.0], []
    ahead, floor_speed = way.ahead

    def seconds_to(at: float) -> float:
        return min(at, ahead) / floor_speed + max(at - ahead, 0.0) / way.speed

    # Where the floor ends the speed changes: a pause of no time.
    for at, seconds in sorted([*_pauses_on(way, line), *([(ahead, 0.0)] if ahead else [])]):
        arrive = knots_t[-1] + seconds_to(at) - seconds_to(knots_s[-1])
        stops.append((arrive, arrive + seconds))
        knots_t += [arrive, arrive + seconds]
        knots_s += [at, at]
    arrived = knots_t[-1] + seconds_to(length) - seconds_to(knots_s[-1])
    knots_t, knots_s = [*knots_t, arrived, arrived + way.seated_s], [*knots_s, length, length]
    n = max(int(np.ceil(knots_t[-1] / step_s - 1e-9)), 1)
    time = np.arange(n + 1) * step_s
    walked = np.interp(time, knots_t, knots_s)
    position = np.stack([np.interp(walked, reached, line[:, k]) for k in range(3)], axis=1)
    heading = _headings(line, reached, walked)
    pose = np.full(len(time), WALK, np.int8)
    for begin, end in stops:
        pose[(time > begin + 1e-9) & (time <= end + 1e-9)] = STAND
    if way.seated_s > 0:
        sitting = time > arrived + 1e-9
        pose[sitting] = SIT
        if way.heading_deg is not None:
            heading[sitting] = np.radians(way.heading_deg)
    return Track(time, position, heading, walked, pose == WALK, pose)


def _pauses_on(way: Way, line: Floats) -> list[tuple[float, float]]:
    """(metres along the rounded line, seconds) of a way's pauses, in order."""
    if not way.pauses:
        return []
    drawn, walked = shapely.LineString(way.line[:, :2]), shapely.LineString(line[:, :2])
    return sorted((float(walked.project(drawn.interpolate(at))), seconds) for at, seconds in way.pauses)


def rounded(line: Floats, radius: float) -> Floats:
    """A polyline (n, d) with its corners on circular arcs in plan, tangent to both stretches.

    An arc takes no more than half of either stretch.
    """
    points = [line[:1]]
    for before, corner, after in zip(line[:-2], line[1:-1], line[2:], strict=True):
        points.append(_arc(before, corner, after, radius))
    points.append(line[-1:])
    joined = np.concatenate(points)
    step = np.linalg.norm(np.diff(joined[:, :2], axis=0), axis=1)
    kept = joined[np.concatenate([[True], step > 1e-9])]
    return kept if len(kept) > 1 else joined[[0, -1]]


def _arc(before: Floats, corner: Floats, after: Floats, radius: float) -> Floats:
    back, on = before - corner, after - corner
    one, two = float(np.linalg.norm(back[:2])), float(np.linalg.norm(on[:2]))
    if min(one, two) < 1e-9:
        return corner[None]
    cos = float(np.clip(back[:2] @ on[:2] / (one * two), -1, 1))
    half = np.arccos(cos) / 2  # half the angle between the stretches
    if half > np.pi / 2 - 1e-3 or half < 0.05:  # straight on, or turning on the spot
        return corner[None]
    cut = min(radius / np.tan(half), one / 2, two / 2)
    start, end = corner + back / one * cut, corner + on / two * cut
    n = max(int(np.ceil(2 * cut / _FINE)), 2)
    # The circle that touches both stretches, as a rational curve: the corner weighs the sine of the half angle.
    t = np.linspace(0, 1, n + 1)[:, None]
    weight = np.sin(half)
    share = (1 - t) ** 2 + 2 * weight * t * (1 - t) + t**2
    return np.asarray(((1 - t) ** 2 * start + 2 * weight * t * (1 - t) * corner + t**2 * end) / share)


def _headings(line: Floats, reached: Floats, walked: Floats) -> Floats:
    step = np.diff(line[:, :2], axis=0)
    angle = np.unwrap(np.arctan2(step[:, 1], step[:, 0]))
    middles = (reached[:-1] + reached[1:]) / 2
    stretch = np.clip(np.searchsorted(reached, walked, side="right") - 1, 0, len(angle) - 1)
    # Along an arc the heading turns evenly; along a straight stretch it is that of the stretch.
    even = np.interp(walked, middles, angle)
    fine = np.diff(reached)[stretch] <= 2 * _FINE
    return np.asarray(np.where(fine, even, angle[stretch]))


def settled(room: NDArray[np.int32], step_s: float) -> NDArray[np.int32]:
    """Rooms (t,) along a track with visits shorter than `_VISIT` given to the room after them: steps on a threshold."""
    starts = np.flatnonzero(np.concatenate([[True], np.diff(room) != 0]))
    lengths = np.diff(np.append(starts, len(room)))
    names = room[starts]
    kept = lengths * step_s >= _VISIT
    if not kept.any():
        return np.full_like(room, names[int(lengths.argmax())])
    # Of each run the next one that counts, after the last of those the last.
    following = np.minimum(np.searchsorted(np.flatnonzero(kept), np.arange(len(names))), kept.sum() - 1)
    return np.repeat(names[np.flatnonzero(kept)[following]], lengths)
