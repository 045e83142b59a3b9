"""Storeys and stairs, as a scene file says them."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from raycover.scene.parts import ConstructionRef, InRoom
from raycover.scene.quantities import Coordinate, Degrees, Name, NonNegativeLength, Point2, PositiveLength, Strict


class Storey(Strict):
    """A storey: the rooms whose floors lie at or above its level, up to the next storey's."""

    name: Name = Field(description="name of the storey, added to the names of its maps")
    floor: Coordinate = Field(description="its level: height of its lowest floor above z = 0")


class Stairs(InRoom):
    """A stair between two floors.

    `at` is the foot of the first flight: its left corner for someone about to go up. Local y is the way up the
    first flight, local x to the right of it; `turn_deg` turns both anticlockwise.
    """

    name: Name = Field(description="name of the stair")
    kind: Literal["straight", "half-landing", "quarter-turn"] = Field("straight", description="how it runs")
    at: Point2 = Field(description="left corner of the foot, looking up [x, y]")
    turn_deg: Degrees = Field(0.0, description="anticlockwise turn of the way up from +y")
    base: Coordinate = Field(0.0, description="height of the foot above the floor of its room")
    rise: PositiveLength = Field(description="height from one floor to the next")
    risers: Annotated[int, Field(ge=2, le=200, strict=True)] | None = Field(
        None, description="number of risers; as many as keep one at or below 170 mm if not given"
    )
    going: PositiveLength = Field(0.28, description="depth of a tread")
    width: PositiveLength = Field(1.2, description="width of a flight")
    landing: PositiveLength | None = Field(None, description="depth of the landing; the flight's width, at least 1.2 m")
    well: NonNegativeLength = Field(0.1, description="gap between the flights of a half-landing stair")
    hand: Literal["left", "right"] = Field("right", description="the way it turns, going up")
    repeat: Annotated[int, Field(ge=1, le=60, strict=True)] = Field(1, description="storeys it climbs alike")
    open_risers: bool = Field(False, strict=True, description="no risers between the treads")
    construction: ConstructionRef = Field("concrete-150", description="what flights and landings are made of")
    use: Literal["general", "private"] = Field("general", description="whose limits to compare with")

    @model_validator(mode="after")
    def _repeats(self) -> Stairs:
        if self.repeat > 1 and self.kind != "half-landing":
            raise PydanticCustomError(
                "repeat_kind",
                "only a half-landing stair comes back to where it started",
                {"help": "write one stair a storey", "at": ["repeat"]},
            )
        return self

    @model_validator(mode="after")
    def _every_flight_has_a_tread(self) -> Stairs:
        if self.risers is not None and self.risers < self._fewest_risers:
            raise PydanticCustomError(
                "few_risers",
                f"a {self.kind} stair of {self.risers} risers has a flight without a tread",
                {"help": f"{self._fewest_risers} risers or more, or kind: straight", "at": ["risers"]},
            )
        return self

    @property
    def _fewest_risers(self) -> int:
        return 2 if self.kind == "straight" else 4

    @property
    def riser_count(self) -> int:
        """Risers a storey: as given, or as many as keep one at or below 170 mm (Approved Document K, table 1.1)."""
        return self.risers if self.risers is not None else max(int(-(-self.rise // 0.17)), self._fewest_risers)

    @property
    def landing_depth(self) -> float:
        return self.landing if self.landing is not None else max(self.width, 1.2)
