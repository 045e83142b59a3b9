"""A building before anything is cast: a coverage with no figures, and what the building holds in numbers.

For pictures of the building alone, quick enough to look at while typing.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import numpy as np

from raycover.building.parts import Building
from raycover.rays.ray_scene import RayScene
from raycover.scene.devices import PlaneSpec
from raycover.scene.schema import Scene
from raycover.solving.casting import Weather
from raycover.solving.coverage import Coverage, PlaneCoverage, make_units
from raycover.solving.reasons import Explainer
from raycover.solving.surfaces import make_surfaces

#: Nobody looks at the cells of an empty map: they may be this coarse (m).
_GRID = 0.5


@dataclass(frozen=True)
class RoomFigures:
    """A room: area of its floor (m²), level of the floor and height up to the ceiling (m)."""

    name: str
    area_m2: float
    floor: float
    height: float


@dataclass(frozen=True)
class Inventory:
    """What a building holds. `areas` are those of its sheets by construction (m²), the largest first."""

    rooms: tuple[RoomFigures, ...]
    areas: tuple[tuple[str, float], ...]
    counts: tuple[tuple[str, int], ...]

    @property
    def floor_m2(self) -> float:
        return sum(room.area_m2 for room in self.rooms)


def inventory(scene: Scene, building: Building) -> Inventory:
    """Rooms, constructions and counts of a building."""
    rooms = tuple(RoomFigures(r.name, float(r.walkable.area), r.floor, r.height) for r in building.rooms)
    areas: Counter[str] = Counter()
    for sheet in building.sheets:
        areas[sheet.construction.name] += sheet.polygon.area
    doors = Counter(f"{mark.kind}s" for mark in building.openings)
    counts = {
        "detectors": len(scene.detectors),
        "doors": doors["doors"],
        "windows": doors["windows"],
        "gaps": doors["gaps"],
        "partitions": len(scene.partitions),
        "racks": len(scene.racking),
        "cubicles": sum(row.n_doors for row in scene.cubicles),
        "desks": sum(row.count for row in scene.desks),
        "tables": len(scene.tables),
        "solids": len(scene.solids),
        "meshes": len(scene.meshes),
        "stairs": len(scene.stairs),
    }
    return Inventory(rooms, tuple(areas.most_common()), tuple((name, n) for name, n in counts.items() if n))


def uncast(scene: Scene, building: Building) -> Coverage:
    """A coverage in which nothing is known: margins NaN on one plane, `floor`, of each storey.

    Raises InputError for a detector that hangs inside a solid.
    """
    x0, y0, x1, y1 = (float(v) for v in building.bounds[:, :2].ravel())
    extent = None if building.rooms else (x0 - _GRID, y0 - _GRID, x1 + _GRID, y1 + _GRID)
    plane = PlaneSpec(name="floor", height=0.0, extent=extent)
    bare = scene.model_copy(update={"planes": [plane], "grid": _GRID})
    units = make_units(scene, building)
    rays = RayScene(building)
    explainer = Explainer(units, rays, Weather.of(scene), scene.conditions.reserve_db)
    planes = {}
    for surface in make_surfaces(bare, building)[0]:
        nothing = np.full(surface.shape, -1, np.int32)
        planes[surface.name] = PlaneCoverage(
            surface,
            np.full(surface.shape, np.nan, np.float32),
            nothing.astype(np.int16),
            (None,) * len(units),
            scene.conditions.reserve_db,
            explainer,
            nothing,
        )
    return Coverage.of_scene(scene, planes, units, rays, seconds=0.0)
