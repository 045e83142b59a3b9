"""Plans as received: an underlay with its place, and the drawing that a scene was taken from."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from raycover.scene.quantities import Degrees, Number, Point2, PositiveLength, Strict

#: Units of length that drawings come in, and metres in each (exact by definition: inch 25.4 mm, foot 12 inches).
UNITS_M = {"mm": 0.001, "cm": 0.01, "dm": 0.1, "m": 1.0, "in": 0.0254, "ft": 0.3048}
Units = Literal["mm", "cm", "dm", "m", "in", "ft"]
Place = Annotated[Number, Field(ge=-1e12, le=1e12)]
Pixel = Annotated[Number, Field(ge=-1e6, le=1e6)]


class KnownPoint(Strict):
    """A point of the picture whose place in the scene is known."""

    pixel: tuple[Pixel, Pixel] = Field(description="[right, down] from the picture's upper left corner")
    at: Point2 = Field(description="where that is in the scene [x, y]")


class UnderlayScale(Strict):
    """Size and place of a picture by its scale."""

    metres_per_pixel: PositiveLength = Field(description="what one pixel stands for")
    origin: Point2 = Field((0.0, 0.0), description="where the picture's lower left corner lies [x, y]")


class UnderlaySpec(Strict):
    """A plan as received (PNG, JPEG, or a page of a PDF), placed by known points or by a scale."""

    file: Annotated[str, Field(min_length=1, max_length=1000)] = Field(
        description="PNG, JPEG or PDF, relative to the scene's folder"
    )
    page: Annotated[int, Field(ge=1, le=10_000, strict=True)] = Field(1, description="page of a PDF, from 1")
    points: list[KnownPoint] | None = Field(
        None, min_length=2, max_length=20, description="known points: {pixel: [right, down], at: [x, y]}, far apart"
    )
    scale: UnderlayScale | None = Field(None, description="or {metres_per_pixel, origin}")
    turn_deg: Degrees | None = Field(None, description="with scale: anticlockwise turn about the origin")
    storey: str | None = Field(None, max_length=80, description="storey it is a plan of; all of them if not given")
    # From memory, common practice: a background plan is printed at a third to a half of full ink.
    opacity: Annotated[Number, Field(gt=0, le=1)] = Field(0.35, description="strength of its lines, 0 to 1")

    @model_validator(mode="after")
    def _one_way(self) -> UnderlaySpec:
        if (self.points is None) == (self.scale is None):
            raise PydanticCustomError(
                "underlay_place",
                "an underlay is placed by two known points or by a scale" + (", not both" if self.scale else ""),
                {"help": "write points: [{pixel: [120, 840], at: [0, 0]}, …] or scale: {metres_per_pixel: 0.01}"},
            )
        if self.points is not None and self.turn_deg is not None:
            raise PydanticCustomError(
                "underlay_turn",
                "the known points already say how the picture is turned",
                {"at": ["turn_deg"], "key": True, "help": "take turn_deg out, or place the picture by a scale"},
            )
        return self


class PlanSpec(Strict):
    """The drawing that a scene was taken from: what `export` writes back over."""

    units: Units = Field("m", description="units of the drawing: mm, cm, dm, m, in, ft")
    origin: tuple[Place, Place] = Field((0.0, 0.0), description="where the scene's (0, 0) lies there, in its units")
