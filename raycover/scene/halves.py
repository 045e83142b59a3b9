"""Dual technology: infrared and microwave in one housing, each half declared by itself, and how they are combined."""

from __future__ import annotations

from collections.abc import Sequence
from math import atan2, degrees
from typing import Annotated, Literal, Protocol

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from raycover.scene.declared import DeclaredSpec, ZonesSpec
from raycover.scene.quantities import Number, Strict
from raycover.scene.radiation import Beams, ElevationTable, FrontToBack, SpeedRange, check_elevation

Share = Annotated[Number, Field(ge=0, le=1)]
Shift = Annotated[Number, Field(gt=0, le=1e6)]
Gigahertz = Annotated[Number, Field(gt=0, le=1000)]
#: How two halves make one answer.
Combine = Literal["and", "or", "trigger-then-hold"]
#: What switches on a unit of `trigger-then-hold`.
Trigger = Literal["infrared", "both"]
#: Which half of a dual unit something is about.
HalfKind = Literal["infrared", "microwave"]
#: Keys of which one takes the other's place.
_EXCLUSIVE = (
    ("reach_behind", "front_to_back_db"),
    ("reach_behind", "elevation"),
    ("front_to_back_db", "elevation"),
    ("beams", "elevation"),
    ("band_hz", "speed"),
)


class Radiates(Protocol):
    """What a microwave unit, or half, says of its directions and speeds."""

    @property
    def declared(self) -> list[DeclaredSpec]: ...
    @property
    def elevation(self) -> ElevationTable | None: ...
    @property
    def band_hz(self) -> tuple[float, float] | None: ...


def check_declared(declared: Sequence[DeclaredSpec]) -> None:
    """Refuse a motion that is declared twice at one height. Raises PydanticCustomError."""
    seen: set[tuple[str, float]] = set()
    for index, one in enumerate(declared):
        twin = (one.motion, one.mounting)
        if twin in seen:
            raise PydanticCustomError(
                "declared_twice",
                "{motion} is declared twice at a mounting height of {mounting} m",
                {
                    "motion": twin[0],
                    "mounting": twin[1],
                    "at": ["declared", index],
                    "help": "keep one footprint a motion and height",
                },
            )
        seen.add(twin)


def check_radiation(spec: Radiates) -> None:
    """Refuse keys that say one thing in two ways, and tables and bands that cannot be. Raises PydanticCustomError."""
    for one, other in _EXCLUSIVE:
        if getattr(spec, one) is not None and getattr(spec, other) is not None:
            raise PydanticCustomError(
                "one_of_two",
                "{other} and {one} say the same thing in two ways",
                {"one": one, "other": other, "at": [other], "key": True, "help": "keep one of the two"},
            )
    if spec.band_hz is not None and spec.band_hz[1] < spec.band_hz[0]:
        raise PydanticCustomError(
            "range_order", "the band ends below its start", {"at": ["band_hz"], "help": "swap the two"}
        )
    if spec.elevation is not None:
        drops = [(d.shape.radii, d.mounting - d.plane) for d in spec.declared]
        check_elevation(spec.elevation, [(degrees(atan2(a, h)), degrees(atan2(b, h))) for (a, b), h in drops])


class InfraredHalf(Strict):
    """The infrared half of a dual unit, as its data sheet declares it."""

    declared: list[DeclaredSpec] = Field(min_length=1, max_length=100, description="declared footprints of this half")
    zones: ZonesSpec | None = Field(None, description="the lens; derived from the footprint without")
    source: str = Field("", description="where the other figures of this half come from")

    @model_validator(mode="after")
    def _sound(self) -> InfraredHalf:
        check_declared(self.declared)
        return self


class MicrowaveHalf(Strict):
    """The microwave half of a dual unit, as its data sheet declares it."""

    frequency_ghz: Gigahertz = Field(description="frequency, in GHz")
    declared: list[DeclaredSpec] = Field(min_length=1, max_length=100, description="declared footprints of this half")
    reach_behind: Share | None = Field(None, description="share of the reach behind the unit")
    front_to_back_db: FrontToBack | None = Field(
        None, description="instead of reach_behind: one-way front-to-back ratio of its antenna"
    )
    elevation: ElevationTable | None = Field(
        None,
        description="instead of reach_behind: [degrees off its axis, share of the reach], 0 to 180",
    )
    beams: Beams | None = Field(None, description="aimed beams that share the footprint")
    band_hz: tuple[Shift, Shift] | None = Field(
        None, description="Doppler shifts it answers to, [lowest, highest], in Hz"
    )
    speed: SpeedRange | None = Field(
        None, description="instead of band_hz: radial speeds it answers to, {from, to} in m/s"
    )
    source: str = Field("", description="where the other figures of this half come from")

    @model_validator(mode="after")
    def _sound(self) -> MicrowaveHalf:
        check_radiation(self)
        check_declared(self.declared)
        return self
