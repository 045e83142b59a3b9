"""What materials.yaml and constructions.yaml may say."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from raycover.scene.construction import LayerSpec, Metalwork, Positive
from raycover.scene.quantities import Number, Strict

NonNegative = Annotated[Number, Field(ge=0)]
Share = Annotated[Number, Field(ge=0, le=1)]
Source = Annotated[
    str, Field(min_length=1, description="where the figures come from: a standard, a data sheet, a measurement")
]


class SpreadSpec(Strict):
    """Relative standard deviations of permittivity (a) and conductivity (c) from one batch to another."""

    a: Share
    c: Share
    source: Source


class MeasuredMaterial(Strict):
    frequency_ghz: Positive
    permittivity: Annotated[Number, Field(ge=1)]
    conductivity_s_per_m: NonNegative


class MaterialSpec(Strict):
    """A row of ITU-R P.2040: relative permittivity a·f^b, conductivity c·f^d (S/m), f in GHz; or measurements.

    With both, the measurements win between the first and the last of them.
    """

    a: Positive | None = None
    b: Number | None = None
    c: NonNegative | None = None
    d: Number | None = None
    valid_ghz: tuple[Positive, Positive] | None = None
    measured: list[MeasuredMaterial] | None = Field(None, min_length=1, max_length=200)
    spread: SpreadSpec | None = None
    source: Source

    @model_validator(mode="after")
    def _whole(self) -> MaterialSpec:
        row = (self.a, self.b, self.c, self.d, self.valid_ghz)
        missing = [key for key, value in zip(("a", "b", "c", "d", "valid_ghz"), row, strict=True) if value is None]
        if missing and (len(missing) < len(row) or self.measured is None):
            raise PydanticCustomError(
                "missing_key",
                "a material needs {missing}",
                {
                    "missing": ", ".join(missing),
                    "help": "a row has a, b, c, d and valid_ghz; measurements may take its place",
                },
            )
        if self.valid_ghz is not None and self.valid_ghz[1] < self.valid_ghz[0]:
            raise PydanticCustomError(
                "range_order", "the range ends below its start", {"at": ["valid_ghz"], "help": "swap the two"}
            )
        refuse_twice([(row.frequency_ghz,) for row in self.measured or []], "frequency_ghz")
        return self


class SolidSpec(Strict):
    """What a solid is made of: opaque, a bulk loss, or a material whose bulk loss follows from its row.

    `share` is the share of its volume that is that material, the rest air.
    """

    opaque: bool = Field(False, strict=True)
    loss_db_per_m: NonNegative | None = None
    material: str | None = None
    share: Annotated[Number, Field(gt=0, le=1)] | None = None
    source: Source

    @model_validator(mode="after")
    def _one_way(self) -> SolidSpec:
        if self.opaque + (self.loss_db_per_m is not None) + (self.material is not None) != 1:
            raise PydanticCustomError(
                "one_loss", "a solid is opaque, or has loss_db_per_m, or a material", {"help": "keep one of the three"}
            )
        if self.share is not None and self.material is None:
            raise PydanticCustomError(
                "share_of_nothing", "a share needs the material it is of", {"at": ["share"], "help": "add material"}
            )
        return self


class MaterialsFile(Strict):
    edition: str = ""
    materials: dict[str, MaterialSpec] = Field(default_factory=dict)
    solids: dict[str, SolidSpec] = Field(default_factory=dict)


class MeasuredLoss(Strict):
    """One-way loss of the whole sheet at a frequency and an angle, with its reflection loss if that is known."""

    frequency_ghz: Positive
    loss_db: NonNegative
    incidence_deg: Annotated[Number, Field(ge=0, lt=90)] = 0.0
    reflection_db: NonNegative | None = None

    @model_validator(mode="after")
    def _no_gain(self) -> MeasuredLoss:
        if self.reflection_db is not None and 10 ** (-self.loss_db / 10) + 10 ** (-self.reflection_db / 10) > 1 + 1e-6:
            raise PydanticCustomError(
                "energy_gained",
                "more power would leave than came: {loss} dB through and {reflection} dB mirrored",
                {
                    "loss": f"{self.loss_db:g}",
                    "reflection": f"{self.reflection_db:g}",
                    "at": ["reflection_db"],
                    "help": "check the two figures: losses in dB, one way",
                },
            )
        return self


class ConstructionSpec(Metalwork):
    """Layers, or opaque to both technologies, or open to both, or measured losses (infrared stopped).

    Measured losses may stand beside layers: they win between the frequencies at which they were measured.
    """

    layers: list[LayerSpec] | None = Field(None, min_length=1, max_length=20)
    opaque: bool = Field(False, strict=True)
    open_to_both: bool = Field(False, strict=True)
    measured: list[MeasuredLoss] | None = Field(None, min_length=1, max_length=1000)
    thickness_mm: Positive | None = None
    glazing: bool = Field(False, strict=True)
    source: Source

    @model_validator(mode="after")
    def _one_way(self) -> ConstructionSpec:
        made = self.layers is not None or self.measured is not None
        if made + self.opaque + self.open_to_both != 1:
            raise PydanticCustomError(
                "one_loss",
                "a construction has layers, or a measured loss, or is opaque, or open_to_both",
                {"help": "keep one; only layers and measured go together"},
            )
        rows = self.measured or []
        refuse_twice([(row.frequency_ghz, row.incidence_deg) for row in rows], "frequency_ghz")
        told = [row.reflection_db is not None for row in rows]
        if any(told) and not all(told):
            raise PydanticCustomError(
                "some_reflections",
                "some measurements give reflection_db and some don't",
                {"at": ["measured", told.index(False)], "help": "give it in each of them, or in none"},
            )
        return self


class ConstructionsFile(Strict):
    constructions: dict[str, ConstructionSpec] = Field(default_factory=dict)


def refuse_twice(keys: Sequence[tuple[float, ...]], name: str) -> None:
    """Refuse a list of measurements that says the same place twice."""
    for i, key in enumerate(keys):
        if key in keys[:i]:
            raise PydanticCustomError(
                "measured_twice",
                "measured twice at {where}",
                {
                    "where": f"{key[0]:g} GHz" + (f" and {key[1]:g}°" if len(key) > 1 else ""),
                    "at": ["measured", i, name],
                    "help": "keep one, or their mean",
                },
            )
