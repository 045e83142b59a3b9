"""Pictures saved small and whole: PNG with a palette of 256 colours that keeps the inks and the accent exact."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
from matplotlib.colors import to_rgb
from numpy.typing import NDArray
from PIL import Image
from scipy.spatial import cKDTree

from raycover.draw import palette
from raycover.whole_file import write_whole

#: Colours kept as they are, whatever else the picture holds.
_KEPT = tuple(
    tuple(round(255 * v) for v in to_rgb(c))
    for c in (palette.PAPER, palette.INK, palette.ACCENT, palette.SECOND_INK, palette.GOODS, palette.RULE)
)
_N_COLOURS = 256
#: The last two levels of zlib cost several times as much for a twentieth less.
PNG_LEVEL = 7


def indexed(rgb: NDArray[np.uint8]) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
    """A picture (ny, nx, 3) as indices (ny, nx) into a palette (n, 3) of at most 256 colours.

    The palette is fitted (median cut, then k-means) to the picture's distinct colours, each weighing as the
    logarithm of its pixels: so the few pixels of the accent are not lost among the many of the map.
    """
    code = ((rgb[..., 0].astype(np.uint32) << 16) | (rgb[..., 1].astype(np.uint32) << 8) | rgb[..., 2]).ravel()
    # Runs of one colour are counted at once: a sheet is mostly paper.
    starts = np.flatnonzero(np.concatenate([[True], code[1:] != code[:-1]]))
    lengths = np.diff(starts, append=len(code))
    used, which = np.unique(code[starts], return_inverse=True)
    counts = np.bincount(which, lengths).astype(np.int64)
    colours = np.stack([used >> 16, (used >> 8) & 255, used & 255], axis=1).astype(np.uint8)
    if len(colours) <= _N_COLOURS:
        chosen = colours
    else:
        weight = np.ceil(np.log2(counts + 1)).astype(int)
        sample = Image.fromarray(np.repeat(colours, weight, axis=0)[None])
        fitted = sample.quantize(_N_COLOURS - len(_KEPT), method=Image.Quantize.MEDIANCUT, kmeans=2)
        table = np.array(fitted.getpalette(), np.uint8).reshape(-1, 3)[: _N_COLOURS - len(_KEPT)]
        chosen = np.concatenate([np.array(_KEPT, np.uint8), table])
    _, nearest = cKDTree(chosen.astype(float)).query(colours.astype(float))
    index = np.repeat(nearest.astype(np.uint8)[which], lengths).reshape(rgb.shape[:2])
    return index, chosen


def save_png(rgb: NDArray[np.uint8], path: str | Path, *, dpi: float, shaded: bool = False) -> None:
    """Save a picture (ny, nx, 3), row 0 at the top. It appears whole or not at all.

    In 256 colours, unless it is `shaded`: a rendered picture would take them from the legend's. Raises OSError where
    the folder cannot be written.
    """
    write_whole(Path(path), png_of(rgb, dpi=dpi, shaded=shaded))


def png_of(rgb: NDArray[np.uint8], *, dpi: float, shaded: bool = False) -> bytes:
    """A picture (ny, nx, 3), row 0 at the top, as a PNG; `shaded` as for `save_png`."""
    if shaded:
        image = Image.fromarray(rgb)
    else:
        index, colours = indexed(rgb)
        image = Image.fromarray(index)
        image.putpalette(colours.tobytes())
    data = io.BytesIO()
    image.save(data, "PNG", dpi=(dpi, dpi), compress_level=PNG_LEVEL)
    return data.getvalue()
