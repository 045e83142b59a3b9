"""The view: parallel projection from a direction, and how it fits into a frame of pixels.

Which side to look from is chosen by what would hide the map: tall things should stand at the back.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import affinity

from raycover.scene.bearings import compass

Floats = NDArray[np.floating[Any]]

ELEVATION_DEG = 40.0
#: Directions of view tried, from each long or short side of the building (degrees).
_TRIED_DEG = (-90.0, 0.0, 90.0, 180.0)
_OFF_SQUARE_DEG = (-38.0, -26.0, 26.0, 38.0)
#: The worth of a view: its size squared (the area of the picture) times the share that shows, to this power.
_HIDING_EXPONENT = 1.5


@dataclass(frozen=True)
class View:
    """Looking down from a compass direction: `azimuth_deg` anticlockwise from +x, towards the eye."""

    azimuth_deg: float
    elevation_deg: float = ELEVATION_DEG

    @property
    def toward(self) -> Floats:
        """Unit vector from the building to the eye."""
        azimuth, elevation = np.radians(self.azimuth_deg), np.radians(self.elevation_deg)
        return np.array([np.cos(elevation) * np.cos(azimuth), np.cos(elevation) * np.sin(azimuth), np.sin(elevation)])

    @property
    def right(self) -> Floats:
        azimuth = np.radians(self.azimuth_deg)
        return np.array([-np.sin(azimuth), np.cos(azimuth), 0.0])

    @property
    def up(self) -> Floats:
        return np.cross(self.toward, self.right)

    @property
    def words(self) -> str:
        """How far it looks down."""
        if abs(self.elevation_deg) < 4.0:
            return "level"
        return f"{self.elevation_deg:.0f}° down" if self.elevation_deg > 0 else f"{-self.elevation_deg:.0f}° up"

    @property
    def behind(self) -> Floats:
        """How far (m, in plan) a metre of height hides the floor behind it, as a vector (2,)."""
        flat = self.toward[:2]
        return -flat / float(np.linalg.norm(flat)) / np.tan(np.radians(self.elevation_deg))

    def project(self, points: Floats) -> Floats:
        """(n, 3) → (n, 2): metres to the right and up on the picture's plane."""
        points = np.asarray(points, float)
        return np.stack([points @ self.right, points @ self.up], axis=-1)

    def compass(self, north_deg: float) -> str:
        """Where the eye stands, in words."""
        return compass(self.azimuth_deg, north_deg)


@dataclass(frozen=True)
class Fit:
    """A view placed in a frame of `width` by `height` pixels: `metres` a pixel, `centre` (2,) in the middle."""

    view: View
    width: int
    height: int
    metres: float
    centre: Floats

    def pixels(self, points: Floats) -> Floats:
        """(n, 3) → (n, 2) pixels from the frame's lower left corner."""
        flat = (self.view.project(points) - self.centre) / self.metres
        return flat + np.array([self.width, self.height]) / 2


@dataclass(frozen=True)
class Lens(Fit):
    """A perspective: from `eye` (3,) towards `target` (3,), `fov_deg` from the top of the frame to its foot.

    `metres` are those a pixel stands for at the target's distance.
    """

    eye: Floats
    target: Floats
    fov_deg: float

    @classmethod
    def between(cls, eye: Floats, target: Floats, fov_deg: float, width: int, height: int) -> Lens:
        away = np.asarray(eye, float) - np.asarray(target, float)
        far = float(np.linalg.norm(away))
        # Straight down has no azimuth of its own: then up on the page is +y.
        level = float(np.hypot(*away[:2])) > 1e-6 * far
        azimuth = float(np.degrees(np.arctan2(away[1], away[0]))) if level else -90.0
        elevation = float(np.degrees(np.arcsin(np.clip(away[2] / far, -1.0, 1.0))))
        metres = 2 * far * float(np.tan(np.radians(fov_deg) / 2)) / height
        view = View(azimuth, elevation)
        centre = view.project(np.asarray(target, float))
        return cls(view, width, height, metres, centre, np.asarray(eye, float), np.asarray(target, float), fov_deg)

    def depth(self, points: Floats) -> Floats:
        """(n,) how far points lie before the eye, along its line of sight (m)."""
        return np.asarray((self.eye - np.asarray(points, float)) @ self.view.toward)

    def pixels(self, points: Floats) -> Floats:
        """(n, 3) → (n, 2) pixels from the frame's lower left corner; far off the frame for what lies behind the eye."""
        offset = np.asarray(points, float) - self.eye
        depth = self.depth(points)
        across = np.stack([offset @ self.view.right, offset @ self.view.up], axis=-1)
        per_m = self.height / 2 / np.tan(np.radians(self.fov_deg) / 2)
        before = depth > 0.05
        flat = across / np.where(before, depth, 1.0)[..., None] * per_m
        return np.where(before[..., None], flat + np.array([self.width, self.height]) / 2, -1e5)


def fit(view: View, points: Floats, width: int, height: int, margin_px: float = 12.0) -> Fit:
    """Put all points (n, 3) into a frame, nothing clipped."""
    flat = view.project(points)
    low, high = flat.min(axis=0), flat.max(axis=0)
    room = np.array([width - 2 * margin_px, height - 2 * margin_px])
    metres = float(max(((high - low) / room).max(), 1e-4))
    return Fit(view, width, height, metres, (low + high) / 2)


def hidden_by(footprint: Any, height_m: float, view: View) -> Any:
    """The plan area behind a convex thing of some height, the thing itself left out."""
    dx, dy = view.behind * height_m
    swept = shapely.convex_hull(shapely.union_all([footprint, affinity.translate(footprint, dx, dy)]))
    return swept.difference(footprint)


def long_side_deg(area: Any) -> float:
    """Direction (degrees) of the longer side of the smallest rectangle about an area."""
    ring = np.asarray(shapely.minimum_rotated_rectangle(area).exterior.coords)
    sides = np.diff(ring[:3], axis=0)
    longer = sides[int(np.argmax(np.linalg.norm(sides, axis=1)))]
    return float(np.degrees(np.arctan2(longer[1], longer[0])))


def choose_view(
    area: Any,
    things: Sequence[tuple[Any, float]],
    extremes: Floats,
    aspect: float,
    elevation_deg: float = ELEVATION_DEG,
    views: Sequence[View] = (),
) -> View:
    """The direction that shows most of a mapped `area` (plan polygon), and largest.

    `things` are (convex footprint, height m) of what stands there, `extremes` (n, 3) points that must be in
    the picture, `aspect` its width over its height; `views` those to choose from, unless off square from every side.
    """
    return max(views or views_about(area, elevation_deg), key=lambda view: worth(view, area, things, extremes, aspect))


def views_about(area: Any, elevation_deg: float = ELEVATION_DEG) -> list[View]:
    """The views to choose from: off square from every side of an area (plan polygon)."""
    along = long_side_deg(area)
    return [View(along + side + off, elevation_deg) for side in _TRIED_DEG for off in _OFF_SQUARE_DEG]


def worth(view: View, area: Any, things: Iterable[tuple[Any, float]], extremes: Floats, aspect: float) -> float:
    """How much of `area` a view shows and how large, given things that hide it and points that must be in it."""
    flat = view.project(extremes)
    wide, high = flat.max(axis=0) - flat.min(axis=0)
    size = 1 / max(wide / aspect, high, 1e-9)
    shadows = [hidden_by(footprint, height, view) for footprint, height in things]
    hidden = shapely.union_all(shadows).intersection(area).area if shadows else 0.0
    # Seen from the south where nothing else decides: plans have north up.
    south = 1 + 0.02 * float(-view.toward[1])
    return float(size**2 * max(1 - hidden / area.area, 0.05) ** _HIDING_EXPONENT * south)
