"""The detector schedule: a row a detector, what an installer sets and a client signs for; quantities."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from raycover.building.build import build
from raycover.building.parts import Building
from raycover.detectors import Unit
from raycover.scene.schema import Scene
from raycover.scene.wiring import Zone
from raycover.scene.wiring_checks import NEAR_GLAZING_M, members
from raycover.solving.coverage import make_units


@dataclass(frozen=True)
class Entry:
    """One detector. Lengths in m, angles in degrees; masks as (from, to, off axis from, to), each of a
    dual unit with the half that it covers, None for both; `technology` and modes are
    keys of the words of a language."""

    tag: str
    title: str
    model: str
    room: str
    at: tuple[float, float]
    mounting: float
    turn_deg: float
    tilt_deg: float
    masks: tuple[tuple[float, float, float, float], ...]
    mask_halves: tuple[str | None, ...]
    sensitivity_pct: float
    hold_s: float
    line: str
    address: int | None
    zones: tuple[str, ...]
    modes: tuple[str, ...]
    status: str
    fixing: str
    protection: str
    note: str
    technology: str


@dataclass(frozen=True)
class SensorEntry:
    """A daylight sensor's place; `near_glazing` where it sees a window rather than the room."""

    zone: str
    at: tuple[float, float]
    note: str
    near_glazing: bool


@dataclass(frozen=True)
class Schedule:
    """Everything to order, fix and set: `quantities` are (title, status, number)."""

    entries: tuple[Entry, ...]
    sensors: tuple[SensorEntry, ...]
    quantities: tuple[tuple[str, str, int], ...]


def make_schedule(scene: Scene, building: Building | None = None) -> Schedule:
    """The schedule of a scene, in the order of its detectors. Raises InputError where the scene cannot be built."""
    building = build(scene) if building is None else building
    units = make_units(scene, building)
    homes = building.rooms_at(np.array([unit.position for unit in units]).reshape(-1, 3))
    line_of = {name: line.name for line in scene.lines for name in members(scene, line.detectors)}
    zones_of: dict[str, list[Zone]] = {d.name: [] for d in scene.detectors}
    for zone in scene.zones:
        for name in members(scene, zone.detectors):
            zones_of[name].append(zone)
    entries = []
    for detector, unit, home in zip(scene.detectors, units, homes.tolist(), strict=True):
        zones = zones_of[detector.name]
        hold = detector.hold_s
        if hold is None:
            hold = next((zone.hold_s for zone in zones if zone.hold_s is not None), scene.conditions.hold_s)
        entries.append(
            Entry(
                tag=detector.name,
                title=unit.title,
                model=detector.model or "",
                room=building.rooms[home].name if home >= 0 else "",
                at=(float(detector.at[0]), float(detector.at[1])),
                mounting=detector.mounting,
                turn_deg=detector.turn_deg,
                tilt_deg=detector.tilt_deg,
                masks=tuple((m.from_deg, m.to_deg, m.off_axis_from_deg, m.off_axis_to_deg) for m in detector.masks),
                mask_halves=tuple(m.half for m in detector.masks),
                sensitivity_pct=detector.sensitivity_pct,
                hold_s=hold,
                line=line_of.get(detector.name, ""),
                address=detector.address,
                zones=tuple(zone.name for zone in zones),
                modes=tuple(dict.fromkeys(zone.mode for zone in zones)),
                status=detector.status,
                fixing=detector.fixing,
                protection=detector.protection,
                note=detector.note,
                technology=_technology(unit),
            )
        )
    return Schedule(tuple(entries), _sensors(scene, building), _quantities(entries))


def _technology(unit: Unit) -> str:
    """A key of the language's words: the technology, of a dual unit how it is set."""
    if not unit.halves:
        return unit.kind
    return f"dual, trigger {unit.trigger}" if unit.combine == "trigger-then-hold" else f"dual, {unit.combine}"


def _quantities(entries: Sequence[Entry]) -> tuple[tuple[str, str, int], ...]:
    counts: dict[tuple[str, str], int] = {}
    for entry in entries:
        key = (entry.title, entry.status)
        counts[key] = counts.get(key, 0) + 1
    return tuple((title, status, n) for (title, status), n in sorted(counts.items()))


def _sensors(scene: Scene, building: Building) -> tuple[SensorEntry, ...]:
    panes = [
        shapely.LineString([mark.start, mark.end])
        for mark in building.openings
        if mark.kind == "window" and mark.construction is not None and mark.construction.glazing
    ]
    found = []
    for zone in scene.zones:
        if zone.light_sensor is not None:
            place = shapely.Point(zone.light_sensor.at)
            near = any(pane.distance(place) < NEAR_GLAZING_M for pane in panes)
            at = (float(zone.light_sensor.at[0]), float(zone.light_sensor.at[1]))
            found.append(SensorEntry(zone.name, at, zone.light_sensor.note, near))
    return tuple(found)
