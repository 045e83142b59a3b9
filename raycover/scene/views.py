"""Sections and cameras, as a scene file says them: where a building is cut for a sheet, where it is looked at from."""

from __future__ import annotations

from typing import Annotated, Literal

import numpy as np
from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from raycover.scene.quantities import Length, Name, Number, Point2, Point3, PositiveLength, ShortName, Strict

MotionChoice = Literal["any", "tangential", "radial", "presence"]
#: A section no longer than this (m) shows nothing.
SHORTEST_SECTION_M = 0.5
#: A camera further away (m) from what it looks at than this sees a dot.
FARTHEST_M = 2000.0


class SectionSpec(Strict):
    """A vertical cut through the building, drawn on a sheet of its own."""

    name: ShortName = Field(description="letter or name on the cut marks; becomes part of a file name")
    title: Annotated[str, Field(max_length=60)] | None = Field(None, description="what it shows: along aisle 1, say")
    line: tuple[Point2, Point2] = Field(description="where it is cut: [[x, y], [x, y]]")
    looking: Literal["left", "right"] = Field("left", description="which way one looks, walking along the line")
    depth: PositiveLength = Field(10.0, description="how far beyond the cut things are drawn")
    motion: MotionChoice = Field("any", description="which motion: any, tangential, radial or presence")

    @model_validator(mode="after")
    def _has_length(self) -> SectionSpec:
        length = float(np.hypot(*np.subtract(self.line[1], self.line[0])))
        if length < SHORTEST_SECTION_M:
            raise PydanticCustomError(
                "section_too_short",
                "a section {length} m long shows nothing",
                {"length": f"{length:.3g}", "at": ["line"], "help": "give two points at least 0.5 m apart"},
            )
        return self


class CutHeights(Strict):
    """Heights above the floor at which a picture cuts things off, so that it can look in."""

    walls: Annotated[Length, Field(ge=0, le=300)] | None = Field(None, description="walls; as suits the view if absent")
    things: Annotated[Length, Field(ge=0, le=300)] | None = Field(
        None, description="racking and other things on the floor; as suits the view if not given"
    )


class CameraSpec(Strict):
    """A 3D picture: from a place in perspective, or from a direction in parallel projection."""

    name: Name = Field(description="name of the picture; becomes part of its file name")
    from_: Point3 | None = Field(None, alias="from", description="where the eye is, [x, y, z], absolute")
    at: Point3 | None = Field(None, description="what is in the middle, [x, y, z]; the mapped area's middle if absent")
    azimuth_deg: Annotated[Number, Field(ge=-360, le=360)] | None = Field(
        None, description="instead of from: where one looks from, clockwise from north (180: from the south)"
    )
    elevation_deg: Annotated[Number, Field(ge=5, le=90)] = Field(40.0, description="how far above the horizon")
    fov_deg: Annotated[Number, Field(ge=5, le=120)] = Field(50.0, description="angle of view from top to bottom")
    parallel: PositiveLength | None = Field(
        None, description="parallel projection: metres that the picture is high; all of it is shown if not given"
    )
    size: Literal["16:9", "A4"] = Field("16:9", description="shape of the picture: 16:9 or A4, landscape")
    plane: Name | None = Field(None, description="the plane mapped; the first if not given")
    cut: CutHeights = Field(default_factory=CutHeights, description="heights at which walls and things are cut off")
    detectors: bool = Field(True, description="whether detectors and their names are shown")
    lobes: bool | list[Name] = Field(True, description="fields in 3D: true for two, false, or detectors' names")
    people: bool = Field(True, description="whether people stand there for scale")

    @model_validator(mode="after")
    def _one_way(self) -> CameraSpec:
        if (self.from_ is None) == (self.azimuth_deg is None):
            both = self.from_ is not None
            raise PydanticCustomError(
                "one_way",
                "a camera looks from a place or from a direction: {what}",
                {
                    "what": "just one of from and azimuth_deg" if both else "from or azimuth_deg is missing",
                    "help": "write from: [x, y, z] and at: [x, y, z], or azimuth_deg: 135",
                },
            )
        if self.from_ is None and "fov_deg" in self.model_fields_set:
            raise PydanticCustomError(
                "one_way",
                "an angle of view needs a place to look from",
                {"at": ["fov_deg"], "key": True, "help": "write from: [x, y, z], or parallel: 40 for metres of height"},
            )
        if self.parallel is not None and "fov_deg" in self.model_fields_set:
            raise PydanticCustomError(
                "one_of_two",
                "a parallel projection has no angle of view",
                {"at": ["fov_deg"], "key": True, "help": "keep one of fov_deg and parallel"},
            )
        if self.from_ is not None and {"elevation_deg"} & self.model_fields_set:
            raise PydanticCustomError(
                "one_of_two",
                "from and at say how far the camera looks down",
                {"at": ["elevation_deg"], "key": True, "help": "take elevation_deg out"},
            )
        if self.from_ is not None and self.at is None:
            raise PydanticCustomError(
                "missing_key", "a camera at a place needs at, what it looks at", {"help": "write at: [x, y, z]"}
            )
        if self.from_ is not None and self.at is not None:
            away = float(np.linalg.norm(np.subtract(self.at, self.from_)))
            if not 0.1 <= away <= FARTHEST_M:
                raise PydanticCustomError(
                    "camera_distance",
                    "the camera is {away} m from what it looks at",
                    {"away": f"{away:.3g}", "at": ["from"], "help": "0.1 to 2000 m make a picture"},
                )
        return self
