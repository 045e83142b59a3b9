"""Signals along a track from simulated infrared detectors: zones, a body of patches, what hides part of it.

Who stands is still and gives nothing; who sits moves an arm. Someone counts as noticed for `NOTICED_S` after each
trigger: a train of pulses is one notice.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from raycover.building.parts import Floats
from raycover.detectors import Unit
from raycover.physics.walks import body_for
from raycover.rays.ray_scene import RayScene
from raycover.scene.routes import Person
from raycover.scene.schema import Scene
from raycover.solving.open_air import Weather
from raycover.walking.kinematics import SIT, Track
from raycover.walking.sensing import Sensor, check_ambient, follow, sensors_of
from raycover.walking.sensing import Track as Followed

Bools = NDArray[np.bool_]
#: How long (s) a trigger counts. Our assumption: as long as the stops of a walk test between steps (NEMA WD 7, second
#: hand).
NOTICED_S = 2.0
#: The room that somebody is in is that which holds a point so far (m) above the feet.
_ABOVE_FLOOR_M = 0.1
#: Who sits repeats the same small movements: so long (s) is simulated, its later part then repeated.
_SEATED_S, _REPEATED_S = 30.0, 24.0


@dataclass(frozen=True)
class Simulated:
    """One detector along a track: `signal` (t,) in thresholds with its sign, `margin_db`, `triggers`, `noticed`."""

    signal: Floats
    margin_db: Floats
    triggers: Bools
    noticed: Bools


def sensors_for(scene: Scene, units: Sequence[Unit]) -> Mapping[str, Sensor]:
    """{name: simulated detector} of the infrared units. Raises InputError for those that cannot be simulated."""
    if not any("infrared" in unit.technologies for unit in units):
        return {}
    return sensors_of(scene, units)


def check_airs(scene: Scene, weather: Weather, feet: Floats) -> None:
    """Raise InputError where people at `feet` (n, 3) are in air that the model's clothed person does not hold for."""
    for ambient_c in np.unique(air_around(weather, feet)).tolist():
        own = [index for index, room in enumerate(scene.rooms) if room.ambient_c == ambient_c]
        general = ambient_c == scene.conditions.ambient_c or not own
        where = ("conditions", "ambient_c") if general else ("rooms", own[0], "ambient_c")
        check_ambient(ambient_c, scene.position(*where))


def air_around(weather: Weather, feet: Floats) -> Floats:
    """Temperature (n,) of the air in °C around people at `feet` (n, 3)."""
    return weather.ambient_at(feet + np.array([0.0, 0.0, _ABOVE_FLOOR_M]))


def simulate(sensor: Sensor, track: Track, person: Person, rays: RayScene, weather: Weather) -> Simulated:
    """What a simulated detector makes of a track.

    Where it leads through several airs each step has the signal of a person who walks all of the way in the air of that
    step: a border between airs is no step in the signal, nobody's clothes warm up on a threshold.
    """
    n = len(track.time_s)
    air_c = air_around(weather, track.position)
    signal, triggers = np.zeros(n), np.zeros(n, bool)
    sitting = track.pose == SIT
    n_up = int(np.flatnonzero(sitting)[0]) if sitting.any() else n
    # Beyond the declared edge nothing counts: detectors that the way never comes near are not asked.
    for part, seated in ((slice(0, n_up), False), (slice(n_up, n), True)):
        length = part.stop - part.start
        if length < 2:
            continue
        _, out = sensor.terms(track.position[part], track.heading_rad[part], seated=seated)
        if not (out <= 1).any():
            continue
        shown = min(length, round(_SEATED_S / track.step_s)) if seated else length
        some = slice(part.start, part.start + shown)
        followed = Followed(
            track.time_s[some] - track.time_s[some.start],
            track.position[some],
            track.heading_rad[some],
            track.moving[some],
            "sit" if seated else "walk",
        )
        index = _repeated(length, shown, round(_REPEATED_S / track.step_s))
        for ambient_c in np.unique(air_c[some]).tolist():
            trace = follow(sensor, followed, body_for(person, sensor.unit.mounting), rays, ambient_c)
            here = air_c[some][index] == ambient_c
            signal[part][here], triggers[part][here] = trace.signal[index][here], trace.noticed[index][here]
    with np.errstate(divide="ignore"):
        margin = 20 * np.log10(np.abs(signal))
    return Simulated(signal, margin, triggers, held(track.time_s, triggers, NOTICED_S))


def _repeated(length: int, shown: int, cycle: int) -> NDArray[np.intp]:
    """Indices (length,) into `shown` steps whose last `cycle` are repeated."""
    index = np.arange(length)
    start = max(shown - cycle, 0)
    return np.asarray(np.where(index < shown, index, start + (index - start) % max(shown - start, 1)), np.intp)


def held(time_s: Floats, triggers: Bools, seconds: float) -> Bools:
    """(t,) whether the last trigger is no longer ago than so many seconds."""
    last = np.maximum.accumulate(np.where(triggers, time_s, -np.inf))
    return np.asarray(time_s - last <= seconds + 1e-9)
