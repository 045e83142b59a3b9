"""What a construction is where a scene names or writes one: the words that walls, panels and slabs share."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from raycover.scene.quantities import Number, Strict

Positive = Annotated[Number, Field(gt=0)]


class LayerSpec(Strict):
    """One layer of a construction: a material with its thickness, or an air gap."""

    material: str | None = Field(None, description="a material of the catalogue")
    thickness_mm: Positive | None = Field(None, description="thickness in millimetres")
    air_mm: Positive | None = Field(None, description="an air gap, in millimetres")

    @model_validator(mode="after")
    def _one_kind(self) -> LayerSpec:
        if (self.air_mm is None) == (self.material is None and self.thickness_mm is None):
            raise PydanticCustomError(
                "bad_layer",
                "a layer is either a material with its thickness or an air gap",
                {"help": "write {material: chipboard, thickness_mm: 13} or {air_mm: 75}"},
            )
        if self.air_mm is None and (self.material is None or self.thickness_mm is None):
            raise PydanticCustomError(
                "bad_layer",
                "a layer needs both material and thickness_mm",
                {"help": "write {material: chipboard, thickness_mm: 13}"},
            )
        return self


class InlineConstruction(Strict):
    """A construction written where it is used."""

    layers: list[LayerSpec] = Field(min_length=1, max_length=20, description="layers in order")


ConstructionRef = str | InlineConstruction
State = Literal["closed", "open"]
