"""What a scene file says of things that may trip a unit though nobody is there."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from raycover.scene.construction import ConstructionRef
from raycover.scene.nuisance_kinds import KINDS, Kind, KindName, Moves
from raycover.scene.parts import InRoom
from raycover.scene.quantities import Degrees, Name, NonNegativeLength, Number, Point2, Strict

#: Hotter than any surface in a building that people light (°C), and colder.
_SURFACE = Field(ge=-60, le=2000)
Speed = Annotated[Number, Field(ge=0, le=60)]
#: What stands inside a wall stands this near (m) to its middle.
IN_WALL_M = 0.3


class Sun(Strict):
    """Where the sun stands, as tables of the sun give it."""

    azimuth_deg: Annotated[Number, Field(ge=0, le=360)] = Field(description="clockwise from north: 90 east, 180 south")
    elevation_deg: Annotated[Number, Field(ge=1, le=90)] = Field(description="above the horizon")


class Nuisance(InRoom):
    """A fan, a pipe, a heater, a passing vehicle: what is left out is what its kind is usually like."""

    name: Name = Field(description="name of the nuisance")
    kind: KindName = Field(description="what it is; it decides every key that is left out")
    at: Point2 | None = Field(None, description="its middle in plan [x, y]")
    line: list[Point2] | None = Field(
        None, min_length=2, max_length=500, description="instead of at: points [x, y] along which it moves"
    )
    through: str | None = Field(
        None, description="sunlit-patch, instead of at: the window or roof light that the sun shines through"
    )
    sun: Sun | None = Field(None, description="with through: where the sun stands, {azimuth_deg, elevation_deg}")
    height: NonNegativeLength | None = Field(None, description="height of its middle above the floor")
    size: list[NonNegativeLength] | None = Field(
        None, min_length=2, max_length=3, description="[x, y, z] before turning; [x, y] for a flat patch"
    )
    turn_deg: Degrees = Field(0.0, description="anticlockwise turn about its middle")
    moves: Moves | None = Field(None, description="always, sometimes or never")
    cross_section_m2: Annotated[Number, Field(gt=0, le=10_000)] | None = Field(
        None, description="radar cross section of what moves; a walker has 0.73"
    )
    speed_mps: Speed | list[Speed] | None = Field(
        None, description="speed of what moves, or [slowest, fastest] of its parts"
    )
    behind: ConstructionRef | None = Field(
        None, description="it stands inside a wall: what covers it towards the room, instead of the whole wall"
    )
    surface_c: Annotated[Number, _SURFACE] | None = Field(None, description="temperature of its surface, °C")
    above_ambient_k: Annotated[Number, Field(ge=-100, le=2000)] | None = Field(
        None, description="instead of surface_c: how much warmer than the air it is, in kelvin; negative for colder"
    )
    emissivity: Annotated[Number, Field(gt=0, le=1)] = Field(
        0.95, description="emissivity of its surface: 0.95 paint and most else, 0.1 to 0.3 bare metal"
    )
    change_s: Annotated[Number, Field(gt=0, le=86_400)] | None = Field(
        None, description="its heat changes: time constant of that change, in seconds"
    )
    flicker_hz: Annotated[Number, Field(gt=0, le=1000)] | None = Field(
        None, description="its heat flickers: so many times a second, in hertz"
    )
    steady: bool = Field(False, strict=True, description="true: its heat never changes")
    detectors: list[str] | None = Field(
        None, min_length=1, max_length=20_000, description="only these detectors are asked; all of them if not given"
    )
    opens: list[str] = Field(
        default_factory=list, max_length=20, description="doors that stand open while it is there, by name"
    )

    @model_validator(mode="after")
    def _sound(self) -> Nuisance:
        places = [key for key in ("at", "line", "through") if getattr(self, key) is not None]
        if len(places) != 1:
            raise PydanticCustomError(
                "one_place",
                "a nuisance has just one place",
                {"at": [places[-1] if places else "name"], "help": "write at: [x, y] or line: [[x, y], …]"},
            )
        if (self.through is None) != (self.sun is None) or (self.through is not None and self.kind != "sunlit-patch"):
            raise PydanticCustomError(
                "sun_through",
                "through and sun go together, for a sunlit-patch only",
                {
                    "at": ["through" if self.through is not None else "sun"],
                    "key": True,
                    "help": "write through: Window, sun: {azimuth_deg: 180, elevation_deg: 40}",
                },
            )
        if self.surface_c is not None and self.above_ambient_k is not None:
            raise PydanticCustomError(
                "one_temperature",
                "surface_c and above_ambient_k say the same twice",
                {"at": ["above_ambient_k"], "key": True, "help": "take one of the two out"},
            )
        said = [k for k in ("change_s", "flicker_hz") if getattr(self, k) is not None] + ["steady"] * self.steady
        if len(said) > 1:
            raise PydanticCustomError(
                "one_change",
                "{first} and {second} say different things of its heat",
                {"first": said[0], "second": said[1], "at": [said[1]], "key": True, "help": "take one of the two out"},
            )
        speed = self.speed_mps
        if isinstance(speed, list) and (len(speed) != 2 or speed[0] > speed[1]):
            raise PydanticCustomError(
                "speed_range",
                "a range of speeds is [slowest, fastest]",
                {"at": ["speed_mps"], "help": "write speed_mps: [0, 6], or one number"},
            )
        if self.size is not None and (max(self.size) <= 0 or sum(s > 0 for s in self.size) < 2):
            raise PydanticCustomError(
                "no_size",
                "it has no extent",
                {"at": ["size"], "help": "give [x, y, z]; one of the three may be 0 for something flat"},
            )
        if self.behind is not None and self.line is not None:
            raise PydanticCustomError(
                "behind_and_line",
                "what stands inside a wall does not move along a line",
                {"at": ["behind"], "key": True, "help": "give its place with at: [x, y]"},
            )
        return self

    @property
    def default(self) -> Kind:
        return KINDS[self.kind]

    @property
    def extent(self) -> tuple[float, float, float]:
        """Size [x, y, z] (m)."""
        if self.size is None:
            return self.default.size
        return self.size[0], self.size[1], self.size[2] if len(self.size) == 3 else 0.0

    @property
    def middle(self) -> float:
        """Height (m) of its middle above the floor."""
        return self.default.height if self.height is None else self.height

    @property
    def echo_m2(self) -> float | None:
        """Radar cross section (m²) of what moves, None where nothing does."""
        if self.moves == "never":
            return None
        return self.default.cross_section_m2 if self.cross_section_m2 is None else self.cross_section_m2

    @property
    def speeds_mps(self) -> tuple[float, float]:
        """Slowest and fastest of its parts (m/s); a walker's where nobody says."""
        if self.speed_mps is None:
            return self.default.speed_mps if self.default.speed_mps is not None else (0.0, 1.22)
        return (self.speed_mps[0], self.speed_mps[1]) if isinstance(self.speed_mps, list) else (self.speed_mps,) * 2

    def surface_at(self, ambient_c: float) -> float | None:
        """Temperature (°C) of its surface in air of `ambient_c`, None where it is as warm as the air."""
        if self.surface_c is not None:
            return self.surface_c
        above = self.default.above_ambient_k if self.above_ambient_k is None else self.above_ambient_k
        return None if above is None else ambient_c + above

    @property
    def is_hot(self) -> bool:
        """Whether its surface is of another temperature than the air."""
        return self.surface_at(0.0) is not None

    @property
    def motion(self) -> Moves:
        """Whether it moves as a whole."""
        if self.moves is not None:
            return self.moves
        return "sometimes" if self.line is not None and self.default.moves == "never" else self.default.moves

    @property
    def heat(self) -> tuple[float | None, float | None]:
        """(change_s, flicker_hz) of its heat; both None where it never changes."""
        if self.steady:
            return None, None
        if self.change_s is not None or self.flicker_hz is not None:
            return self.change_s, self.flicker_hz
        return self.default.change_s, self.default.flicker_hz
