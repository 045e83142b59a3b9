"""What an entry may say of a microwave unit beyond its footprint: elevation, beams, speeds; and setting ranges."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Annotated

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from raycover.scene.quantities import Degrees, Number, Strict

#: [angle off the unit's axis in degrees, share of the reach].
ElevationTable = Annotated[
    list[tuple[Annotated[Number, Field(ge=0, le=180)], Annotated[Number, Field(ge=0, le=10)]]],
    Field(min_length=2, max_length=361),
]
FrontToBack = Annotated[Number, Field(ge=0, le=100)]
Percent = Annotated[Number, Field(gt=0, le=1000)]
#: What a sensitivity setting may be where the entry does not say.
DEFAULT_PERCENT = (10.0, 100.0)


class BeamSpec(Strict):
    """One aimed beam of a microwave unit; its beams share the declared footprint."""

    azimuth_deg: Degrees = Field(description="azimuth of the beam's axis in the unit's frame")
    off_axis_deg: Annotated[Number, Field(ge=0, le=180)] = Field(
        description="angle of the beam's axis off the unit's axis: 0 straight down, 90 along the mounting plane"
    )
    width_deg: Annotated[Number, Field(ge=5, le=170)] = Field(
        description="full angle between the directions of half power, one way"
    )


Beams = Annotated[list[BeamSpec], Field(min_length=1, max_length=12)]


class SpeedRange(Strict):
    """Radial speeds, in metres per second, that a microwave unit answers to."""

    from_mps: Annotated[Number, Field(gt=0, le=100)] = Field(alias="from", description="slowest, in m/s")
    to_mps: Annotated[Number, Field(gt=0, le=100)] = Field(alias="to", description="fastest, in m/s")

    @model_validator(mode="after")
    def _rising(self) -> SpeedRange:
        _check_rising(self.from_mps, self.to_mps, "the range of speeds")
        return self


class PercentRange(Strict):
    """What a unit's sensitivity may be set to, in per cent of its reach."""

    from_pct: Percent = Field(alias="from", description="lowest setting, per cent of the reach")
    to_pct: Percent = Field(alias="to", description="highest setting, per cent of the reach")

    @model_validator(mode="after")
    def _rising(self) -> PercentRange:
        _check_rising(self.from_pct, self.to_pct, "the range of settings")
        return self


def _check_rising(low: float, high: float, what: str) -> None:
    if high < low:
        raise PydanticCustomError("range_order", "{what} ends below its start", {"what": what, "help": "swap the two"})


def check_elevation(table: ElevationTable, edges_deg: Sequence[tuple[float, float]]) -> None:
    """Refuse a table that does not run from 0 to 180, or that is nothing where a footprint ends.

    `edges_deg`: for each declaration the least and largest angle off the axis of its edge.
    Raises PydanticCustomError.
    """
    late = [i for i, ((a, _), (b, _)) in enumerate(pairwise(table), 1) if not b > a]
    if late:
        raise PydanticCustomError(
            "elevation_order",
            "the angles of an elevation table must rise",
            {"at": ["elevation", late[0]], "help": "sort the rows by angle off the axis"},
        )
    if table[0][0] != 0 or table[-1][0] != 180:
        raise PydanticCustomError(
            "elevation_ends",
            "an elevation table runs from 0 (along the axis) to 180 degrees (straight behind)",
            {
                "at": ["elevation", 0 if table[0][0] != 0 else len(table) - 1],
                "help": "add rows for 0 and 180: what is behind the unit matters to the floor above",
            },
        )
    for low, high in edges_deg:
        inside = [share for angle, share in table if low <= angle <= high]
        if min(*inside, _at(table, low), _at(table, high)) <= 0:
            raise PydanticCustomError(
                "elevation_without_reach",
                "the elevation table gives no reach where the declared footprint ends, {angle} degrees off the axis",
                {
                    "angle": f"{low:.0f}" if high - low < 0.5 else f"{low:.0f} to {high:.0f}",
                    "at": ["elevation"],
                    "help": "give a share above 0 there: the footprint fixes what 1 means",
                },
            )


def _at(table: ElevationTable, angle: float) -> float:
    for (a, share), (b, other) in pairwise(table):
        if a <= angle <= b:
            return share + (other - share) * (angle - a) / (b - a)
    return table[-1][1]
