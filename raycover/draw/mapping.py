"""The map of margins on paper: a plane's cells resampled to the picture's pixels, and the limit line.

Cells of 0.25 m are 1.25 mm at 1:200, which would draw every slanting edge as a stair. Between cell centres the
picture interpolates (quadratic B-spline): the margin itself where it changes gently, and where it jumps the
class that most of the neighbourhood belongs to, so that no class appears which no cell has. No weight crosses
from one room to another. Figures and tables count the cells, never these pixels.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from contourpy import LineType, contour_generator
from numpy.typing import NDArray
from PIL import Image, ImageDraw
from scipy import ndimage, sparse

from raycover.draw import palette
from raycover.draw.projection import Box, Projection
from raycover.solving.surfaces import Surface

Single = NDArray[np.float32]
#: Neighbouring cells that differ by more (dB) lie on two sides of a jump.
_JUMP_DB = 3.0


@dataclass(frozen=True)
class PaperMap:
    """Pixels over `box` (mm), row 0 lowest: margin (NaN outside every room) and class (−1 outside)."""

    margin_db: Single
    classes: NDArray[np.int8]
    box: Box
    reserve_db: float

    def rgba(self) -> NDArray[np.uint8]:
        rgb = palette.margin_rgb(self.margin_db, self.reserve_db)
        alpha = np.where(self.classes >= 0, 255, 0).astype(np.uint8)
        return np.concatenate([rgb, alpha[..., None]], axis=-1)

    def limit_lines(self) -> list[NDArray[np.float64]]:
        """Polylines (n, 2) in mm along the limit, 0 dB."""
        inside = self.classes >= 0
        seen = self.classes >= palette.SEEN
        if not (seen & inside).any() or not (inside & ~seen).any():
            return []
        # Blurred over about a pixel, the limit comes out as a line and not as a stair of pixels.
        weight = ndimage.gaussian_filter(inside.astype(np.float32), 1.2)
        share = ndimage.gaussian_filter((seen & inside).astype(np.float32), 1.2)
        with np.errstate(invalid="ignore", divide="ignore"):
            field = np.ma.masked_array(share / weight, mask=~inside)
        ny, nx = inside.shape
        x0, y0, x1, y1 = self.box
        x = x0 + (np.arange(nx) + 0.5) * (x1 - x0) / nx
        y = y0 + (np.arange(ny) + 0.5) * (y1 - y0) / ny
        lines = contour_generator(x, y, field, line_type=LineType.Separate).lines(0.5)
        return [np.asarray(line) for line in lines if len(line) > 3]


def paper_map(
    surface: Surface,
    margin_db: Single,
    reserve_db: float,
    outlines: Sequence[Any],
    projection: Projection,
    *,
    dpi: float,
) -> PaperMap:
    """Resample a plane's margins (ny, nx) to the picture's pixels, each room within its outline (shapely, m)."""
    x0, y0, x1, y1 = projection.frame
    width, height = round((x1 - x0) / 25.4 * dpi), round((y1 - y0) / 25.4 * dpi)
    low_x, low_y, high_x, high_y = projection.shown
    x = low_x + (np.arange(width) + 0.5) * (high_x - low_x) / width
    y = low_y + (np.arange(height) + 0.5) * (high_y - low_y) / height
    owner = _owners(outlines, x, y)
    ends = palette.classes(reserve_db)
    clipped = np.clip(margin_db, ends[0].from_db, ends[-1].to_db)
    fine = np.full((height, width), np.nan, np.float32)
    for room, outline in enumerate(outlines):
        cells = _cells(outline.bounds, surface)
        pixels = _pixels(outline.bounds, x, y)
        mine = surface.inside[cells] & (surface.room[cells] == room)
        if not mine.any() or pixels[0].start >= pixels[0].stop or pixels[1].start >= pixels[1].stop:
            continue
        wanted = owner[pixels] == room
        values = resample(
            spread(clipped[cells], mine),
            (y[pixels[0]] - surface.y[cells[0]][0]) / surface.grid,
            (x[pixels[1]] - surface.x[cells[1]][0]) / surface.grid,
            reserve_db,
        )
        np.copyto(fine[pixels], values, where=wanted)
    return PaperMap(fine, palette.class_of(fine, reserve_db), projection.frame, reserve_db)


def _owners(outlines: Sequence[Any], x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.int32]:
    """(ny, nx) index of the outline (polygons, with holes or without) that a pixel lies in, −1 none."""
    image = Image.new("I", (len(x), len(y)), -1)
    draw = ImageDraw.Draw(image)
    step = (x[1] - x[0], y[1] - y[0])

    def ring(points: Any) -> list[tuple[float, float]]:
        places = (np.asarray(points)[:, :2] - [x[0], y[0]]) / step
        # Far beyond the picture a coordinate says no more than just beyond it would overflow.
        return [tuple(p) for p in np.clip(places, -1e6, 1e6)]

    for index, outline in enumerate(outlines):
        for part in shapely.get_parts(outline):
            if not len(part.interiors):
                draw.polygon(ring(part.exterior.coords), fill=index)
                continue
            # What a hole leaves out may belong to another outline: a mask of its own takes nothing from it.
            mask = Image.new("1", image.size, 0)
            pierced = ImageDraw.Draw(mask)
            pierced.polygon(ring(part.exterior.coords), fill=1)
            for hole in part.interiors:
                pierced.polygon(ring(hole.coords), fill=0)
            image.paste(index, mask=mask)
    return np.asarray(image).astype(np.int32)


def _cells(bounds: Box, surface: Surface) -> tuple[slice, slice]:
    """Rows and columns of the cells about some bounds, two more on each side where there are any."""
    spans = []
    for centres, low, high in ((surface.y, bounds[1], bounds[3]), (surface.x, bounds[0], bounds[2])):
        first = int((low - centres[0]) / surface.grid) - 2
        last = int((high - centres[0]) / surface.grid) + 3
        spans.append(slice(max(first, 0), max(min(last, len(centres)), 1)))
    return spans[0], spans[1]


def _pixels(bounds: Box, x: NDArray[np.float64], y: NDArray[np.float64]) -> tuple[slice, slice]:
    def span(places: NDArray[np.float64], low: float, high: float) -> slice:
        first, last = np.searchsorted(places, [low, high])
        return slice(max(int(first) - 1, 0), min(int(last) + 1, len(places)))

    return span(y, bounds[1], bounds[3]), span(x, bounds[0], bounds[2])


def spread(values: Single, mine: NDArray[np.bool_]) -> Single:
    """Values of the chosen cells, every other cell taking that of the nearest chosen one."""
    if mine.all():
        return values
    nearest = ndimage.distance_transform_edt(~mine, return_distances=False, return_indices=True)
    return values[nearest[0], nearest[1]]


def _weights(place: NDArray[np.float64], n: int) -> sparse.csr_matrix:
    """(len(place), n) weights of the three cells about a place (in cells from the first centre)."""
    base = np.clip(np.round(place).astype(int), 0, n - 1)
    t = np.clip(place - base, -0.5, 0.5)
    data = np.stack([0.5 * (0.5 - t) ** 2, 0.75 - t**2, 0.5 * (0.5 + t) ** 2], axis=1)
    columns = np.clip(base[:, None] + np.array([-1, 0, 1]), 0, n - 1)
    rows = np.repeat(np.arange(len(place)), 3)
    return sparse.csr_matrix((data.ravel().astype(np.float32), (rows, columns.ravel())), shape=(len(place), n))


def resample(values: Single, row: NDArray[np.float64], column: NDArray[np.float64], reserve_db: float) -> Single:
    """Values (ny, nx) at places (in cells) along both axes, jumps kept as jumps."""
    down, across = _weights(row, values.shape[0]), _weights(column, values.shape[1])

    def at_pixels(field: Single) -> Single:
        return np.asarray((across @ np.ascontiguousarray((down @ field).T)).T)

    result = at_pixels(values)
    jumps = ndimage.maximum_filter(values, 3) - ndimage.minimum_filter(values, 3) > _JUMP_DB
    if not jumps.any():
        return result
    rows = np.clip(np.round(row).astype(int), 0, values.shape[0] - 1)
    columns = np.clip(np.round(column).astype(int), 0, values.shape[1] - 1)
    torn = jumps[rows[:, None], columns[None, :]]
    classes = palette.class_of(values, reserve_db)
    most = np.zeros(torn.sum(), np.float32)
    value = result[torn]
    for index in range(len(palette.CLASS_NAMES)):
        of_class = (classes == index).astype(np.float32)
        if not of_class.any():
            continue
        weight = at_pixels(of_class)[torn]
        total = at_pixels(values * of_class)[torn]
        more = weight > most
        value[more] = total[more] / weight[more]
        most[more] = weight[more]
    result[torn] = value
    return result
