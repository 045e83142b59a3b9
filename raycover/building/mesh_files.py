"""Mesh files → named objects: GLB, GLTF, OBJ, STL and PLY, read by trimesh and by nothing else.

Reading is safe: no network, no file but the one named (a glTF's own buffers by permission), no pictures, no
materials, sizes known before memory is taken. Coordinates stay in the file's own axes and units.
"""

from __future__ import annotations

import io
import re
import stat
import struct
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from raycover.building.gltf_header import Fetch, plain_gltf, split_glb
from raycover.building.mesh_limits import MAX_BYTES, MAX_TRIANGLES, MeshFileError, too_many_triangles
from raycover.errors import InputError

Floats = NDArray[np.floating]
Indices = NDArray[np.int64]
_LONGEST_NAME = 80
#: A header that claims more bytes than this is no STL header.
_LARGEST_STL = 10 * 10**9


@dataclass(frozen=True)
class FileObject:
    """One object of a file, in the file's axes and units: `vertices` (n, 3), `faces` (m, 3)."""

    name: str
    vertices: Floats
    faces: Indices

    @property
    def corners(self) -> Floats:
        """(n, 3) the vertices that faces use."""
        used = np.zeros(len(self.vertices), bool)
        used[self.faces] = True
        return self.vertices[used]


def read_mesh_file(path: Path, fetch: Fetch) -> list[FileObject]:
    """The objects of a file, in the order of their names; `fetch` reads what a glTF names beside itself.

    Raises MeshFileError for a file that is too large, of another format, damaged or without triangles.
    """
    kind = path.suffix.lower()
    if kind not in _READERS:
        raise MeshFileError(
            "mesh-format",
            f'is a "{kind}" file, which is not read' if kind else "has no ending that says its format",
            "export it as GLB, or as GLTF, OBJ, STL or PLY",
        )
    data = read_bytes(path)
    # The libraries warn of what is checked here anyway, and a damaged file must not flood the terminal.
    with warnings.catch_warnings(), np.errstate(all="ignore"):
        warnings.simplefilter("ignore")
        try:
            found = _objects(_READERS[kind](data, fetch), path.stem)
        except (MeshFileError, InputError):
            raise
        except Exception as error:
            why = " ".join(str(error).split())[:120]
            raise MeshFileError(
                "mesh-corrupt",
                f"cannot be read as {kind[1:].upper()}" + (f" ({type(error).__name__}: {why})" if why else ""),
                "it is damaged or cut short: export or copy it again",
            ) from None
    if not found:
        raise MeshFileError("mesh-empty", "holds no triangle", "export the faces, not only points, lines or curves")
    n = sum(len(one.faces) for one in found)
    if n > MAX_TRIANGLES:
        raise too_many_triangles(n)
    return found


def read_bytes(path: Path) -> bytes:
    """A file's content. Raises MeshFileError for one that is empty, larger than the limit, or no plain file."""
    try:
        with open(path, "rb") as file:
            info = path.stat()
            if not stat.S_ISREG(info.st_mode):
                raise MeshFileError("mesh-corrupt", "is no plain file", "name a mesh file")
            if info.st_size > MAX_BYTES:
                raise MeshFileError(
                    "mesh-too-large",
                    f"has {info.st_size / 1e6:,.0f} MB, {MAX_BYTES // 10**6} MB are the most",
                    "export less of it, or reduce it; GLB takes the least space",
                )
            data = file.read(MAX_BYTES + 1)
    except OSError as error:
        raise MeshFileError("unreadable", f"cannot be read: {error.strerror}", "look at its permissions") from None
    if not data:
        raise MeshFileError("mesh-empty", "is empty", "export or copy it again")
    return data


def _glb(data: bytes, fetch: Fetch) -> Any:
    return _gltf_scene(*split_glb(data), fetch)


def _gltf(data: bytes, fetch: Fetch) -> Any:
    return _gltf_scene(data, None, fetch)


def _gltf_scene(text: bytes, binary: bytes | None, fetch: Fetch) -> Any:
    plain = plain_gltf(text, binary, fetch)
    return _load(plain.text, "gltf", resolver=plain.buffers, skip_materials=True)


def _obj(data: bytes, _: Fetch) -> Any:
    n = data.count(b"\nf ")
    if n > MAX_TRIANGLES:
        raise too_many_triangles(n)
    if not re.search(rb"^v\s", data[:10_000_000], re.MULTILINE):
        raise MeshFileError("mesh-format", "is no OBJ file: no vertex stands in it", "export it again as OBJ or GLB")
    named = re.search(rb"^o\s", data, re.MULTILINE) is not None
    split = {"split_objects": True} if named else {"split_groups": True}
    return _load(data, "obj", skip_materials=True, group_material=False, **split)


def _stl(data: bytes, _: Fetch) -> Any:
    n = struct.unpack_from("<I", data, 80)[0] if len(data) >= 84 else 0
    if len(data) < 84 or len(data) != 84 + 50 * n:
        # Not a binary one of the length it claims: then text, which has a beginning and an end.
        if not data.lstrip().lower().startswith(b"solid") or b"facet" not in data.lower():
            if len(data) >= 84 and len(data) < 84 + 50 * n <= _LARGEST_STL:
                message = f"is cut short: {len(data):,} bytes, its {n:,} triangles take {84 + 50 * n:,}"
                raise MeshFileError("mesh-corrupt", message, "copy or export it again, whole")
            raise MeshFileError("mesh-format", "is no STL file", "export it again as STL or GLB")
        if b"endsolid" not in data[-1000:].lower():
            raise MeshFileError("mesh-corrupt", "is cut short: its last solid has no end", "copy or export it again")
        n = data.count(b"endfacet")
    if n > MAX_TRIANGLES:
        raise too_many_triangles(n)
    return _load(data, "stl")


def _ply(data: bytes, _: Fetch) -> Any:
    if not data.startswith(b"ply"):
        raise MeshFileError("mesh-format", "is no PLY file", "export it again as PLY or GLB")
    head = data[: max(data.find(b"end_header"), 0)]
    counted = {name: int(n) for name, n in re.findall(rb"element\s+(vertex|face)\s+(\d{1,15})", head)}
    if counted.get(b"face", 0) > MAX_TRIANGLES:
        raise too_many_triangles(counted[b"face"])
    if sum(counted.values()) > len(data):  # each takes more than a byte
        raise MeshFileError("mesh-corrupt", "is cut short", "copy or export it again, whole")
    return _load(data, "ply", skip_materials=True)


_READERS: dict[str, Callable[[bytes, Fetch], Any]] = {
    ".glb": _glb,
    ".gltf": _gltf,
    ".obj": _obj,
    ".stl": _stl,
    ".ply": _ply,
}


def _load(data: bytes, kind: str, **options: Any) -> Any:
    """trimesh's scene of a file's content."""
    import trimesh

    return trimesh.load_scene(io.BytesIO(data), file_type=kind, process=False, **options)


def _objects(scene: Any, stem: str) -> list[FileObject]:
    """Every object of trimesh's scene in the file's own frame, those without triangles left out."""
    found = []
    nodes = sorted(scene.graph.nodes_geometry)
    for node in nodes:
        matrix, key = scene.graph[node]
        shape = scene.geometry[key]
        faces = np.asarray(getattr(shape, "faces", np.zeros((0, 3))), np.int64).reshape(-1, 3)
        if not len(faces):
            continue
        vertices = np.asarray(shape.vertices, float).reshape(-1, 3)
        if faces.min() < 0 or faces.max() >= len(vertices):
            raise IndexError(f"a face names vertex {int(faces.max())} of {len(vertices)}")
        if not np.array_equal(matrix, np.eye(4)):
            vertices = vertices @ matrix[:3, :3].T + matrix[:3, 3]
        if np.linalg.det(matrix[:3, :3]) < 0:
            faces = faces[:, ::-1]  # a mirrored object keeps its outside outside
        anonymous = str(node).startswith("geometry") or not str(node).strip()
        found.append(FileObject(_plain_name(stem if anonymous else str(node)), vertices, faces))
    return found


def _plain_name(name: str) -> str:
    """A name that a terminal and a drawing can show."""
    shown = "".join(c if c.isprintable() else "·" for c in name.strip())
    return shown if len(shown) <= _LONGEST_NAME else shown[: _LONGEST_NAME - 1] + "…"
