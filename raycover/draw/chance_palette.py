"""Colours of probability maps: four slices of the sequential, colour-blind-safe map tokyo, parted at 5, 50 and 95 %.

F. Crameri, Scientific colour maps, doi:10.5281/zenodo.1243862. The margin's map is another one (davos), so that no
probability map is taken for a coverage plan.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, ndtri

from raycover.draw.palette import colour_map

#: Bounds of the classes, as shares of the varied cases.
BOUNDS = (0.05, 0.5, 0.95)
CLASS_NAMES = ("hardly ever", "seldom", "mostly", "firm")
HARDLY, SELDOM, MOSTLY, FIRM = range(4)
#: Slices of tokyo, worst to best.
_SLICES = ((0.05, 0.10), (0.24, 0.42), (0.52, 0.70), (0.86, 0.96))
#: Half the width of the two middle classes on the scale that maps are resampled on, and where that scale ends.
HALF, END = 3.0, 6.0
#: Colours are quantised down to this share.
_STEP = 0.01


@lru_cache(maxsize=1)
def _tokyo() -> NDArray[np.uint8]:
    return np.round(colour_map("tokyo") * 255).astype(np.uint8)


def to_scale(probability: ArrayLike) -> NDArray[np.float32]:
    """Probabilities on the scale of normal quantiles, 5, 50 and 95 % at −3, 0 and +3, ends at ±6; NaN stays.

    Between cells a map is taken as straight on this scale: chances crowd at 0 and 1, quantiles do not.
    """
    p = np.asarray(probability, float)
    with np.errstate(divide="ignore"):
        scaled = ndtri(p) * HALF / ndtri(BOUNDS[2])
    # Shares of few cases lie on the bounds themselves: these belong to the class above.
    return np.clip(scaled, -END, END).astype(np.float32) + np.float32(1e-5)


def from_scale(scaled: ArrayLike) -> NDArray[np.float64]:
    """Back from `to_scale`; its ends are 0 and 1 again."""
    values = np.asarray(scaled, float)
    chance = ndtr(values * ndtri(BOUNDS[2]) / HALF)
    return np.asarray(np.where(values > END - 0.01, 1.0, np.where(values < 0.01 - END, 0.0, chance)))


def class_of(probability: ArrayLike) -> NDArray[np.int8]:
    """Class (…,) of a probability: 0 hardly ever to 3 firm, −1 for NaN; a bound belongs to the class above."""
    p = np.asarray(probability, float)
    index = np.searchsorted(BOUNDS, p + 1e-9, side="right").astype(np.int8)
    return np.where(np.isnan(p), np.int8(-1), index).astype(np.int8)


def chance_rgb(probability: ArrayLike, classes: NDArray[np.int8] | None = None) -> NDArray[np.uint8]:
    """Colour of a probability: (…,) → (…, 3) sRGB 0…255, NaN white; `classes` where they are known already."""
    p = np.asarray(probability, float)
    index = class_of(p) if classes is None else classes
    known = np.maximum(index, 0)
    edges = np.array([0.0, *BOUNDS, 1.0])
    low, width = edges[known], np.diff(edges)[known]
    stepped = np.floor(np.nan_to_num(p) / _STEP + 1e-6) * _STEP
    share = np.clip((stepped - low) / width, 0.0, 1.0)
    slices = np.array(_SLICES)[known]
    place = slices[..., 0] + share * (slices[..., 1] - slices[..., 0])
    rgb = _tokyo()[np.clip((place * 256).astype(int), 0, 255)]
    rgb[index < 0] = 255
    return rgb
