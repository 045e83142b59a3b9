"""Small scenes for tests, from a few words."""

from __future__ import annotations

import json
from typing import Any

import raycover
from raycover.scene.schema import Scene

INFRARED = {"kind": "infrared"}


def pattern(
    shape: dict[str, Any], *, mounting: float, plane: float = 0.0, motion: str = "tangential", **more: Any
) -> Any:
    """A pattern with one declared footprint; infrared unless `frequency_ghz` is given."""
    kind = "microwave" if "frequency_ghz" in more else "infrared"
    declared = [{"mounting": mounting, "plane": plane, "motion": motion, "shape": shape}]
    return {"kind": kind, "declared": declared, **more}


def detector(at: tuple[float, float], mounting: float, made: Any, name: str = "D1", **more: Any) -> dict[str, Any]:
    return {"name": name, "at": list(at), "mounting": mounting, "pattern": made, **more}


def scene(**parts: Any) -> Scene:
    """A scene from its parts; version and title are added."""
    return raycover.load_text(json.dumps({"raycover": 1, "title": "test", **parts}))


def open_floor(
    *detectors: dict[str, Any], half: float = 12.0, grid: float = 0.1, height: float = 0.0, **parts: Any
) -> Scene:
    """Detectors over open ground: one plane named floor, square extent of half width `half`."""
    plane = {"name": "floor", "height": height, "extent": [-half, -half, half, half], **parts.pop("plane", {})}
    return scene(detectors=list(detectors), planes=[plane], grid=grid, **parts)
