"""The open radio ray tracer sionna-rt on rooms of flat sheets, where it is installed; its tests skip cleanly elsewhere.

It needs libLLVM (Debian, Ubuntu: `apt-get install libllvm19`), which drjit finds by itself or by DRJIT_LIBLLVM_PATH.
A sheet is one rectangle of one P.2040 material: sionna-rt has single layers only.
"""

from __future__ import annotations

import glob
import os
from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from plate_rooms import PathList, Plate

Floats = NDArray[np.float64]

#: What the package calls a P.2040 material, and what sionna-rt does.
NAMES = {name: name.replace(" ", "_") for name in ("concrete", "brick", "plasterboard", "wood", "glass", "chipboard")}


def sionna() -> Any:
    """The library, or the test is skipped with the reason."""
    if "DRJIT_LIBLLVM_PATH" not in os.environ:
        found = sorted(glob.glob("/usr/lib/*/libLLVM.so.1[5-9]*") + glob.glob("/usr/lib/*/libLLVM-1[5-9].so*"))
        if found:
            os.environ["DRJIT_LIBLLVM_PATH"] = found[-1]
    pytest.importorskip("sionna.rt", reason="sionna-rt is not installed (DEVELOPERS.md says how)", exc_type=ImportError)
    import drjit
    import sionna.rt

    try:
        drjit.eval(drjit.llvm.Float(1.0) + 1)
    except Exception as error:  # whatever a missing or unfit LLVM raises
        pytest.skip(f"sionna-rt finds no libLLVM: {error}")
    return sionna.rt


def one_way_paths(
    plates: Sequence[Plate], source: Floats, points: Floats, frequency_ghz: float, *, depth: int, samples: int = 50_000
) -> PathList:
    """Each path from a source to points (n, 3), one way.

    Two launched polarisations across each other, averaged; all that arrives, in both. Unit antennas without direction.
    `depth`: crossings and mirrors together; `samples` rays look for them.
    """
    rt = sionna()
    import mitsuba as mi

    scene = rt.load_scene()
    scene.frequency = frequency_ghz * 1e9
    scene.tx_array = rt.PlanarArray(num_rows=1, num_cols=1, pattern="iso", polarization="VH")
    scene.rx_array = rt.PlanarArray(num_rows=1, num_cols=1, pattern="iso", polarization="VH")
    materials: dict[tuple[str, float], Any] = {}
    things = []
    for i, plate in enumerate(plates):
        key = (plate.material, plate.thickness_m)
        if key not in materials:
            materials[key] = rt.ITURadioMaterial(f"made-{len(materials)}", NAMES[plate.material], plate.thickness_m)
        corner, u, v = (np.asarray(one, float) for one in (plate.corner, plate.u, plate.v))
        mesh = mi.Mesh(f"plate-{i}", vertex_count=4, face_count=2)
        params = mi.traverse(mesh)
        params["vertex_positions"] = (
            np.stack([corner, corner + u, corner + u + v, corner + v]).ravel().astype(np.float32)
        )
        params["faces"] = np.array([0, 1, 2, 0, 2, 3], np.uint32)
        params.update()
        things.append(rt.SceneObject(mi_mesh=mesh, name=f"plate-{i}", radio_material=materials[key]))
    scene.edit(add=things)
    scene.add(rt.Transmitter("unit", mi.Point3f(*map(float, source))))
    for i, point in enumerate(points):
        scene.add(rt.Receiver(f"point-{i:04d}", mi.Point3f(*map(float, point))))
    paths = rt.PathSolver()(
        scene,
        max_depth=depth,
        diffuse_reflection=False,
        refraction=True,
        synthetic_array=True,
        samples_per_src=samples,
        max_num_paths_per_src=300_000,
        seed=1,
    )
    real, imaginary = (np.array(part)[:, :, 0] for part in paths.a)  # (rx, rx pol, tx pol, paths)
    wavelength = 299_792_458 / (frequency_ghz * 1e9)
    power = (real**2 + imaginary**2).sum(axis=1).mean(axis=1) * (4 * np.pi / wavelength) ** 2
    kinds = np.array(paths.interactions)[:, :, 0]  # (depth, rx, paths)
    mirrors = (kinds == rt.constants.InteractionType.SPECULAR).sum(axis=0)
    point, path = np.nonzero(power > 0)
    length = np.array(paths.tau)[:, 0][point, path] * 299_792_458
    return PathList(point, mirrors[point, path], length.astype(float), power[point, path].astype(float))
