"""Writes wrapping-machine.glb beside this file: a turntable stretch wrapper of our own invention, a load on it.

    .venv/bin/python examples/depot/wrapping_machine.py

Objects: base, turntable, mast, carriage, film roll, cabinet (closed), load (closed), guard left and right (sheets).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import trimesh
from trimesh.creation import box, cylinder, extrude_polygon
from trimesh.transformations import rotation_matrix, translation_matrix


def placed(mesh: trimesh.Trimesh, x: float, y: float, z: float) -> trimesh.Trimesh:
    return mesh.apply_transform(translation_matrix([x, y, z]))


def machine() -> dict[str, trimesh.Trimesh]:
    """Objects by name, metres, z up, the origin on the floor under the turntable's middle."""
    import shapely

    plate = shapely.Point(0, 0).buffer(0.95, quad_segs=12).union(shapely.box(0, -0.45, 1.55, 0.45))
    ramp = shapely.Polygon([(0, 0), (0.7, 0), (0.7, 0.075)])
    wedge = extrude_polygon(ramp, 1.1).apply_transform(rotation_matrix(np.pi / 2, [1, 0, 0]))
    objects = {
        "base": extrude_polygon(plate, 0.07),
        "ramp": placed(wedge, -1.6, 0.55, 0),
        "turntable": placed(cylinder(0.82, 0.05, sections=48), 0, 0, 0.1),
        "mast": placed(box((0.3, 0.42, 2.3)), 1.32, 0, 1.22),
        "carriage": placed(box((0.22, 0.36, 0.62)), 1.06, 0, 1.1),
        "film roll": placed(cylinder(0.11, 0.5, sections=24), 0.93, 0.3, 1.1),
        "cabinet": placed(box((0.34, 0.5, 1.25)), 1.34, 0.75, 0.625),
        "load": placed(box((1.2, 0.8, 1.55)), 0, 0, 0.125 + 0.775),
    }
    for side, y in (("left", 1.25), ("right", -1.25)):
        corners = np.array([[-0.9, y, 0.1], [1.6, y, 0.1], [1.6, y, 2.0], [-0.9, y, 2.0]])
        objects[f"guard {side}"] = trimesh.Trimesh(corners, [[0, 1, 2], [0, 2, 3]], process=False)
    return objects


def main() -> None:
    upright = rotation_matrix(-np.pi / 2, [1, 0, 0])  # glTF has y upward
    scene = trimesh.Scene()
    for name, mesh in machine().items():
        mesh.visual = trimesh.visual.ColorVisuals()
        scene.add_geometry(mesh, node_name=name, geom_name=name, transform=upright)
    path = Path(__file__).with_name("wrapping-machine.glb")
    path.write_bytes(scene.export(file_type="glb"))
    print(f"{path}: {sum(len(m.faces) for m in scene.geometry.values())} triangles")


if __name__ == "__main__":
    main()
