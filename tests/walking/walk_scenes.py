"""Small scenes to walk in."""

from __future__ import annotations

from typing import Any

from small_scenes import detector, pattern, scene

from raycover.building.build import build
from raycover.building.parts import Building
from raycover.scene.schema import Scene
from raycover.walking.walk import Walk, walk
from raycover.walking.ways import Way, make_ways

CIRCLE = {"circle": {"diameter": 8}}


def hall(*, size: tuple[float, float] = (10, 10), walls: str = "none", **parts: Any) -> Scene:
    """One room with its lower left corner at (0, 0)."""
    w, d = size
    room = {"name": "Hall", "outline": [[0, 0], [w, 0], [w, d], [0, d]], "height": 3, "walls": walls}
    return scene(rooms=[{**room, **parts.pop("room", {})}], **parts)


def ways(made: Scene) -> list[Way]:
    return make_ways(made, build(made))


def walks(made: Scene, **options: Any) -> list[Walk]:
    building: Building = build(made)
    return walk(made, building=building, declared=True, **options)


def past_one(
    made: Any,
    *,
    line: list[list[float]],
    mounting: float = 2.5,
    scene_has: dict[str, Any] | None = None,
    **route: Any,
) -> Scene:
    """One detector over open ground at (0, 0), and someone who walks a line; `scene_has`: more of the scene."""
    routes = [{"name": "A", "line": line, **route}]
    return scene(detectors=[detector((0, 0), mounting, made)], routes=routes, **(scene_has or {}))


__all__ = ["CIRCLE", "detector", "hall", "past_one", "pattern", "scene", "walks", "ways"]
