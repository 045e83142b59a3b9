"""`placing:` of a scene: what `place` may choose from, and where it may hang it."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from raycover.scene.quantities import Degrees, NonNegativeLength, Number, Point2, PositiveLength, Strict

Outline = Annotated[list[Point2], Field(min_length=3, max_length=2000)]
Run = Annotated[list[Point2], Field(min_length=2, max_length=500)]
Price = Annotated[Number, Field(gt=0, le=1e9)]
#: Metres between candidates where the scene does not say.
PITCH = 1.0
#: Units on a ceiling keep this far (m) from walls: common practice, no source.
FROM_WALL = 0.5


class PlacingSpec(Strict):
    """Which units are offered, at which heights and turns, and where their candidates lie."""

    models: list[str] | None = Field(
        None, min_length=1, max_length=100, description="entries offered; those of the scene's detectors if not given"
    )
    mounting: list[PositiveLength] | None = Field(
        None, min_length=1, max_length=20,
        description="mounting heights offered; those drawn in the room, else its ceiling (2.4 m on walls) if not given",
    )  # fmt: skip
    turns_deg: list[Degrees] | None = Field(
        None, min_length=1, max_length=24, description="turns offered to units that are not round; 0 and 90"
    )
    tilts_deg: list[Annotated[Number, Field(ge=-60, le=60)]] | None = Field(
        None, min_length=1, max_length=12, description="tilts offered to units on walls; 0 if not given"
    )
    masks: bool = Field(True, strict=True, description="masks where a unit would trip from a never-area")
    settings: bool = Field(True, strict=True, description="lower sensitivity there, as the entry permits")
    pitch: Annotated[PositiveLength, Field(ge=0.1)] | None = Field(
        None, description="metres between candidates; 1, less in small rooms, if not given"
    )
    along: list[Literal["ceiling", "aisles", "lines"]] | None = Field(
        None,
        min_length=1,
        max_length=3,
        description="where units may hang; the ceiling and the middle of aisles, or the lines where given",
    )
    lines: list[Run] = Field(
        default_factory=list, max_length=1000, description="trunking and the like: lines [[x, y], …] to hang on"
    )
    within: list[Outline] = Field(default_factory=list, max_length=200, description="areas to hang in, all if none")
    not_within: list[Outline] = Field(default_factory=list, max_length=200, description="areas to keep clear")
    from_wall: NonNegativeLength = Field(FROM_WALL, description="distance kept from walls, 0.5 m if not given")
    keep: list[Annotated[str, Field(min_length=1, max_length=80)]] = Field(
        default_factory=list, max_length=20_000, description="detectors that stay: names, * for any letters"
    )
    prices: dict[str, Price] = Field(
        default_factory=dict, max_length=1000, description="{entry: price installed}; without, units are counted"
    )
    regular: bool = Field(True, strict=True, description="of equal layouts the one in fewest straight lines")

    @model_validator(mode="after")
    def _lines_there(self) -> PlacingSpec:
        if self.along is not None and "lines" in self.along and not self.lines:
            raise PydanticCustomError(
                "no_lines",
                "units may hang along lines, but no lines are given",
                {"at": ["along"], "help": "write lines: [[[x, y], [x, y]], …], or take lines out of along"},
            )
        return self

    @property
    def sorts(self) -> tuple[str, ...]:
        """Where candidates lie."""
        return tuple(self.along) if self.along is not None else ("lines",) if self.lines else ("ceiling", "aisles")
