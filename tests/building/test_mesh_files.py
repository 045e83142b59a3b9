"""Mesh files read: formats, names, transforms; and files that must be refused, told in words."""

from __future__ import annotations

import base64
import json
import os
import struct
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh
from mesh_scenes import built, refusal, soup, write
from trimesh.transformations import rotation_matrix, scale_matrix, translation_matrix

from raycover.building import mesh_files, mesh_limits
from raycover.building.gltf_header import plain_gltf, split_glb
from raycover.building.mesh_files import FileObject, read_mesh_file
from raycover.building.mesh_limits import MeshFileError

BOX, PIPE = trimesh.creation.box((1, 2, 3)), trimesh.creation.cylinder(0.5, 2, sections=16)


def nowhere(name: str) -> bytes:
    raise AssertionError(f"{name} was asked for")


def two_things() -> trimesh.Scene:
    """A body, the same body again 5 m on and turned, a pipe hung in a frame of its own, mirrored."""
    scene = trimesh.Scene()
    scene.add_geometry(BOX, node_name="body", geom_name="block")
    turned = translation_matrix([5, 0, 0]) @ rotation_matrix(0.5, [0, 0, 1])
    scene.add_geometry(BOX, node_name="body again", geom_name="block", transform=turned)
    scene.graph.update("hanger", "world", matrix=translation_matrix([0, 0, 10]))
    mirror = translation_matrix([1, 0, 0]) @ scale_matrix(-1, direction=[1, 0, 0])
    scene.add_geometry(PIPE, node_name="pipe", geom_name="tube", parent_node_name="hanger", transform=mirror)
    return scene


def by_name(objects: list[FileObject]) -> dict[str, trimesh.Trimesh]:
    return {one.name: trimesh.Trimesh(one.vertices, one.faces, process=False) for one in objects}


@pytest.mark.parametrize("name", ["things.glb", "things.gltf"])
def test_nodes_and_transforms(name: str, tmp_path: Path) -> None:
    """Each node is an object where trimesh's own scene puts it; a mirrored one keeps its outside outside."""
    scene = two_things()
    write(tmp_path, name, scene)
    found = by_name(read_mesh_file(tmp_path / name, lambda uri: (tmp_path / uri).read_bytes()))
    assert sorted(found) == ["body", "body again", "pipe"]
    for node, mesh in found.items():
        matrix, key = scene.graph[node]
        expected = scene.geometry[key].copy().apply_transform(matrix)
        np.testing.assert_allclose(mesh.bounds, expected.bounds, atol=1e-5)
        assert mesh.volume == pytest.approx(expected.volume, rel=1e-5)
        assert mesh.volume > 0


@pytest.mark.parametrize("name", ["one.stl", "one.ply", "one.obj", "text.stl", "text.ply"])
def test_formats_of_one_object(name: str, tmp_path: Path) -> None:
    path = tmp_path / name
    if name == "text.stl":
        path.write_text(trimesh.exchange.stl.export_stl_ascii(BOX))
    elif name == "text.ply":
        path.write_bytes(trimesh.exchange.ply.export_ply(BOX, encoding="ascii"))
    else:
        write(tmp_path, name, BOX)
    (one,) = read_mesh_file(path, nowhere)
    assert one.name == path.stem
    assert len(one.faces) == 12
    mesh = trimesh.Trimesh(one.vertices, one.faces)
    np.testing.assert_allclose(mesh.bounds, BOX.bounds, atol=1e-6)
    assert mesh.volume == pytest.approx(6)


def test_objects_and_groups_of_obj(tmp_path: Path) -> None:
    corners = "v 0 0 0\nv 1 0 0\nv 1 1 0\nv 0 1 0\n"
    objects = corners + "o left\nf 1 2 3\no right pane\nusemtl glass\nf 1 3 4\n"
    (tmp_path / "o.obj").write_text("mtllib ../../etc/passwd\n" + objects)
    (tmp_path / "g.obj").write_text(objects.replace("\no ", "\ng "))
    (tmp_path / "quad.obj").write_text(corners + "f 1/1/1 2/1/1 3/1/1 4/1/1\n")
    for name in ("o.obj", "g.obj"):
        assert sorted(by_name(read_mesh_file(tmp_path / name, nowhere))) == ["left", "right pane"]
    (one,) = read_mesh_file(tmp_path / "quad.obj", nowhere)
    assert (one.name, len(one.faces)) == ("quad", 2)


def plain(**more: Any) -> dict[str, Any]:
    """A glTF of one triangle in an embedded buffer."""
    data = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0]], np.float32).tobytes()
    return {
        "asset": {"version": "2.0"},
        "scenes": [{"nodes": [0]}],
        "nodes": [{"name": "tri", "mesh": 0}],
        "meshes": [{"primitives": [{"attributes": {"POSITION": 0}}]}],
        "accessors": [{"bufferView": 0, "componentType": 5126, "count": 3, "type": "VEC3"}],
        "bufferViews": [{"buffer": 0, "byteLength": 36}],
        "buffers": [
            {"byteLength": 36, "uri": "data:application/octet-stream;base64," + base64.b64encode(data).decode()}
        ],
        **more,
    }


def gltf(folder: Path, **more: Any) -> Path:
    path = folder / "t.gltf"
    path.write_text(json.dumps(plain(**more)))
    return path


def test_pieces_of_a_mesh_are_named_by_material(tmp_path: Path) -> None:
    pieces = [{"attributes": {"POSITION": 0}, "material": 1}, {"attributes": {"POSITION": 0}}]
    pieces.append({"attributes": {"POSITION": 0}, "mode": 1})  # lines are no surface
    meshes = [{"name": "window", "primitives": pieces}]
    materials = [{"name": "oak"}, {"name": "clear glass"}]
    path = gltf(tmp_path, meshes=meshes, materials=materials, nodes=[{"mesh": 0, "translation": [0, 0, 2]}])
    found = read_mesh_file(path, nowhere)
    assert [one.name for one in found] == ["window/2", "window/clear glass"]
    assert all(np.all(one.vertices[:, 2] == 2) for one in found)


def test_pictures_are_never_looked_at(tmp_path: Path) -> None:
    """Textures, cameras, skins and animations are left out before anything reads them."""
    more = {
        "images": [{"uri": "http://127.0.0.1:9/x.png"}, {"bufferView": 0, "mimeType": "image/png"}],
        "textures": [{"source": 0}],
        "materials": [{"pbrMetallicRoughness": {"baseColorTexture": {"index": 0}}}],
        "cameras": [{"type": "perspective"}],
        "animations": [{"channels": []}],
        "extensionsUsed": ["KHR_materials_unlit"],
        "extensionsRequired": ["KHR_texture_transform"],
    }
    (one,) = read_mesh_file(gltf(tmp_path, nodes=[{"name": "tri", "mesh": 0, "camera": 0}], **more), nowhere)
    assert len(one.faces) == 1
    kept = json.loads(plain_gltf(json.dumps(plain(**more)).encode(), None, nowhere).text)
    assert set(kept) == {"asset", "scene", "scenes", "nodes", "meshes", "accessors", "bufferViews", "buffers"}


@pytest.mark.parametrize(
    "uri",
    [
        "http://127.0.0.1:9/m.bin",
        "https://example.invalid/m.bin",
        "//host/m.bin",
        "file:///etc/passwd",
        "ftp://h/m",
        "c:/m.bin",
    ],
)
def test_no_network(uri: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(*_: object) -> None:
        raise AssertionError("the network was asked")

    monkeypatch.setattr("socket.socket.connect", refused)
    path = gltf(tmp_path, buffers=[{"byteLength": 36, "uri": uri}])
    with pytest.raises(MeshFileError) as caught:
        read_mesh_file(path, nowhere)
    assert caught.value.code == "mesh-outside"
    assert "nothing is fetched from elsewhere" in caught.value.message


def test_buffers_beside_and_outside(tmp_path: Path) -> None:
    """A buffer beside the glTF is read, with blanks in its name; one outside the scene's folder is not."""
    inner = tmp_path / "scene" / "models"
    inner.mkdir(parents=True)
    data = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0]], np.float32).tobytes()
    (inner / "my m.bin").write_bytes(data)
    (tmp_path / "out.bin").write_bytes(data)
    gltf(inner, buffers=[{"byteLength": 36, "uri": "my%20m.bin"}])
    given = {"file": "models/t.gltf", "construction": "glass-6", "units": "m"}
    assert len(built(tmp_path / "scene", given).objects) == 1
    for uri in ("../../out.bin", "%2e%2e/../out.bin", str(tmp_path / "out.bin")):
        gltf(inner, buffers=[{"byteLength": 36, "uri": uri}])
        problem = refusal(tmp_path / "scene", given)
        assert problem.code == "outside-folder"
        assert "allow_folders" in problem.help
    assert len(built(tmp_path / "scene", given, allow_folders=[".."]).objects) == 1
    os.symlink(tmp_path / "out.bin", inner / "link.bin")
    gltf(inner, buffers=[{"byteLength": 36, "uri": "link.bin"}])
    assert refusal(tmp_path / "scene", given).code == "outside-folder"


# ---- refused


def glb(tree: dict[str, Any], binary: bytes = b"") -> bytes:
    text = json.dumps(tree).encode()
    text += b" " * (-len(text) % 4)
    chunks = struct.pack("<II", len(text), 0x4E4F534A) + text
    if binary:
        chunks += struct.pack("<II", len(binary), 0x004E4942) + binary
    return struct.pack("<4sII", b"glTF", 2, 12 + len(chunks)) + chunks


def stl_bytes() -> bytes:
    return bytes(BOX.export(file_type="stl"))


def glb_bytes() -> bytes:
    return bytes(BOX.export(file_type="glb"))


STL_TEXT = trimesh.exchange.stl.export_stl_ascii(BOX)
PLY_BOMB = b"ply\nformat binary_little_endian 1.0\nelement vertex 999999999\nproperty float x\nend_header\n"
ACCESSOR = {"bufferView": 0, "componentType": 5126, "count": 3, "type": "VEC3"}
LOOP = [{"name": "a", "children": [1]}, {"name": "b", "mesh": 0, "children": [0]}]
BAD: dict[str, tuple[str, bytes, str, str]] = {
    "another format": ("m.fbx", b"x", "mesh-format", 'is a ".fbx" file'),
    "no ending": ("machine", b"x", "mesh-format", "no ending"),
    "empty": ("m.glb", b"", "mesh-empty", "is empty"),
    "a picture": ("m.glb", b"\x89PNG\r\n\x1a\n" + bytes(90), "mesh-format", "is no GLB file"),
    "cut GLB": ("m.glb", glb_bytes()[:-200], "mesh-corrupt", "is cut short"),
    "stub of a GLB": ("m.glb", b"glTF\x02\0\0", "mesh-corrupt", "is cut short"),
    "old GLB": ("m.glb", b"glTF\x01\0\0\0" + bytes(40), "mesh-format", "glTF version 1"),
    "GLB of noise": ("m.glb", b"glTF\x02\0\0\0" + struct.pack("<III", 40, 20, 0x4E4F534A) + b"\xff" * 20,
                     "mesh-corrupt", "cannot be read as GLB"),
    "cut GLTF": ("m.gltf", json.dumps(plain()).encode()[:-9], "mesh-corrupt", "cannot be read as GLTF"),
    "a list": ("m.gltf", b"[]", "mesh-corrupt", "cannot be read as GLTF"),
    "deep": ("m.gltf", b"[" * 100_000, "mesh-corrupt", "cannot be read as GLTF"),
    "old GLTF": ("m.gltf", json.dumps(plain(asset={"version": "1.0"})).encode(), "mesh-format", "glTF version 1.0"),
    "no binary": ("m.glb", glb(plain(buffers=[{"byteLength": 36}])), "mesh-corrupt", "lacks its binary part"),
    "short buffer": ("m.glb", glb(plain(buffers=[{"byteLength": 36}]), bytes(24)), "mesh-corrupt", "24 bytes of 36"),
    "bad base64": ("m.gltf", json.dumps(plain(buffers=[{"byteLength": 3, "uri": "data:;base64,!!"}])).encode(),
                   "mesh-corrupt", "damaged embedded buffer"),
    "compressed": ("m.gltf", json.dumps(plain(extensionsRequired=["KHR_draco_mesh_compression"])).encode(),
                   "mesh-extension", "KHR_draco_mesh_compression"),
    "no data": ("m.gltf", json.dumps(plain(accessors=[{**ACCESSOR, "bufferView": None, "sparse": {}}])).encode(),
                "mesh-extension", "compressed, sparse"),
    "bomb": ("m.gltf", json.dumps(plain(accessors=[{**ACCESSOR, "count": 10**12}])).encode(),
             "mesh-too-large", "333,333,333,333 triangles"),
    "view past the end": ("m.gltf", json.dumps(plain(bufferViews=[{"buffer": 0, "byteLength": 10**9}])).encode(),
                          "mesh-corrupt", "cannot be read as GLTF"),
    "node loop": ("m.gltf", json.dumps(plain(nodes=LOOP)).encode(), "mesh-corrupt", "starts within its own tree"),
    "two parents": ("m.gltf", json.dumps(plain(nodes=[{"children": [2, 1]}, {"children": [2]}, {"mesh": 0}])).encode(),
                    "mesh-corrupt", "two parents"),
    "no such mesh": ("m.gltf", json.dumps(plain(nodes=[{"mesh": 7}])).encode(), "mesh-corrupt", "cannot be read"),
    "only points": ("m.gltf", json.dumps(plain(meshes=[{"primitives": [{"attributes": {"POSITION": 0}, "mode": 0}]}]))
                    .encode(), "mesh-empty", "no triangle"),
    "fan": ("m.gltf", json.dumps(plain(meshes=[{"primitives": [{"attributes": {"POSITION": 0}, "mode": 6}]}])).encode(),
            "mesh-extension", "fans"),
    "cut STL": ("m.stl", stl_bytes()[:-120], "mesh-corrupt", "is cut short"),
    "stub of an STL": ("m.stl", b"solid", "mesh-format", "is no STL file"),
    "text for STL": ("m.stl", b"dear all, " * 50, "mesh-format", "is no STL file"),
    "STL without end": ("m.stl", STL_TEXT[:-200].encode(), "mesh-corrupt", "has no end"),
    "STL of nothing": ("m.stl", bytes(84), "mesh-empty", "no triangle"),
    "text for PLY": ("m.ply", b"ply, dear all", "mesh-corrupt", "cannot be read as PLY"),
    "no PLY": ("m.ply", b"solid x", "mesh-format", "is no PLY file"),
    "cut PLY": ("m.ply", bytes(BOX.export(file_type="ply"))[:-30], "mesh-corrupt", "cannot be read as PLY"),
    "PLY bomb": ("m.ply", PLY_BOMB,
                 "mesh-corrupt", "is cut short"),
    "no OBJ": ("m.obj", b"<html>", "mesh-format", "is no OBJ file"),
    "face past the end": ("m.obj", b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 9\n", "mesh-corrupt", "cannot be read as OBJ"),
    "OBJ of points": ("m.obj", b"v 0 0 0\nv 1 0 0\nv 0 1 0\n", "mesh-empty", "no triangle"),
}  # fmt: skip


@pytest.mark.parametrize("case", BAD)
def test_bad_files(case: str, tmp_path: Path) -> None:
    name, content, code, said = BAD[case]
    (tmp_path / name).write_bytes(content)
    problem = refusal(tmp_path, {"file": name})
    assert problem.code == code, problem
    assert f'"{name}"' in problem.message
    assert said in problem.message
    assert problem.help
    assert '"file"' in problem.position.text


@pytest.mark.parametrize("name", ["m.glb", "m.stl", "m.ply", "m.obj", "m.gltf"])
def test_any_cut_is_told(name: str, tmp_path: Path) -> None:
    """A file cut anywhere, or with bytes changed, is refused in words or read; nothing else happens."""
    shape = two_things() if name.startswith("m.g") else soup(BOX)
    write(tmp_path, name, shape)
    whole = (tmp_path / name).read_bytes()
    rng = np.random.default_rng(8)
    helps = []
    for k in range(60):
        changed = bytearray(whole)
        if k % 2:
            del changed[int(rng.integers(0, len(whole))) :]
        else:
            for at in rng.integers(0, len(whole), 3):
                changed[at] = int(rng.integers(0, 256))
        (tmp_path / name).write_bytes(bytes(changed))
        try:
            n = len(read_mesh_file(tmp_path / name, lambda uri: (tmp_path / uri).read_bytes()))
            helps.append(f"{n} objects")
        except MeshFileError as refused:
            helps.append(refused.help)
        except OSError:
            helps.append("a buffer's name" if name == "m.gltf" else "")
    assert all(helps)


def test_too_large(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Sizes are judged before a file is read: here of a file with nothing in it but its length."""
    with open(tmp_path / "m.glb", "wb") as file:
        file.truncate(2 * 10**9)
    problem = refusal(tmp_path, {"file": "m.glb"})
    assert (problem.code, problem.message) == ("mesh-too-large", '"m.glb" has 2,000 MB, 200 MB are the most')
    for module in (mesh_limits, mesh_files):
        monkeypatch.setattr(module, "MAX_TRIANGLES", 10)
    monkeypatch.setattr("raycover.building.gltf_header.MAX_TRIANGLES", 10)
    for name in ("m.glb", "m.stl", "m.ply", "m.obj"):
        write(tmp_path, name, BOX)
        problem = refusal(tmp_path, {"file": name})
        assert problem.code == "mesh-too-large"
        assert "12 triangles, 10 are the most" in problem.message
        assert "decimate" in problem.help


def test_copies_count(tmp_path: Path) -> None:
    """A node many times over counts every time, before anything is made."""
    nodes = [{"name": f"n{k}", "mesh": 0} for k in range(50)]
    tree = plain(nodes=nodes, scenes=[{"nodes": list(range(50))}])
    tree["accessors"][0]["count"] = 300_000
    with pytest.raises(MeshFileError, match="5,000,000 triangles"):
        plain_gltf(json.dumps(tree).encode(), None, nowhere)


def test_split_glb_ignores_chunks_it_does_not_know() -> None:
    data = glb(plain(), b"abcd")
    more = data + struct.pack("<II", 4, 0x12345678) + b"wxyz"
    more = more[:8] + struct.pack("<I", len(more)) + more[12:]
    assert split_glb(more) == split_glb(data)
