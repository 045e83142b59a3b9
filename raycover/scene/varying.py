"""A scene with other values than the file's: mounting, tilt, turn, air temperature, what lies in the racking."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Literal

from raycover.scene.schema import Scene
from raycover.scene.storage import Racking

Racks = Literal["as drawn", "full", "empty", "none"]
RACKS: tuple[Racks, ...] = ("as drawn", "full", "empty", "none")


@dataclass(frozen=True)
class Change:
    """What differs from the file; None leaves a value as it is. Lengths in m, angles in degrees, air in °C."""

    mounting: float | None = None
    tilt_deg: float | None = None
    turn_deg: float | None = None
    ambient_c: float | None = None
    racks: Racks = "as drawn"

    def words(self) -> str:
        """In a few words, for messages and headings."""
        parts = [
            f"mounting {self.mounting:g} m" if self.mounting is not None else "",
            f"tilt {self.tilt_deg:g}°" if self.tilt_deg is not None else "",
            f"turn {self.turn_deg:g}°" if self.turn_deg is not None else "",
            f"{self.ambient_c:g} °C" if self.ambient_c is not None else "",
            f"racking {self.racks}" if self.racks != "as drawn" else "",
        ]
        return ", ".join(part for part in parts if part) or "as drawn"


def _loaded(rack: Racking, *, goods: bool) -> Racking:
    """A rack with every place loaded, or none, whatever the file says lies in it."""
    said = rack.model_fields_set - {"goods", "fill", "loads", "seed"}
    values = {name: getattr(rack, name) for name in type(rack).model_fields}
    return type(rack).model_construct(said, **{**values, "goods": goods, "fill": None, "loads": None})


def varied(scene: Scene, change: Change, detectors: Collection[str] = ()) -> Scene:
    """A copy of a scene with a change; mounting, tilt and turn are those of the named detectors.

    Values are taken as they are: whoever made them up checks them (`loading.check_changed`).
    """
    fields: dict[str, object] = {}
    set_to = {
        name: value for name in ("mounting", "tilt_deg", "turn_deg") if (value := getattr(change, name)) is not None
    }
    if set_to:
        fields["detectors"] = [d.model_copy(update=set_to) if d.name in detectors else d for d in scene.detectors]
    if change.ambient_c is not None:
        fields["conditions"] = scene.conditions.model_copy(update={"ambient_c": change.ambient_c})
    if change.racks == "none":
        fields["racking"] = []
    elif change.racks != "as drawn":
        fields["racking"] = [_loaded(rack, goods=change.racks == "full") for rack in scene.racking]
    return scene.model_copy(update=fields)
