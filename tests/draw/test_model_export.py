"""The GLB of a scene, read back by trimesh: named parts, counts, bounds, colours, y up."""

from __future__ import annotations

import io
import json
import struct
from functools import lru_cache
from typing import Any

import numpy as np
import pytest
import trimesh
from storey_scenes import HOUSE
from view3d_scenes import SMALL, made

from raycover.draw import palette
from raycover.draw.sharing import model
from raycover.draw.sharing.cells import map_cells
from raycover.draw.sharing.gltf import Glb, linear
from raycover.draw.sharing.model import model_glb


@lru_cache
def exported(text: str = SMALL, **options: Any) -> tuple[dict[str, Any], trimesh.Scene, bytes]:
    found = made(text)
    data = model_glb(found.scene, found.building, found.coverage, found.rays, **options)
    length = struct.unpack("<I", data[12:16])[0]
    return json.loads(data[20 : 20 + length]), trimesh.load(io.BytesIO(data), file_type="glb"), data


def node(document: dict[str, Any], name: str) -> dict[str, Any]:
    return next(n for n in document["nodes"] if n["name"] == name)


def test_parts_are_named_nodes() -> None:
    document, _, data = exported()
    names = [n["name"] for n in document["nodes"]]
    for name in ("map floor", "walls", "doors", "racking", "goods", "furniture", "panels", "glazing", "detectors"):
        assert name in names
    assert {"detector A", "detector B", "lobe A", "lobe B"} <= set(names)
    root = document["nodes"][document["scenes"][0]["nodes"][0]]
    assert root["name"] == "Little depot"
    assert "walk-test" in document["asset"]["extras"]["caution"]
    assert len(data) == struct.unpack("<I", data[8:12])[0] < 2e6


def test_the_map_has_two_triangles_a_cell_in_the_colours_of_the_legend() -> None:
    document, scene, _ = exported()
    plane = made().coverage["floor"]
    part = scene.geometry[scene.graph[_first(scene, "map floor")][1]]
    assert len(part.faces) == 2 * int(plane.surface.inside.sum())
    # x to the right, y up, −z to the north: the floor of 16 × 8 m, to the wall centre lines.
    low, high = part.bounds
    assert low == pytest.approx([0, 0.004, -8], abs=1e-4)
    assert high == pytest.approx([16, 0.004, 0], abs=1e-4)
    # Colours of vertices are linear in glTF 2.0 (section 3.9.2 "metallic-roughness material", COLOR_0).
    accessor = document["accessors"][document["meshes"][0]["primitives"][0]["attributes"]["COLOR_0"]]
    assert accessor["normalized"]
    expected = palette.margin_rgb(plane.margin_db[plane.surface.inside], plane.reserve_db)
    wanted = np.unique(np.round(linear(expected) * 65535).astype(int), axis=0)
    stored = _stored(document, exported()[2], "COLOR_0")
    assert np.unique(stored[:, :3], axis=0).tolist() == wanted.tolist()


def test_a_cell_has_the_colour_of_its_margin() -> None:
    document, _, data = exported()
    plane = made().coverage["floor"]
    points, colours = _stored(document, data, "POSITION"), _stored(document, data, "COLOR_0")
    row, column = np.argwhere(plane.detected)[40]
    x, y = plane.x[column], plane.y[row]
    corner = np.abs(points[:, [0, 2]] - [x - 0.1, -(y - 0.1)]).max(axis=1) < 1e-4
    wanted = np.round(linear(palette.margin_rgb(plane.margin_db[row, column], plane.reserve_db)) * 65535)
    assert (colours[corner][:, :3] == wanted).all(axis=1).any()


def test_a_large_map_has_neighbours_of_one_colour_in_one_piece(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(model, "CELLS_EACH", 100)
    document, scene, data = exported.__wrapped__()
    plane = made().coverage["floor"]
    part = scene.geometry[scene.graph[_first(scene, "map floor")][1]]
    assert len(part.faces) < 1.2 * int(plane.surface.inside.sum())  # two a cell before
    # The area stays, and so do the colours of corners.
    cells = map_cells(plane, made().building)
    side = cells.corners[:, 2, :2] - cells.corners[:, 0, :2]
    assert part.area == pytest.approx(float(side.prod(axis=1).sum()), rel=1e-5)
    points, colours = _stored(document, data, "POSITION"), _stored(document, data, "COLOR_0")
    row, column = np.argwhere(plane.surface.inside)[0]
    corner = np.abs(points[:, [0, 2]] - [plane.x[column] - 0.1, -(plane.y[row] - 0.1)]).max(axis=1) < 1e-4
    wanted = np.round(linear(palette.margin_rgb(plane.margin_db[row, column], plane.reserve_db)) * 65535)
    assert (colours[corner][:, :3] == wanted).all(axis=1).any()


def test_walls_are_cut_and_racking_is_not() -> None:
    _, low, _ = exported(cut_m=0.5)
    _, high, _ = exported(cut_m=2.0)
    for scene, cut in ((low, 0.5), (high, 2.0)):
        walls = _bounds(scene, "walls")
        assert walls[1][1] == pytest.approx(cut, abs=0.01)
        assert _bounds(scene, "racking")[1][1] > 3.0


def test_lobes_are_translucent_and_chosen() -> None:
    document, _, _ = exported(lobes="all")
    lobe = next(m for m in document["materials"] if m["name"] == f"lobe {palette.SHELL}")
    assert lobe["alphaMode"] == "BLEND"
    assert lobe["pbrMetallicRoughness"]["baseColorFactor"][3] == pytest.approx(0.2)
    none, _, _ = exported(lobes="none")
    assert not [n for n in none["nodes"] if n["name"].startswith("lobe")]


def test_detectors_hang_where_the_scene_says() -> None:
    document, scene, _ = exported()
    middle = _bounds(scene, "detector A").mean(axis=0)
    assert middle[[0, 2]] == pytest.approx([5, -5], abs=1e-3)
    assert node(document, "detector A")["extras"]["mounting_m"] == 4.5


def test_storeys_stay_where_they_are() -> None:
    document, scene, _ = exported(HOUSE)
    levels = sorted({float(s) for s in np.atleast_1d(made(HOUSE).coverage["floor Upper"].surface.floor).ravel()})
    names = [n["name"] for n in document["nodes"]]
    assert [n for n in names if n.startswith("storey ")]
    upper = next(n for n in names if n == "map floor Upper")
    assert _bounds(scene, upper)[0][1] == pytest.approx(levels[-1] + 0.004, abs=1e-3)


def test_the_same_scene_gives_the_same_bytes() -> None:
    assert exported()[2] == exported.__wrapped__()[2]


def test_linear_colours_are_those_of_the_standard() -> None:
    # IEC 61966-2-1: 0.5 of full scale is 0.2140 linear (common practice figure); the ends stay.
    assert linear([0, 127.5, 255]) == pytest.approx([0, 0.21404, 1], abs=1e-5)


def test_normals_are_of_unit_length_and_point_up_on_a_floor() -> None:
    glb = Glb("test", {})
    part = glb.node("part")
    glb.triangles(part, glb.material("m", "#808080"), np.array([[[0, 0, 1], [1, 0, 1], [0, 1, 1]]], float))
    data = glb.bytes()
    document = json.loads(data[20 : 20 + struct.unpack("<I", data[12:16])[0]])
    assert _stored(document, data, "NORMAL").tolist() == [[0, 1, 0]] * 3


def _stored(document: dict[str, Any], data: bytes, attribute: str) -> np.ndarray:
    """An attribute of the first mesh's first primitive, as the file holds it."""
    accessor = document["accessors"][document["meshes"][0]["primitives"][0]["attributes"][attribute]]
    view = document["bufferViews"][accessor["bufferView"]]
    start = 20 + struct.unpack("<I", data[12:16])[0] + 8 + view["byteOffset"]
    kind = {5126: "<f4", 5123: "<u2"}[accessor["componentType"]]
    return np.frombuffer(data[start : start + view["byteLength"]], kind).reshape(accessor["count"], -1)


def _first(scene: trimesh.Scene, name: str) -> str:
    return next(n for n in scene.graph.nodes_geometry if n == name or n.startswith(name + "_"))


def _bounds(scene: trimesh.Scene, name: str) -> np.ndarray:
    """Bounds (2, 3) of all that hangs on a node: trimesh gives each primitive a node of its own."""
    found = [
        scene.geometry[scene.graph[n][1]].bounds
        for n in scene.graph.nodes_geometry
        if scene.geometry[scene.graph[n][1]].metadata.get("name", n).startswith(name) or n.startswith(name)
    ]
    every = np.array(found)
    return np.array([every[:, 0].min(axis=0), every[:, 1].max(axis=0)])
