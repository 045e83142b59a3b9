"""Boxes of a building in a thing's own frame, for tests."""

from __future__ import annotations

import numpy as np

from raycover.building.parts import Boxes


def back(points: np.ndarray, at: tuple[float, float], turn_deg: float) -> np.ndarray:
    """Points of the scene in the local frame of a thing at `at`, turned by `turn_deg`."""
    a = np.radians(turn_deg)
    moved = points[..., :2] - at
    return np.stack([moved @ [np.cos(a), np.sin(a)], moved @ [-np.sin(a), np.cos(a)]], axis=-1)


def extents(boxes: Boxes, at: tuple[float, float] = (0, 0), turn_deg: float = 0) -> np.ndarray:
    """(n, 2, 3) lowest and highest local corner of each box."""
    plan = back(boxes.footprints(), at, turn_deg)
    z = boxes.centre[:, 2:] + np.array([-0.5, 0.5]) * boxes.size[:, 2:]
    return np.stack([np.column_stack([plan.min(1), z[:, 0]]), np.column_stack([plan.max(1), z[:, 1]])], axis=1)


def overlap(one: np.ndarray, two: np.ndarray) -> float:
    """The smallest side of what two extents share; negative when apart."""
    return float((np.minimum(one[1], two[1]) - np.maximum(one[0], two[0])).min())
