"""Where units may hang, and which: every candidate that `place` chooses from."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover import suiting
from raycover.building.parts import Building, RoomShape
from raycover.detectors import Unit, make_unit
from raycover.hanging import OFF_WALL_M, HangingPlaces
from raycover.scene.devices import DetectorModel, DetectorSpec
from raycover.scene.placing import PlacingSpec
from raycover.scene.schema import Scene

Floats = NDArray[np.floating]
Ints = NDArray[np.integer]
#: A unit as high as possible hangs this far (m) below its ceiling.
BELOW_TOP = 0.02
#: Where nobody says how high: a wall unit (m).
ON_WALL = 2.4


@dataclass(frozen=True)
class Offer:
    """A kind of candidate: an entry at a mounting height (m above its floor) and a turn, with what it costs."""

    model: DetectorModel
    mounting: float
    turn_deg: float
    price: float


@dataclass(frozen=True)
class Candidates:
    """Candidates (m,): `at` (m, 2) in plan, `room` index (m,), `offer` index (m,), `turn_deg` (m,)."""

    offers: tuple[Offer, ...]
    at: Floats
    room: Ints
    offer: Ints
    turn_deg: Floats
    units: tuple[Unit, ...]

    def __len__(self) -> int:
        return len(self.at)

    @property
    def cost(self) -> Floats:
        """(m,) what each costs; 1 where no prices are known."""
        return np.array([offer.price for offer in self.offers])[self.offer]

    def spec(self, index: int, name: str) -> dict[str, Any]:
        """The keys of the scene that candidate `index` would be written with."""
        offer = self.offers[self.offer[index]]
        keys: dict[str, Any] = {
            "name": name,
            "model": offer.model.name,
            "at": [round(float(v), 3) for v in self.at[index]],
            "mounting": round(offer.mounting, 3),
        }
        if self.turn_deg[index]:
            keys["turn_deg"] = round(float(self.turn_deg[index]), 1)
        return keys

    def some(self, chosen: NDArray[Any]) -> Candidates:
        """Some of them, by index or mask (m,)."""
        index = np.arange(len(self))[chosen]
        return replace(
            self, at=self.at[index], room=self.room[index], offer=self.offer[index], turn_deg=self.turn_deg[index],
            units=tuple(self.units[k] for k in index),
        )  # fmt: skip


def find_candidates(
    scene: Scene, building: Building, spec: PlacingSpec, rooms: Sequence[int], aisles: Sequence[Floats] = ()
) -> Candidates:
    """Every place in some rooms (by index) where a unit offered may hang.

    `aisles`: centre lines (n, 2) that `along: [aisles]` hangs units on.
    """
    hanging = HangingPlaces(scene, building)
    offers: list[Offer] = []
    parts: list[tuple[Floats, int, int, Floats, list[Unit]]] = []
    for room_index in rooms:
        room = building.rooms[room_index]
        for model in _models(scene, spec):
            for mounting in heights_in(scene, building, spec, model, room):
                for places, turns in _places(hanging, spec, model, room, mounting, aisles):
                    for turn in turns:
                        offer = Offer(model, mounting, turn, _price(scene, spec, model))
                        if offer not in offers:
                            offers.append(offer)
                        units = units_at(scene, room, offer, places)
                        parts.append((places, room_index, offers.index(offer), np.full(len(places), turn), units))
    if not parts:
        return Candidates((), np.zeros((0, 2)), np.zeros(0, int), np.zeros(0, int), np.zeros(0), ())
    at = np.concatenate([p for p, *_ in parts])
    return Candidates(
        tuple(offers),
        at,
        np.concatenate([np.full(len(p), room) for p, room, *_ in parts]),
        np.concatenate([np.full(len(p), offer) for p, _, offer, *_ in parts]),
        np.concatenate([turns for *_, turns, _ in parts]),
        tuple(unit for *_, units in parts for unit in units),
    )


def _models(scene: Scene, spec: PlacingSpec) -> Iterator[DetectorModel]:
    names = spec.models
    if names is None:
        names = list(dict.fromkeys(d.model for d in scene.detectors if d.model is not None))
    for name in names:
        yield scene.catalogue.detectors[name]


def _price(scene: Scene, spec: PlacingSpec, model: DetectorModel) -> float:
    return spec.prices.get(model.name, 1.0) if spec.prices else 1.0


def one_sided(model: DetectorModel) -> bool:
    """Whether a unit looks one way only, as from a wall."""
    unit = make_unit(DetectorSpec(name="unit", model=model.name, at=(0, 0), mounting=_height(model)), model, 0)
    return suiting.one_sided(unit.footprints)


def _height(model: DetectorModel) -> float:
    return next(d.mounting for part in model.parts for d in part.declared or ())


def heights_in(
    scene: Scene, building: Building, spec: PlacingSpec, model: DetectorModel, room: RoomShape
) -> tuple[float, ...]:
    """Mounting heights (m) at which a unit may hang in a room, within what its entry allows.

    Those asked for, else those at which one is drawn in the room, else its ceiling, or for units on walls 2.4 m.
    """
    top = room.height if room.tiles is None else room.tiles
    allowed = model.mounting
    low, high = (0.0, np.inf) if allowed is None else (allowed.from_m, allowed.to_m)
    if spec.mounting is not None:
        wanted = list(spec.mounting)
    else:
        mine = [d for d in scene.detectors if d.model == model.name]
        homes = [d.room or getattr(building.room_at(*d.at, room.floor + d.mounting), "name", None) for d in mine]
        drawn = sorted({d.mounting for d, home in zip(mine, homes, strict=True) if home == room.name})
        wanted = drawn or [min(ON_WALL, high) if one_sided(model) else top - BELOW_TOP]
    return tuple(dict.fromkeys(round(h, 4) for h in wanted if low - 1e-9 <= h <= min(high, top) + 1e-6))


def _turns(spec: PlacingSpec, model: DetectorModel) -> tuple[float, ...]:
    """Turns worth offering: one for a round unit, else those asked for."""
    unit = make_unit(DetectorSpec(name="unit", model=model.name, at=(0, 0), mounting=_height(model)), model, 0)
    if all(footprint.shape.constant is not None for footprint in unit.footprints):
        return (0.0,)
    return tuple(spec.turns_deg) if spec.turns_deg is not None else (0.0, 90.0)


def _places(
    hanging: HangingPlaces, spec: PlacingSpec, model: DetectorModel, room: RoomShape, mounting: float,
    aisles: Sequence[Floats],
) -> Iterator[tuple[Floats, tuple[float, ...]]]:  # fmt: skip
    """Places (n, 2) with the turns offered there."""
    if one_sided(model):
        yield from _on_walls(hanging, spec, room, mounting)
        return
    turns = _turns(spec, model)
    grounds = []
    if "ceiling" in spec.sorts:
        grounds.append((_grid(room, spec.pitch, spec.from_wall), turns))
    for sort, lines in (("lines", [np.asarray(line, float) for line in spec.lines]), ("aisles", list(aisles))):
        if sort not in spec.sorts:
            continue
        for line in lines:
            for start, end in pairwise(line):
                mine = turns
                if len(turns) > 1 and spec.turns_deg is None:  # a long unit lies along its line, or across it
                    bearing = float(np.degrees(np.arctan2(*(end - start)[::-1]))) % 180
                    mine = tuple(round(bearing + turn, 3) % 180 for turn in (0.0, 90.0))
                grounds.append((_along(start, end, spec.pitch), mine))
    for places, mine in grounds:
        kept = places[free_places(hanging, spec, room, places, mounting)]
        if len(kept):
            yield kept, mine


def _grid(room: RoomShape, pitch: float, from_wall: float) -> Floats:
    """A lattice of whole steps, centred in the room's bounding box, as an installer would set it out."""
    x0, y0, x1, y1 = room.polygon.bounds

    def steps(low: float, high: float) -> Floats:
        n = max(int(np.floor((high - low - 2 * from_wall) / pitch + 1e-9)), 0)
        return (low + high) / 2 + (np.arange(n + 1) - n / 2) * pitch

    x, y = np.meshgrid(steps(x0, x1), steps(y0, y1))
    return np.stack([x.ravel(), y.ravel()], axis=1)


def _along(start: Floats, end: Floats, pitch: float) -> Floats:
    length = float(np.linalg.norm(end - start))
    n = max(int(np.floor(length / pitch + 1e-9)), 0)
    share = 0.5 + (np.arange(n + 1) - n / 2) * (pitch / length if length else 0.0)
    return start + share[:, None] * (end - start)


def free_places(
    hanging: HangingPlaces, spec: PlacingSpec, room: RoomShape, places: Floats, mounting: float,
    *, from_wall: float | None = None,
) -> NDArray[np.bool_]:  # fmt: skip
    """(n,) which places lie in the room, clear of walls and solids, where units are allowed and reach the ceiling."""
    x, y = places.T
    inside = shapely.contains_xy(room.polygon.buffer(-(spec.from_wall if from_wall is None else from_wall)), x, y)
    if spec.within:
        inside &= shapely.contains_xy(shapely.union_all([shapely.Polygon(o) for o in spec.within]), x, y)
    for outline in spec.not_within:
        inside &= ~shapely.intersects_xy(shapely.Polygon(outline), x, y)
    inside &= hanging.top(room, places) >= mounting - 1e-6  # NaN, under a hole in the ceiling, is not
    points = np.column_stack([places, np.full(len(places), room.floor + mounting)])
    return np.asarray(inside & hanging.free(points))


def _on_walls(
    hanging: HangingPlaces, spec: PlacingSpec, room: RoomShape, mounting: float
) -> Iterator[tuple[Floats, tuple[float, ...]]]:
    """Along every wall of a room, looking into it."""
    places, turns = hanging.along_walls(room, spec.pitch)
    if not len(places):
        return
    free = free_places(hanging, spec, room, places, mounting, from_wall=OFF_WALL_M / 2)
    turns = np.round(turns, 3) % 360
    for turn in np.unique(turns[free]).tolist():
        yield places[free & (turns == turn)], (turn,)


def units_at(scene: Scene, room: RoomShape, offer: Offer, places: Floats) -> list[Unit]:
    """Units of one kind at places (n, 2) of a room, ready for casting."""
    spec = DetectorSpec(
        name="unit", model=offer.model.name, at=(0, 0), mounting=offer.mounting, turn_deg=offer.turn_deg
    )
    unit = make_unit(
        spec, offer.model, room.floor, derive=scene.conditions.derive_motions,
        corrected_db=scene.reach_correction_db(spec),
    )  # fmt: skip
    height = room.floor + offer.mounting
    return [replace(unit, position=np.array([x, y, height])) for x, y in places]
