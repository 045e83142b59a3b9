"""Digests of values, and of the physics: what answers are known by.

A digest is over every field of a value, bit for bit; what is of no kind known here is refused, so that nothing can be
left out of a key unseen. Answers also hang on the code that finds them, on the libraries that do sums, and on the
processor, whose widest instructions round as they like.
"""

from __future__ import annotations

import hashlib
import importlib.metadata
import json
import platform
import struct
from dataclasses import fields, is_dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import shapely

import raycover
from raycover.detectors import Unit
from raycover.open_air import Weather
from raycover.physics.pattern import Footprint

#: Bytes of a part's digest, and of a key.
SHORT, LONG = 16, 32
#: Folders whose code no answer hangs on: they lie above whatever casts, and ask it (`importlinter`'s layers).
APART = ("cli", "draw", "exchange", "importing", "report")
#: Libraries that have a say in the last bits.
_LIBRARIES = ("numpy", "scipy", "shapely", "trimesh", "embreex", "mapbox-earcut")
#: Of a unit, how it is called is left out of a key; footprints are added one by one.
_NAMES = frozenset({"name", "title", "housing", "footprints"})


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


@lru_cache(maxsize=4096)
def of_footprint(footprint: Footprint) -> bytes:
    """The digest of a footprint: few are shared by many units."""
    return digest(footprint, size=SHORT)


def of_part(part: Unit) -> bytes:
    """The digest of a unit of one technology: all that it is but its names."""
    values = [getattr(part, name) for name in _fields(Unit) or () if name not in _NAMES]
    return digest(values, list(map(of_footprint, part.footprints)), size=SHORT)


def of_weather(weather: Weather, kind: str) -> bytes:
    """The digest of what conditions mean to a technology: warmer air leaves microwave as it is."""
    if kind == "infrared":
        return digest(weather.contrast_db, size=SHORT)
    return digest(weather.losses, weather.reflections, size=SHORT)


@lru_cache(maxsize=1)
def physics() -> bytes:
    """The digest of the code, the libraries and the processor that answers come from."""
    root = Path(raycover.__file__).parent
    names = sorted(path.relative_to(root) for path in root.rglob("*.py"))
    code = [(name.as_posix(), (root / name).read_bytes()) for name in names if name.parts[0] not in APART]
    versions = [(name, _version(name)) for name in _LIBRARIES]
    wide = np.show_config(mode="dicts").get("SIMD Extensions", {})
    machine = [platform.system(), platform.machine(), json.dumps(wide, sort_keys=True)]
    return digest(raycover.__version__, code, versions, machine)


def _version(name: str) -> str:
    try:
        return importlib.metadata.version(name)
    except importlib.metadata.PackageNotFoundError:
        return ""
