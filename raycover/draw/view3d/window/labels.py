"""Names and figures over the 3D part: sharp at any view, beside what they belong to, none over another."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from raycover.draw.lettering import Font
from raycover.draw.view3d.window.canvas import type_of
from raycover.draw.view3d.window.picking import Eye

Floats = NDArray[np.floating[Any]]

#: No more than so many are laid out; the first count most.
MOST = 500
_HALO = 2
_AWAY = -1e5
#: Beside its point a label may stand here, best first: (share of its width, share of its height, away x, away y px).
_SIDES = ((0.0, -0.5, 9, 0), (0.0, 0.0, 6, 6), (0.0, -1.0, 6, -6), (-1.0, -0.5, -9, 0), (-0.5, 0.0, 0, 9),
          (-0.5, -1.0, 0, -9), (-1.0, 0.0, -6, 6), (-1.0, -1.0, -6, -6))  # fmt: skip


@dataclass(frozen=True)
class Label:
    """Text `beside` a point (3,), or over it. One with `ground` stands on a card of that colour, others on a halo."""

    text: str
    at: Floats
    colour: str
    size: float = 12.0
    font: Font = "bold"
    ground: str | None = None
    beside: bool = True


def sprite(label: Label, scale: float = 1.0) -> NDArray[np.uint8]:
    """A label as a picture (h, w, 4), row 0 at the top, with `scale` pixels a point."""
    font, halo = type_of(label.font, label.size * scale), round(_HALO * scale)
    left, top, right, bottom = font.getbbox(label.text, anchor="ls")
    pad = round(4 * scale) if label.ground is not None else halo + 1
    size = (int(right - left) + 2 * pad, int(bottom - top) + 2 * pad)
    if label.ground is not None:
        image = Image.new("RGBA", size, label.ground)
        ImageDraw.Draw(image).rectangle(
            (0, 0, size[0] - 1, size[1] - 1), outline=label.colour, width=max(round(scale), 1)
        )
        ImageDraw.Draw(image).text((pad - left, pad - top), label.text, font=font, fill=label.colour, anchor="ls")
    else:
        image = Image.new("RGBA", size, (255, 255, 255, 0))
        ImageDraw.Draw(image).text(
            (pad - left, pad - top), label.text, font=font, fill=label.colour, anchor="ls", stroke_width=halo,
            stroke_fill="#FFFFFFE6",
        )  # fmt: skip
        ImageDraw.Draw(image).text((pad - left, pad - top), label.text, font=font, fill=label.colour, anchor="ls")
    return np.asarray(image)


def arrange(
    points: Floats, sizes: Floats, frame: tuple[int, int], scale: float = 1.0, over: Sequence[bool] = ()
) -> Floats:
    """Lower left corners (n, 2) px of labels of some sizes (n, 2) beside points (n, 2); NaN for those without room.

    Those `over` their points stand there first of all. They keep off their points by what is usual, times a `scale`.
    Earlier ones are served first; none overlaps another or leaves the frame.
    """
    corners = np.full((len(points), 2), np.nan)
    taken = np.zeros((0, 4))
    sides = np.array(_SIDES)
    for k, (point, size) in enumerate(zip(points, sizes, strict=True)):
        low = np.round(point + sides[:, :2] * size + scale * sides[:, 2:])
        if len(over) > k and over[k]:
            low = np.concatenate([np.round(point - size / 2)[None], low])
        high = low + size
        fits = (low >= 0).all(axis=1) & (high <= frame).all(axis=1)
        crossed = (low[:, None, 0] < taken[:, 2]) & (high[:, None, 0] > taken[:, 0])
        crossed &= (low[:, None, 1] < taken[:, 3]) & (high[:, None, 1] > taken[:, 1])
        fits &= ~crossed.any(axis=1)
        if fits.any():
            best = int(np.argmax(fits))
            corners[k] = low[best]
            taken = np.vstack([taken, [*low[best], *high[best]]])
    return corners


class LabelLayer:
    """Labels on a renderer, laid out anew whenever the eye moves: one textured actor for all of them."""

    def __init__(self, renderer: Any) -> None:
        from vtkmodules.vtkCommonDataModel import vtkPolyData
        from vtkmodules.vtkRenderingCore import vtkPolyDataMapper2D, vtkTexture, vtkTexturedActor2D

        self._renderer = renderer
        #: Pixels a point.
        self.scale = 1.0
        self.labels: list[Label] = []
        self._sizes = np.zeros((0, 2))
        self._over: list[bool] = []
        self._seen: tuple[Any, ...] | None = None
        self._quads = vtkPolyData()
        mapper = vtkPolyDataMapper2D()
        mapper.SetInputData(self._quads)
        self._texture = vtkTexture()
        self._texture.InterpolateOff()
        self._actor = vtkTexturedActor2D()
        self._actor.SetMapper(mapper)
        self._actor.SetTexture(self._texture)
        self._actor.VisibilityOff()
        renderer.AddViewProp(self._actor)
        renderer.AddObserver("StartEvent", lambda *_: self._follow())
        #: Where labels stand (n, 4): left, bottom, right, top px; NaN for those that have no room.
        self.boxes: Floats = np.zeros((0, 4))

    def show(self, pyvista: Any, labels: Sequence[Label]) -> None:
        """Show these labels, the first before others."""
        self.labels = list(labels)[:MOST]
        self._over = [not label.beside for label in self.labels]
        self._seen = None
        self._actor.SetVisibility(bool(self.labels))
        if not self.labels:
            self.boxes = np.zeros((0, 4))
            return
        sprites = [sprite(label, self.scale) for label in self.labels]
        self._sizes = np.array([[s.shape[1], s.shape[0]] for s in sprites])
        places, atlas = _packed(sprites)
        height, width = atlas.shape[:2]
        grid = pyvista.ImageData(dimensions=(width, height, 1))
        grid.point_data["rgba"] = np.ascontiguousarray(atlas[::-1]).reshape(-1, 4)
        grid.set_active_scalars("rgba")
        self._texture.SetInputData(grid)
        low = np.column_stack([places[:, 0], height - places[:, 1] - self._sizes[:, 1]])
        corners = _quads(low, self._sizes) / [width, height]
        mesh = pyvista.PolyData(
            np.zeros((4 * len(sprites), 3)), np.insert(np.arange(4 * len(sprites)).reshape(-1, 4), 0, 4, axis=1).ravel()
        )
        mesh.active_texture_coordinates = corners.reshape(-1, 2).astype(np.float32)
        self._quads.ShallowCopy(mesh)

    def _follow(self) -> None:
        """Lay the labels out for the eye as it is now."""
        if not self._actor.GetVisibility():
            return
        eye = Eye.of(self._renderer)
        now = (eye.matrix.tobytes(), eye.size)
        if now == self._seen:
            return
        self._seen = now
        corners = arrange(
            eye.pixels(np.array([label.at for label in self.labels])), self._sizes, eye.size, self.scale, self._over
        )
        self.boxes = np.concatenate([corners, corners + self._sizes], axis=1)
        quads = _quads(np.where(np.isnan(corners), _AWAY, corners), self._sizes).reshape(-1, 2)
        points = self._quads.GetPoints()
        from vtkmodules.util.numpy_support import numpy_to_vtk

        points.SetData(numpy_to_vtk(np.column_stack([quads, np.zeros(len(quads))]).astype(np.float32), deep=True))
        points.Modified()
        self._quads.Modified()

    def hide(self) -> None:
        self._actor.VisibilityOff()

    def unhide(self) -> None:
        self._actor.SetVisibility(bool(self.labels))


def _quads(low: Floats, sizes: Floats) -> Floats:
    """Corners (n, 4, 2) of boxes, anticlockwise."""
    corner = np.array([[0, 0], [1, 0], [1, 1], [0, 1]])
    return np.asarray(low[:, None] + corner * sizes[:, None], float)


def _packed(sprites: Sequence[NDArray[np.uint8]]) -> tuple[Floats, NDArray[np.uint8]]:
    """Sprites side by side in rows: upper left corners (n, 2) and the sheet (h, w, 4)."""
    width = max(1024, *(s.shape[1] for s in sprites))
    places, x, y, tallest = [], 0, 0, 0
    for s in sprites:
        if x + s.shape[1] > width:
            x, y, tallest = 0, y + tallest, 0
        places.append((x, y))
        x, tallest = x + s.shape[1], max(tallest, s.shape[0])
    sheet = np.zeros((y + tallest, width, 4), np.uint8)
    for (x, y), s in zip(places, sprites, strict=True):
        sheet[y : y + s.shape[0], x : x + s.shape[1]] = s
    return np.array(places), sheet
