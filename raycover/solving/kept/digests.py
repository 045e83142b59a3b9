"""What answers hang on but for the building: the code that finds them, the libraries that do sums, the processor, whose
widest instructions round as they like; and the air, as each technology feels it."""

from __future__ import annotations

import importlib.metadata
import json
import platform
from functools import lru_cache
from pathlib import Path

import numpy as np

import raycover
from raycover.content import SHORT, digest
from raycover.solving.open_air import Weather

#: Folders whose code no answer hangs on: they lie above whatever casts, and ask it (`importlinter`'s layers).
APART = ("cli", "draw", "exchange", "importing", "report")
#: Libraries that have a say in the last bits.
_LIBRARIES = ("numpy", "scipy", "shapely", "trimesh", "embreex", "mapbox-earcut")


def of_weather(weather: Weather, kind: str) -> bytes:
    """The digest of what conditions mean to a technology: warmer air leaves microwave as it is."""
    if kind == "infrared":
        airs = None if weather.airs is None else weather.airs.content
        return digest(weather.contrast_db, airs, size=SHORT)
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
