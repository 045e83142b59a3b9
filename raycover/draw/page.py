"""A page measured in millimetres: lines, areas and text on one matplotlib figure, no global state."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Literal

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import LineCollection, PathCollection
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from matplotlib.path import Path
from matplotlib.patheffects import withStroke
from matplotlib.transforms import IdentityTransform
from numpy.typing import ArrayLike, NDArray

from raycover.draw import palette
from raycover.draw.lettering import Extent, Font, Lettering, drawn_in

Floats = NDArray[np.float64]
Box = tuple[float, float, float, float]  # x0, y0, x1, y1 in mm
MM_PER_INCH = 25.4
A4_LANDSCAPE = (297.0, 210.0)


class Page:
    """One sheet of paper; all coordinates in mm from its lower left corner, widths of lines in points."""

    def __init__(self, *, dpi: float, size: tuple[float, float] = A4_LANDSCAPE) -> None:
        self.size, self.dpi = size, dpi
        self.figure = Figure(figsize=(size[0] / MM_PER_INCH, size[1] / MM_PER_INCH), dpi=dpi, facecolor="white")
        self.canvas = FigureCanvasAgg(self.figure)
        self.axes = self.figure.add_axes((0.0, 0.0, 1.0, 1.0))
        self.axes.set(xlim=(0, size[0]), ylim=(0, size[1]), autoscale_on=False)
        self.axes.set_axis_off()
        self.lettering = Lettering(self.canvas.get_renderer(), MM_PER_INCH / dpi)

    def clip_to(self, artist: Any, box: Box | None) -> None:
        if box is not None:
            frame = Rectangle((box[0], box[1]), box[2] - box[0], box[3] - box[1], transform=self.axes.transData)
            artist.set_clip_path(frame)

    def lines(
        self,
        lines: Sequence[ArrayLike] | NDArray[Any],
        color: str,
        width_pt: float,
        z: float,
        *,
        dashes: tuple[float, ...] | None = None,
        alpha: float = 1.0,
        clip: Box | None = None,
        cap: Literal["butt", "round", "projecting"] = "butt",
    ) -> None:
        """Polylines, each (n, 2); `dashes` on and off in points."""
        if len(lines) == 0:
            return
        style: Any = "solid" if dashes is None else (0.0, tuple(d / width_pt for d in dashes))
        drawn = LineCollection(
            [np.asarray(line, float) for line in lines],
            colors=color,
            linewidths=width_pt,
            linestyles=[style],
            alpha=alpha,
            zorder=z,
            capstyle=cap,
            joinstyle="round" if cap == "round" else "miter",
            antialiaseds=True,
        )
        self.axes.add_collection(drawn, autolim=False)
        self.clip_to(drawn, clip)

    def areas(
        self,
        areas: Sequence[Sequence[ArrayLike]],
        z: float,
        *,
        face: str | None = None,
        edge: str | None = None,
        width_pt: float = 0.0,
        dashes: tuple[float, ...] | None = None,
        alpha: float = 1.0,
        clip: Box | None = None,
    ) -> None:
        """Filled outlines, each a list of rings (n, 2): the first outside, the others holes."""
        paths = [_path(rings) for rings in areas]
        if not paths:
            return
        style: Any = "solid" if dashes is None else (0.0, tuple(d / width_pt for d in dashes))
        drawn = PathCollection(
            paths,
            facecolors="none" if face is None else face,
            edgecolors="none" if edge is None else edge,
            linewidths=width_pt,
            linestyles=[style],
            alpha=None if alpha == 1.0 else alpha,
            zorder=z,
            joinstyle="miter",
            antialiaseds=True,
            transform=IdentityTransform(),
        )
        drawn.set_transform(self.axes.transData)
        self.axes.add_collection(drawn, autolim=False)
        self.clip_to(drawn, clip)

    def discs(
        self, centres: ArrayLike, radius: float, z: float, *, face: str, edge: str | None = None, width_pt: float = 0.0
    ) -> None:
        """Circles of one radius (mm)."""
        centres = np.asarray(centres, float).reshape(-1, 2)
        self.areas(
            [[arc(c, radius, 0.0, 360.0)] for c in centres], z, face=face, edge=edge, width_pt=width_pt
        )

    def image(self, rgb: NDArray[np.uint8], box: Box, z: float) -> None:
        """An image (ny, nx, 3) or (ny, nx, 4), row 0 lowest, over a box; pixels stay as they are."""
        drawn = self.axes.imshow(
            rgb,
            extent=(box[0], box[2], box[1], box[3]),
            origin="lower",
            interpolation="nearest",
            resample=False,
            aspect="auto",
            zorder=z,
        )
        drawn.set_clip_on(False)

    def text(
        self,
        x: float,
        y: float,
        text: str,
        size_pt: float,
        *,
        font: Font = "sans",
        color: str = palette.INK,
        ha: Literal["left", "center", "right"] = "left",
        z: float = 30.0,
        halo_pt: float = 0.0,
        halo: str = palette.PAPER,
    ) -> Extent:
        """One line of text, y its baseline. The text must be clean (see `lettering.clean`)."""
        extent = self.lettering.extent(text, font, size_pt)
        if text:
            drawn = self.axes.text(
                x,
                y,
                text,
                fontproperties=drawn_in(text, font, size_pt),
                color=color,
                ha=ha,
                va="baseline",
                zorder=z,
                parse_math=False,
                usetex=False,
            )
            if halo_pt:
                drawn.set_path_effects([withStroke(linewidth=halo_pt, foreground=halo, alpha=0.9)])
        return extent

    def rule(self, x0: float, x1: float, y: float, width_pt: float, color: str = palette.INK) -> None:
        self.lines([[(x0, y), (x1, y)]], color, width_pt, 25.0)

    def text_boxes(self) -> list[tuple[str, Box]]:
        """Every text on the page with its bounding box in mm."""
        renderer, mm = self.canvas.get_renderer(), MM_PER_INCH / self.dpi
        found = []
        for text in self.axes.texts:
            box = text.get_window_extent(renderer)
            found.append((text.get_text(), (box.x0 * mm, box.y0 * mm, box.x1 * mm, box.y1 * mm)))
        return found

    def pixels(self) -> NDArray[np.uint8]:
        """The page drawn: (ny, nx, 3), row 0 at the top."""
        self.canvas.draw()
        return np.asarray(self.canvas.buffer_rgba())[:, :, :3].copy()


def arc(centre: ArrayLike, radius: float, from_deg: float, to_deg: float, n: int = 48) -> Floats:
    """Points (n, 2) of an arc."""
    angle = np.radians(np.linspace(from_deg, to_deg, n))
    return np.asarray(centre, float) + radius * np.stack([np.cos(angle), np.sin(angle)], axis=1)


def _path(rings: Sequence[ArrayLike]) -> Path:
    vertices, codes = [], []
    for ring in rings:
        points = np.asarray(ring, float)
        vertices += [points, points[:1]]
        codes += [Path.MOVETO, *[Path.LINETO] * (len(points) - 1), Path.CLOSEPOLY]
    return Path(np.concatenate(vertices), codes)
