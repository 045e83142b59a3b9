"""Arrays packed for a page: one compressed block of bytes, and references into it."""

from __future__ import annotations

import base64
import json
import zlib
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.floating[Any]]
#: Names of JavaScript's typed arrays.
_KINDS = {"<f4": "Float32Array", "<i4": "Int32Array", "<u4": "Uint32Array", "<i2": "Int16Array", "|i1": "Int8Array"}
_GRAIN_M = 1e-3


class Pack:
    """Arrays gathered one by one; each `add` returns [kind, place in bytes, number of values].

    Equal arrays are held once.
    """

    def __init__(self) -> None:
        self._bytes = bytearray()
        self._known: dict[tuple[str, bytes], list[Any]] = {}

    def add(self, values: NDArray[Any], kind: str) -> list[Any]:
        data = np.ascontiguousarray(values, kind)
        raw = data.tobytes()
        if (known := self._known.get((kind, raw))) is not None:
            return known
        self._bytes += b"\0" * (-len(self._bytes) % 4)
        found = [_KINDS[kind], len(self._bytes), data.size]
        self._bytes += raw
        self._known[kind, raw] = found
        return found

    def points(self, points: Floats) -> list[Any]:
        """Points (n, 3) as they are."""
        return self.add(_grained(points), "<f4")

    def indexed(self, points: Floats) -> dict[str, Any]:
        """Corners (n, 3) of triangles or lines: distinct points, and which of them each corner is."""
        distinct, index = np.unique(_grained(points.reshape(-1, 3)), axis=0, return_inverse=True)
        return {"at": self.add(distinct, "<f4"), "index": self.add(index.ravel(), "<u4")}

    def text(self) -> str:
        """The block: zlib, then base64."""
        return base64.b64encode(zlib.compress(bytes(self._bytes), 9)).decode("ascii")

    @property
    def n_bytes(self) -> int:
        return len(self._bytes)


def _grained(points: Floats) -> Floats:
    """To the millimetre, which nobody sees and which packs well."""
    return np.round(np.asarray(points, float) / _GRAIN_M) * _GRAIN_M + 0.0


def script_json(value: Any) -> str:
    """JSON that may stand inside a <script>: nothing in it ends the script or begins a comment of HTML."""
    text = json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    for sign, safe in (
        ("<", "\\u003c"),
        (">", "\\u003e"),
        ("&", "\\u0026"),
        ("\u2028", "\\u2028"),
        ("\u2029", "\\u2029"),
    ):
        text = text.replace(sign, safe)
    return text
