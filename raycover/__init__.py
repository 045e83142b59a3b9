"""raycover: where presence and motion detectors see people in a building, where not, and why.

    scene = raycover.load("scene.yaml")
    coverage = raycover.solve(scene)
    coverage["desk"].margin_db, coverage.share("desk")

Importing this loads nothing heavy; the parts come when first used.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"
__all__ = ["Coverage", "InputError", "Scene", "load", "load_text", "solve"]

if TYPE_CHECKING:
    from raycover.errors import InputError
    from raycover.loading import load, load_text
    from raycover.scene.schema import Scene
    from raycover.solving.coverage import Coverage, solve

_HOME = {
    "Coverage": "raycover.solving.coverage",
    "solve": "raycover.solving.coverage",
    "InputError": "raycover.errors",
    "load": "raycover.loading",
    "load_text": "raycover.loading",
    "Scene": "raycover.scene.schema",
}


def __getattr__(name: str) -> Any:
    if name in _HOME:
        return getattr(import_module(_HOME[name]), name)
    raise AttributeError(f"module 'raycover' has no attribute {name!r}")
