"""What each detector switches: the hold time of its light, its zones, and whether the light comes on by itself."""

from __future__ import annotations

from dataclasses import dataclass

from raycover.scene.schema import Scene
from raycover.scene.wiring_checks import members


@dataclass(frozen=True)
class Switch:
    """Of one detector: `hold_s` of the light, the `zones` it belongs to, `by_hand` where all of them are of absence."""

    hold_s: float
    zones: tuple[str, ...] = ()
    by_hand: bool = False


def switches_of(scene: Scene, hold_s: float | None = None) -> tuple[Switch, ...]:
    """One a detector: `hold_s` if given, else the detector's own, that of its first zone with one, the scene's."""
    zones = {zone.name: set(members(scene, zone.detectors)) for zone in scene.zones}
    found = []
    for detector in scene.detectors:
        mine = [zone for zone in scene.zones if detector.name in zones[zone.name]]
        own = [detector.hold_s, *(zone.hold_s for zone in mine), scene.conditions.hold_s]
        hold = hold_s if hold_s is not None else next(v for v in own if v is not None)
        by_hand = bool(mine) and all(zone.mode == "absence" for zone in mine)
        found.append(Switch(hold, tuple(zone.name for zone in mine), by_hand))
    return tuple(found)
