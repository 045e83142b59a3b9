"""A short film (GIF): a person walks a route through the building, and the lobes of who notices them light up.

The building is rendered once; person, way and lobes are drawn over it, so what stands in front hides none of them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from raycover.asking.lobes import make_lobe
from raycover.draw import palette
from raycover.draw.lettering import clean
from raycover.draw.story.moving import FOOT_PX, SIZE_PX, as_gif, foot, lettered
from raycover.draw.story.views import Told
from raycover.draw.view3d import environment
from raycover.draw.view3d.people import limb_points
from raycover.draw.view3d.still import Composed, Shot, ceiling_over, compose, moved_lobe, render
from raycover.draw.walk_plan import NOBODY
from raycover.solving.casting import Weather
from raycover.walking.kinematics import SIT, WALK
from raycover.walking.walk import Walk

Floats = NDArray[np.floating[Any]]

#: Overlays are drawn so many times larger, then brought down.
_FINER = 2
FRAMES, _FRAME_MS, _LAST_MS = 84, 100, 1800
#: However long somebody stands or sits, the film shows it for no more than this (s of the walk).
_LONGEST_STAY_S = 4.0
#: Longest names listed of those who notice.
_MOST_NAMES = 5


def film(told: Told, walk: Walk, plane_name: str, *, n_frames: int = FRAMES) -> bytes:
    """The film of one walk over the map of a plane. The same input gives the same bytes.

    Raises MissingPart where 3D cannot be drawn.
    """
    pyvista = environment.load_for_pictures()
    width, height = SIZE_PX[0], SIZE_PX[1] - FOOT_PX
    shot = Shot(lobes=(), people=False)
    composed = compose(told.scene, told.building, told.coverage, plane_name, told.rays, width, height, shot)
    composed = replace(composed, figures=(), unnoticed=(), dashes=np.zeros((0, 2, 3)))
    stage = _Stage(told, composed, walk, Image.fromarray(render(pyvista, composed)))
    steps = _steps(walk, n_frames)
    frames = [stage.frame(int(k)) for k in steps]
    return as_gif(frames, [_FRAME_MS] * (len(frames) - 1) + [_LAST_MS])


def _steps(walk: Walk, n_frames: int = FRAMES) -> NDArray[np.intp]:
    """Steps of the track to show, even in time, but long stays cut short."""
    still = ~walk.track.moving
    weight = np.ones(len(still))
    edges = np.flatnonzero(np.diff(np.concatenate([[0], still.astype(int), [0]])))
    for start, end in edges.reshape(-1, 2):
        seconds = (end - start) * walk.track.step_s
        weight[start:end] = min(1.0, _LONGEST_STAY_S / max(seconds, 1e-9))
    passed = np.cumsum(weight)
    return np.unique(np.searchsorted(passed, np.linspace(passed[0], passed[-1], n_frames)).clip(0, len(passed) - 1))


@dataclass
class _Stage:
    """The building as drawn, and what moves before it."""

    told: Told
    composed: Composed
    walk: Walk
    base: Image.Image

    def __post_init__(self) -> None:
        self._place = self.walk.track.position + self._offsets()
        self._flat = self._pixels(self._place)
        self._masks: dict[str, Image.Image] = {}
        self._tops = self._pixels(self.composed.tops)

    def frame(self, k: int) -> Image.Image:
        """The picture of one step."""
        walk = self.walk
        page = Image.new("RGB", SIZE_PX, palette.PAPER)
        page.paste(self.base, (0, 0))
        noticing = [one.name for one in walk.seen if one.noticed_here[k]]
        for name in noticing:
            page.paste(Image.new("RGB", self.base.size, palette.SHELL), (0, 0), self._lobe(name))
        over = Image.new("RGBA", tuple(_FINER * v for v in self.base.size), (0, 0, 0, 0))  # type: ignore[arg-type]
        draw = ImageDraw.Draw(over)
        self._way(draw, k)
        self._units(draw, noticing)
        self._person(draw, k)
        small = over.reduce(_FINER)
        page.paste(small, (0, 0), small)
        self._foot(ImageDraw.Draw(page), k, noticing)
        return page

    def _offsets(self) -> Floats:
        """How far (t, 3) the picture moves each step's storey."""
        laid = sorted(self.composed.laid, key=lambda one: float(np.min(one.plane.surface.floor)))
        floors = np.array([float(np.min(one.plane.surface.floor)) for one in laid])
        under = np.maximum(np.searchsorted(floors, self.walk.track.position[:, 2] + 0.06, side="right") - 1, 0)
        return np.array([one.offset for one in laid])[under]

    def _pixels(self, points: Floats) -> Floats:
        """(n, 3) → (n, 2) pixels of an overlay, row 0 at the top."""
        flat = np.asarray(self.composed.placed.pixels(np.asarray(points).reshape(-1, 3)), float)
        return np.column_stack([flat[:, 0], self.base.height - flat[:, 1]]) * _FINER

    def _lobe(self, name: str) -> Image.Image:
        """How strongly a lobe tints each pixel: its outline filled."""
        if name not in self._masks:
            index = self.told.coverage.detector_names.index(name)
            unit = self.told.coverage.units[index]
            weather = Weather.of(self.told.scene)
            top = ceiling_over(unit, self.told.building)
            lobe = make_lobe(unit, self.told.rays, weather, n_azimuths=72, n_rings=18, below_m=top)
            lobe = moved_lobe(lobe, self.composed.tops[index] - unit.position)
            mask = Image.new("L", tuple(_FINER * v for v in self.base.size), 0)  # type: ignore[arg-type]
            draw = ImageDraw.Draw(mask)
            for corners in self._pixels(lobe.vertices[lobe.triangles]).reshape(-1, 6).tolist():
                draw.polygon(corners, fill=78)
            self._masks[name] = mask.reduce(_FINER)
        return self._masks[name]

    def _way(self, draw: ImageDraw.ImageDraw, k: int) -> None:
        """The way walked so far, light where somebody noticed."""
        line = [tuple(p) for p in self._flat[: k + 1].tolist()]
        if len(line) > 1:
            draw.line(line, fill=palette.PAPER, width=4 * _FINER, joint="curve")
            changes = np.flatnonzero(np.diff(self.walk.noticed[: k + 1].astype(int))) + 1
            for piece in np.split(np.arange(k + 1), changes):
                part = line[max(int(piece[0]) - 1, 0) : int(piece[-1]) + 1]
                colour = palette.ACCENT if self.walk.noticed[piece[0]] else NOBODY
                if len(part) > 1:
                    draw.line(part, fill=colour, width=2 * _FINER, joint="curve")

    def _units(self, draw: ImageDraw.ImageDraw, noticing: Sequence[str]) -> None:
        font = lettered("bold", 11 * _FINER)
        feet = self._pixels(self.composed.feet)
        for unit, (x, y), low in zip(self.composed.units, self._tops.tolist(), feet.tolist(), strict=True):
            active = unit.name in noticing
            draw.line([(x, y), tuple(low)], fill=palette.ACCENT, width=_FINER)
            r = (7 if active else 4.5) * _FINER
            draw.ellipse((x - r - 2, y - r - 2, x + r + 2, y + r + 2), fill=palette.PAPER)
            draw.ellipse((x - r, y - r, x + r, y + r), fill=palette.ACCENT if active else palette.PAPER,
                         outline=palette.ACCENT, width=round(1.6 * _FINER))  # fmt: skip
            if active or len(self.composed.units) <= 16:
                draw.text((x + r + 3, y - r - 3), clean(unit.name), font=font, fill=palette.ACCENT, anchor="ls",
                          stroke_width=_FINER, stroke_fill=palette.PAPER)  # fmt: skip

    def _person(self, draw: ImageDraw.ImageDraw, k: int) -> None:
        track = self.walk.track
        at, heading = self._place[k], float(track.heading_rad[k])
        if track.pose[k] == SIT:
            body = limb_points(at, heading, "seated")
        else:
            strides = int(track.walked_m[k] / 0.7) if track.pose[k] == WALK else 0
            body = limb_points(at, heading, "walking", left_foot_first=strides % 2 == 0)
        limbs = shapely.convex_hull(shapely.multipoints(self._pixels(body.reshape(-1, 3)).reshape(*body.shape[:2], 2)))
        ring = self._pixels(at[None])[0]
        tall = abs(self._pixels(at[None] + np.array([[0, 0, 1.75]]))[0, 1] - ring[1])
        if tall < 26 * _FINER:  # too small to be found at a glance
            r = 15 * _FINER
            middle = ring[1] - tall / 2
            draw.ellipse((ring[0] - r, middle - r, ring[0] + r, middle + r), outline=palette.INK, width=_FINER)
        for limb in limbs:
            draw.polygon(shapely.get_coordinates(limb).ravel().tolist(), fill=palette.INK)

    def _foot(self, draw: ImageDraw.ImageDraw, k: int, noticing: Sequence[str]) -> None:
        track = self.walk.track
        seconds = int(track.time_s[k])
        clock = f"{seconds // 60}:{seconds % 60:02d}"
        names = ", ".join(clean(name) for name in noticing[:_MOST_NAMES])
        more = f" and {len(noticing) - _MOST_NAMES} more" if len(noticing) > _MOST_NAMES else ""
        said, colour = (f"noticed by {names}{more}", palette.ACCENT) if noticing else ("nobody notices", NOBODY)
        title = f"{clean(self.told.scene.title)}: {clean(self.walk.name)}"
        foot(draw, f"{clock} min, {track.walked_m[k]:.1f} m", said, colour, title)
