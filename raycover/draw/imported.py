"""Imported meshes in plan: cut at plan height where they reach it, in outline below, dashed above.

A mesh of many objects is drawn as one thing, so that a detailed model stays calm.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import shapely

from raycover.building.parts import Building, MeshObject
from raycover.building.sections import footprint, outline, section
from raycover.catalogue import Construction
from raycover.draw import palette
from raycover.draw.cuts import CUT_HEIGHT
from raycover.draw.drawing import Drawing
from raycover.solving.surfaces import Surface


def draw_meshes(drawing: Drawing, building: Building, surface: Surface, z: float) -> None:
    """Every imported mesh, drawn at the order z of the page; where the map leaves it out, filled as solids are."""
    by_owner: dict[str, list[MeshObject]] = {}
    for one in building.objects:
        by_owner.setdefault(one.owner, []).append(one)
    for objects in by_owner.values():
        _draw_mesh(drawing, building, surface, objects, z)


def _draw_mesh(drawing: Drawing, building: Building, surface: Surface, objects: list[MeshObject], z: float) -> None:
    low = min(float(one.bounds[0, 2]) for one in objects)
    high = max(float(one.bounds[1, 2]) for one in objects)
    whole = outline(objects)
    middle = footprint(objects).centroid
    room = building.room_at(middle.x, middle.y, low + 1e-3)
    floor = room.floor if room is not None else building.floor_at(middle.x, middle.y)
    left_out = [
        section(one, min(max(floor + h, one.bounds[0, 2] + 1e-4), one.bounds[1, 2] - 1e-4))
        for one in objects
        for h in surface.heights
        if one.closed and one.bounds[0, 2] - 1e-9 <= floor + h <= one.bounds[1, 2] + 1e-9
    ]
    drawing.areas(_areas(shapely.union_all(left_out)), z, face=palette.GOODS)
    cut = floor + CUT_HEIGHT
    # Upright sheets cover nothing in plan: a line each, where the cut does not show them.
    upright = [footprint([one]) for one in objects if not one.closed and not one.bounds[0, 2] < cut < one.bounds[1, 2]]
    dashes = (3.0, 1.2) if low > cut else None
    drawing.lines(_lines(upright), palette.INK, 0.45, z + 0.2, dashes=dashes, weight=2.0)
    if low > cut:
        drawing.areas(_areas(whole), z + 0.2, edge=palette.INK, width_pt=0.45, dashes=dashes, weight=2.0)
        return
    drawing.areas(_areas(whole), z + 0.1, edge=palette.INK, width_pt=0.35, weight=2.0)
    if high > cut:
        met = [section(one, cut) for one in objects]
        solid = shapely.union_all([shape for one, shape in zip(objects, met, strict=True) if one.closed])
        drawing.areas(_areas(solid), z + 0.2, edge=palette.INK, width_pt=0.6, weight=5.0)
        for see_through, dashes in ((False, None), (True, (2.2, 1.4))):
            lines = [shape for one, shape in zip(objects, met, strict=True) if _see_through(one) == see_through]
            drawing.cased(_lines(lines), 0.6, z + 0.2, dashes=dashes, weight=4.0)


def _see_through(one: MeshObject) -> bool:
    """Wire mesh and the like, open to both."""
    return isinstance(one.made_of, Construction) and one.made_of.kind == "open"


def _areas(shape: Any) -> list[Any]:
    return [part for part in shapely.get_parts(shape) if part.geom_type == "Polygon" and part.area > 1e-6]


def _lines(shapes: Sequence[Any]) -> list[Any]:
    parts = shapely.get_parts(shapely.union_all(shapes)) if shapes else []
    return [shapely.get_coordinates(part) for part in parts if part.geom_type == "LineString" and part.length > 1e-4]
