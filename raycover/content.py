"""Digests of values: over every field, bit for bit. A value of no kind known here is refused, so that nothing can be
left out of a digest unseen."""

from __future__ import annotations

import hashlib
import struct
from dataclasses import dataclass, fields, is_dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

#: Bytes of a part's digest, and of a key.
SHORT, LONG = 16, 32


def digest(*values: object, size: int = LONG) -> bytes:
    """The digest of values: numbers, texts, arrays, shapely geometries, dataclasses and rows of such.

    Raises TypeError for anything else.
    """
    parts: list[bytes] = []
    for value in values:
        _add(parts, value)
    return hashlib.blake2b(b"".join(parts), digest_size=size).digest()


def _add(to: list[bytes], value: object) -> None:
    """Each value with its kind and length, so that no two rows of values look alike."""
    kind: Any = type(value)
    if kind is bytes:
        to += b"b%d:" % len(value), value  # type: ignore[arg-type]
    elif kind is float:
        to.append(b"d" + struct.pack("<d", value))
    elif kind is str:
        text = value.encode("utf-8", "surrogatepass")  # type: ignore[attr-defined]
        to += b"s%d:" % len(text), text
    elif kind is tuple or kind is list:
        to.append(b"r%d:" % len(value))  # type: ignore[arg-type]
        for one in value:  # type: ignore[attr-defined]
            _add(to, one)
    elif kind is np.ndarray:
        if value.dtype.kind not in "biuf":  # type: ignore[attr-defined]
            raise TypeError(f"no digest of an array of {value.dtype}")  # type: ignore[attr-defined]
        to += f"a{value.dtype.str}{value.shape}".encode(), value.tobytes()  # type: ignore[attr-defined]
    elif value is None or kind is bool:
        to.append(b"n" if value is None else b"t" if value else b"f")
    elif kind is int:
        to.append(b"i%d;" % value)  # type: ignore[str-format]
    elif isinstance(value, np.generic):
        _add(to, np.asarray(value))
    elif isinstance(value, tuple):
        _add(to, (kind.__name__, *value))
    elif isinstance(value, shapely.Geometry):
        _add(to, shapely.to_wkb(value))
    elif (names := _fields(kind)) is not None:
        to.append(b"c%s:" % kind.__name__.encode())
        for name in names:
            _add(to, getattr(value, name))
    else:
        raise TypeError(f"no digest of a {kind.__name__}")


@lru_cache(maxsize=256)
def _fields(kind: type) -> tuple[str, ...] | None:
    return tuple(field.name for field in fields(kind)) if is_dataclass(kind) else None


@dataclass(frozen=True)
class Located:
    """Something in space: a digest of it, how many points it has, and the corners (2, 3) of where they lie (m)."""

    digest: bytes
    n_points: int
    corners: NDArray[np.floating]

    @classmethod
    def of(cls, what: object, points: NDArray[np.floating], above: float) -> Located:
        """Of points (n, 3) and what is up to so far (m) above them; of no points in no place."""
        if not len(points):
            return cls(digest(what, size=SHORT), 0, np.zeros((2, 3)))
        low, high = points.min(axis=0), points.max(axis=0)
        return cls(digest(what, size=SHORT), len(points), np.array([low, high + np.array([0.0, 0.0, above])]))
