"""Named states of a scene: what stands, is set or is warmed otherwise than drawn, such as "dock doors open"."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from raycover.scene.devices import Share
from raycover.scene.fittings import DoorState
from raycover.scene.quantities import Air, Coordinate, Degrees, Number, Point2, ShortName, Strict


class Change(Strict):
    """Where a thing stands in a state, whether it is loaded, a room's air; what is not given stays as drawn."""

    centre: Point2 | None = Field(None, description="a solid's new centre [x, y]")
    at: Point2 | None = Field(None, description="new place of what is placed by a corner [x, y]")
    base: Coordinate | None = Field(None, description="new height above the floor")
    turn_deg: Degrees | None = Field(None, description="new anticlockwise turn")
    goods: bool | None = Field(None, strict=True, description="racking loaded (true) or empty (false)")
    ajar_deg: Annotated[Number, Field(gt=0, le=180)] | None = Field(
        None, description="angle from closed at which doors of cubicles stand"
    )
    fill: Share | None = Field(None, description="share of a rack's places that are loaded")
    ambient_c: Air | None = Field(None, description="a room's new air temperature, °C")

    @model_validator(mode="after")
    def _something(self) -> Change:
        if not self.model_fields_set:
            raise PydanticCustomError(
                "empty_change",
                "nothing is changed",
                {"help": "write, for example, {centre: [12, 4]} or {goods: false}"},
            )
        return self


#: What a target is set to: doors and openings to a state, things to a new place, or away.
SetValue = Literal["open", "closed", "absent"] | list[DoorState] | Change


class StateConditions(Strict):
    """Conditions that a state has of its own."""

    ambient_c: Air = Field(description="air temperature, °C")


class StateSpec(Strict):
    """One state of the scene: a name, and what differs from the scene as drawn.

    Targets are openings ("Hall/opening 0", or the opening's own name), roof lights ("Hall/roof light 0"), rows of
    cubicles, racking, solids and other things by name, and rooms where their air is set; `*` stands for any letters:
    "Hall/opening *" means them all.
    """

    name: ShortName = Field(description="name of the state, for commands and file names")
    set: dict[str, SetValue] = Field(
        default_factory=dict,
        max_length=10_000,
        description="target: open, closed, absent, its place, such as {centre: [12, 4]}, or a room's {ambient_c: 4}",
    )
    conditions: StateConditions | None = Field(None, description="conditions of its own: {ambient_c: 30}")

    @model_validator(mode="after")
    def _something(self) -> StateSpec:
        if not self.set and self.conditions is None:
            raise PydanticCustomError(
                "empty_state",
                "the state changes nothing",
                {"help": 'say what differs, for example set: {"Hall/opening 0": open}'},
            )
        return self
