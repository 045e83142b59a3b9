"""A page measured in millimetres: lines, areas and text on one matplotlib figure, no global state."""

from __future__ import annotations

import copy
import io
from collections.abc import Sequence
from datetime import datetime
from typing import Any, Literal

import numpy as np
from matplotlib import rc_context
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import LineCollection, PathCollection
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from matplotlib.path import Path
from matplotlib.patheffects import Stroke, withStroke
from matplotlib.transforms import IdentityTransform
from numpy.typing import ArrayLike, NDArray

from raycover import __version__
from raycover.draw import palette
from raycover.draw.lettering import ENGLISH, Extent, Font, Lettering, Wording, drawn_in

Floats = NDArray[np.float64]
Box = tuple[float, float, float, float]  # x0, y0, x1, y1 in mm
MM_PER_INCH = 25.4
#: Sheets of paper, landscape, mm (ISO 216).
PAPERS: dict[str, tuple[float, float]] = {
    "A4": (297.0, 210.0),
    "A3": (420.0, 297.0),
    "A2": (594.0, 420.0),
    "A1": (841.0, 594.0),
    "A0": (1189.0, 841.0),
}
A4_LANDSCAPE = PAPERS["A4"]


class Page:
    """One sheet of paper; all coordinates in mm from its lower left corner, widths of lines in points.

    A `vector` page becomes a PDF: its text stays text, its images keep their own pixels. `wording` puts every text
    into another language.
    """

    def __init__(
        self,
        *,
        dpi: float,
        size: tuple[float, float] = A4_LANDSCAPE,
        vector: bool = False,
        wording: Wording = ENGLISH,
    ) -> None:
        self.size, self.dpi, self.vector = size, dpi, vector
        self.offset: Floats = np.zeros(2)
        self.figure = Figure(figsize=(size[0] / MM_PER_INCH, size[1] / MM_PER_INCH), dpi=dpi, facecolor="white")
        self.canvas = FigureCanvasAgg(self.figure)
        self.axes = self.figure.add_axes((0.0, 0.0, 1.0, 1.0))
        self.axes.set(xlim=(0, size[0]), ylim=(0, size[1]), autoscale_on=False)
        self.axes.set_axis_off()
        self.lettering = Lettering(self.canvas.get_renderer(), MM_PER_INCH / dpi, wording)

    def moved(self, right: float, up: float) -> Page:
        """The same sheet with everything drawn so far (mm) to the right and up."""
        other = copy.copy(self)
        other.offset = self.offset + np.array([right, up])
        return other

    @property
    def wider(self) -> float:
        """How much wider (mm) than A4 it is: what stands at the right moves by so much."""
        return self.size[0] - A4_LANDSCAPE[0]

    @property
    def taller(self) -> float:
        """How much taller (mm) than A4 it is: what stands at the top moves by so much."""
        return self.size[1] - A4_LANDSCAPE[1]

    @property
    def paper(self) -> str:
        """The sheet's name, A4 say."""
        return next((name for name, size in PAPERS.items() if size == self.size), "this sheet")

    def clip_to(self, artist: Any, box: Box | None) -> None:
        if box is not None:
            corner = (box[0] + self.offset[0], box[1] + self.offset[1])
            frame = Rectangle(corner, box[2] - box[0], box[3] - box[1], transform=self.axes.transData)
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
            [np.asarray(line, float) + self.offset for line in lines],
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
        paths = [_path([np.asarray(ring, float) + self.offset for ring in rings]) for rings in areas]
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
        self.areas([[arc(c, radius, 0.0, 360.0)] for c in centres], z, face=face, edge=edge, width_pt=width_pt)

    def image(self, rgb: NDArray[np.uint8], box: Box, z: float) -> None:
        """An image (ny, nx, 3) or (ny, nx, 4), row 0 lowest, over a box; pixels stay as they are."""
        right, up = self.offset
        drawn = self.axes.imshow(
            rgb,
            extent=(box[0] + right, box[2] + right, box[1] + up, box[3] + up),
            origin="lower",
            interpolation="none" if self.vector else "nearest",
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
        turn_deg: float = 0.0,
    ) -> Extent:
        """One line of text, y its baseline. The text must be clean (see `lettering.clean`).

        `turn_deg` turns it anticlockwise about (x, y); the extent is that of the line before it was turned.
        """
        extent = self.lettering.extent(text, font, size_pt)
        text = self.lettering.worded(text)
        x, y = x + float(self.offset[0]), y + float(self.offset[1])
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
                rotation=turn_deg,
                rotation_mode="anchor",
                parse_math=False,
                usetex=False,
            )
            if halo_pt and self.vector:
                # Path effects turn text into outlines: the halo alone is drawn so, the text over it stays text.
                ring = self.axes.text(
                    x, y, text, fontproperties=drawn_in(text, font, size_pt), ha=ha, va="baseline", zorder=z - 0.01,
                    rotation=turn_deg, rotation_mode="anchor", parse_math=False, usetex=False,
                )  # fmt: skip
                ring.set_path_effects([Stroke(linewidth=halo_pt, foreground=halo, alpha=0.9)])
            elif halo_pt:
                drawn.set_path_effects([withStroke(linewidth=halo_pt, foreground=halo, alpha=0.9)])
        return extent

    def said(self, text: str) -> str:
        """A sentence on results in the page's language."""
        return self.lettering.wording.said(text)

    def way(self, text: str) -> str:
        """A way of a signal in the page's language."""
        return self.lettering.wording.way(text)

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

    def pdf(self, *, title: str, created: datetime | None = None) -> bytes:
        """The page as a PDF of exactly its size, fonts embedded. The same page gives the same bytes."""
        file = io.BytesIO()
        # 42: TrueType outlines, subset, with the characters they stand for, so that the text can be searched.
        with rc_context({"pdf.fonttype": 42, "pdf.compression": 6, "image.composite_image": False}):
            about = {"Title": title, "Creator": f"raycover {__version__}", "Producer": None, "CreationDate": created}
            self.figure.savefig(file, format="pdf", dpi=self.dpi, metadata=about)
        return file.getvalue()

    def svg(self, *, title: str) -> bytes:
        """The page as an SVG of exactly its size, text as outlines. The same page gives the same bytes."""
        file = io.BytesIO()
        with rc_context({"svg.fonttype": "path", "svg.hashsalt": title, "image.composite_image": False}):
            about = {"Title": title, "Creator": f"raycover {__version__}", "Date": None}
            self.figure.savefig(file, format="svg", dpi=self.dpi, metadata=about)
        return file.getvalue()


def pdf_of(pages: Sequence[Page], *, title: str, created: datetime | None = None) -> bytes:
    """Several pages as one PDF, as `Page.pdf` makes one of each. The same pages give the same bytes."""
    from matplotlib.backends.backend_pdf import PdfPages  # slow to import

    file = io.BytesIO()
    about = {"Title": title, "Creator": f"raycover {__version__}", "Producer": None, "CreationDate": created}
    with (
        rc_context({"pdf.fonttype": 42, "pdf.compression": 6, "image.composite_image": False}),
        PdfPages(file, metadata=about) as book,
    ):
        for page in pages:
            book.savefig(page.figure, dpi=page.dpi)
    return file.getvalue()


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
