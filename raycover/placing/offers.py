"""What may hang where: kinds of candidates, candidates as arrays, and how each would be written."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from raycover.building.parts import Building, RoomShape
from raycover.detectors import Unit, make_unit
from raycover.physics.pattern import Mask
from raycover.scene.devices import DetectorModel, DetectorSpec, MaskSpec
from raycover.scene.schema import Scene

Floats = NDArray[np.floating]
Ints = NDArray[np.integer]
#: What hangs where: entry, height, turn, tilt, x, y, level, setting and masks.
Hung = tuple[str, float, float, float, float, float, float, float, tuple[Mask, ...]]


@dataclass(frozen=True)
class Offer:
    """A kind of candidate: an entry at a mounting height (m above its floor), a turn and a tilt, with its price.

    `pct`: its sensitivity as it is hung: 100 per cent, or the most that its entry can be set to.
    """

    model: DetectorModel
    mounting: float
    turn_deg: float
    price: float
    tilt_deg: float = 0.0

    @property
    def pct(self) -> float:
        low, high = self.model.settings_pct
        return float(np.clip(100.0, low, high))


@dataclass(frozen=True)
class Candidates:
    """Candidates (m,): `at` (m, 2) in plan, `room` index (m,), `offer` index (m,), and the `units` to cast.

    `pct` (m,) is the sensitivity of each, `masks` what is stuck over its lens.
    """

    offers: tuple[Offer, ...]
    at: Floats
    room: Ints
    offer: Ints
    pct: Floats
    masks: tuple[tuple[Mask, ...], ...]
    units: tuple[Unit, ...]

    def __len__(self) -> int:
        return len(self.at)

    @property
    def cost(self) -> Floats:
        """(m,) what each costs; 1 where no prices are known."""
        return np.array([offer.price for offer in self.offers])[self.offer] if len(self) else np.zeros(0)

    @property
    def plain(self) -> NDArray[np.bool_]:
        """(m,) those hung as they come: no mask, no lower setting."""
        whole = np.array([offer.pct for offer in self.offers])[self.offer] if len(self) else np.zeros(0)
        return np.asarray((self.pct >= whole - 1e-9) & ~np.array([bool(masks) for masks in self.masks], bool))

    @property
    def easy(self) -> NDArray[np.bool_]:
        """(m,) those preferred to others of one price: hung as they come, in a ceiling and not on a wall."""
        return self.plain & ~np.array([unit.is_one_sided for unit in self.units], bool)

    def spec(self, index: int, name: str, building: Building) -> DetectorSpec:
        """The entry of a scene that candidate `index` would be."""
        offer, room = self.offers[self.offer[index]], building.rooms[self.room[index]]
        x, y = (round(float(v), 3) for v in self.at[index])
        floors = {other.floor for other in building.rooms if other.holds(x, y)}
        turn = round(offer.turn_deg % 360, 1)
        return DetectorSpec(
            name=name, model=offer.model.name, at=(x, y), mounting=round(offer.mounting, 3),
            room=room.name if len(floors) > 1 else None, turn_deg=turn, tilt_deg=offer.tilt_deg,
            sensitivity_pct=float(self.pct[index]), masks=[mask_spec(mask) for mask in self.masks[index]],
        )  # fmt: skip

    def hung(self, index: int) -> Hung:
        """What a candidate is, whatever it is called."""
        offer, unit = self.offers[self.offer[index]], self.units[index]
        x, y, z = (round(float(v), 4) for v in unit.position)
        return (
            offer.model.name, offer.mounting, offer.turn_deg, offer.tilt_deg, x, y, z, float(self.pct[index]),
            self.masks[index],
        )  # fmt: skip

    def some(self, chosen: NDArray[Any]) -> Candidates:
        """Some of them, by index or mask (m,)."""
        index = np.arange(len(self))[chosen]
        return replace(
            self, at=self.at[index], room=self.room[index], offer=self.offer[index], pct=self.pct[index],
            masks=tuple(self.masks[k] for k in index), units=tuple(self.units[k] for k in index),
        )  # fmt: skip


#: No candidates at all.
NOBODY = Candidates((), np.zeros((0, 2)), np.zeros(0, int), np.zeros(0, int), np.zeros(0), (), ())


def hung_at(scene: Scene, room: RoomShape, room_index: int, offer: Offer, places: Floats) -> Candidates:
    """Units of one kind at places (n, 2) of a room, as they come."""
    n = len(places)
    unit = unit_of(scene, room.floor, offer, offer.pct, ())
    height = room.floor + offer.mounting
    units = tuple(replace(unit, position=np.array([x, y, height])) for x, y in places)
    return Candidates(
        (offer,), places, np.full(n, room_index), np.zeros(n, int), np.full(n, offer.pct), ((),) * n, units
    )


def unit_of(scene: Scene, floor: float, offer: Offer, pct: float, masks: tuple[Mask, ...]) -> Unit:
    """A unit of a kind at a setting and with masks, over the plan's origin."""
    spec = DetectorSpec(
        name="unit", model=offer.model.name, at=(0, 0), mounting=offer.mounting, turn_deg=offer.turn_deg,
        tilt_deg=offer.tilt_deg, sensitivity_pct=pct, masks=[mask_spec(mask) for mask in masks],
    )  # fmt: skip
    return make_unit(
        spec, offer.model, floor, derive=scene.conditions.derive_motions, corrected_db=scene.reach_correction_db(spec)
    )


def mask_spec(mask: Mask) -> MaskSpec:
    """A total mask as a scene says it; what goes without saying is left out."""
    keys: dict[str, float] = {"from_deg": mask.from_deg, "to_deg": mask.to_deg}
    if mask.off_axis_from_deg:
        keys["off_axis_from_deg"] = mask.off_axis_from_deg
    if mask.off_axis_to_deg < 180:
        keys["off_axis_to_deg"] = mask.off_axis_to_deg
    return MaskSpec(**keys)


def joined(parts: Sequence[Candidates]) -> Candidates:
    """Several lots of candidates as one."""
    if not parts:
        return NOBODY
    number: dict[tuple[object, ...], int] = {}
    offers: list[Offer] = []
    lots = []
    for part in parts:
        mine = []
        for offer in part.offers:
            key = (offer.model.name, offer.mounting, offer.turn_deg, offer.tilt_deg, offer.price)
            if key not in number:
                number[key] = len(offers)
                offers.append(offer)
            mine.append(number[key])
        lots.append(np.array(mine, int)[part.offer])
    return Candidates(
        tuple(offers),
        np.concatenate([part.at for part in parts]),
        np.concatenate([part.room for part in parts]),
        np.concatenate(lots),
        np.concatenate([part.pct for part in parts]),
        tuple(masks for part in parts for masks in part.masks),
        tuple(unit for part in parts for unit in part.units),
    )
