"""What stands in rooms, as a scene file says it: cubicles, fixtures, desks and tables with their seats."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from raycover.scene.construction import ConstructionRef, State
from raycover.scene.parts import InRoom
from raycover.scene.quantities import (
    Coordinate,
    Degrees,
    Length,
    Name,
    NonNegativeLength,
    Number,
    Point2,
    PositiveLength,
    Strict,
)

CubicleKind = Literal["standard", "ambulant", "enlarged", "wheelchair"]
Opens = Literal["inward", "outward"]

#: Width and depth (m) by kind: 850 × 1500 standard, ambulant at least 800 × 1500, enlarged 1200 wide, wheelchair
#: 1500 × 2200, citing Approved Document M and BS 6465-2 (second hand). Depth of an enlarged one: as a standard one,
#: from memory.
CUBICLE_SIZES: dict[CubicleKind, tuple[float, float]] = {
    "standard": (0.85, 1.5),
    "ambulant": (0.8, 1.5),
    "enlarged": (1.2, 1.5),
    "wheelchair": (1.5, 2.2),
}
#: Width (m) of a door and which way it opens, by kind. From memory, common practice.
CUBICLE_DOORS: dict[CubicleKind, tuple[float, Opens]] = {
    "standard": (0.6, "inward"),
    "ambulant": (0.6, "outward"),
    "enlarged": (0.7, "inward"),
    "wheelchair": (0.9, "outward"),
}


class Ajar(Strict):
    """A door that stands at an angle."""

    ajar_deg: Annotated[Number, Field(gt=0, le=180)] = Field(description="angle from closed; 90 is open")


DoorState = State | Ajar


class Cubicles(InRoom):
    """A row of WC cubicles: dividing panels, fronts with doors, a gap under, an open top.

    `at` is the rear left corner; local x runs along the row, local y from the rear to the doors. The rear is the
    wall it stands against: no panel there, but for rows back to back, which share one.
    """

    name: Name = Field(description="name of the row")
    at: Point2 = Field(description="rear left corner [x, y]")
    turn_deg: Degrees = Field(0.0, description="anticlockwise turn about that corner")
    base: Coordinate = Field(0.0, description="height of the ground it stands on above the floor")
    count: Annotated[int, Field(ge=1, le=200, strict=True)] | None = Field(
        None, description="number of cubicles, all of one kind"
    )
    kind: CubicleKind = Field("standard", description="standard, ambulant, enlarged, wheelchair: gives the sizes")
    cells: list[CubicleKind] | None = Field(
        None, min_length=1, max_length=200, description="instead of count and kind: one kind a cubicle, left to right"
    )
    width: PositiveLength | None = Field(
        None, description="width of one, between panel centres; by its kind if not given"
    )
    depth: PositiveLength | None = Field(None, description="depth from rear wall to doors; by its kind if not given")
    back_to_back: bool = Field(False, strict=True, description="a second row behind, one rear panel shared")
    floor_gap: NonNegativeLength = Field(0.15, description="gap under panels and doors")
    top: PositiveLength = Field(2.0, description="height of the upper edge above the floor")
    panel: ConstructionRef = Field("laminate-13", description="construction of panels")
    door: ConstructionRef | None = Field(None, description="construction of doors; as the panels if not given")
    door_width: PositiveLength | None = Field(None, description="width of a door; by its kind if not given")
    opens: Opens | None = Field(None, description="inward or outward; by its kind if not given")
    doors: DoorState | list[DoorState] = Field(
        "closed", description="closed, open or {ajar_deg: 30}; one for all, or one a cubicle (second row last)"
    )
    left_end: bool = Field(True, strict=True, description="a panel at the left end, or a wall is there")
    right_end: bool = Field(True, strict=True, description="a panel at the right end, or a wall is there")

    @model_validator(mode="after")
    def _count_or_cells(self) -> Cubicles:
        if (self.count is None) == (self.cells is None):
            raise PydanticCustomError(
                "count_or_cells",
                "a row of cubicles needs a count, or its cells one by one",
                {"help": "write count: 4 (and kind), or cells: [standard, standard, ambulant]"},
            )
        if self.cells is not None and "kind" in self.model_fields_set:
            raise PydanticCustomError(
                "count_or_cells",
                "cells already give each cubicle its kind",
                {"at": ["kind"], "key": True, "help": "take kind out"},
            )
        return self

    @property
    def kinds(self) -> list[CubicleKind]:
        """The kind of each cubicle, left to right."""
        return list(self.cells) if self.cells is not None else [self.kind] * (self.count or 0)

    @property
    def sizes(self) -> list[tuple[float, float]]:
        """(width, depth) of each cubicle (m), left to right."""
        return [
            (
                self.width if self.width is not None else CUBICLE_SIZES[kind][0],
                self.depth if self.depth is not None else CUBICLE_SIZES[kind][1],
            )
            for kind in self.kinds
        ]

    @property
    def door_widths(self) -> list[float]:
        """Width of each cubicle's door (m)."""
        return [self.door_width if self.door_width is not None else CUBICLE_DOORS[kind][0] for kind in self.kinds]

    @property
    def opening_ways(self) -> list[Opens]:
        return [self.opens if self.opens is not None else CUBICLE_DOORS[kind][1] for kind in self.kinds]

    @property
    def n_doors(self) -> int:
        return len(self.kinds) * (2 if self.back_to_back else 1)

    @property
    def door_angles(self) -> list[float]:
        """The angle (degrees) at which each door stands: 0 closed, 90 open; the second row's follow the first's."""
        states = self.doors if isinstance(self.doors, list) else [self.doors] * self.n_doors
        fixed = {"closed": 0.0, "open": 90.0}
        return [state.ajar_deg if isinstance(state, Ajar) else fixed[state] for state in states]


FixtureKind = Literal["wc", "urinal", "basin", "mirror"]


class Fixtures(InRoom):
    """Sanitary ware along a wall, as far as it blocks: boxes, and mirrors as sheets.

    `at` is the rear left corner of the first one, on the wall's face; local x runs along the wall, local y into
    the room.
    """

    name: Name = Field(description="name of the row")
    kind: FixtureKind = Field(description="wc, urinal, basin or mirror")
    at: Point2 = Field(description="rear left corner [x, y], on the wall's face")
    turn_deg: Degrees = Field(0.0, description="anticlockwise turn about that corner")
    base: NonNegativeLength | None = Field(None, description="height of its underside above the floor; by its kind")
    size: tuple[PositiveLength, PositiveLength, PositiveLength] | None = Field(
        None, description="[along the wall, into the room, up]; by its kind"
    )
    count: Annotated[int, Field(ge=1, le=200, strict=True)] = Field(1, description="how many in a row")
    pitch: PositiveLength | None = Field(None, description="from one to the next; their width and 0.3 m if not given")
    material: str = Field("ceramic", description="what boxes are made of")
    construction: ConstructionRef = Field("mirror-6", description="what mirrors are made of")


ScreenSide = Literal["back", "left", "right"]


class DeskScreen(Strict):
    """A screen on a desk, up from its top."""

    # 1.2 m hides a seated head of 1.2 m just not: from memory, common practice
    height: PositiveLength = Field(1.2, description="height of its upper edge above the floor")
    construction: ConstructionRef = Field("chipboard-18", description="construction of the screen")
    sides: tuple[ScreenSide, ...] = Field(("back",), min_length=1, max_length=3, description="back, left, right")


class Desks(InRoom):
    """A row of desks: tops on two side panels. `at` is the near left corner; local x runs along the row.

    Who works there sits at the near side and looks along local y; the screen stands at the far side, the back.
    """

    name: Name = Field(description="name of the row")
    at: Point2 = Field(description="near left corner [x, y]")
    turn_deg: Degrees = Field(0.0, description="anticlockwise turn about that corner")
    base: Coordinate = Field(0.0, description="height of the ground it stands on above the floor")
    size: tuple[PositiveLength, PositiveLength] = Field((1.6, 0.8), description="[along the row, across]")
    height: PositiveLength = Field(0.73, description="height of the top")
    count: Annotated[int, Field(ge=1, le=1000, strict=True)] = Field(1, description="number of desks in the row")
    gap: Length = Field(0.0, ge=0, description="gap between neighbours")
    top: ConstructionRef = Field("chipboard-18", description="construction of top and side panels")
    screen: DeskScreen | None = Field(None, description="screens on the desks: {height, construction, sides}")
    seat: bool = Field(False, strict=True, description="a person's place at each desk, judged for presence")


class Table(InRoom):
    """A table and the places around it. Its legs hide too little to matter and are left out."""

    name: Name = Field(description="name of the table")
    centre: Point2 = Field(description="centre [x, y]")
    turn_deg: Degrees = Field(0.0, description="anticlockwise turn about its centre")
    base: Coordinate = Field(0.0, description="height of the ground it stands on above the floor")
    size: tuple[PositiveLength, PositiveLength] | None = Field(None, description="rectangular: [length, width]")
    diameter: PositiveLength | None = Field(None, description="round: its diameter")
    # 0.72 to 0.74 m: from memory, common practice
    height: PositiveLength = Field(0.74, description="height of the top")
    top: ConstructionRef = Field("chipboard-18", description="construction of the top")
    seats: Annotated[int, Field(ge=0, le=200, strict=True)] = Field(
        0, description="places around it: long sides first, the ends where those are full or the number is odd"
    )

    @model_validator(mode="after")
    def _one_shape(self) -> Table:
        if (self.size is None) == (self.diameter is None):
            raise PydanticCustomError(
                "table_shape",
                "a table is rectangular or round",
                {"help": "write size: [2.4, 1.2], or diameter: 1.2"},
            )
        return self
