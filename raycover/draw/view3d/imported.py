"""Imported meshes as bodies to draw, cut at the height that lets the map show."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from raycover.building.parts import Building, MeshObject
from raycover.building.sections import cut_off, feature_edges, footprint, section
from raycover.catalogue import Construction
from raycover.draw.view3d.cutaway import Standing
from raycover.draw.view3d.meshes import NOTHING, Body, join, level

Floats = NDArray[np.floating[Any]]
#: Faces that meet at less than this (degrees) get no line between them.
_SMOOTH_DEG = 25.0


def imported_things(building: Building) -> list[Standing]:
    """Each imported mesh, all its objects together, as one thing on the floor."""
    by_owner: dict[str, list[MeshObject]] = {}
    for one in building.objects:
        by_owner.setdefault(one.owner, []).append(one)
    return [
        Standing(
            owner, np.zeros(0, np.intp), footprint(objects),
            min(float(o.bounds[0, 2]) for o in objects), max(float(o.bounds[1, 2]) for o in objects), False,
        )
        for owner, objects in by_owner.items()
    ]  # fmt: skip


def imported_bodies(building: Building, cut_at: Mapping[str, float]) -> tuple[Body, Body]:
    """Opaque and glazed bodies of all imported objects, each mesh cut at its height (m, absolute)."""
    plain: list[Body] = []
    glazed: list[Body] = []
    for one in building.objects:
        height = cut_at[one.owner]
        kept = one.triangles if one.bounds[1, 2] <= height else cut_off(one.triangles, height)
        body = Body(kept, feature_edges(kept, _SMOOTH_DEG))
        if one.closed and one.bounds[1, 2] > height:
            body = join([body, level(section(one, height), height, outlined=False)])
        made = one.made_of if isinstance(one.made_of, Construction) else None
        if made is not None and made.kind == "open":
            body = Body(NOTHING.triangles, body.edges)  # wire mesh: its frame only
        (glazed if made is not None and made.glazing else plain).append(body)
    return join(plain), join(glazed)
