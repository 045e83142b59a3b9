"""`walk`: people go their ways past the detectors; who notices them when, and what the light does."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from raycover.building.build import build
from raycover.building.parts import Building, Floats
from raycover.detectors import Unit
from raycover.rays.ray_scene import RayScene
from raycover.scene.schema import Scene
from raycover.solving.casting import Weather
from raycover.solving.coverage import make_units
from raycover.walking.declared import Reason, margins_along, why_not
from raycover.walking.dual import combined_along
from raycover.walking.kinematics import Track, make_track, settled
from raycover.walking.light import Light, light_by_hand, light_on, lit, off_at, shortest_hold, stretches
from raycover.walking.sensing import Sensor
from raycover.walking.simulated import check_airs, sensors_for, simulate
from raycover.walking.switching import Switch, switches_of
from raycover.walking.ways import Way, make_ways

Bools = NDArray[np.bool_]
Progress = Callable[[int, int], None]
Mode = Literal["declared", "simulated"]


@dataclass(frozen=True)
class Seen:
    """One detector along a track; `counts` (t,) whether it is one of those of the room that the person is in.

    `margin_db` (t,), −inf where it can see nothing; `noticed` (t,), `triggers` (t,) what restarts the hold time
    of the light it switches. Where it is simulated `signal` (t,) is in thresholds with its sign, and a trigger
    counts as notice for a little while; of declared footprints every step within is both. A dual unit is what its
    `halves` make together (`dual`).
    """

    unit: Unit
    mode: Mode
    margin_db: Floats
    noticed: Bools
    triggers: Bools
    switch: Switch
    counts: Bools
    signal: Floats | None = None
    halves: tuple[Seen, ...] = ()

    @property
    def name(self) -> str:
        return self.unit.name

    @property
    def hold_s(self) -> float:
        return self.switch.hold_s

    @property
    def best_db(self) -> float:
        return float(self.margin_db.max())

    @property
    def noticed_here(self) -> Bools:
        """(t,) noticed, where that counts."""
        return self.noticed & self.counts


@dataclass(frozen=True)
class First:
    """The first notice: when (s) and after how many metres, counted from a start; by whom; where (3,)."""

    seconds: float
    metres: float
    detector: str
    at: Floats


@dataclass(frozen=True)
class Entry:
    """A room entered: when (s), and the first notice counted from its threshold; None where none follows in it."""

    room: str
    at_s: float
    first: First | None


@dataclass(frozen=True)
class Gap:
    """A stretch in which nobody is noticed: from and to (s), metres walked in it, and why at its middle."""

    from_s: float
    to_s: float
    metres: float
    why: Reason

    @property
    def seconds(self) -> float:
        return self.to_s - self.from_s


@dataclass(frozen=True)
class Walk:
    """A route walked. Arrays are (t,) over the track's steps.

    What counts (`noticed`, `first`, `longest`, `light`) is who is noticed by a detector that hangs in the room they
    are in, by any where that room has none: a corridor's detector does not light the office. `others` names those that
    notice the person from elsewhere; `zones` says when (s) each of the scene's zones that detectors belong to is lit by
    this walk.
    """

    way: Way
    track: Track
    seen: tuple[Seen, ...]
    noticed: Bools
    first: First | None
    longest: Gap | None
    entries: tuple[Entry, ...]
    light: Light
    zones: Mapping[str, tuple[tuple[float, float], ...]]

    @property
    def name(self) -> str:
        return self.way.name

    @property
    def share(self) -> float:
        """Share of the time in which someone notices the person."""
        return float(self.noticed.mean())

    @property
    def shortest_hold_s(self) -> float | None:
        triggers = np.zeros(len(self.noticed), bool)
        for seen in self.seen:
            triggers |= seen.triggers & seen.counts
        return shortest_hold(self.track.time_s, triggers)

    @property
    def n_noticing(self) -> NDArray[np.int16]:
        """(t,) how many detectors notice the person."""
        n = np.zeros(len(self.noticed), np.int16)
        for seen in self.seen:
            n += seen.noticed_here
        return n

    @property
    def others(self) -> tuple[str, ...]:
        return tuple(seen.name for seen in self.seen if (seen.noticed & ~seen.counts).any())


def walk(
    scene: Scene,
    *,
    building: Building | None = None,
    rays: RayScene | None = None,
    ways: Sequence[Way] | None = None,
    hold_s: float | None = None,
    declared: bool = False,
    progress: Progress | None = None,
) -> list[Walk]:
    """Walk the scene's routes, or the given ways.

    `hold_s` overrides every hold time of the scene; `declared`: declared footprints for all detectors, none
    simulated. `progress` is called with (done, all). Raises InputError for routes that cannot be walked.
    """
    building = build(scene) if building is None else building
    rays = RayScene(building) if rays is None else rays
    units = make_units(scene, building)
    ways = make_ways(scene, building) if ways is None else ways
    weather = Weather.of(scene)
    sensors = {} if declared else sensors_for(scene, units)
    switches = switches_of(scene, hold_s)
    found = []
    for done, way in enumerate(ways):
        if progress is not None:
            progress(done, len(ways))
        found.append(_walked(way, scene, units, switches, sensors, building, rays, weather))
    return found


def _walked(
    way: Way,
    scene: Scene,
    units: tuple[Unit, ...],
    switches: Sequence[Switch],
    sensors: Mapping[str, Sensor],
    building: Building,
    rays: RayScene,
    weather: Weather,
) -> Walk:
    track = make_track(way)
    if sensors:
        check_airs(scene, weather, track.position)
    counts = units_that_count(units, track, building)
    seen = []
    for unit, switch, mine in zip(units, switches, counts, strict=True):
        parts = []
        for part in unit.parts:
            if part.name in sensors:
                found = simulate(sensors[part.name], track, way.person, rays, weather)
                parts.append(
                    Seen(part, "simulated", found.margin_db, found.noticed, found.triggers, switch, mine, found.signal)
                )
                continue
            margin = margins_along(part, track, way.person, rays, weather)
            parts.append(Seen(part, "declared", margin, margin >= 0, margin >= 0, switch, mine))
        seen.append(_of_dual(unit, parts[0], parts[1], track) if unit.halves else parts[0])
    return judged(way, track, tuple(seen), building, rays, weather)


def _of_dual(unit: Unit, infrared: Seen, microwave: Seen, track: Track) -> Seen:
    """A dual unit along a track, from its halves."""
    margin, noticed, triggers = combined_along(
        unit,
        track.time_s,
        (infrared.margin_db, microwave.margin_db),
        (infrared.noticed, microwave.noticed),
        (infrared.triggers, microwave.triggers),
        infrared.hold_s,
        by_hand=infrared.switch.by_hand,
    )
    return replace(
        infrared,
        unit=unit,
        margin_db=margin,
        noticed=noticed,
        triggers=triggers,
        signal=None,
        halves=(infrared, microwave),
    )


def rooms_along(track: Track, building: Building) -> NDArray[np.int32]:
    """(t,) index of the room at every step, −1 none."""
    if not building.rooms:
        return np.full(len(track.time_s), -1, np.int32)
    return settled(building.rooms_at(track.position + np.array([0.0, 0.0, 0.1])), track.step_s)


def units_that_count(units: tuple[Unit, ...], track: Track, building: Building) -> Bools:
    """(n_units, t) whose notice counts: the detectors of the room one is in, all where that has none."""
    homes = building.rooms_at(np.array([unit.position for unit in units]).reshape(-1, 3))
    return heard_in(homes, rooms_along(track, building))


def heard_in(homes: NDArray[np.integer], here: NDArray[np.integer]) -> Bools:
    """(n_units, t) whose notice counts, of units in rooms `homes` (n_units,) and somebody in rooms `here` (t,)."""
    return np.asarray((homes[:, None] == here) | ~np.isin(here, homes))


def judged(
    way: Way, track: Track, seen: tuple[Seen, ...], building: Building, rays: RayScene, weather: Weather
) -> Walk:
    """What follows from who notices whom when."""
    time = track.time_s
    noticed = np.zeros(len(time), bool)
    on = np.zeros(len(time), bool)
    offs = []
    here = rooms_along(track, building)
    steps = [0, *(np.flatnonzero(np.diff(here)) + 1).tolist()]
    lights: dict[str, Bools] = {}
    for one in seen:
        noticed |= one.noticed_here
        off = off_at(time, one.triggers, one.hold_s)
        mine = light_on(time, one.triggers, one.hold_s)
        if one.switch.by_hand:
            entered = np.zeros(len(time), bool)
            entered[[k for k in steps if one.counts[k]]] = True
            mine = light_by_hand(time, one.triggers, entered, one.hold_s)
            off = off_at(time, (one.triggers | entered) & mine, one.hold_s)
        on |= mine & one.counts
        if one.counts[-1] and off is not None:
            offs.append(off)
        for zone in one.switch.zones:
            lights[zone] = lights.get(zone, np.zeros(len(time), bool)) | mine
    entries = tuple(
        Entry(building.rooms[room].name, float(time[k]), _first(track, seen, k, here == room))
        for k in steps
        if (room := int(here[k])) >= 0
    )
    return Walk(
        way=way,
        track=track,
        seen=seen,
        noticed=noticed,
        first=_first(track, seen, 0, np.ones(len(time), bool)),
        longest=_longest(way, track, seen, noticed, rays, weather),
        entries=entries,
        light=lit(time, on, [float(time[k]) for k in steps], max(offs, default=None)),
        zones={zone: tuple(stretches(time, lights[zone])) for zone in lights},
    )


def _first(track: Track, seen: tuple[Seen, ...], start: int, inside: Bools) -> First | None:
    """The first notice that counts from a step on, before `inside` (t,) ends."""
    left = np.flatnonzero(~inside[start:])
    stop = start + int(left[0]) if len(left) else len(inside)
    noticed = [(int(steps[0]), -float(one.margin_db[start + steps[0]]), one)
               for one in seen if len(steps := np.flatnonzero(one.noticed_here[start:stop]))]  # fmt: skip
    if not noticed:
        return None
    step, _, who = min(noticed, key=lambda entry: entry[:2])
    k = start + step
    return First(
        float(track.time_s[k] - track.time_s[start]),
        float(track.walked_m[k] - track.walked_m[start]),
        who.name,
        track.position[k],
    )


def _longest(
    way: Way, track: Track, seen: tuple[Seen, ...], noticed: Bools, rays: RayScene, weather: Weather
) -> Gap | None:
    gaps = stretches(track.time_s, ~noticed)
    if not gaps:
        return None
    begin, end = max(gaps, key=lambda gap: gap[1] - gap[0])
    a, b = (round(t / track.step_s) for t in (begin, end))
    # Why, at the place in it where people are longest: its middle in time.
    k = (a + b) // 2
    mine = tuple(one.unit for one in seen if one.counts[k])
    simulated = {part.name for one in seen for part in (one.halves or (one,)) if part.mode == "simulated"}
    why = why_not(mine, track.position[k], way.person, int(track.pose[k]), rays, weather, simulated=simulated)
    return Gap(begin, end, float(track.walked_m[b] - track.walked_m[a]), why)
