"""Imported mesh files as a scene file says it: which file, where it stands, what its objects are made of."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from raycover.scene.parts import ConstructionRef, InRoom
from raycover.scene.quantities import Coordinate, Degrees, Name, Number, Strict

#: Metres in one unit.
METRES = {"mm": 0.001, "cm": 0.01, "m": 1.0, "in": 0.0254, "ft": 0.3048}
MeshUnits = Literal["mm", "cm", "m", "in", "ft"]
Pattern = Annotated[str, Field(min_length=1, max_length=200)]


class MeshPart(Strict):
    """What the objects whose names match a pattern are made of; the first part that matches counts."""

    match: Pattern = Field(description='name of objects in the file, with * and ?: "*glass*"; capitals do not matter')
    construction: ConstructionRef | None = Field(None, description="construction: their faces are sheets of it")
    material: str | None = Field(None, description="material: closed ones are solids of it")
    ignore: bool = Field(False, strict=True, description="true leaves them out")

    @model_validator(mode="after")
    def _one_way(self) -> MeshPart:
        if (self.construction is not None) + (self.material is not None) + self.ignore != 1:
            raise PydanticCustomError(
                "one_makeup",
                "a part has a material, or a construction, or ignore: true",
                {"help": 'write {match: "*glass*", construction: glass-6} or {match: "*", ignore: true}'},
            )
        if self.construction == "none":
            raise PydanticCustomError(
                "none_is_ignore",
                "an object is left out by ignore",
                {"at": ["construction"], "help": "write ignore: true"},
            )
        return self


class MeshSpec(InRoom):
    """A mesh file set into the building. The file's own origin comes to stand at `at`."""

    name: Name = Field(description="name of the mesh")
    file: Annotated[str, Field(min_length=1, max_length=1000)] = Field(
        description="GLB, GLTF, OBJ, STL or PLY file, relative to the scene's folder"
    )
    at: Annotated[list[Coordinate], Field(min_length=2, max_length=3)] = Field(
        description="where the file's origin stands: [x, y], or [x, y, z] with z absolute"
    )
    base: Coordinate = Field(0.0, description="height of the file's origin above the floor, for an at of two numbers")
    turn_deg: Degrees = Field(0.0, description="anticlockwise turn about the file's origin")
    units: MeshUnits | None = Field(None, description="unit of the file's lengths, m if not given")
    scale: Annotated[Number, Field(gt=0, le=1e6)] | None = Field(None, description="metres in one unit of the file")
    axis: Literal["z-up", "y-up"] | None = Field(
        None, description="which way is up in the file: y-up if not given for GLB and GLTF, else z-up"
    )
    material: str | None = Field(None, description="material of the objects that no part matches")
    construction: ConstructionRef | None = Field(None, description="construction of the objects that no part matches")
    parts: Annotated[list[MeshPart], Field(max_length=1000)] = Field(
        default_factory=list, description="objects of the file by the patterns of their names"
    )

    @model_validator(mode="after")
    def _fitting(self) -> MeshSpec:
        def refuse(kind: str, message: str, at: str, help_: str) -> PydanticCustomError:
            return PydanticCustomError(kind, message, {"at": [at], "help": help_})

        if self.units is not None and self.scale is not None:
            raise refuse("one_scale", "units and scale say the same thing", "scale", "keep one of the two")
        if self.construction == "none":
            raise refuse("no_makeup", "a mesh of nothing", "construction", "name a construction, or take the mesh out")
        if self.material is not None and self.construction is not None:
            help_ = "keep one of the two, and tell the others apart by parts"
            raise refuse("one_makeup", "a mesh has a material or a construction, not both", "construction", help_)
        if len(self.at) == 3 and "base" in self.model_fields_set:
            raise refuse("one_height", "at already gives the height", "base", "write at: [x, y] with a base")
        if self.material is None and self.construction is None and not self.parts:
            raise PydanticCustomError(
                "no_makeup",
                "nothing says what the mesh is made of",
                {"help": 'write material: metal, or parts: [{match: "*glass*", construction: glass-6}, …]'},
            )
        return self

    @property
    def said(self) -> list[tuple[tuple[str | int, ...], MeshSpec | MeshPart]]:
        """Each place that says what objects are made of, with the keys that lead there."""
        return [((), self), *((("parts", k), part) for k, part in enumerate(self.parts))]

    @property
    def metres(self) -> float:
        """Metres in one unit of the file."""
        return self.scale if self.scale is not None else METRES[self.units or "m"]
