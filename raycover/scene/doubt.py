"""`doubt:` of a scene: how uncertain each thing is that a margin hangs on."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from raycover.scene.quantities import NonNegativeLength, Number, Strict

Percent = Annotated[Number, Field(ge=0, le=60)]
Few = Annotated[Number, Field(ge=0, le=20)]


class DoubtSpec(Strict):
    """Spreads that the varied cases are drawn from; what is left out keeps its ordinary value, 0 leaves a thing out."""

    thickness_percent: Percent = Field(
        10.0, description="layers and air gaps, evenly within ± this share of themselves"
    )
    materials: Annotated[Number, Field(ge=0, le=5)] = Field(
        1.0, description="permittivity and conductivity: how many times the spread that each material states"
    )
    cross_section_db: Few = Field(3.94, description="radar cross section of a person, standard deviation")
    mounting: NonNegativeLength = Field(0.1, le=2, description="mounting height, evenly within ± this")
    aim_deg: Annotated[Number, Field(ge=0, le=45)] = Field(3.0, description="aim and turn, evenly within ± this")
    reach_percent: Percent = Field(10.0, description="reach from unit to unit, evenly within ± this share")
    polarised: bool = Field(True, strict=True, description="microwave units have a polarisation that nobody states")
    deeper: bool = Field(True, strict=True, description="with reflections: 1, what further reflections add")
    ambient_k: Few = Field(2.0, description="air temperature, evenly within ± this")
    clo: tuple[Annotated[Number, Field(ge=0, le=5)], Annotated[Number, Field(ge=0, le=5)]] = Field(
        (0.5, 1.0), description="insulation of clothing, evenly from the first to the second"
    )
    cases: Annotated[int, Field(ge=16, le=4096, strict=True)] = Field(128, description="varied cases, a power of two")
    seed: Annotated[int, Field(ge=0, le=2**31 - 1, strict=True)] = Field(1, description="other cases with another seed")

    @model_validator(mode="after")
    def _drawable(self) -> DoubtSpec:
        if self.cases & (self.cases - 1):
            raise PydanticCustomError(
                "power_of_two",
                "{cases} is no power of two, so the cases would not be spread evenly",
                {"at": ["cases"], "cases": self.cases, "help": "write 16, 32, 64, 128, 256, 512, 1024, 2048 or 4096"},
            )
        if self.clo[1] < self.clo[0]:
            raise PydanticCustomError(
                "range_order", "the range ends below its start", {"at": ["clo"], "help": "swap the two"}
            )
        return self
