"""Routes that people walk, as a scene file says them: a line drawn by hand, a way to be found, or a stair."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from raycover.scene.quantities import Name, NonNegativeLength, Number, Point2, Strict

Person = Literal["adult", "child", "wheelchair"]
PlaceText = Annotated[str, Field(min_length=1, max_length=200)]
Place = Point2 | PlaceText
#: No one stands or sits longer than a day (s).
Seconds = Annotated[Number, Field(gt=0, le=86_400)]
#: What `to` may say for a way to every seat.
EVERY_DESK = ("every desk", "every seat")
#: The hold time (s) of a light unless said otherwise: the usual 15 min of a hold timer; DALI input devices offer 1 s to
#: 42 min 20 s (IEC 62386-303, second hand).
HOLD_S = 900.0
HoldTime = Annotated[Number, Field(ge=1, le=86_400)]
#: Walking speed (m/s) along a floor where a route gives none. Near the 1.22 m/s of NEMA WD 7 (second hand).
WALKING_SPEED = 1.2
#: Shares of it up and down a stair (second hand).
STAIRS_UP, STAIRS_DOWN = 0.35, 0.5


class Pause(Strict):
    """Standing still on the way."""

    at: Point2 | NonNegativeLength = Field(description="place [x, y] on the way, or metres walked from its start")
    seconds: Seconds = Field(description="how long, in seconds")


class Route(Strict):
    """Someone's way through the building: a `line`, `from` and `to`, or `stairs`."""

    name: Name = Field(description="name of the route; becomes part of file names")
    line: list[Point2] | None = Field(None, min_length=2, max_length=500, description="points [x, y] walked in turn")
    from_: Place | None = Field(
        None, alias="from", description="start: a door's name, ROOM/edge N, a room, a seat, or [x, y]"
    )
    to: Place | None = Field(
        None, description="end: a desk, seat, room, door or [x, y]; every desk: one route to each of them"
    )
    stairs: str | None = Field(None, description="a stair walked from end to end, instead of a line")
    direction: Literal["up", "down"] = Field("up", description="which way a stair is walked: up or down")
    room: str | None = Field(None, description="a room of its storey; needed only where rooms lie one above another")
    speed: Annotated[Number, Field(ge=0.1, le=3)] | None = Field(
        None, description="walking speed in metres a second; 1.2, on stairs 0.35 of that up and 0.5 down"
    )
    pauses: list[Pause] = Field(default_factory=list, max_length=200, description="stops on the way")
    person: Person = Field("adult", description="adult, child or wheelchair")
    seated_s: Annotated[Number, Field(ge=0, le=86_400)] = Field(
        0.0, description="how long the person sits at the end, in seconds"
    )

    @model_validator(mode="after")
    def _one_way(self) -> Route:
        drawn, found = self.line is not None, self.from_ is not None or self.to is not None
        if (drawn, found, self.stairs is not None).count(True) != 1:
            raise PydanticCustomError(
                "one_way",
                "a route is a line, or from and to, or stairs: just one of them",
                {"help": "write line: [[x, y], …], or from: DOOR and to: every desk, or stairs: NAME"},
            )
        if found and (self.from_ is None or self.to is None):
            lacking = "from" if self.from_ is None else "to"
            raise PydanticCustomError(
                "missing_key",
                "a way to be found needs from and to: {lacking} is missing",
                {"lacking": lacking, "help": "write from: DOOR and to: every desk, say"},
            )
        if self.stairs is not None and self.person == "wheelchair":
            raise PydanticCustomError(
                "wheelchair_on_stairs",
                "no wheelchair goes on stairs",
                {"at": ["person"], "help": "choose adult or child"},
            )
        if self.stairs is not None and self.seated_s:
            raise PydanticCustomError(
                "seated_on_stairs", "nobody sits at the end of a stair", {"at": ["seated_s"], "help": "take it out"}
            )
        return self

    @property
    def walking_speed(self) -> float:
        """Speed (m/s) along the floor, or the flight."""
        if self.speed is not None:
            return self.speed
        return WALKING_SPEED * self._on_stairs

    @property
    def floor_speed(self) -> float:
        """Speed (m/s) on the floor of who walks a stair so fast."""
        return min(self.walking_speed / self._on_stairs, max(WALKING_SPEED, self.walking_speed))

    @property
    def _on_stairs(self) -> float:
        return 1.0 if self.stairs is None else STAIRS_UP if self.direction == "up" else STAIRS_DOWN
