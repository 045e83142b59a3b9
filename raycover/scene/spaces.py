"""Kinds of space and what they ask of a detector, as `models/spaces.yaml` lists them."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from raycover.scene.devices import Motion, Protection
from raycover.scene.quantities import Air, NonNegativeLength, PositiveLength, Strict


class SpaceNeed(Strict):
    """A motion that must be noticed within half a length and half a width of the unit, at a height."""

    motion: Motion
    plane: NonNegativeLength = 0.0
    length: PositiveLength
    width: PositiveLength


class SpaceSpec(Strict):
    """One kind of space. What it asks is the project's own judgement; `reason` says why."""

    needs: list[SpaceNeed] = Field(min_length=1, max_length=3)
    mounting: PositiveLength
    sight: Literal["clear", "obstructed"] = "clear"
    beyond: Literal["nothing", "light walls", "solid walls"] = "nothing"
    air_c: Air = 26.0
    protection: Protection = "IP20"
    reason: Annotated[str, Field(min_length=1)]


class SpacesFile(Strict):
    spaces: dict[str, SpaceSpec] = Field(default_factory=dict)
