"""Scenes with mesh files that trimesh writes."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh

import raycover
from raycover.building.build import build
from raycover.building.parts import Building
from raycover.errors import InputError, Problem
from raycover.rays.ray_scene import RayScene
from raycover.scene.schema import Scene

GHZ = 5.8


def mesh_scene(folder: Path, *meshes: dict[str, Any], **parts: Any) -> Scene:
    """A scene in a folder from its meshes, each {file, …}: name, place and material are filled in."""
    filled = []
    for k, mesh in enumerate(meshes):
        given = {"name": f"M{k + 1}", "at": [0, 0], **mesh}
        if not {"material", "construction", "parts"} & set(given):
            given["material"] = "goods"
        filled.append(given)
    return raycover.load_text(json.dumps({"raycover": 1, "meshes": filled, **parts}, indent=1), folder=folder)


def built(folder: Path, *meshes: dict[str, Any], **parts: Any) -> Building:
    return build(mesh_scene(folder, *meshes, **parts))


def refusal(folder: Path, *meshes: dict[str, Any], **parts: Any) -> Problem:
    """The one problem of a scene that is refused."""
    with pytest.raises(InputError) as caught:
        built(folder, *meshes, **parts)
    (problem,) = caught.value.problems
    return problem


def write(folder: Path, name: str, shape: trimesh.Trimesh | trimesh.Scene) -> str:
    """Write a mesh or scene as the file `name`; its name."""
    exported = shape.export(file_type=name.rsplit(".", 1)[1])
    if isinstance(exported, dict):
        for part, content in exported.items():
            (folder / (name if part == "model.gltf" else part)).write_bytes(content)
    else:
        (folder / name).write_bytes(exported.encode() if isinstance(exported, str) else exported)
    return name


def soup(mesh: trimesh.Trimesh) -> trimesh.Trimesh:
    """The same faces, each with corners of its own, as an STL file has them."""
    triangles = np.asarray(mesh.triangles)
    return trimesh.Trimesh(triangles.reshape(-1, 3), np.arange(3 * len(triangles)).reshape(-1, 3), process=False)


def loss(building: Building, start: Any, ends: Any, ghz: float = GHZ) -> np.ndarray:
    """One-way microwave loss (n,) from a start to ends (n, 3)."""
    rays = RayScene(building)
    segments = rays.segments(np.array(start, float), np.atleast_2d(np.array(ends, float)))
    found: np.ndarray = rays.microwave_loss_db(segments, ghz, "averaged")
    return found


def sphere_of_lines(n: int, seed: int = 3) -> np.ndarray:
    """(n, 3) unit vectors in all directions."""
    away = np.random.default_rng(seed).normal(size=(n, 3))
    return away / np.linalg.norm(away, axis=1)[:, None]
