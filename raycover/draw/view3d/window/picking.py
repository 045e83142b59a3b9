"""From pixels of the window to places in the building, and back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from raycover.solving.surfaces import Surface

Floats = NDArray[np.floating[Any]]


@dataclass(frozen=True)
class Target:
    """A map as it lies in the picture: triangles (n, 3, 3), moved by a vector (3,) from where it is."""

    surface: Surface
    triangles: Floats
    moved: Floats


@dataclass(frozen=True)
class Eye:
    """How the 3D part is seen: world to the unit cube by `matrix` (4, 4), `size` (width, height) px."""

    matrix: Floats
    size: tuple[int, int]

    @classmethod
    def of(cls, renderer: Any) -> Eye:
        width, height = renderer.GetSize()
        aspect = width / max(height, 1)
        given = renderer.GetActiveCamera().GetCompositeProjectionTransformMatrix(aspect, -1, 1)
        matrix = np.array([given.GetElement(i, j) for i in range(4) for j in range(4)]).reshape(4, 4)
        return cls(matrix, (width, height))

    def pixels(self, points: Floats) -> Floats:
        """(n, 3) → (n, 2) px from the lower left corner of the 3D part."""
        flat = np.column_stack([points, np.ones(len(points))]) @ self.matrix.T
        return (flat[:, :2] / flat[:, 3:] + 1) / 2 * np.array(self.size)

    def ray(self, x: float, y: float) -> tuple[Floats, Floats]:
        """Where the line of sight through a pixel starts, and its unit vector into the picture."""
        back = np.linalg.inv(self.matrix)
        flat = np.array([2 * x / self.size[0] - 1, 2 * y / self.size[1] - 1])
        near, far = (back @ np.array([*flat, depth, 1.0]) for depth in (-1.0, 1.0))
        start, end = near[:3] / near[3], far[:3] / far[3]
        along = end - start
        return start, along / np.linalg.norm(along)

    def on_level(self, x: float, y: float, z: float) -> tuple[float, float] | None:
        """The place (x, y) at a height under a pixel; None where the line of sight runs level."""
        start, along = self.ray(x, y)
        if abs(along[2]) < 1e-3:
            return None
        there = start + along * (z - start[2]) / along[2]
        return float(there[0]), float(there[1])


def nearest(pixels: Floats, x: float, y: float, reach_px: float) -> int | None:
    """The index of the nearest of some pixels (n, 2) within reach."""
    if not len(pixels):
        return None
    away = np.hypot(*(pixels - [x, y]).T)
    best = int(np.argmin(away))
    return best if away[best] <= reach_px else None


class Nowhere(Exception):
    """A `place` (x, y, z) on a map where nobody can be: in goods, a column, a rack."""

    def __init__(self, place: tuple[float, float, float] | None = None) -> None:
        super().__init__()
        self.place = place


def place_under(eye: Eye, targets: Sequence[Target], x: float, y: float) -> tuple[float, float, float] | None:
    """The ground (x, y, z) of the map under a pixel; None beside all maps. Raises Nowhere where nobody can be."""
    start, along = eye.ray(x, y)
    best: tuple[float, Target] | None = None
    for target in targets:
        reached = _first(target.triangles, start, along)
        if np.isfinite(reached) and (best is None or reached < best[0]):
            best = reached, target
    if best is None:
        return None
    there = start + along * best[0] - best[1].moved
    return _ground(best[1].surface, there)


def _ground(surface: Surface, there: Floats) -> tuple[float, float, float]:
    """The ground at a place on a map: on a stair that of its cell, on a floor the place itself."""
    if surface.places is not None:
        away = np.hypot(surface.places[..., 0] - there[0], surface.places[..., 1] - there[1])
        # A stair winds: of cells one above another that nearest in height counts.
        away = away + np.abs(np.asarray(surface.floor) + surface.heights[0] - there[2])
        cell = np.unravel_index(int(np.argmin(np.where(surface.inside, away, np.inf))), surface.shape)
        x, y = surface.places[cell]
        return float(x), float(y), float(np.asarray(surface.floor)[cell])
    row = int(np.clip(round((there[1] - surface.y[0]) / surface.grid), 0, len(surface.y) - 1))
    column = int(np.clip(round((there[0] - surface.x[0]) / surface.grid), 0, len(surface.x) - 1))
    floor = np.asarray(surface.floor_at(np.array([row]), np.array([column])))
    if not surface.inside[row, column]:
        level = float(floor.ravel()[0])
        raise Nowhere((float(there[0]), float(there[1]), level) if np.isfinite(level) else None)
    return float(there[0]), float(there[1]), float(floor.ravel()[0])


def _first(triangles: Floats, start: Floats, along: Floats) -> float:
    """How far along a ray the first of some triangles (n, 3, 3) is met, infinite for none (Möller and Trumbore)."""
    one, other = triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0]
    across = np.cross(along, other)
    det = np.einsum("ij,ij->i", one, across)
    with np.errstate(divide="ignore", invalid="ignore"):
        offset = start - triangles[:, 0]
        u = np.einsum("ij,ij->i", offset, across) / det
        turned = np.cross(offset, one)
        v = turned @ along / det
        reached = np.einsum("ij,ij->i", other, turned) / det
    hit = (np.abs(det) > 1e-12) & (u >= -1e-9) & (v >= -1e-9) & (u + v <= 1 + 1e-9)
    return float(reached[hit].min()) if hit.any() else np.inf
