"""Shapes of declared footprints: polar radius by azimuth in the unit's frame.

Azimuths come in as unit vectors (cos φ, sin φ), which the caller has from a division, so that no
trigonometry runs per ray; only a table of radii needs the angle itself.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.floating]


class Shape(Protocol):
    """Anything with a polar radius (m) for unit vectors (cos φ, sin φ) of any shape."""

    def radius(self, cos_phi: Array, sin_phi: Array) -> Array: ...

    @property
    def constant(self) -> float | None:
        """The radius where it is the same at every azimuth, else None."""

    @property
    def corners_rad(self) -> tuple[float, ...]:
        """Azimuths where the outline has a corner or a jump (for integration and drawing)."""


@dataclass(frozen=True)
class Circle:
    diameter: float

    def radius(self, cos_phi: Array, sin_phi: Array) -> Array:
        return np.full_like(cos_phi, self.diameter / 2)

    @property
    def constant(self) -> float | None:
        return self.diameter / 2

    @property
    def corners_rad(self) -> tuple[float, ...]:
        return ()


@dataclass(frozen=True)
class Rectangle:
    length: float
    width: float

    def radius(self, cos_phi: Array, sin_phi: Array) -> Array:
        with np.errstate(divide="ignore"):
            return np.minimum(self.length / 2 / np.abs(cos_phi), self.width / 2 / np.abs(sin_phi))

    @property
    def constant(self) -> float | None:
        return None

    @property
    def corners_rad(self) -> tuple[float, ...]:
        corner = float(np.arctan2(self.width, self.length))
        return (corner, np.pi - corner, np.pi + corner, 2 * np.pi - corner)


@dataclass(frozen=True)
class Ellipse:
    length: float
    width: float

    def radius(self, cos_phi: Array, sin_phi: Array) -> Array:
        return 1 / np.hypot(cos_phi / (self.length / 2), sin_phi / (self.width / 2))

    @property
    def constant(self) -> float | None:
        return self.length / 2 if self.length == self.width else None

    @property
    def corners_rad(self) -> tuple[float, ...]:
        return ()


@dataclass(frozen=True)
class Sector:
    reach: float
    spread_deg: float

    def radius(self, cos_phi: Array, sin_phi: Array) -> Array:
        # A billionth of a radian keeps a point on the edge inside, whatever the rounding.
        return np.where(cos_phi >= np.cos(np.radians(self.spread_deg / 2)) - 1e-9, self.reach, 0.0)

    @property
    def constant(self) -> float | None:
        return self.reach if self.spread_deg >= 360 else None

    @property
    def corners_rad(self) -> tuple[float, ...]:
        half = float(np.radians(self.spread_deg / 2))
        return (half, 2 * np.pi - half)


@dataclass(frozen=True)
class Polar:
    """A table of radii by azimuth, linear in between and around the turn."""

    azimuth_deg: tuple[float, ...]
    radius_m: tuple[float, ...]

    @cached_property
    def _table(self) -> tuple[Array, Array]:
        azimuth = np.radians(np.asarray(self.azimuth_deg)) % (2 * np.pi)
        order = np.argsort(azimuth)
        return azimuth[order], np.asarray(self.radius_m)[order]

    def radius(self, cos_phi: Array, sin_phi: Array) -> Array:
        azimuth, radius = self._table
        return np.interp(np.arctan2(sin_phi, cos_phi), azimuth, radius, period=2 * np.pi)

    @property
    def constant(self) -> float | None:
        return self.radius_m[0] if len(set(self.radius_m)) == 1 else None

    @property
    def corners_rad(self) -> tuple[float, ...]:
        return tuple(float(a) for a in self._table[0])


@dataclass(frozen=True)
class Blend:
    """Linear in the radius between two shapes: (1 − weight)·first + weight·second."""

    first: Shape
    second: Shape
    weight: float

    def radius(self, cos_phi: Array, sin_phi: Array) -> Array:
        first = self.first.radius(cos_phi, sin_phi)
        return first + self.weight * (self.second.radius(cos_phi, sin_phi) - first)

    @property
    def constant(self) -> float | None:
        a, b = self.first.constant, self.second.constant
        return None if a is None or b is None else a + self.weight * (b - a)

    @property
    def corners_rad(self) -> tuple[float, ...]:
        return (*self.first.corners_rad, *self.second.corners_rad)


def azimuth_cells(corners_rad: tuple[float, ...], n: int = 3600) -> tuple[Array, Array]:
    """Midpoints and widths (rad) of at least `n` azimuth cells around the turn, none across a corner."""
    edges = np.unique(np.concatenate([np.linspace(0, 2 * np.pi, n + 1), np.asarray(corners_rad) % (2 * np.pi)]))
    return (edges[1:] + edges[:-1]) / 2, np.diff(edges)
