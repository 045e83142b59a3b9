"""A detector to change, and the other models of the catalogue that may hang where it does."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from raycover.detectors import Unit, make_unit
from raycover.proving.hanging import HangingPlaces
from raycover.proving.trials import Trial
from raycover.scene.devices import DetectorSpec, PatternSpec
from raycover.scene.schema import Scene
from raycover.trips.remedies import share_of

#: Keys of an entry that go with its model or pattern: another model begins without them.
OF_THE_MODEL = ("pattern", "combine", "trigger", "microwave_pct")


@dataclass(frozen=True)
class Subject:
    """A detector to change: its entry, number, pattern and unit, and the floor (m) it counts from."""

    scene: Scene
    places: HangingPlaces
    index: int
    unit: Unit

    @property
    def spec(self) -> DetectorSpec:
        return self.scene.detectors[self.index]

    @property
    def pattern(self) -> PatternSpec:
        return self.scene.pattern_of(self.spec)

    def made(self, keys: dict[str, Any], pattern: PatternSpec | None = None) -> Unit:
        """The unit with other keys in its entry."""
        floor = float(self.unit.position[2] - self.unit.mounting)
        spec = self.spec.model_copy(update=keys)
        derive = self.scene.conditions.derive_motions
        corrected = self.scene.reach_correction_db(spec)
        made = self.pattern if pattern is None else pattern
        return make_unit(spec, made, floor, derive=derive, corrected_db=corrected)


def other_models(subject: Subject) -> Iterator[Trial]:
    """Other entries of the catalogue that hang alike and are meant for this height, each at the turns it may have."""
    scene, unit, spec = subject.scene, subject.unit, subject.spec
    aimed = unit.is_one_sided
    if any(mask.half is not None for mask in spec.masks):
        return  # masks of one half of a dual unit mean nothing on another
    for name, entry in scene.catalogue.detectors.items():
        if name == spec.model or not entry.meant_for.holds(unit.mounting):
            continue
        low, high = entry.settings_pct
        keys: dict[str, Any] = {"model": name}
        if not low <= spec.sensitivity_pct <= high:
            keys["sensitivity_pct"] = high
        made = subject.made({**dict.fromkeys(OF_THE_MODEL), **keys}, entry)
        if made.is_one_sided != aimed or (
            entry.largest_mask_share is not None and share_of(made, entry) > entry.largest_mask_share + 1e-9
        ):
            continue
        yield Trial("model", f"model {name}", made, keys, least_pct=low)
        if not aimed and not made.is_round:
            for by in (45, 90, 135):
                turn = (unit.turn_deg + by) % 360
                other = subject.made({**dict.fromkeys(OF_THE_MODEL), **keys, "turn_deg": turn}, entry)
                words, turned = f"model {name}, turned to {turn:g}°", {**keys, "turn_deg": turn}
                yield Trial("model", words, other, turned, least_pct=low)
