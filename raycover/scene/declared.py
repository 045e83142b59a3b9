"""What a data sheet declares: footprints by mounting height, plane and motion, heights it is meant for, zones."""

from __future__ import annotations

import math
from itertools import pairwise
from math import hypot
from typing import Annotated, Literal, get_args

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from raycover.scene.quantities import Degrees, Length, NonNegativeLength, Number, PositiveLength, Strict

Motion = Literal["tangential", "radial", "presence"]
#: What a plane, a probe or the window asks for: any of them, or one.
ASKED_MOTIONS: tuple[str, ...] = ("any", *get_args(Motion))
#: No unit senses so little: a smaller figure is a slip of units.
Span = Annotated[Length, Field(ge=0.05, le=20_000)]


class Circle(Strict):
    """A circle about the point below the unit."""

    diameter: Span = Field(description="full width in metres, twice the radius")


class Rectangle(Strict):
    """A rectangle about the point below the unit."""

    length: Span = Field(description="along azimuth 0")
    width: Span = Field(description="across it")


class Ellipse(Strict):
    """An ellipse about the point below the unit."""

    length: Span = Field(description="along azimuth 0")
    width: Span = Field(description="across it")


class Sector(Strict):
    """A sector that opens from the point below the unit."""

    reach: Span = Field(description="radius of the sector")
    spread_deg: Annotated[Number, Field(ge=1, le=360)] = Field(description="full opening angle about azimuth 0")


class ShapeSpec(Strict):
    """A footprint: just one of circle, rectangle, ellipse, sector, polar."""

    circle: Circle | None = None
    rectangle: Rectangle | None = None
    ellipse: Ellipse | None = None
    sector: Sector | None = None
    polar: list[tuple[Degrees, NonNegativeLength]] | None = Field(
        None, min_length=3, max_length=3600, description="[azimuth in degrees, radius in metres], rising"
    )

    @property
    def radii(self) -> tuple[float, float]:
        """Least and largest radius (m) over all azimuths."""
        if self.circle is not None:
            return self.circle.diameter / 2, self.circle.diameter / 2
        if self.rectangle is not None:
            sides = self.rectangle.length / 2, self.rectangle.width / 2
            return min(sides), hypot(*sides)
        if self.ellipse is not None:
            axes = self.ellipse.length / 2, self.ellipse.width / 2
            return min(axes), max(axes)
        if self.sector is not None:
            return (self.sector.reach if self.sector.spread_deg >= 360 else 0.0), self.sector.reach
        radii = [radius for _, radius in self.polar or []]
        return min(radii), max(radii)

    @model_validator(mode="after")
    def _just_one(self) -> ShapeSpec:
        if len(self.model_fields_set) != 1:
            raise PydanticCustomError(
                "one_shape",
                "a shape is just one of circle, rectangle, ellipse, sector, polar",
                {"help": "write, for example, shape: {circle: {diameter: 8}}"},
            )
        if self.polar is not None:
            azimuths = [azimuth for azimuth, _ in self.polar]
            late = [i for i, (a, b) in enumerate(pairwise(azimuths), 1) if not a + 0.0099 < b < azimuths[0] + 360]
            if late:
                raise PydanticCustomError(
                    "polar_order",
                    "the azimuths of a polar shape must rise and stay within one turn",
                    {"at": ["polar", late[0]], "help": "sort the rows by azimuth, 0 to below 360, 0.01 or more apart"},
                )
            if not any(radius >= 0.05 for _, radius in self.polar):
                raise PydanticCustomError(
                    "polar_empty", "a polar shape reaches nowhere", {"at": ["polar"], "help": "give radii in metres"}
                )
        return self


class DeclaredSpec(Strict):
    """One declared footprint: for one motion, at one mounting height, on one plane."""

    mounting: PositiveLength = Field(description="mounting height the footprint is declared at")
    plane: NonNegativeLength = Field(0.0, description="height of the plane it is declared on")
    motion: Motion = Field(description="tangential, radial or presence")
    shape: ShapeSpec = Field(description="circle, rectangle, ellipse, sector or polar")
    source: str = Field("", description="where the figure comes from")

    @model_validator(mode="after")
    def _below(self) -> DeclaredSpec:
        if self.plane >= self.mounting:
            raise PydanticCustomError(
                "plane_above_unit",
                "the declared plane is not below the mounting height",
                {"at": ["plane"], "help": "both count from the floor: give the heights of the data sheet"},
            )
        return self


class MountingRange(Strict):
    """The mounting heights an entry is meant for."""

    from_m: PositiveLength = Field(alias="from", description="lowest mounting height")
    to_m: PositiveLength = Field(alias="to", description="highest mounting height")

    @model_validator(mode="after")
    def _rising(self) -> MountingRange:
        if self.to_m < self.from_m:
            raise PydanticCustomError("range_order", "the mounting range ends below its start", {"help": "swap them"})
        return self

    def __str__(self) -> str:
        return f"{self.from_m:g} to {self.to_m:g} m"

    def holds(self, mounting: float) -> bool:
        """Whether a mounting height (m) lies in it, its ends included."""
        return self.from_m - 1e-9 <= mounting <= self.to_m + 1e-9


class RingSpec(Strict):
    """Zones of a lens evenly round its axis, at one angle off it."""

    off_axis_deg: Annotated[Number, Field(ge=0, le=100)] = Field(description="angle of the zones' middle off the axis")
    count: Annotated[int, Field(ge=1, le=1000)] = Field(description="zones in the whole ring")
    width_deg: Annotated[Number, Field(gt=0, le=360)] = Field(description="width of a zone along the ring")
    height_deg: Annotated[Number, Field(gt=0, le=90)] = Field(description="height of a zone across the ring")
    offset_deg: Degrees = Field(0.0, description="azimuth of the first zone's middle")


class ZonesSpec(Strict):
    """The lens of an infrared unit: rings of zones, with what stands behind each."""

    element: Literal["quad", "dual"] = Field("quad", description="quad (two by two fields) or dual (side by side)")
    rings: list[RingSpec] = Field(min_length=1, max_length=60, description="rings of zones")
    pulses: Annotated[int, Field(ge=1, le=4)] = Field(1, description="excursions that make a detection")

    @model_validator(mode="after")
    def _fit(self) -> ZonesSpec:
        for index, ring in enumerate(self.rings):
            around = 360 * math.sin(math.radians(ring.off_axis_deg)) + 1e-9
            if ring.count > 1 and ring.count * ring.width_deg > max(around, 0.0) * 1.05:
                raise PydanticCustomError(
                    "zones_overlap",
                    "{count} zones of {width}° do not fit into the ring, which is {around}° round",
                    {
                        "count": ring.count,
                        "width": f"{ring.width_deg:g}",
                        "around": f"{around:.0f}",
                        "at": ["rings", index, "count"],
                        "help": "a ring is 360·sin(off_axis_deg) degrees round: give fewer or narrower zones",
                    },
                )
        return self
