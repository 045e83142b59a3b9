"""The building as a scene file says it: rooms, partitions, solids, cubicles, desks, sheets (racking: `storage`).

Lengths are metres. `base`, `sill` and the like count from the floor of the room that holds the thing, else
from z = 0; `corners` are absolute.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from raycover.scene.quantities import (
    Coordinate,
    Degrees,
    Length,
    Name,
    NonNegativeLength,
    Number,
    Point2,
    Point3,
    PositiveLength,
    Strict,
)

Positive = Annotated[Number, Field(gt=0)]
Count = Annotated[int, Field(ge=1, le=1000, strict=True)]


class LayerSpec(Strict):
    """One layer of a construction: a material with its thickness, or an air gap."""

    material: str | None = Field(None, description="a material of the catalogue")
    thickness_mm: Positive | None = Field(None, description="thickness in millimetres")
    air_mm: Positive | None = Field(None, description="an air gap, in millimetres")

    @model_validator(mode="after")
    def _one_kind(self) -> LayerSpec:
        if (self.air_mm is None) == (self.material is None and self.thickness_mm is None):
            raise PydanticCustomError(
                "bad_layer",
                "a layer is either a material with its thickness or an air gap",
                {"help": "write {material: chipboard, thickness_mm: 13} or {air_mm: 75}"},
            )
        if self.air_mm is None and (self.material is None or self.thickness_mm is None):
            raise PydanticCustomError(
                "bad_layer",
                "a layer needs both material and thickness_mm",
                {"help": "write {material: chipboard, thickness_mm: 13}"},
            )
        return self


class InlineConstruction(Strict):
    """A construction written where it is used."""

    layers: list[LayerSpec] = Field(min_length=1, max_length=20, description="layers in order")


ConstructionRef = str | InlineConstruction
State = Literal["closed", "open"]


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
    """A room: a closed outline at wall centre lines, a floor and a height."""

    name: Name = Field(description="name of the room")
    outline: list[Point2] = Field(min_length=3, max_length=2000, description="corner points [x, y]")
    floor: Coordinate = Field(0.0, description="height of the floor above z = 0")
    height: PositiveLength = Field(description="height from floor to ceiling")
    walls: ConstructionRef | list[ConstructionRef] = Field(description="construction, none, or one an edge")
    ceiling: ConstructionRef = Field("none", description="construction of the ceiling, or none")
    floor_construction: ConstructionRef = Field("none", description="construction of the floor slab, or none")
    openings: list[RoomOpening] = Field(default_factory=list, description="doors, windows, gaps")
    voids: list[Void] = Field(default_factory=list, description="holes in its floor or ceiling: stair wells, atria")


class Partition(InRoom):
    """A free-standing or full-height partition along a line."""

    name: Name = Field(description="name of the partition")
    line: list[Point2] = Field(min_length=2, max_length=2000, description="points [x, y] along it")
    base: Coordinate = Field(0.0, description="height of its lower edge above the floor")
    height: PositiveLength = Field(description="height of the partition itself")
    construction: ConstructionRef = Field(description="construction of the catalogue, or layers")
    openings: list[Opening] = Field(default_factory=list, description="doors, windows, gaps")


class Solid(InRoom):
    """A box: a column, a machine, a stack of goods."""

    name: Name = Field(description="name of the solid")
    centre: Point2 = Field(description="centre of its base [x, y]")
    size: tuple[PositiveLength, PositiveLength, PositiveLength] = Field(description="[x, y, z] before turning")
    base: Coordinate = Field(0.0, description="height of its underside above the floor")
    turn_deg: Degrees = Field(0.0, description="anticlockwise turn about its centre")
    material: str = Field(description="concrete, metal, goods, timber, or another of the catalogue")


class SheetSpec(Strict):
    """Any flat polygon of a construction."""

    name: Name = Field(description="name of the sheet")
    corners: list[Point3] = Field(min_length=3, max_length=500, description="corner points [x, y, z]")
    construction: ConstructionRef = Field(description="construction of the catalogue, or layers")


class Cubicles(InRoom):
    """A row of WC cubicles: dividing panels, fronts with doors, a gap under, an open top.

    `at` is the rear left corner; local x runs along the row, local y from the rear wall to the doors.
    The rear is the wall it stands against: no panel there.
    """

    name: Name = Field(description="name of the row")
    at: Point2 = Field(description="rear left corner [x, y]")
    turn_deg: Degrees = Field(0.0, description="anticlockwise turn about that corner")
    base: Coordinate = Field(0.0, description="height of the ground it stands on above the floor")
    count: Annotated[int, Field(ge=1, le=200, strict=True)] = Field(description="number of cubicles")
    width: PositiveLength = Field(0.85, description="width of one, between panel centres")
    depth: PositiveLength = Field(1.5, description="depth from rear wall to doors")
    floor_gap: NonNegativeLength = Field(0.15, description="gap under panels and doors")
    top: PositiveLength = Field(2.0, description="height of the upper edge above the floor")
    panel: ConstructionRef = Field("laminate-13", description="construction of panels")
    door: ConstructionRef | None = Field(None, description="construction of doors; as the panels if not given")
    door_width: PositiveLength = Field(0.6, description="width of a door")
    doors: State | list[State] = Field("closed", description="closed, open, or one a cubicle")
    left_end: bool = Field(True, strict=True, description="a panel at the left end, or a wall is there")
    right_end: bool = Field(True, strict=True, description="a panel at the right end, or a wall is there")


class Desks(InRoom):
    """A row of desks: tops on two side panels. `at` is the near left corner; local x runs along the row."""

    name: Name = Field(description="name of the row")
    at: Point2 = Field(description="near left corner [x, y]")
    turn_deg: Degrees = Field(0.0, description="anticlockwise turn about that corner")
    base: Coordinate = Field(0.0, description="height of the ground it stands on above the floor")
    size: tuple[PositiveLength, PositiveLength] = Field((1.6, 0.8), description="[along the row, across]")
    height: PositiveLength = Field(0.73, description="height of the top")
    count: Count = Field(1, description="number of desks in the row")
    gap: Length = Field(0.0, ge=0, description="gap between neighbours")
    top: ConstructionRef = Field("chipboard-18", description="construction of top and side panels")


class Conditions(Strict):
    """What the building is like on the day, and how losses are taken."""

    ambient_c: Annotated[Number, Field(ge=-20, le=50)] = Field(20.0, description="air temperature, °C")
    reserve_db: Annotated[Number, Field(ge=0, le=40)] = Field(3.0, description="margin for an assured detection")
    reflections: Annotated[int, Field(ge=0, le=1, strict=True)] = Field(0, description="0: straight paths only")
    losses: Literal["averaged", "coherent"] = Field("averaged", description="averaged or coherent")

    @model_validator(mode="after")
    def _straight_only(self) -> Conditions:
        if self.reflections:
            raise PydanticCustomError(
                "not_built_yet",
                "paths with a reflection are part of the format but not built yet",
                {"at": ["reflections"], "help": "write reflections: 0 (straight paths only)"},
            )
        return self
