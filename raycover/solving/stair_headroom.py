"""Headroom over stairs: how high the first thing above every tread and landing hangs.

2.0 m over the pitch line and landings is what Approved Document K asks for [2nd]; local rules come first.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from raycover.building.parts import Building, Sheet, StairShape
from raycover.errors import Problem
from raycover.rays.ray_scene import RayScene
from raycover.scene.devices import PlaneSpec
from raycover.scene.schema import Scene
from raycover.solving.surfaces import stair_surface

Floats = NDArray[np.floating]
Ints = NDArray[np.int32]
#: Clear height (m) over treads and landings. Approved Document K, general and private stairs [2nd].
LEAST_M = 2.0
#: Cells (m) are no larger than this: a beam's shadow is found on the tread below it.
_CELL_M = 0.1
#: Rays start this far (m) above the tread, clear of it; shortfalls below a millimetre are rounding.
_START_M, _ROUNDING_M = 0.01, 1e-3


def clear_heights(building: Building, rays: RayScene, stairs: StairShape) -> tuple[Floats, Floats, Ints]:
    """Points (n, 3) on treads and landings, the clear height (n,) in m over each and the part (n,) that bounds it.

    Infinite and −1 where nothing hangs within a little more than `LEAST_M`. Sheets and boxes count whatever they
    are made of, mesh and glass included.
    """
    surface = stair_surface(PlaneSpec(name="headroom", height=0.0), stairs, _CELL_M)
    rows, columns = np.nonzero(surface.inside)
    points = surface.points(rows, columns, 0.0)
    below = np.zeros(building.n_parts + 1)  # the last answers for −1, nothing above
    below[: len(building.sheets)] = [_hangs_below(sheet) for sheet in building.sheets]
    reach = LEAST_M + float(below.max()) - _START_M
    height, part = rays.first_above(points + np.array([0.0, 0.0, _START_M]), reach)
    return points, height + _START_M - below[part], part


def _hangs_below(sheet: Sheet) -> float:
    """How far (m) a sheet's underside lies below its plane: slabs and landings are drawn at their upper face."""
    thick = sheet.construction.thickness_m
    return thick if sheet.kind in ("floor", "ceiling", "tread") else thick / 2


def stair_headroom(scene: Scene, building: Building, rays: RayScene) -> list[Problem]:
    """A warning for each stair with less than `LEAST_M` over some tread or landing, at its lowest place."""
    problems = []
    index = {stairs.name: i for i, stairs in enumerate(scene.stairs)}
    for stairs in building.stairs:
        points, clear, part = clear_heights(building, rays, stairs)
        worst = int(clear.argmin())
        if clear[worst] >= LEAST_M - _ROUNDING_M:
            continue
        x, y, z = (float(v) for v in points[worst])
        problems.append(
            Problem(
                "headroom",
                f'stair "{stairs.name}" has {clear[worst]:.2f} m of headroom under '
                f'"{building.part_owner(int(part[worst]))}" at ({x:.2f}, {y:.2f}, {z:.2f}); '
                f"{LEAST_M:.1f} m over every tread and landing is usual (Approved Document K)",
                scene.position("stairs", index[stairs.name], "name"),
                "move the stair or what hangs over it, or enlarge the void; local rules come first",
                severity="warning",
            )
        )
    return problems
