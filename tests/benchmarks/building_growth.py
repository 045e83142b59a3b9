"""Time and memory to make the ray scene of a six-storey building of 50, 100 and 200 rooms.

    python tests/benchmarks/building_growth.py

Prints processor seconds (loading, building, ray scene) and how they grow, in one run.
"""

from __future__ import annotations

import json
import resource
import time

import numpy as np

import raycover
from raycover.building.build import build
from raycover.rays.ray_scene import RayScene


def tower(n_rooms: int, storeys: int = 6) -> str:
    """Offices either side of a corridor, furnished, a washroom a storey and stairs at one end (JSON is YAML)."""
    made: dict[str, list[dict[str, object]]] = {
        k: [] for k in ("rooms", "desks", "cubicles", "solids", "stairs", "detectors", "partitions")
    }
    per_side = max((n_rooms // storeys - 2) // 2, 1)
    height, deep = 3.2, 6.0
    length = per_side * 4.5
    slab = {"ceiling": "concrete-150", "floor_construction": "concrete-150"}
    for level in range(storeys):
        z = round(level * height, 3)
        corridor = f"Corridor {level}"
        made["rooms"].append({
            "name": corridor, "outline": [[0, deep], [length, deep], [length, deep + 2], [0, deep + 2]],
            "floor": z, "height": height, "walls": "stud-wall-100", **slab,
        })  # fmt: skip
        for side in (0, 1):
            for k in range(per_side):
                x, y = 4.5 * k, side * (deep + 2)
                name = f"Room {level}{'ab'[side]}{k}"
                edge = 2 if side == 0 else 0
                made["rooms"].append({
                    "name": name, "outline": [[x, y], [x + 4.5, y], [x + 4.5, y + deep], [x, y + deep]],
                    "floor": z, "height": height, "walls": "stud-wall-100", **slab,
                    "openings": [{"edge": edge, "at": 0.3, "width": 0.9, "height": 2.1, "fill": "door-wood-40"},
                                 {"edge": 2 - edge, "at": 0.5, "width": 3, "height": 1.4, "sill": 0.9,
                                  "fill": "double-glazing-6-16-6"}],
                })  # fmt: skip
                made["desks"].append(
                    {"name": f"Desks {name}", "room": name, "at": [x + 0.4, y + 2], "count": 2, "gap": 0.2}
                )
                made["solids"].append({"name": f"Cupboard {name}", "room": name, "centre": [x + 0.5, y + 0.5],
                                       "size": [0.4, 0.8, 1.9], "material": "timber"})  # fmt: skip
                made["detectors"].append({"name": f"D {name}", "room": name, "model": "ceiling-infrared-general",
                                          "at": [x + 2.25, y + 3], "mounting": 2.8})  # fmt: skip
        wet = [[length, 0], [length + 5, 0], [length + 5, deep + 2], [length, deep + 2]]
        made["rooms"].append({"name": f"Washroom {level}", "outline": wet, "floor": z, "height": height,
                              "walls": ["brick-100", "brick-100", "brick-100", "stud-wall-100"], **slab})  # fmt: skip
        made["cubicles"].append(
            {"name": f"WC {level}", "room": f"Washroom {level}", "at": [length + 0.5, 1], "count": 4}
        )
    return json.dumps({"raycover": 1, "title": "tower", "planes": [{"name": "floor", "height": 0}], **made})


def main() -> None:
    sizes, times = (50, 100, 200), []
    for n in sizes:
        text = tower(n)
        began = time.process_time()
        scene = raycover.load_text(text)
        loaded = time.process_time()
        building = build(scene)
        built = time.process_time()
        rays = RayScene(building)
        rays.infrared_blocked(rays.segments(building.bounds.mean(axis=0), building.bounds))
        done = time.process_time()
        times.append(done - loaded)
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        size = f"{len(scene.rooms):4d} rooms, {building.n_parts:6,} parts, {len(building.mesh.triangles):7,} triangles"
        spent = f"load {loaded - began:.2f} s, build {built - loaded:.2f} s, ray scene {done - built:.2f} s"
        print(f"{size}: {spent}, peak {peak:.0f} MB")
    slope = np.polyfit(np.log(sizes), np.log(times), 1)[0]
    print(f"building and ray scene grow as rooms^{slope:.2f}; 200 rooms / 50 rooms: {times[2] / times[0]:.1f} times")


if __name__ == "__main__":
    main()
