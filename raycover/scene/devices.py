"""Detectors and what they are asked: patterns as a data sheet declares them, mounting, masks, planes."""

from __future__ import annotations

import math
from itertools import pairwise
from math import atan2, degrees, hypot
from typing import Annotated, Literal

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from raycover.physics.microwave import BODIES_M2
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
    Version,
)
from raycover.scene.radiation import (
    DEFAULT_PERCENT,
    BeamSpec,
    ElevationTable,
    Percent,
    PercentRange,
    SpeedRange,
    check_elevation,
)
from raycover.scene.routes import HoldTime

#: Protection class by IEC 60529.
Protection = Annotated[str, Field(pattern=r"^IP[0-6X][0-9X]$")]
Motion = Literal["tangential", "radial", "presence"]
Share = Annotated[Number, Field(ge=0, le=1)]
#: No unit senses so little: a smaller figure is a slip of units.
Span = Annotated[Length, Field(ge=0.05, le=20_000)]
#: Files that `map` writes beside those named after planes.
_TAKEN_NAMES = ("view", "summary", "isometric")


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


_Shift = Annotated[Number, Field(gt=0, le=1e6)]
#: Keys of a pattern that mean nothing for infrared.
MICROWAVE_ONLY = ("frequency_ghz", "reach_behind", "front_to_back_db", "elevation", "beams", "band_hz", "speed")
#: Keys of which one takes the other's place.
_EXCLUSIVE = (
    ("reach_behind", "front_to_back_db"),
    ("reach_behind", "elevation"),
    ("front_to_back_db", "elevation"),
    ("beams", "elevation"),
    ("band_hz", "speed"),
)


class PatternSpec(Strict):
    """What a data sheet says of a detector's reach."""

    kind: Literal["infrared", "microwave"] = Field(description="infrared or microwave")
    frequency_ghz: Annotated[Number, Field(gt=0, le=1000)] | None = Field(None, description="microwave only, in GHz")
    declared: list[DeclaredSpec] = Field(min_length=1, max_length=100, description="declared footprints")
    mounting: MountingRange | None = Field(None, description="{from, to}: heights it is meant for")
    largest_mask_share: Share | None = Field(None, description="largest share of the pattern that may be masked")
    bus_current_ma: Annotated[Number, Field(ge=0, le=1000)] | None = Field(None, description="bus current in mA")
    reach_behind: Share | None = Field(None, description="microwave only: share of the reach behind the unit")
    zones: ZonesSpec | None = Field(None, description="infrared only: the lens; derived from the footprint without")
    front_to_back_db: Annotated[Number, Field(ge=0, le=100)] | None = Field(
        None, description="microwave only, instead of reach_behind: one-way front-to-back ratio of its antenna"
    )
    elevation: ElevationTable | None = Field(
        None,
        min_length=2,
        max_length=361,
        description="microwave only, instead of reach_behind: [degrees off its axis, share of the reach], 0 to 180",
    )
    beams: list[BeamSpec] | None = Field(
        None, min_length=1, max_length=12, description="microwave only: aimed beams that share the footprint"
    )
    band_hz: tuple[_Shift, _Shift] | None = Field(
        None, description="microwave only: Doppler shifts it answers to, [lowest, highest], in Hz"
    )
    speed: SpeedRange | None = Field(
        None, description="microwave only, instead of band_hz: radial speeds it answers to, {from, to} in m/s"
    )
    sensitivity_pct: PercentRange | None = Field(
        None,
        description="{from, to}: what its sensitivity may be set to, per cent of the reach; 10 to 100 if not given",
    )
    source: str = Field("", description="where the other figures come from")

    @property
    def settings_pct(self) -> tuple[float, float]:
        """Lowest and highest sensitivity that may be set, per cent of the reach."""
        given = self.sensitivity_pct
        return DEFAULT_PERCENT if given is None else (given.from_pct, given.to_pct)

    @model_validator(mode="after")
    def _kinds(self) -> PatternSpec:
        if self.kind == "microwave" and self.frequency_ghz is None:
            raise PydanticCustomError(
                "missing_key", "a microwave pattern needs frequency_ghz", {"help": "add frequency_ghz: 5.8, say"}
            )
        for key in MICROWAVE_ONLY:
            if self.kind == "infrared" and getattr(self, key) is not None:
                raise PydanticCustomError(
                    "not_for_infrared",
                    "this key is for microwave patterns only",
                    {"at": [key], "key": True, "help": "take it out, or write kind: microwave"},
                )
        if self.kind == "microwave" and self.zones is not None:
            raise PydanticCustomError(
                "not_for_microwave",
                "a microwave unit has no lens",
                {"at": ["zones"], "key": True, "help": "take zones out, or write kind: infrared"},
            )
        for one, other in _EXCLUSIVE:
            if getattr(self, one) is not None and getattr(self, other) is not None:
                raise PydanticCustomError(
                    "one_of_two",
                    "{other} and {one} say the same thing in two ways",
                    {"one": one, "other": other, "at": [other], "key": True, "help": "keep one of the two"},
                )
        if self.band_hz is not None and self.band_hz[1] < self.band_hz[0]:
            raise PydanticCustomError(
                "range_order", "the band ends below its start", {"at": ["band_hz"], "help": "swap the two"}
            )
        if self.elevation is not None:
            drops = [(d.shape.radii, d.mounting - d.plane) for d in self.declared]
            check_elevation(self.elevation, [(degrees(atan2(a, h)), degrees(atan2(b, h))) for (a, b), h in drops])
        seen: set[tuple[str, float]] = set()
        for index, declared in enumerate(self.declared):
            twin = (declared.motion, declared.mounting)
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
        return self


class DetectorModel(PatternSpec):
    """An entry of the catalogue: a pattern with a name and words about it."""

    raycover_detector: Version = Field(description="version of the entry's format: 1")
    name: Name = Field(description="name that scenes use")
    title: str = Field(min_length=1, max_length=120, description="one line for schedules and pictures")
    family: str = Field("", max_length=80, description="family it belongs to")
    description: str = Field("", max_length=4000, description="what it is for")
    protection: Protection | None = Field(None, description="protection class by IEC 60529, IP54 say")


class MaskSpec(Strict):
    """A sector of the unit's own frame that is blocked on purpose; anticlockwise, wrapping."""

    from_deg: Degrees = Field(description="start azimuth in the unit's frame")
    to_deg: Degrees = Field(description="end azimuth, anticlockwise from the start")
    off_axis_from_deg: Annotated[Number, Field(ge=0, le=180)] = Field(0.0, description="from this angle off axis")
    off_axis_to_deg: Annotated[Number, Field(ge=0, le=180)] = Field(180.0, description="to this angle off axis")
    loss_db: Annotated[Number, Field(gt=0, le=200)] | None = Field(
        None, description="microwave only: a partial mask, one-way loss; without it the mask is total"
    )

    @model_validator(mode="after")
    def _spans(self) -> MaskSpec:
        if self.to_deg - self.from_deg == 0 or self.off_axis_to_deg <= self.off_axis_from_deg:
            raise PydanticCustomError(
                "empty_mask", "the mask covers nothing", {"help": "give two different azimuths, rising off-axis angles"}
            )
        return self


class DetectorSpec(Strict):
    """A detector in its place: a model of the catalogue or a pattern of its own."""

    name: Name = Field(description="tag of the detector")
    model: str | None = Field(None, description="an entry of the catalogue")
    pattern: PatternSpec | None = Field(None, description="or a pattern of its own")
    at: Point2 = Field(description="place [x, y]")
    mounting: PositiveLength = Field(description="height above the floor of its room")
    room: str | None = Field(None, description="its room; needed only where rooms lie one above another")
    turn_deg: Degrees = Field(0.0, description="anticlockwise turn of azimuth 0 from +x")
    tilt_deg: Annotated[Number, Field(ge=-180, le=180)] = Field(0.0, description="positive raises azimuth 0")
    sensitivity_pct: Percent = Field(100.0, description="sensitivity as set on the unit, per cent of its reach")
    masks: list[MaskSpec] = Field(default_factory=list, max_length=50, description="blocked sectors")
    hold_s: HoldTime | None = Field(None, description="hold time of the light it switches, in seconds")
    address: Annotated[int, Field(ge=0, le=63, strict=True)] | None = Field(
        None, description="short address on its control line, 0 to 63"
    )
    status: Literal["new", "existing", "moved"] = Field("new", description="for the schedule: new, existing or moved")
    fixing: str = Field("", max_length=80, description="for the schedule: how it is fixed, flush or on a rail, say")
    protection: str = Field("", max_length=40, description="for the schedule: protection class, IP44 say")
    note: str = Field("", max_length=200, description="for the schedule: a remark")

    @model_validator(mode="after")
    def _one_pattern(self) -> DetectorSpec:
        if self.model is None and self.pattern is None:
            raise PydanticCustomError(
                "one_pattern",
                "needs a model or a pattern",
                {"help": "name a model of the catalogue (raycover models lists them) or write pattern: {...}"},
            )
        if self.model is not None and self.pattern is not None:
            raise PydanticCustomError(
                "one_pattern",
                "a detector has a model or a pattern, not both",
                {"at": ["model"], "key": True, "help": "take one of the two out"},
            )
        return self


class PlaneSpec(Strict):
    """A height to map, and what moves there."""

    name: Name = Field(description="name of the map")
    height: Coordinate | None = Field(None, description="height above the floor")
    heights: list[Coordinate] | None = Field(
        None, min_length=1, max_length=12, description="heights of a person's parts above the floor"
    )
    target: Literal["point", "person"] = Field("point", description="point, or person (seen at any height)")
    motion: Literal["any", "tangential", "radial", "presence"] = Field("any", description="which motion")
    body: Literal["walker", "seated", "breathing"] | None = Field(
        None, description="who moves there, for microwave: walker, seated or breathing; as declared if not given"
    )
    target_m2: Annotated[Number, Field(gt=0, le=1000)] | None = Field(
        None, description="instead of body: radar cross section of what moves there"
    )
    extent: tuple[Coordinate, Coordinate, Coordinate, Coordinate] | None = Field(
        None, description="[xmin, ymin, xmax, ymax] instead of the rooms"
    )

    @property
    def target_heights(self) -> tuple[float, ...]:
        """Heights (m) at which being seen counts."""
        if self.target == "person":
            return tuple(self.heights) if self.heights is not None else (0.3, 1.0, 1.6)
        return (self.height,) if self.height is not None else (0.0,)

    @property
    def cross_section_m2(self) -> float | None:
        """Radar cross section (m²) of what moves there; None: what each declaration assumes."""
        return BODIES_M2[self.body] if self.body is not None else self.target_m2

    @model_validator(mode="after")
    def _sound(self) -> PlaneSpec:
        if self.target == "point" and (self.height is None or self.heights is not None):
            raise PydanticCustomError(
                "plane_height",
                "a plane needs one height",
                {"help": "write height: 0.75, or target: person with heights"},
            )
        if self.target == "person" and self.height is not None:
            raise PydanticCustomError(
                "plane_height",
                "a person has heights, not a height",
                {"at": ["height"], "key": True, "help": "write heights: [0.3, 1.0, 1.6]"},
            )
        if self.body is not None and self.target_m2 is not None:
            raise PydanticCustomError(
                "one_of_two",
                "body and target_m2 say the same thing in two ways",
                {"at": ["target_m2"], "key": True, "help": "keep one of the two"},
            )
        if self.name.lower() in _TAKEN_NAMES:
            raise PydanticCustomError(
                "taken_name",
                '"{name}" is the name of another file that map writes',
                {"name": self.name, "at": ["name"], "help": "rename it"},
            )
        if self.extent is not None and (self.extent[2] <= self.extent[0] or self.extent[3] <= self.extent[1]):
            raise PydanticCustomError(
                "empty_extent",
                "the extent is empty",
                {"at": ["extent"], "help": "write extent: [xmin, ymin, xmax, ymax]"},
            )
        return self


Grid = Annotated[Length, Field(ge=0.005, le=10)]
