"""glTF before it is parsed: only its geometry is kept, only permitted files are read, its size is known first.

Pictures, materials, cameras, animations and whatever else a file carries are left out, so that nothing of
them is ever decoded. glTF 2.0 specification, Khronos Group, ISO/IEC 12113:2022.
"""

from __future__ import annotations

import base64
import binascii
import json
import struct
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any
from urllib.parse import unquote

from raycover.building.mesh_limits import MAX_BYTES, MAX_TRIANGLES, MeshFileError, too_many_triangles

#: Reads a file that a glTF names, or raises InputError where that is not allowed.
Fetch = Callable[[str], bytes]
#: Required extensions that change nothing about the geometry as read here; prefixes of names.
_HARMLESS = ("KHR_materials_", "KHR_texture_", "EXT_texture_", "KHR_lights_", "KHR_mesh_quantization")
_POINTS_TO_LINE_STRIP, _TRIANGLES, _STRIP = range(4), 4, 5
_JSON_CHUNK, _BIN_CHUNK = 0x4E4F534A, 0x004E4942


@dataclass(frozen=True)
class PlainGltf:
    """A glTF of nothing but geometry: its JSON, and the contents of its buffers by the names it gives them."""

    text: bytes
    buffers: dict[str, bytes]


def split_glb(data: bytes) -> tuple[bytes, bytes | None]:
    """JSON and binary chunk of a GLB file. Raises MeshFileError for one that is cut short or no GLB."""
    if data[:4] != b"glTF":
        raise MeshFileError("mesh-format", "is no GLB file, whatever its name says", "export it again as GLB")
    version, length = struct.unpack_from("<II", data, 4) if len(data) >= 12 else (2, 12)
    if version != 2:
        raise MeshFileError("mesh-format", f"is glTF version {version}; only 2 is read", "export it as glTF 2.0")
    if length > len(data) or length < 20:
        raise _cut_short(len(data), length)
    text, binary, at = b"", None, 12
    while at + 8 <= length:
        size, kind = struct.unpack_from("<II", data, at)
        if at + 8 + size > length:
            raise _cut_short(length, at + 8 + size)
        chunk = data[at + 8 : at + 8 + size]
        if kind == _JSON_CHUNK and not text:
            text = chunk
        elif kind == _BIN_CHUNK and binary is None:
            binary = chunk
        at += 8 + size
    return text, binary


def plain_gltf(text: bytes, binary: bytes | None, fetch: Fetch) -> PlainGltf:
    """Geometry only, buffers read. Raises MeshFileError for what can't be read rightly, KeyError and the like
    for what is no glTF."""
    tree = json.loads(text.decode("utf-8-sig"))
    asset = tree["asset"]["version"]
    if not str(asset).startswith("2"):
        raise MeshFileError("mesh-format", f"is glTF version {asset}; only 2 is read", "export it as glTF 2.0")
    needed = [e for e in tree.get("extensionsRequired", []) if not str(e).startswith(_HARMLESS)]
    if needed:
        raise MeshFileError(
            "mesh-extension",
            f"needs {', '.join(map(str, needed))}, which is not read",
            "export it without compression and instancing",
        )
    meshes, accessors = _meshes(tree)
    nodes, roots = _nodes(tree, meshes)
    plain = {
        "asset": {"version": "2.0"},
        "scene": 0,
        "scenes": [{"nodes": roots}],
        "nodes": nodes,
        "meshes": [{"name": p.name, "primitives": [p.primitive]} for mesh in meshes for p in mesh],
        "accessors": accessors,
        "bufferViews": [
            _kept(view, "buffer", "byteOffset", "byteLength", "byteStride") for view in tree.get("bufferViews", [])
        ],
    }
    buffers = _buffers(tree, binary, fetch)
    plain["buffers"] = [{"uri": name, "byteLength": len(content)} for name, content in buffers.items()]
    return PlainGltf(json.dumps(plain).encode(), buffers)


@dataclass(frozen=True)
class _Piece:
    """One primitive of triangles as a mesh of its own: its number in the plain file and how large it is."""

    index: int
    name: str
    primitive: dict[str, Any]
    n_triangles: int


def _meshes(tree: dict[str, Any]) -> tuple[list[list[_Piece]], list[dict[str, Any]]]:
    """The triangle pieces of each mesh, and the accessors that they use."""
    accessors: list[dict[str, Any]] = []
    number: dict[int, int] = {}

    def use(index: int, *, places: bool) -> int:
        if index not in number:
            given = tree["accessors"][index]
            if "sparse" in given or "bufferView" not in given or (places and given.get("normalized", False)):
                raise MeshFileError(
                    "mesh-extension",
                    "holds compressed, sparse or normalised coordinates, which are not read",
                    "export it without compression",
                )
            if given["count"] > 3 * MAX_TRIANGLES:
                raise too_many_triangles(given["count"] // 3)
            number[index] = len(accessors)
            accessors.append(_kept(given, "bufferView", "byteOffset", "componentType", "count", "type"))
        return number[index]

    meshes: list[list[_Piece]] = []
    n_pieces = 0
    names = [str(m.get("name", "")) for m in tree.get("materials", [])]
    for mesh in tree.get("meshes", []):
        pieces = []
        for primitive in mesh["primitives"]:
            mode = primitive.get("mode", _TRIANGLES)
            if mode in _POINTS_TO_LINE_STRIP:
                continue
            if mode not in (_TRIANGLES, _STRIP):
                message = "holds triangle fans, which are not read"
                raise MeshFileError("mesh-extension", message, "export plain triangles")
            place = primitive["attributes"]["POSITION"]
            plain: dict[str, Any] = {"attributes": {"POSITION": use(place, places=True)}, "mode": mode}
            count = tree["accessors"][place]["count"]
            if "indices" in primitive:
                plain["indices"] = use(primitive["indices"], places=False)
                count = tree["accessors"][primitive["indices"]]["count"]
            made_of = primitive.get("material")
            label = names[made_of] if made_of is not None else ""
            pieces.append(_Piece(n_pieces, label, plain, count // 3 if mode == _TRIANGLES else max(count - 2, 0)))
            n_pieces += 1
        meshes.append(pieces)
    return meshes, accessors


def _nodes(tree: dict[str, Any], meshes: list[list[_Piece]]) -> tuple[list[dict[str, Any]], list[int]]:
    """Nodes with names, one piece each, and the roots of the scene.

    A node of several pieces gets one child a piece, named `node/material`. Raises MeshFileError where the
    nodes form no tree, or their triangles are too many.
    """
    given = tree.get("nodes", [])
    parent: dict[int, int] = {}
    for index, node in enumerate(given):
        for child in node.get("children", []):
            if child in parent or child == index:
                raise MeshFileError("mesh-corrupt", "has a node with two parents", "export it again")
            parent[child] = index
    if "scenes" in tree:
        roots = list(dict.fromkeys(tree["scenes"][tree.get("scene", 0)].get("nodes", [])))
    else:
        roots = [index for index in range(len(given)) if index not in parent]
    if any(root in parent for root in roots):
        raise MeshFileError("mesh-corrupt", "has a scene that starts within its own tree", "export it again")
    nodes: list[dict[str, Any]] = []
    total = 0
    for index, node in enumerate(given):
        pieces = meshes[node["mesh"]] if "mesh" in node else []
        total += sum(piece.n_triangles for piece in pieces)
        named = node.get("name") or (tree["meshes"][node["mesh"]].get("name") if "mesh" in node else None)
        plain = _kept(node, "children", "matrix", "translation", "rotation", "scale")
        plain["name"] = str(named or f"object {index + 1}")
        if len(pieces) == 1:
            plain["mesh"] = pieces[0].index
        nodes.append(plain)
    if total > MAX_TRIANGLES:
        raise too_many_triangles(total)
    for index, node in enumerate(given):
        pieces = meshes[node["mesh"]] if "mesh" in node else []
        if len(pieces) > 1:
            first = len(nodes)
            nodes[index]["children"] = [*nodes[index].get("children", []), *range(first, first + len(pieces))]
            for k, piece in enumerate(pieces):
                nodes.append({"name": f"{nodes[index]['name']}/{piece.name or k + 1}", "mesh": piece.index})
    return nodes, roots


def _buffers(tree: dict[str, Any], binary: bytes | None, fetch: Fetch) -> dict[str, bytes]:
    """Contents of the buffers under names of our own."""
    found: dict[str, bytes] = {}
    total = 0
    for index, buffer in enumerate(tree.get("buffers", [])):
        uri = buffer.get("uri")
        if uri is None:
            if binary is None or index:
                raise MeshFileError("mesh-corrupt", "lacks its binary part", "export it again")
            content = binary
        elif uri.startswith("data:"):
            try:
                content = base64.b64decode(uri.partition("base64,")[2], validate=True)
            except binascii.Error:
                raise MeshFileError("mesh-corrupt", "has a damaged embedded buffer", "export it again") from None
        else:
            content = fetch(_file_name(uri))
        if len(content) < buffer["byteLength"]:
            raise _cut_short(len(content), buffer["byteLength"])
        total += len(content)
        if total > MAX_BYTES:
            message = f"has buffers of more than {MAX_BYTES // 10**6} MB"
            raise MeshFileError("mesh-too-large", message, "export less of it")
        found[f"buffer {index}"] = content
    return found


def _file_name(uri: str) -> str:
    """The relative file that a URI names. Raises MeshFileError for one on the network or with a scheme."""
    if "://" in uri or uri.startswith("//") or uri.split("/", 1)[0].count(":"):
        raise MeshFileError(
            "mesh-outside",
            f'draws on "{uri[:80]}"; nothing is fetched from elsewhere',
            "export it as one GLB file, or put its buffer beside it",
        )
    return unquote(uri)


def _kept(group: dict[str, Any], *keys: str) -> dict[str, Any]:
    return {key: group[key] for key in keys if key in group}


def _cut_short(found: int, meant: int) -> MeshFileError:
    return MeshFileError(
        "mesh-corrupt", f"is cut short: {found:,} bytes of {meant:,}", "copy or export it again, whole"
    )
