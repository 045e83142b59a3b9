"""The building as a scene file says it: rooms, partitions, solids, sheets (racking: `storage`; the rest: `fittings`).

Lengths are metres. `base`, `sill` and the like count from the floor of the room that holds the thing, else
from z = 0; `corners` are absolute.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import ConfigDict, Field, model_validator
from pydantic_core import PydanticCustomError

from raycover.scene.construction import ConstructionRef, State
from raycover.scene.overhead import Roof, SuspendedCeiling, height_under_roof, room_schema
from raycover.scene.quantities import (
    Air,
    Coordinate,
    Degrees,
    Name,
    NonNegativeLength,
    Number,
    Point2,
    Point3,
    PositiveLength,
    Strict,
)
from raycover.scene.routes import HOLD_S, HoldTime

if TYPE_CHECKING:
    from raycover.constructions import Construction

Count = Annotated[int, Field(ge=1, le=1000, strict=True)]


#: An opening whose sill lies below this (m) is a door, else a window.
DOOR_SILL_M = 0.05
#: A door no lower than this (m) is walked through, a lower one is a hatch. From memory, common practice.
LOWEST_DOOR_M = 1.5
#: Doors up to this wide (m) swing in two leaves; a pane of glass wider than this is a fixed front.
TWO_LEAVES_M = 2.3


def opens_for_people(width: float, height: float, fill: Construction | None) -> bool:
    """Whether an opening down to the floor (m) is a door: filled, no hatch, no front of glass that stays as it is."""
    return fill is not None and height >= LOWEST_DOOR_M and not (fill.glazing and width > TWO_LEAVES_M)


class Opening(Strict):
    """A hole in a wall or partition with what fills it: a door, a window, or nothing."""

    name: Name | None = Field(None, description="name of its own, for states and messages")
    at: NonNegativeLength = Field(description="distance of its near side from the start of the wall or line")
    width: PositiveLength = Field(description="width along the wall")
    height: PositiveLength = Field(description="height of the opening")
    sill: NonNegativeLength = Field(0.0, description="height of its lower edge above the floor")
    fill: ConstructionRef = Field("none", description="construction that fills it, or none for a plain gap")
    state: State = Field("closed", description="closed or open: an open one is a plain gap")


class RoomOpening(Opening):
    edge: Annotated[int, Field(ge=0, strict=True)] = Field(
        description="which edge of the outline, from 0: edge i runs from point i to the next"
    )


class Void(Strict):
    """A hole in a room's floor or ceiling slab: a stair well, an atrium. Nobody stands in a void of the floor."""

    outline: list[Point2] = Field(min_length=3, max_length=500, description="corner points [x, y]")
    through: Literal["floor", "ceiling", "both"] = Field("floor", description="which slab it goes through")


class InRoom(Strict):
    """Something that stands in a room, from whose floor its heights count."""

    room: str | None = Field(None, description="its room; needed only where rooms lie one above another")


class Room(Strict):
    """A room: a closed outline at wall centre lines, a floor, and a height or a roof."""

    model_config = ConfigDict(json_schema_extra=room_schema)

    name: Name = Field(description="name of the room")
    outline: list[Point2] = Field(min_length=3, max_length=2000, description="corner points [x, y]")
    floor: Coordinate = Field(0.0, description="height of the floor above z = 0")
    height: PositiveLength = Field(description="height from floor to ceiling; under a roof that of its ridge")
    walls: ConstructionRef | list[ConstructionRef] = Field(description="construction, none, or one an edge")
    ceiling: ConstructionRef = Field("none", description="construction of the ceiling, or none")
    floor_construction: ConstructionRef = Field("none", description="construction of the floor slab, or none")
    openings: list[RoomOpening] = Field(default_factory=list, description="doors, windows, gaps")
    voids: list[Void] = Field(default_factory=list, description="holes in its floor or ceiling: stair wells, atria")
    suspended_ceiling: SuspendedCeiling | None = Field(None, description="tiles below the slab: {height, construction}")
    roof: Roof | None = Field(None, description="a sloped roof instead of height and ceiling")
    ambient_c: Air | None = Field(None, description="air temperature in this room, °C; that of conditions if not given")

    @model_validator(mode="before")
    @classmethod
    def _under_a_roof(cls, data: Any) -> Any:
        return height_under_roof(data)


class Partition(InRoom):
    """A free-standing or full-height partition along a line."""

    name: Name = Field(description="name of the partition")
    line: list[Point2] = Field(min_length=2, max_length=2000, description="points [x, y] along it")
    base: Coordinate = Field(0.0, description="height of its lower edge above the floor")
    height: PositiveLength = Field(description="height of the partition itself")
    construction: ConstructionRef = Field(description="construction of the catalogue, or layers")
    openings: list[Opening] = Field(default_factory=list, description="doors, windows, gaps")


#: What hangs under a roof is drawn apart from what stands on a floor.
SolidKind = Literal["thing", "duct", "luminaire", "beam", "crane"]


class Solid(InRoom):
    """A box: a column, a machine, a stack of goods; or, hung, a duct, a luminaire, a beam, a crane's bridge."""

    name: Name = Field(description="name of the solid")
    centre: Point2 = Field(description="centre of its base [x, y]")
    size: tuple[PositiveLength, PositiveLength, PositiveLength] = Field(description="[x, y, z] before turning")
    base: Coordinate = Field(0.0, description="height of its underside above the floor")
    hang: NonNegativeLength | None = Field(
        None,
        description="instead of base: how far its top hangs below the ceiling or roof, where lowest over it",
    )
    turn_deg: Degrees = Field(0.0, description="anticlockwise turn about its centre")
    material: str = Field(description="concrete, metal, goods, timber, or another of the catalogue")
    kind: SolidKind = Field("thing", description="thing, or what it is drawn as: duct, luminaire, beam, crane")

    @model_validator(mode="after")
    def _stands_or_hangs(self) -> Solid:
        if self.hang is not None and "base" in self.model_fields_set:
            raise PydanticCustomError(
                "base_and_hang",
                "a solid stands at a base or hangs from the ceiling, not both",
                {"at": ["hang"], "key": True, "help": "take one of the two out"},
            )
        return self


class SheetSpec(Strict):
    """Any flat polygon of a construction."""

    name: Name = Field(description="name of the sheet")
    corners: list[Point3] = Field(min_length=3, max_length=500, description="corner points [x, y, z]")
    construction: ConstructionRef = Field(description="construction of the catalogue, or layers")


class Conditions(Strict):
    """What the building is like on the day, and how losses are taken."""

    ambient_c: Air = Field(20.0, description="air temperature, °C")
    reserve_db: Annotated[Number, Field(ge=0, le=40)] = Field(3.0, description="margin for an assured detection")
    reflections: Annotated[int, Field(ge=0, le=1, strict=True)] = Field(
        0, description="microwave: 0 straight paths only; 1 also by one mirror, a wall, a slab, a flight"
    )
    losses: Literal["averaged", "coherent"] = Field("averaged", description="averaged or coherent")
    hold_s: HoldTime = Field(HOLD_S, description="hold time of the lights in a walk test, in seconds")
    derive_motions: bool = Field(
        False, strict=True, description="microwave: motions that are not declared are derived, by our assumptions"
    )
