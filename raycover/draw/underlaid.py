"""The received plan under a map: its lines in ink over light colours, in white over dark ones, never a new shade."""

from __future__ import annotations

import numpy as np
from matplotlib.colors import to_rgb
from numpy.typing import NDArray

from raycover.draw import palette
from raycover.draw.mapping import PaperMap
from raycover.draw.projection import Projection
from raycover.underlay import Underlay

_INK = np.array([255 * v for v in to_rgb(palette.INK)], np.float32)
#: Colours darker than this (relative luminance of their sRGB values) take white lines.
_DARK = 0.42
#: White on dark reads stronger than ink on light: a little less of it looks alike.
_WHITE_SHARE = 0.9


def tint(rgb: NDArray[np.uint8], ink: NDArray[np.float32]) -> NDArray[np.uint8]:
    """Colours (ny, nx, 3) with lines of `ink` (ny, nx), 0 to 1, drawn into them."""
    luminance = rgb @ np.array([0.2126, 0.7152, 0.0722]) / 255
    dark = luminance < _DARK
    share = (ink * np.where(dark, _WHITE_SHARE, 1.0))[..., None].astype(np.float32)
    line = np.where(dark[..., None], np.float32(255), _INK)
    return np.round(rgb * (1 - share) + line * share).astype(np.uint8)


def under_map(picture: PaperMap, underlay: Underlay | None, projection: Projection) -> NDArray[np.uint8]:
    """The map's pixels (ny, nx, 4) with the underlay: tinted inside the rooms, faint on the paper around them."""
    rgba = picture.rgba()
    if underlay is None:
        return rgba
    ink = underlay.over(projection.shown, picture.classes.shape) * np.float32(underlay.opacity)
    inside = picture.classes >= 0
    rgba[..., :3] = np.where(inside[..., None], tint(rgba[..., :3], ink), _INK.round().astype(np.uint8))
    rgba[..., 3] = np.where(inside, 255, np.round(ink * 255)).astype(np.uint8)
    return rgba


def alone(underlay: Underlay, projection: Projection, dpi: float) -> NDArray[np.uint8]:
    """The underlay over a plan's frame where there is no map: pixels (ny, nx, 4), row 0 lowest."""
    x0, y0, x1, y1 = projection.frame
    shape = round((y1 - y0) / 25.4 * dpi), round((x1 - x0) / 25.4 * dpi)
    ink = underlay.over(projection.shown, shape) * np.float32(underlay.opacity)
    rgba = np.empty((*shape, 4), np.uint8)
    rgba[..., :3] = _INK.round()
    rgba[..., 3] = np.round(ink * 255)
    return rgba
