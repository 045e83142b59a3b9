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


class StudsSpec(Strict):
    """Studs at a pitch, which fill the widest air gap of the layers."""

    pitch_mm: Positive = Field(description="from the middle of one stud to that of the next, in millimetres")
    width_mm: Positive = Field(description="width of a stud along the wall, in millimetres")
    material: str = Field(description="a material of the catalogue: wood, or metal for steel studs")

    @model_validator(mode="after")
    def _apart(self) -> StudsSpec:
        if self.width_mm >= self.pitch_mm:
            raise PydanticCustomError(
                "wider_than_pitch",
                "studs {width} mm wide each {pitch} mm leave no gap",
                {
                    "width": f"{self.width_mm:g}",
                    "pitch": f"{self.pitch_mm:g}",
                    "at": ["width_mm"],
                    "help": "make the pitch larger than the width, or leave the studs out and fill the gap",
                },
            )
        return self


class ReinforcementSpec(Strict):
    """Square mats of steel bars in the thickest layer: an estimate of what they stop, of ours."""

    pitch_mm: Positive = Field(description="from bar to bar, in millimetres")
    bar_mm: Positive = Field(description="diameter of a bar, in millimetres")
    mats: int = Field(1, ge=1, le=4, description="how many mats lie one behind the other")

    @model_validator(mode="after")
    def _apart(self) -> ReinforcementSpec:
        if self.bar_mm >= self.pitch_mm:
            raise PydanticCustomError(
                "wider_than_pitch",
                "bars of {bar} mm each {pitch} mm leave no gap",
                {
                    "bar": f"{self.bar_mm:g}",
                    "pitch": f"{self.pitch_mm:g}",
                    "at": ["bar_mm"],
                    "help": "make the pitch larger than the bars, or write a layer of metal",
                },
            )
        return self


class Metalwork(Strict):
    """Studs and bars within layers."""

    layers: list[LayerSpec] | None = None
    studs: StudsSpec | None = Field(None, description="studs in the widest air gap")
    reinforcement: ReinforcementSpec | None = Field(None, description="mats of steel bars in the thickest layer")

    @model_validator(mode="after")
    def _room_for_it(self) -> Metalwork:
        layers = self.layers or []
        if self.studs is not None and all(layer.air_mm is None for layer in layers):
            raise PydanticCustomError(
                "no_gap",
                "studs need an air gap among the layers to stand in",
                {"at": ["studs"], "help": "add {air_mm: 75} where they stand"},
            )
        if self.reinforcement is not None and all(layer.material is None for layer in layers):
            raise PydanticCustomError(
                "no_layer",
                "reinforcement needs a layer of a material to lie in",
                {"at": ["reinforcement"], "help": "add {material: concrete, thickness_mm: 150}"},
            )
        return self


class InlineConstruction(Metalwork):
    """A construction written where it is used."""

    layers: list[LayerSpec] = Field(min_length=1, max_length=20, description="layers in order")


ConstructionRef = str | InlineConstruction
State = Literal["closed", "open"]
