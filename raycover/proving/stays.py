"""Ways that people walk and stay on, for needs: the scene's routes, or the usual ones with a stay at every seat.

As for doors (`doorways`) nothing here is a second walk test: ways and tracks are those of `walking`, margins go by
declared footprints, so who is noticed where is that of `raycover walk --declared`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from raycover.building.parts import Building
from raycover.detectors import Unit
from raycover.scene.needs import named
from raycover.scene.schema import Scene
from raycover.walking.kinematics import Track, make_track
from raycover.walking.switching import switches_of
from raycover.walking.usual import usual_ways
from raycover.walking.walk import heard_in, rooms_along
from raycover.walking.ways import Way, make_ways

#: Where the scene has no routes people sit at the end of a usual way for so many times the hold time.
_STAY = 1.5
#: Time step (s): stays are told to a tenth of a second.
_STEP_S = 0.1


#: A way and the track along it.
Walked = tuple[Way, Track]


@dataclass(frozen=True)
class Stay:
    """A way with its track; `rooms` (t,) it leads through, by index, and `hold_s` of the light there."""

    way: Way
    track: Track
    rooms: NDArray[np.int32]
    hold_s: float


def stays_of(scene: Scene, building: Building, units: Sequence[Unit], walked: Sequence[Walked]) -> list[Stay]:
    """Ways walked past the units of a scene: whose notice counts where, and for how long it holds."""
    homes = building.rooms_at(np.array([unit.position for unit in units]).reshape(-1, 3))
    stays = []
    for way, track in walked:
        rooms = rooms_along(track, building)
        stays.append(Stay(way, track, rooms, hold_along(scene, homes, rooms)))
    return stays


def hold_along(scene: Scene, homes: NDArray[np.integer], rooms: NDArray[np.integer]) -> float:
    """The hold time (s) that counts on a way through rooms (t,): the shortest of the detectors heard on it.

    `homes` (n_units,) are the rooms that the scene's detectors hang in.
    """
    holds = np.array([switch.hold_s for switch in switches_of(scene)])
    mine = holds[heard_in(homes, rooms).any(axis=1)]
    return float(mine.min()) if len(mine) else scene.conditions.hold_s


def longest_hold_s(scene: Scene) -> float:
    return max([switch.hold_s for switch in switches_of(scene)] + [scene.conditions.hold_s])


def walked_ways(scene: Scene, building: Building, given: Sequence[str] | Literal["all"]) -> list[Walked]:
    """The ways that a need's routes mean, with their tracks. Raises InputError for routes that cannot be walked."""
    if scene.routes:
        wanted = named(given, [route.name for route in scene.routes])
        ways = [way for way in make_ways(scene, building) if way.route in wanted]
    else:
        stay = _STAY * longest_hold_s(scene)
        found = usual_ways(scene, building)
        ways = [replace(way, seated_s=stay) if way.heading_deg is not None else way for way in found]
    return [(way, make_track(way, _STEP_S)) for way in ways]
