"""A design: what of a scene is under the hands of a designer, and what one more detector would be like."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely

from raycover.building.parts import Building, RoomShape
from raycover.editing.mentions import Mention, without
from raycover.scene.devices import DetectorModel, DetectorSpec
from raycover.scene.schema import Scene
from raycover.scene.unit_names import next_name

Loc = tuple[str | int, ...]
#: Where no room says how high it is, and how far (m) below a ceiling a unit is hung at least.
_USUAL_M, _BELOW_M = 2.8, 0.05
#: A new detector's place and height lie on whole steps (m) of this.
_STEP_M = 0.05


@dataclass(frozen=True)
class Design:
    """What can be edited. `off` are names of detectors; `doors` openings that differ from the state, by where they
    stand in the scene; `ambient_c` None: the air of the state. `mentions` are the lists of names of its detectors."""

    detectors: tuple[DetectorSpec, ...]
    off: frozenset[str]
    state: str
    doors: frozenset[tuple[Loc, str]] = frozenset()
    ambient_c: float | None = None
    mentions: tuple[Mention, ...] = ()

    def changed(self, index: int, values: Mapping[str, Any]) -> Design:
        """The design with other values of one detector's keys."""
        specs = list(self.detectors)
        specs[index] = specs[index].model_copy(update=dict(values))
        return replace(self, detectors=tuple(specs))

    def without(self, index: int, *, unnamed: bool = False) -> Design:
        """The design without one detector; `unnamed`: its name is taken out of the lists that hold it, too."""
        gone = self.detectors[index].name
        specs = tuple(spec for k, spec in enumerate(self.detectors) if k != index)
        mentions = without(self.mentions, gone) if unnamed else self.mentions
        return replace(self, detectors=specs, off=self.off - {gone}, mentions=mentions)


def hung_at(
    scene: Scene, building: Building, place: tuple[float, float, float], like: int | None = None, *,
    model: str | None = None,
) -> DetectorSpec:  # fmt: skip
    """A detector over a place on the ground (x, y, z), under a free name, with what another one is `like`.

    Without one it is like the nearest in its room, or of a `model`, or, in a room without any, of the entry that most
    of the scene's detectors have or that suits the room's height. It hangs no higher than the room lets it.
    """
    x, y, z = place
    at = (_stepped(x), _stepped(y))
    room = building.room_at(x, y, z)
    top = _USUAL_M if room is None else float(room.top_at(np.array([at]))[0]) - room.floor
    if room is not None and room.tiles is not None:
        top = min(top, room.tiles)
    top = top if np.isfinite(top) else _USUAL_M
    near = _nearest(scene, building, room, at) if like is None else like
    there = [(spec.name, scene.pattern_of(spec).kind) for spec in scene.detectors]
    same = None if near is None else scene.detectors[near]
    if same is not None and model is None:
        name = next_name(there, scene.pattern_of(same).kind)
        changes: dict[str, Any] = {
            "name": name, "at": at, "mounting": min(same.mounting, top), "masks": [], "address": None, "status": "new",
            "note": "", "room": None,
        }  # fmt: skip
        spec = same.model_copy(update=changes)
    else:
        entry = _entry_for(scene, top) if model is None else scene.catalogue.detectors[model]
        allowed = entry.mounting
        high = min(same.mounting, top) if same is not None else top - _BELOW_M if top > 1.0 else top
        mounting = _stepped(high if allowed is None else min(high, allowed.to_m), down=True)
        name = next_name(there, entry.kind)
        spec = DetectorSpec(name=name, model=entry.name, at=at, mounting=mounting)
    # Only where rooms lie one above another does a file have to say which of them is meant.
    above = {other.name for other in building.rooms if other.polygon.covers(shapely.Point(at))}
    return spec.model_copy(update={"room": room.name}) if room is not None and len(above) > 1 else spec


def _nearest(scene: Scene, building: Building, room: RoomShape | None, at: tuple[float, float]) -> int | None:
    """The detector of the same room that is nearest to a place."""
    if room is None or not scene.detectors:
        return None
    places = np.array([spec.at for spec in scene.detectors])
    held = shapely.intersects_xy(room.polygon, places[:, 0], places[:, 1])
    held &= [spec.room in (None, room.name) for spec in scene.detectors]
    away = np.where(held, np.hypot(*(places - at).T), np.inf)
    return int(np.argmin(away)) if held.any() else None


def _entry_for(scene: Scene, top: float) -> DetectorModel:
    """The entry that most detectors have, else the first one whose heights hold a room's."""
    entries = scene.catalogue.detectors
    used = [spec.model for spec in scene.detectors if spec.model is not None]
    if used:
        return entries[max(sorted(set(used)), key=used.count)]
    fits = [name for name, entry in sorted(entries.items()) if entry.meant_for.holds(top)]
    return entries[fits[0] if fits else min(entries)]


def _stepped(value: float, *, down: bool = False) -> float:
    steps = value / _STEP_M
    return round((np.floor(steps + 1e-9) if down else round(steps)) * _STEP_M, 3)
