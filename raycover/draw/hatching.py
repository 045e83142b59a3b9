"""Hatches as clipped lines whose spacing is in millimetres of paper, whatever the scale and resolution."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
#: Engraved shade: white lines at 45°.
ANGLE_DEG = 45.0
NOT_SEEN_MM, DOUBTFUL_MM = 1.1, 2.2
WIDTH_PT, OPACITY = 0.45, 0.62


def hatch_lines(
    chosen: NDArray[np.bool_],
    box: tuple[float, float, float, float],
    spacing: float,
    angle_deg: float = ANGLE_DEG,
    step: float | None = None,
) -> Floats:
    """Segments (n, 2, 2) in mm that hatch the chosen cells of a raster.

    `chosen` (ny, nx), row 0 lowest, lies over `box` (x0, y0, x1, y1) in mm; `spacing` (mm) is measured across
    the lines; ends are found to within `step` (mm), half a cell unless given. The lines are those of one
    pattern fixed to the page, so neighbouring areas and other rasters join up.
    """
    ny, nx = chosen.shape
    if not chosen.any():
        return np.zeros((0, 2, 2))
    x0, y0, x1, y1 = box
    cell = np.array([(x1 - x0) / nx, (y1 - y0) / ny])
    step = float(cell.min()) / 2 if step is None else step
    along = np.array([np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))])
    across = np.array([-along[1], along[0]])
    corners = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])
    first, last = (corners @ across).min(), (corners @ across).max()
    offsets = np.arange(np.ceil(first / spacing), np.floor(last / spacing) + 1) * spacing
    start, end = (corners @ along).min(), (corners @ along).max()
    places = start + (np.arange(int(np.ceil((end - start) / step))) + 0.5) * step
    segments = []
    # In slices of lines: a page at high resolution would otherwise need hundreds of megabytes.
    for some in np.array_split(offsets, max(1, len(offsets) * len(places) // 1_000_000)):
        x = places[None, :] * along[0] + some[:, None] * across[0]
        y = places[None, :] * along[1] + some[:, None] * across[1]
        column = np.floor((x - x0) / cell[0]).astype(np.int64)
        row = np.floor((y - y0) / cell[1]).astype(np.int64)
        within = (column >= 0) & (column < nx) & (row >= 0) & (row < ny)
        hit = np.zeros((len(some), len(places) + 2), np.int8)
        hit[:, 1:-1][within] = chosen[row[within], column[within]]
        change = np.diff(hit, axis=1)
        line, begin = np.nonzero(change == 1)
        _, finish = np.nonzero(change == -1)
        a, b = start + begin * step, start + finish * step
        base = some[line][:, None] * across
        segments.append(np.stack([base + a[:, None] * along, base + b[:, None] * along], axis=1))
    return np.concatenate(segments)
