"""Detectors and what they are asked: patterns as a data sheet declares them, mounting, masks, planes."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from raycover.physics.microwave import BODIES_M2
from raycover.scene.declared import DeclaredSpec as DeclaredSpec
from raycover.scene.declared import Motion as Motion
from raycover.scene.declared import MountingRange, ZonesSpec
from raycover.scene.declared import ShapeSpec as ShapeSpec
from raycover.scene.halves import (
    Combine,
    Gigahertz,
    HalfKind,
    InfraredHalf,
    MicrowaveHalf,
    Share,
    Shift,
    Trigger,
    check_declared,
    check_radiation,
)
from raycover.scene.quantities import (
    Coordinate,
    Degrees,
    Length,
    Name,
    Number,
    Point2,
    PositiveLength,
    Strict,
    Version,
)
from raycover.scene.radiation import (
    DEFAULT_PERCENT,
    Beams,
    ElevationTable,
    FrontToBack,
    Percent,
    PercentRange,
    SpeedRange,
)
from raycover.scene.routes import HoldTime

#: Protection class by IEC 60529.
Protection = Annotated[str, Field(pattern=r"^IP[0-6X][0-9X]$")]
#: Files that `map` writes beside those named after planes.
_TAKEN_NAMES = ("view", "summary", "isometric")


#: Keys of a pattern that mean nothing for infrared.
MICROWAVE_ONLY = ("frequency_ghz", "reach_behind", "front_to_back_db", "elevation", "beams", "band_hz", "speed")
#: Keys of a dual pattern only; in its halves stand those of `_OF_A_HALF` instead.
_DUAL_ONLY = ("infrared", "microwave", "combine", "trigger")
_OF_A_HALF = ("declared", "zones", *MICROWAVE_ONLY)


class PatternSpec(Strict):
    """What a data sheet says of a detector's reach."""

    kind: Literal["infrared", "microwave", "dual"] = Field(description="infrared, microwave, or dual: both in one")
    frequency_ghz: Gigahertz | None = Field(None, description="microwave only, in GHz")
    declared: list[DeclaredSpec] = Field(
        default_factory=list, min_length=1, max_length=100, description="declared footprints; dual: given by each half"
    )
    infrared: InfraredHalf | None = Field(None, description="dual only: the infrared half")
    microwave: MicrowaveHalf | None = Field(None, description="dual only: the microwave half")
    combine: Combine | None = Field(
        None, description="dual only: and, or, or trigger-then-hold, as it leaves the works; a detector may be set"
    )
    trigger: Trigger | None = Field(
        None, description="with trigger-then-hold: what switches on, infrared (if not given) or both"
    )
    mounting: MountingRange | None = Field(None, description="{from, to}: heights it is meant for")
    largest_mask_share: Share | None = Field(None, description="largest share of the pattern that may be masked")
    bus_current_ma: Annotated[Number, Field(ge=0, le=1000)] | None = Field(None, description="bus current in mA")
    reach_behind: Share | None = Field(None, description="microwave only: share of the reach behind the unit")
    zones: ZonesSpec | None = Field(None, description="infrared only: the lens; derived from the footprint without")
    front_to_back_db: FrontToBack | None = Field(
        None, description="microwave only, instead of reach_behind: one-way front-to-back ratio of its antenna"
    )
    elevation: ElevationTable | None = Field(
        None,
        description="microwave only, instead of reach_behind: [degrees off its axis, share of the reach], 0 to 180",
    )
    beams: Beams | None = Field(None, description="microwave only: aimed beams that share the footprint")
    band_hz: tuple[Shift, Shift] | None = Field(
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

    @property
    def meant_for(self) -> MountingRange:
        """The mounting heights it is meant for: as it says, else those it was declared at."""
        if self.mounting is not None:
            return self.mounting
        declared = [d.mounting for part in self.parts for d in part.declared]
        return MountingRange.model_construct(from_m=min(declared), to_m=max(declared))

    @property
    def parts(self) -> tuple[Self, ...]:
        """Itself, or of a dual pattern the infrared and the microwave half as patterns of their own."""
        if self.infrared is None or self.microwave is None:
            return (self,)
        plain = dict.fromkeys(_DUAL_ONLY)
        halves = (("infrared", self.infrared), ("microwave", self.microwave))
        return tuple(
            self.model_copy(update={**plain, "kind": kind, **dict(half), "source": half.source or self.source})
            for kind, half in halves
        )

    @model_validator(mode="after")
    def _kinds(self) -> Self:
        if self.kind == "dual":
            self._check_dual()
            return self
        for key in _DUAL_ONLY:
            if getattr(self, key) is not None:
                raise PydanticCustomError(
                    "only_for_dual",
                    "this key is for dual patterns only",
                    {"at": [key], "key": True, "help": "take it out, or write kind: dual"},
                )
        if not self.declared:
            raise PydanticCustomError(
                "missing_key", "needs declared, its footprints", {"help": "declared: footprints by mounting and motion"}
            )
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
        check_radiation(self)
        check_declared(self.declared)
        return self

    def _check_dual(self) -> None:
        for key in _OF_A_HALF:
            if getattr(self, key):
                raise PydanticCustomError(
                    "not_for_dual",
                    "of a dual pattern, this key belongs to one of its halves",
                    {"at": [key], "key": True, "help": "move it under infrared: or microwave:"},
                )
        for key, words in (
            ("infrared", "{declared: [...]}"),
            ("microwave", "{frequency_ghz: 5.8, declared: [...]}"),
            ("combine", "and, or, or trigger-then-hold, as it leaves the works"),
        ):
            if getattr(self, key) is None:
                raise PydanticCustomError(
                    "missing_key",
                    "a dual pattern needs {needed}",
                    {"needed": key, "help": f"write {key}: {words}"},
                )
        if self.trigger is not None and self.combine != "trigger-then-hold":
            raise PydanticCustomError(
                "trigger_without_hold",
                "trigger means nothing with combine: {combine}",
                {"combine": str(self.combine), "at": ["trigger"], "key": True, "help": "take it out"},
            )


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
    half: HalfKind | None = Field(
        None, description="of a dual unit: the half that it covers, infrared or microwave; both if not given"
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
    at: Point2 = Field(description="place [x, y]; how high it hangs is mounting")
    mounting: PositiveLength = Field(description="height above the floor of its room")
    room: str | None = Field(None, description="its room; needed only where rooms lie one above another")
    turn_deg: Degrees = Field(0.0, description="anticlockwise turn of azimuth 0 from +x")
    tilt_deg: Annotated[Number, Field(ge=-180, le=180)] = Field(0.0, description="positive raises azimuth 0")
    sensitivity_pct: Percent = Field(100.0, description="sensitivity as set on the unit, per cent of its reach")
    masks: list[MaskSpec] = Field(default_factory=list, max_length=50, description="blocked sectors")
    combine: Combine | None = Field(
        None, description="dual only: and, or, or trigger-then-hold, as set on the unit; as its entry says if not given"
    )
    trigger: Trigger | None = Field(
        None, description="with trigger-then-hold: what switches on, infrared or both; as its entry says if not given"
    )
    microwave_pct: Percent | None = Field(
        None, description="dual only: sensitivity of its microwave half where set by itself, per cent of its reach"
    )
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
