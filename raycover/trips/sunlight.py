"""Where the sun falls on a room's floor through a window or roof lights. Plain geometry: what stands in its way inside
is not taken off, nor is what shades the opening outside.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.building.parts import Building
from raycover.scene.nuisances import Sun
from raycover.scene.schema import Scene
from raycover.scene.stating import targets

Floats = NDArray[np.floating]
#: Smaller patches (m²) are slips of the drawing.
_LEAST_M2 = 0.01


def sunlit_patches(scene: Scene, building: Building, through: str, sun: Sun) -> tuple[list[Any], float]:
    """Patches (shapely polygons in plan) on the floor of the room that an opening belongs to, and that floor (m).

    None where no sun comes in that way at such a place of the sun.
    """
    loc = next(t.loc for t in targets(scene) if t.kind == "openings" and t.name == through)
    if loc[0] != "rooms":
        return [], 0.0
    room = building.rooms[int(loc[1])]
    quads = _roof_lights(scene, building, loc) if "roof" in loc else _window(building, loc)
    angle, height = np.radians(scene.north_deg - sun.azimuth_deg), np.radians(sun.elevation_deg)
    away = -np.array([np.cos(angle), np.sin(angle)]) / np.tan(height)
    found = []
    for quad in quads:
        flat = quad[:, :2] + (quad[:, 2:] - room.floor) * away
        shape = shapely.Polygon(flat).buffer(0).intersection(room.walkable)
        found += [p for p in shapely.get_parts(shape) if p.geom_type == "Polygon" and p.area > _LEAST_M2]
    return found, room.floor


def _window(building: Building, loc: tuple[str | int, ...]) -> list[Floats]:
    """The corners (4, 3) of a window, one list entry."""
    marks = [mark for mark in building.openings if mark.loc[: len(loc)] == loc]
    return [
        np.array([[*m.start, m.sill], [*m.end, m.sill], [*m.end, m.top], [*m.start, m.top]], float) for m in marks[:1]
    ]


def _roof_lights(scene: Scene, building: Building, loc: tuple[str | int, ...]) -> list[Floats]:
    """The corners (4, 3) of each roof light of a row."""
    room = scene.rooms[int(loc[1])]
    assert room.roof is not None
    counts = [light.count for light in room.roof.lights]
    k = int(loc[4])
    mark = next(mark for mark in building.roofs if mark.owner == room.name)
    return list(mark.lights[sum(counts[:k]) : sum(counts[: k + 1])])
