"""Buildings of several storeys for the tests of drawings, solved once."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import raycover
from raycover.building.build import build
from raycover.building.parts import Building
from raycover.rays.ray_scene import RayScene
from raycover.scene.schema import Scene
from raycover.solving.coverage import Coverage, solve

_HOLE = "[[0.1,0.1],[3.9,0.1],[3.9,3.9],[0.1,3.9]]"
_OPEN = "walls: brick-215, ceiling: concrete-150, floor_construction: concrete-150"

#: A hall open to a gallery, with a quarter-turn stair in the void; a detector of each storey sees the other.
HOUSE = f"""
raycover: 1
title: Two storeys
grid: 0.1
storeys: [{{name: Ground, floor: 0}}, {{name: Upper, floor: 2.8}}]
rooms:
  - {{name: Hall, outline: [[0,0],[6,0],[6,5],[0,5]], floor: 0, height: 2.8, {_OPEN},
     voids: [{{outline: {_HOLE}, through: ceiling}}]}}
  - {{name: Kitchen, outline: [[6,0],[10,0],[10,5],[6,5]], floor: 0, height: 2.8, {_OPEN}}}
  - {{name: Gallery, outline: [[0,0],[6,0],[6,5],[0,5]], floor: 2.8, height: 2.6, {_OPEN},
     voids: [{{outline: {_HOLE}, through: floor}}]}}
  - {{name: Bedroom, outline: [[6,0],[10,0],[10,5],[6,5]], floor: 2.8, height: 2.6, {_OPEN}}}
stairs:
  - {{name: Main stair, kind: quarter-turn, room: Hall, at: [0.12,0.6], rise: 2.8, risers: 17, going: 0.25, width: 0.95,
     use: private, landing: 0.95}}
solids:
  - {{name: Island, room: Kitchen, centre: [8,2.5], size: [1.8,0.9,0.9], material: timber}}
  - {{name: Wardrobe, room: Bedroom, centre: [9.5,2.5], size: [0.6,2,2], material: timber}}
detectors:
  - {{name: P1, model: ceiling-infrared-general, room: Hall, at: [4.8,2.5], mounting: 2.8}}
  - {{name: P2, model: high-bay-infrared-round, room: Gallery, at: [2,2.4], mounting: 2.6}}
  - {{name: M1, model: microwave-omni-5.8, room: Bedroom, at: [8,2.5], mounting: 2.5}}
planes: [{{name: floor, height: 0}}]
"""

#: A split level of one storey with a straight stair, and a yard beside it.
SPLIT = """
raycover: 1
title: Split level
grid: 0.1
rooms:
  - {name: Shop, outline: [[0,0],[8,0],[8,6],[0,6]], floor: 0, height: 4,
     walls: [brick-215, none, brick-215, brick-215]}
  - {name: Office, outline: [[8,0],[12,0],[12,6],[8,6]], floor: 1.2, height: 2.8,
     walls: [brick-215, brick-215, brick-215, none]}
stairs: [{name: Steps, room: Shop, at: [6.2, 3.6], turn_deg: -90, rise: 1.2, risers: 7, going: 0.3, width: 1.2}]
detectors: [{name: P1, model: ceiling-infrared-general, room: Shop, at: [4,3], mounting: 3.5}]
planes: [{name: floor, height: 0}, {name: yard, height: 1.0, extent: [-3,-3,0,6]}]
"""


def tower(n: int) -> str:
    """A stairwell of n storeys with long names, its stair turning left, detectors on every third."""
    hole = "[[0.1,1.5],[2.7,1.5],[2.7,5.9],[0.1,5.9]]"
    rooms, detectors = [], []
    for k in range(n):
        ways = [w for w in ("floor", "ceiling") if (w == "floor" and k) or (w == "ceiling" and k < n - 1)]
        voids = ", ".join(f"{{outline: {hole}, through: {w}}}" for w in ways)
        rooms.append(
            f"  - {{name: Stair {k}, outline: [[0,0],[2.8,0],[2.8,6],[0,6]], floor: {3 * k}, height: 3, {_OPEN}, "
            f"voids: [{voids}]}}"
        )
        if k % 3 == 0:
            detectors.append(
                f"  - {{name: D{k}, model: ceiling-infrared-general, room: Stair {k}, at: [1.4, 0.75], mounting: 2.8}}"
            )
    storeys = "\n".join(f"  - {{name: Level {k} of the tower, floor: {3 * k}}}" for k in range(n))
    return (
        f"raycover: 1\ntitle: Tower\ngrid: 0.1\nstoreys:\n{storeys}\nrooms:\n" + "\n".join(rooms) + "\nstairs:\n"
        "  - {name: S, kind: half-landing, room: Stair 0, at: [1.45, 1.5], hand: left, rise: 3, risers: 18, "
        f"going: 0.28, width: 1.2, landing: 1.25, repeat: {n - 1}}}\ndetectors:\n"
        + "\n".join(detectors)
        + "\nplanes: [{name: floor, height: 0}]\n"
    )


@dataclass(frozen=True)
class Made:
    scene: Scene
    building: Building
    rays: RayScene
    coverage: Coverage


@lru_cache
def made(text: str) -> Made:
    scene = raycover.load_text(text)
    building = build(scene)
    rays = RayScene(building)
    return Made(scene, building, rays, solve(scene, building=building, rays=rays))
