"""Storeys as bodies: each drawn cut open by itself with its stairs, moved to where the picture shows it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from raycover.draw.view3d.camera import View
from raycover.draw.view3d.cutaway import Cuts
from raycover.draw.view3d.meshes import Body, join
from raycover.draw.view3d.solids import Drawn, draw_solids
from raycover.draw.view3d.stair_bodies import stair_body
from raycover.draw.view3d.trays import Tray

Floats = NDArray[np.floating[Any]]


def draw_trays(
    trays: Sequence[Tray], moved: Floats, view: View | None, cuts: Cuts, *, slab_m: float, low: bool = False,
    roofed: bool = False,
) -> Drawn:  # fmt: skip
    """Everything that stands in some storeys, each moved by its vector (3,); see `draw_solids`."""
    parts = []
    for tray, by in zip(trays, moved, strict=True):
        drawn = draw_solids(tray.building, tray.area, view, cuts, slab_m=slab_m, low=low, roofed=roofed)
        stairs = [
            stair_body(run.stairs.pieces[strip.piece], run.waist) for run in tray.runs for strip in run.run.strips
        ]
        if stairs:
            drawn = replace(drawn, bodies={**drawn.bodies, "stair": join(stairs)})
        parts.append(_shifted(drawn, by) if by.any() else drawn)
    if len(parts) == 1:
        return parts[0]
    roles = dict.fromkeys(role for part in parts for role in part.bodies)
    return Drawn(
        {role: join([part.bodies[role] for part in parts if role in part.bodies]) for role in roles},
        np.concatenate([part.ghosts for part in parts]),
        join([part.glass for part in parts]),
        np.concatenate([part.glass_lines for part in parts]),
    )


def _shifted(drawn: Drawn, by: Floats) -> Drawn:
    def body(some: Body) -> Body:
        return Body(some.triangles + by, some.edges + by)

    return replace(
        drawn, bodies={role: body(some) for role, some in drawn.bodies.items()}, ghosts=drawn.ghosts + by,
        glass=body(drawn.glass), glass_lines=drawn.glass_lines + by,
    )  # fmt: skip
