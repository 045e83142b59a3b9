"""Rooms to place units in, and a catalogue of round and one-sided ones."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import raycover
from raycover.scene.schema import Scene

ENTRY = """raycover_detector: 1
name: {name}
title: {name}
kind: infrared
declared:
  - {{mounting: 3, plane: 0, motion: tangential, shape: {shape}, source: test}}
mounting: {{from: 2, to: 4}}
source: test
"""


def entries(folder: Path, **shapes: str) -> None:
    """Write catalogue entries, name=shape, beside a scene in `folder`."""
    (folder / "models" / "detectors").mkdir(parents=True, exist_ok=True)
    for name, shape in shapes.items():
        text = ENTRY.format(name=name, shape=shape)
        (folder / "models" / "detectors" / f"{name}.yaml").write_text(text, encoding="utf-8")


def radio(folder: Path, name: str, shape: str, more: str = "") -> None:
    """Write a microwave entry at 5.8 GHz: it sees through light walls."""
    entries(folder, **{name: shape})
    path = folder / "models" / "detectors" / f"{name}.yaml"
    text = path.read_text(encoding="utf-8").replace("kind: infrared", f"kind: microwave\nfrequency_ghz: 5.8{more}")
    path.write_text(text, encoding="utf-8")


def beside(wall: str = "plasterboard-12.5") -> list[dict[str, Any]]:
    """A room of 10 by 6 m and a corridor along its far wall."""
    steel = "steel-panel"
    return [
        room(10, 6) | {"walls": [steel, steel, wall, steel]},
        room(10, 2, "Corridor", (0, 6)) | {"walls": [wall, steel, steel, steel]},
    ]


def circle(radius: float) -> str:
    return f"{{circle: {{diameter: {2 * radius}}}}}"


def room(width: float, depth: float, name: str = "Room", at: tuple[float, float] = (0.0, 0.0)) -> dict[str, Any]:
    x, y = at
    outline = [[x, y], [x + width, y], [x + width, y + depth], [x, y + depth]]
    return {"name": name, "outline": outline, "height": 3.2, "walls": "steel-panel"}


def made(folder: Path, **parts: Any) -> Scene:
    """A scene of parts; mounted at 3 m on a floor of 0.25 m cells unless they say otherwise."""
    parts.setdefault("grid", 0.25)
    parts["placing"] = {"mounting": [3.0], "from_wall": 0.1, **parts.get("placing", {})}
    text = json.dumps({"raycover": 1, "title": "test", **parts})
    return raycover.load_text(text, "scene.yaml", folder)


def floor_of(name: str = "Room", **more: Any) -> dict[str, Any]:
    return {"name": f"{name} floor", "rooms": [name], "height": 0.0, **more}
