"""Which constructions the fit-out of a scene refers to, and where each stands in the file."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from raycover.scene.construction import ConstructionRef

if TYPE_CHECKING:
    from raycover.scene.schema import Scene

Reference = tuple[ConstructionRef, tuple[str | int, ...]]


def fitout_references(scene: Scene) -> Iterator[Reference]:
    """(construction, place in the file) of roofs, tiles, cubicles, fixtures, desks and tables; of what covers pipes."""
    for i, room in enumerate(scene.rooms):
        if room.suspended_ceiling is not None:
            yield room.suspended_ceiling.construction, ("rooms", i, "suspended_ceiling", "construction")
        if room.roof is not None:
            yield room.roof.construction, ("rooms", i, "roof", "construction")
            for k, light in enumerate(room.roof.lights):
                yield light.fill, ("rooms", i, "roof", "lights", k, "fill")
    for i, row in enumerate(scene.cubicles):
        yield row.panel, ("cubicles", i, "panel")
        if row.door is not None:
            yield row.door, ("cubicles", i, "door")
    for i, fixtures in enumerate(scene.fixtures):
        if fixtures.kind == "mirror":
            yield fixtures.construction, ("fixtures", i, "construction")
    for i, desks in enumerate(scene.desks):
        yield desks.top, ("desks", i, "top")
        if desks.screen is not None:
            yield desks.screen.construction, ("desks", i, "screen", "construction")
    for i, table in enumerate(scene.tables):
        yield table.top, ("tables", i, "top")
    for i, nuisance in enumerate(scene.nuisances):
        if nuisance.behind is not None:
            yield nuisance.behind, ("nuisances", i, "behind")
