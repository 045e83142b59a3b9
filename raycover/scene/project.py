"""Who a report is for and by whom: words for its cover, and a logo."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from raycover.scene.quantities import Strict

Words = Annotated[str, Field(max_length=120)]


class ProjectSpec(Strict):
    """Project data for the cover of a report. All of it is words; nothing is worked out from it."""

    client: Words = Field("", description="whom the report is for")
    site: Words = Field("", description="where the building stands")
    number: Words = Field("", description="number of the project")
    company: Words = Field("", description="who plans the detectors")
    author: Words = Field("", description="who wrote the report")
    checked_by: Words = Field("", description="who checks it")
    logo: Annotated[str, Field(min_length=1, max_length=1000)] | None = Field(
        None, description="PNG or JPEG for the cover, relative to the scene's folder"
    )
    language: Annotated[str, Field(min_length=2, max_length=12)] | None = Field(
        None, description="language of the report: en or de; --lang wins"
    )
