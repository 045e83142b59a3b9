"""The package's own paths in rooms of plates, in the form in which the references give theirs."""

from __future__ import annotations

import numpy as np
import plate_rooms
import small_scenes
from plate_rooms import PathList

from raycover.building.build import build
from raycover.rays.ray_scene import RayScene
from raycover.solving.coverage import make_units
from raycover.solving.open_air import Weather
from raycover.solving.paths import trace

#: Long, so that no way is left out for being far below the limit.
REACH = 10_000.0


def of_package(name: str, frequency_ghz: float) -> PathList:
    """One-way powers of straight ways and those by one mirror, coherent slabs, every slab a mirror.

    A margin of one way is 40·log10(s0/s) − 2·L: half of it, less 20·log10 s0, is the one-way power over 1 m.
    """
    room = plate_rooms.ROOMS[name]()
    sheets = []
    for k, plate in enumerate(room.plates):
        corner, u, v = (np.array(part, float) for part in (plate.corner, plate.u, plate.v))
        corners = [c.tolist() for c in (corner, corner + u, corner + u + v, corner + v)]
        made = {"layers": [{"material": plate.material, "thickness_mm": plate.thickness_m * 1000}]}
        sheets.append({"name": f"plate {k}", "corners": corners, "construction": made})
    x, y, z = room.unit
    shape = {"circle": {"diameter": 2 * REACH}}
    made = small_scenes.pattern(shape, mounting=z, motion="radial", frequency_ghz=frequency_ghz, reach_behind=1)
    scene = small_scenes.scene(
        sheets=sheets,
        detectors=[small_scenes.detector((x, y), z, made)],
        conditions={"reflections": 1, "losses": "coherent"},
    )
    building = build(scene)
    (unit,) = make_units(scene, building)
    found = trace(unit, room.points, "any", RayScene(building), Weather.of(scene), every_slab=True)
    s0_db = 20 * np.log10(REACH**2 + z**2)
    power = 10 ** ((found.way_margin_db() - s0_db) / 20)
    return PathList(found.point, (found.mirror >= 0).astype(np.int64), np.linalg.norm(found.offset, axis=1), power)
