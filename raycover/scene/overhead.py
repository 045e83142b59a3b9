"""What a scene file says of what lies over a room: suspended ceilings, sloped roofs, roof lights."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field, TypeAdapter, ValidationError, model_validator
from pydantic_core import PydanticCustomError

from raycover.scene.construction import ConstructionRef, State
from raycover.scene.quantities import Degrees, Point2, PositiveLength, Strict


class SuspendedCeiling(Strict):
    """Tiles hung below a slab or roof: one level sheet over the whole room, detectors below or above it."""

    height: PositiveLength = Field(description="height of the tiles above the floor")
    # 15 mm ceiling board: common practice, no source
    construction: ConstructionRef = Field("ceiling-tile-15", description="construction of the tiles")


class RoofLight(Strict):
    """An oblong hole in a slope and what fills it, or a row of such along the eaves."""

    centre: Point2 = Field(description="centre of the first one in plan [x, y]")
    size: tuple[PositiveLength, PositiveLength] = Field(description="[along the eaves, up the slope]")
    count: Annotated[int, Field(ge=1, le=1000, strict=True)] = Field(1, description="how many in a row along the eaves")
    pitch: PositiveLength | None = Field(None, description="from the middle of one to that of the next")
    # Sealed double glazing: from memory, common practice
    fill: ConstructionRef = Field("double-glazing-6-16-6", description="construction that fills it, or none")
    state: State = Field("closed", description="closed, or open: a plain hole")

    @model_validator(mode="after")
    def _row(self) -> RoofLight:
        if (self.count > 1) != (self.pitch is not None):
            raise PydanticCustomError(
                "roof_light_row",
                "a row of roof lights needs both a count above 1 and a pitch",
                {"help": "write count: 4, pitch: 5 (metres from middle to middle), or neither"},
            )
        if self.pitch is not None and self.pitch < self.size[0]:
            raise PydanticCustomError(
                "roof_light_row",
                "the roof lights of a row overlap: their pitch is shorter than they are",
                {"at": ["pitch"], "help": "make pitch at least the first number of size"},
            )
        return self


class Roof(Strict):
    """A sloped roof over a room's outline: one slope, or two that meet in a ridge over the middle.

    Walls reach up to it, so that its ends are gables. Heights count from the room's floor.
    """

    kind: Literal["mono", "pitched"] = Field(description="mono: one slope; pitched: two that meet in a ridge")
    ridge: Literal["x", "y"] | None = Field(None, description="pitched: the ridge runs along x or along y")
    direction_deg: Degrees | None = Field(
        None, description="anticlockwise from +x. pitched: where the ridge runs; mono: where it rises to"
    )
    eaves: PositiveLength = Field(description="height of its lowest edge above the floor")
    ridge_height: PositiveLength = Field(description="height of its highest line above the floor")
    construction: ConstructionRef = Field(description="construction of the slopes, or none")
    lights: list[RoofLight] = Field(default_factory=list, max_length=1000, description="roof lights")

    @model_validator(mode="after")
    def _one_direction(self) -> Roof:
        if self.kind == "mono" and self.ridge is not None:
            raise PydanticCustomError(
                "roof_direction",
                "a mono roof has no ridge to run along an axis",
                {"at": ["ridge"], "key": True, "help": "write direction_deg: where it rises to, 0 for +x, 90 for +y"},
            )
        if (self.ridge is None) == (self.direction_deg is None):
            raise PydanticCustomError(
                "roof_direction",
                "a roof needs its direction, once",
                {"help": "write ridge: x, ridge: y or direction_deg: 30 (mono: where it rises to)"},
            )
        if self.ridge_height <= self.eaves:
            raise PydanticCustomError(
                "roof_flat",
                "the ridge does not stand above the eaves",
                {"at": ["ridge_height"], "help": "raise it, or write height and ceiling for a flat roof"},
            )
        return self


def height_under_roof(data: Any) -> Any:
    """A room's mapping with the height that its roof gives: that of the ridge. Refuses what would say it twice."""
    if not isinstance(data, dict) or data.get("roof") is None:
        return data
    for key in ("height", "ceiling"):
        if key in data:
            raise PydanticCustomError(
                "roof_and_height",
                "a room under a roof has no {word} of its own",
                {
                    "word": key,
                    "at": [key],
                    "key": True,
                    "help": "take it out: the roof says how high it is",
                },
            )
    roof = data["roof"]
    try:
        height = TypeAdapter(PositiveLength).validate_python(roof["ridge_height"])
    except (ValidationError, KeyError, TypeError):
        height = 1.0  # the roof itself is reported
    return {**data, "height": height}


def room_schema(schema: dict[str, Any]) -> None:
    """In the JSON Schema of a room: height or roof."""
    schema["required"] = [key for key in schema["required"] if key != "height"]
    schema |= {"if": {"not": {"required": ["roof"]}}, "then": {"required": ["height"]}}
