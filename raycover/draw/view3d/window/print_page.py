"""The window's picture at print size: A4 across at 300 dpi with title, legend, verdict and cautions, its text sharp."""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

import raycover
from raycover.draw import palette, words
from raycover.draw.lettering import Font, clean
from raycover.draw.page import MM_PER_INCH, Page
from raycover.draw.view3d.margin_bar import draw_margin_bar, rectangle
from raycover.draw.view3d.window.labels import arrange
from raycover.draw.view3d.window.picking import Eye
from raycover.scene.air import air_of
from raycover.shares import percent
from raycover.whole_file import write_whole

if TYPE_CHECKING:
    from raycover.draw.view3d.window.app import Window

Floats = NDArray[np.floating[Any]]
Box = tuple[float, float, float, float]

DPI = 300.0
#: A4 in whole pixels of 300 dpi, and a hair more: matplotlib rounds down.
_SIZE_MM = (3508 / 300 * MM_PER_INCH + 1e-3, 2480 / 300 * MM_PER_INCH + 1e-3)
#: Where the picture may stand on the page, and the column beside it (mm).
_PICTURE: Box = (10.0, 26.0, 229.0, 184.0)
_COLUMN, _RIGHT, _LEFT = 237.0, 287.0, 10.0
#: Names are no smaller than this (pt).
_SMALLEST_PT = 6.0
_LINE_MM = 3.1


def save_print(window: Window, path: Path) -> None:
    """Save what the window shows. The file appears whole or not at all; raises OSError where it cannot be written."""
    page = make_page(window)
    data = io.BytesIO()
    Image.fromarray(page.pixels()).save(data, "PNG", dpi=(DPI, DPI))
    write_whole(path, data.getvalue())


def make_page(window: Window) -> Page:
    """The page, drawn."""
    width, height = window.plotter.renderer.GetSize()
    x0, y0, x1, y1 = _PICTURE
    mm = min((x1 - x0) / width, (y1 - y0) / height)
    box = (x0, y1 - height * mm, x0 + width * mm, y1)
    finer = max(int(np.ceil(mm / MM_PER_INCH * DPI)), 1)
    picture = _finer(window, finer)
    page = Page(dpi=DPI, size=_SIZE_MM)
    page.image(np.ascontiguousarray(picture[::-1]), box, 1.0)
    _heading(page, window)
    _column(page, window)
    _names(page, window, box, mm)
    for y, line in zip((11.2, 7.4), words.CAUTION, strict=True):
        page.text(_LEFT, y, page.lettering.fit(line, "sans", 6.5, _RIGHT - _LEFT - 46), 6.5)
    page.rule(_LEFT, _RIGHT, 15.2, 1.1)
    scene = window.live.scene
    date = scene.date if scene.date is not None else words.today()
    said = f"raycover {raycover.__version__} · revision {clean(scene.revision)} · {clean(date)}"
    page.text(_RIGHT, 11.2, said, 6.5, color=palette.SECOND_INK, ha="right")
    return page


def _finer(window: Window, factor: int) -> NDArray[np.uint8]:
    """The 3D part (h, w, 3) with `factor` times the pixels, without its labels."""
    from vtkmodules.util.numpy_support import vtk_to_numpy
    from vtkmodules.vtkRenderingCore import vtkWindowToImageFilter

    render_window = window.plotter.render_window
    with _bare(window, factor):
        grab = vtkWindowToImageFilter()
        grab.SetInput(render_window)
        grab.SetScale(factor)
        grab.SetInputBufferTypeToRGB()
        grab.ReadFrontBufferOff()
        grab.Update()
        made = grab.GetOutput()
    columns, rows, _ = made.GetDimensions()
    pixels = vtk_to_numpy(made.GetPointData().GetScalars()).reshape(rows, columns, 3)[::-1]
    return np.ascontiguousarray(pixels[:, : columns - factor * window.panel_width])


@contextmanager
def _bare(window: Window, factor: int) -> Iterator[None]:
    """Labels and help away, lines and dots as thick as they look."""
    properties = [actor.GetProperty() for actor in window.plotter.renderer.GetActors()]
    widths = [(p, p.GetLineWidth(), p.GetPointSize()) for p in properties]
    window.printing = True
    window.labels.hide()
    window.scenery.put("help", [])
    try:
        for p, line, point in widths:
            p.SetLineWidth(line * factor)
            p.SetPointSize(point * factor)
        yield
    finally:
        for p, line, point in widths:
            p.SetLineWidth(line)
            p.SetPointSize(point)
        window.labels.unhide()
        window.draw_help()
        window.printing = False


def _heading(page: Page, window: Window) -> None:
    live, surface = window.live, window.scenery.planes[0].surface
    title, size = page.lettering.fit_size(clean(live.scene.title), "serif", (20, 17, 14), _COLUMN - _LEFT - 8)
    page.text(_LEFT, 196.8, title, size, font="serif")
    state = [live.design.state] if len(live.drawn.state_names) > 1 else []
    doors = words.doors(live.building)
    said = words.subtitle(surface, air_of(live.scene), [clean(s) for s in (*state, doors) if s])
    page.text(_LEFT, 189.0, page.lettering.fit(said, "sans", 8.5, _COLUMN - _LEFT - 8), 8.5, color=palette.SECOND_INK)


def _column(page: Page, window: Window) -> None:
    shown, span = window.shown(), _RIGHT - _COLUMN
    detected, assured = float(sum(shown.by_class[palette.SEEN :])), float(shown.by_class[palette.ASSURED])
    page.text(_COLUMN, 194.6, percent(detected), 24, font="serif")
    y = 189.0
    for line in page.lettering.wrap(f"{shown.seen}, {percent(assured)} assured", "sans", 7, span, 2):
        page.text(_COLUMN, y, line, 7, color=palette.SECOND_INK)
        y -= _LINE_MM
    page.rule(_COLUMN, _RIGHT, y - 0.6, 1.1)
    y -= 6.2
    page.text(_COLUMN, y, "Margin over the limit, dB", 7, font="bold")
    y = draw_margin_bar(page, list(shown.by_class), shown.reserve_db, (_COLUMN, _RIGHT), y - 3.0, 0.68) - 6.5
    fonts: tuple[Font, ...] = ("bold", "sans", "sans")
    said_of_it = [part for line in shown.chosen for part in line.text.replace(", turn ", "\nturn ").split("\n")]
    for style, text in zip(fonts, said_of_it, strict=False):
        for part in page.lettering.wrap(text, style, 6.5, span, 2):
            page.text(_COLUMN, y, part, 6.5, font=style)
            y -= _LINE_MM
    y -= 2.0 if shown.chosen else 0.0
    if window.state.place is None:
        return
    page.rule(_COLUMN, _RIGHT, y + 2.6, 0.5, palette.RULE)
    y -= 1.4
    for said in window.verdict:
        font: Font = "bold" if said.style in ("head", "strong") else "sans"
        parts = page.lettering.wrap(said.text, font, 6.5, span, 2)
        if y - _LINE_MM * len(parts) < 20.0:
            page.text(_COLUMN, y, "…", 6.5)
            break
        for part in parts:
            colour = palette.SECOND_INK if said.style == "faint" else palette.INK
            page.text(_COLUMN, y, part, 6.5, font=font, color=colour)
            y -= _LINE_MM


def _names(page: Page, window: Window, box: Box, mm: float) -> None:
    """Labels where the window has them, or beside where larger letters ask for it."""
    layer = window.labels
    if not layer.labels:
        return
    eye = Eye.of(window.plotter.renderer)
    pt = [max(label.size * window.scale * mm * 72 / MM_PER_INCH, _SMALLEST_PT) for label in layer.labels]
    texts = [page.lettering.extent(label.text, label.font, size) for label, size in zip(layer.labels, pt, strict=True)]
    pads = [0.9 if label.ground is not None else 0.35 for label in layer.labels]
    sizes = np.array([[e.width + 2 * p, e.height + 2 * p] for e, p in zip(texts, pads, strict=True)]) / mm
    corners = arrange(
        eye.pixels(np.array([label.at for label in layer.labels])),
        sizes,
        eye.size,
        window.scale,
        [not label.beside for label in layer.labels],
    )
    for label, corner, size, e, p, points in zip(layer.labels, corners, sizes, texts, pads, pt, strict=True):
        if np.isnan(corner[0]):
            continue
        x, y = box[0] + corner[0] * mm, box[1] + corner[1] * mm
        if label.ground is not None:
            card = rectangle((x, y, x + size[0] * mm, y + size[1] * mm))
            page.areas([[card]], 20.0, face=label.ground, edge=label.colour, width_pt=0.4)
        halo = 0.0 if label.ground is not None else 1.8
        page.text(x + p, y + p + e.below, label.text, points, font=label.font, color=label.colour, halo_pt=halo)
