"""Writing binary glTF 2.0 (GLB; ISO/IEC 12113:2022): nodes, meshes of triangles and lines, materials. No more.

Metres, y up, right-handed, as the standard wants: (x, y, z) of a scene becomes (x, z, −y). Colours are sRGB here and
linear in the file. The same input gives the same bytes. A general exporter would keep neither unlit materials, which
a map's colours need, nor linear colours of vertices.
"""

from __future__ import annotations

import json
import struct
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.floating[Any]]

_FLOAT, _USHORT, _UINT = 5126, 5123, 5125
_VERTICES, _INDICES = 34962, 34963
_LINES, _TRIANGLES = 1, 4
_GRAIN_M = 1e-4


def linear(rgb: ArrayLike) -> NDArray[np.float64]:
    """sRGB 0…255 → linear 0…1 (IEC 61966-2-1)."""
    v = np.asarray(rgb, float) / 255
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)


@dataclass
class Glb:
    """A file in the making. Nodes are numbers, as they come back from `node`."""

    generator: str
    extras: Mapping[str, Any]
    _nodes: list[dict[str, Any]] = field(default_factory=list)
    _roots: list[int] = field(default_factory=list)
    _meshes: list[dict[str, Any]] = field(default_factory=list)
    _materials: dict[str, dict[str, Any]] = field(default_factory=dict)
    _accessors: list[dict[str, Any]] = field(default_factory=list)
    _views: list[dict[str, Any]] = field(default_factory=list)
    _binary: bytearray = field(default_factory=bytearray)

    def node(self, name: str, *, under: int | None = None, extras: Mapping[str, Any] | None = None) -> int:
        """A node without a mesh."""
        self._nodes.append({"name": name} | ({"extras": dict(extras)} if extras else {}))
        index = len(self._nodes) - 1
        if under is None:
            self._roots.append(index)
        else:
            self._nodes[under].setdefault("children", []).append(index)
        return index

    def material(self, name: str, color: str, *, opacity: float = 1.0, unlit: bool = False) -> str:
        """A dull two-sided material of an sRGB "#rrggbb"; returns its name, by which primitives use it."""
        if name not in self._materials:
            rgb = linear([int(color[k : k + 2], 16) for k in (1, 3, 5)]).round(6).tolist()
            made: dict[str, Any] = {
                "name": name,
                "pbrMetallicRoughness": {
                    "baseColorFactor": [*rgb, opacity], "metallicFactor": 0, "roughnessFactor": 1,
                },
                "doubleSided": True,
            }  # fmt: skip
            if opacity < 1:
                made["alphaMode"] = "BLEND"
            if unlit:
                made["extensions"] = {"KHR_materials_unlit": {}}
            self._materials[name] = made
        return name

    def triangles(
        self, node: int, material: str, triangles: Floats, *, rgb: NDArray[np.uint8] | None = None, flat: bool = True
    ) -> None:
        """Give a node's mesh triangles (n, 3, 3), with normals if `flat`; `rgb` (n, 3): an sRGB colour each."""
        if not len(triangles):
            return
        corners = _upright(triangles.reshape(-1, 3))
        columns = [corners]
        if flat:
            faces = corners.reshape(-1, 3, 3)
            normal = np.cross(faces[:, 1] - faces[:, 0], faces[:, 2] - faces[:, 0])
            length = np.linalg.norm(normal, axis=1, keepdims=True)
            # A face without area has no direction of its own, and the standard wants one.
            unit = np.where(length > 1e-12, normal / np.maximum(length, 1e-12), [0.0, 1.0, 0.0])
            columns.append(np.repeat(unit.round(5), 3, axis=0))
        if rgb is not None:
            columns.append(np.repeat(np.asarray(rgb, float), 3, axis=0))
        distinct, index = np.unique(np.concatenate(columns, axis=1), axis=0, return_inverse=True)
        index = index.reshape(-1, 3)
        index = index[(index != np.roll(index, 1, axis=1)).all(axis=1)]  # without what shrank to a line
        attributes = {"POSITION": self._array(distinct[:, :3].astype("<f4"), "VEC3", bounds=True)}
        if flat:
            normals = distinct[:, 3:6]
            exact = normals / np.linalg.norm(normals, axis=1, keepdims=True)
            attributes["NORMAL"] = self._array(exact.astype("<f4"), "VEC3")
        if rgb is not None:
            shares = np.column_stack([linear(distinct[:, -3:]), np.ones(len(distinct))])
            attributes["COLOR_0"] = self._array(np.round(shares * 65535).astype("<u2"), "VEC4", normalized=True)
        self._primitive(node, material, _TRIANGLES, attributes, index.ravel())

    def lines(self, node: int, material: str, segments: Floats) -> None:
        """Give a node's mesh line segments (n, 2, 3)."""
        if not len(segments):
            return
        distinct, index = np.unique(_upright(segments.reshape(-1, 3)), axis=0, return_inverse=True)
        attributes = {"POSITION": self._array(distinct.astype("<f4"), "VEC3", bounds=True)}
        self._primitive(node, material, _LINES, attributes, index.ravel())

    def bytes(self) -> bytes:
        """The whole file."""
        order = {name: k for k, name in enumerate(self._materials)}
        meshes = [
            {**mesh, "primitives": [{**p, "material": order[p["material"]]} for p in mesh["primitives"]]}
            for mesh in self._meshes
        ]
        unlit = any("extensions" in material for material in self._materials.values())
        document = {
            "asset": {"version": "2.0", "generator": self.generator, "extras": dict(self.extras)},
            **({"extensionsUsed": ["KHR_materials_unlit"]} if unlit else {}),
            "scene": 0,
            "scenes": [{"nodes": self._roots}],
            "nodes": self._nodes,
            "meshes": meshes,
            "materials": list(self._materials.values()),
            "accessors": self._accessors,
            "bufferViews": self._views,
            "buffers": [{"byteLength": len(self._binary)}],
        }
        text = json.dumps(document, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode("utf-8")
        text += b" " * (-len(text) % 4)
        chunks = struct.pack("<I4s", len(text), b"JSON") + text
        chunks += struct.pack("<I4s", len(self._binary), b"BIN\0") + self._binary
        return struct.pack("<4sII", b"glTF", 2, 12 + len(chunks)) + chunks

    def _primitive(
        self, node: int, material: str, mode: int, attributes: Mapping[str, int], index: NDArray[np.integer]
    ) -> None:
        small = not len(index) or int(index.max()) < 65535
        indices = self._array(index.astype("<u2" if small else "<u4"), "SCALAR", target=_INDICES)
        made = {"attributes": dict(attributes), "indices": indices, "material": material, "mode": mode}
        if "mesh" not in self._nodes[node]:
            self._nodes[node]["mesh"] = len(self._meshes)
            self._meshes.append({"name": self._nodes[node]["name"], "primitives": []})
        self._meshes[self._nodes[node]["mesh"]]["primitives"].append(made)

    def _array(
        self, values: NDArray[Any], kind: str, *, target: int = _VERTICES, bounds: bool = False,
        normalized: bool = False,
    ) -> int:  # fmt: skip
        data = np.ascontiguousarray(values)
        self._views.append({"buffer": 0, "byteOffset": len(self._binary), "byteLength": data.nbytes, "target": target})
        self._binary += data.tobytes()
        self._binary += b"\0" * (-len(self._binary) % 4)
        component = {"f": _FLOAT, "u": _USHORT if data.itemsize == 2 else _UINT}[data.dtype.kind]
        made: dict[str, Any] = {
            "bufferView": len(self._views) - 1, "componentType": component, "count": len(data), "type": kind,
        }  # fmt: skip
        if normalized:
            made["normalized"] = True
        if bounds:
            made |= {"min": data.min(axis=0).tolist(), "max": data.max(axis=0).tolist()}
        self._accessors.append(made)
        return len(self._accessors) - 1


def _upright(points: Floats) -> Floats:
    """(n, 3) of the scene, z up → y up, to a tenth of a millimetre."""
    grained = np.round(np.asarray(points, float) / _GRAIN_M) * _GRAIN_M
    return np.column_stack([grained[:, 0], grained[:, 2], -grained[:, 1]]) + 0.0


def chained(lines: Sequence[Floats]) -> Floats:
    """Lines (k, 3) of any length as segments (n, 2, 3)."""
    found = [np.stack([line[:-1], line[1:]], axis=1) for line in lines if len(line) > 1]
    return np.concatenate(found) if found else np.zeros((0, 2, 3))
