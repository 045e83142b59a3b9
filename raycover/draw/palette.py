"""Colours of the drawings: inks, the one accent, and the map of margins with its four classes.

White paper, one ink, and one accent that means *detector* and nothing else. The map takes four slices of the
perceptually uniform, colour-blind-safe map davos (F. Crameri, Scientific colour maps, doi:10.5281/zenodo.1243862)
with a jump at each bound, so that classes stay apart in grey and for every common colour vision deficiency.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

INK = "#1F2B33"  # walls, text, limit line
SECOND_INK = "#5E6B73"  # notes, coordinates
THIRD_INK = "#A9B1B5"  # crosses over goods
RULE = "#C9CED0"  # rules of tables
GOODS = "#ECEAE4"
BENCH = "#F7F6F3"
GLASS = "#7FA6B5"
ACCENT = "#B03A1C"  # detectors: glyphs, tags, footprints
SHELL = "#E9A13B"  # lobes in 3D
THROUGH = "#9A5B8F"  # what of them has come through a wall
#: Faces and ribs of lobes that overlap, where many show. With THROUGH, the nearest two faces are 16 apart in CAM02-UCS
#: for normal sight and for each kind of colour-blind sight.
TINTS = ((SHELL, "#B5701C"), ("#35C0C8", "#16828A"), ("#3B8E4A", "#24613A"))
PAPER = "#FFFFFF"

#: Colours are quantised down to this step (dB), which keeps pictures small and flat.
STEP_DB = 0.25
#: The map's ends lie this far (dB) beyond the reserve: 6 below −reserve, 12 above +reserve.
BELOW_DB, ABOVE_DB = 6.0, 12.0
#: How much of a colour is left where nobody moves.
_PALE = 0.42
#: What a class without width (reserve 0) is drawn with, so that no division fails.
_THINNEST_DB = 1e-9


@dataclass(frozen=True)
class MarginClass:
    """One class of the map: its name, bounds (dB) and the slice of davos it takes."""

    name: str
    from_db: float
    to_db: float
    slice_from: float
    slice_to: float

    @property
    def middle_db(self) -> float:
        return (self.from_db + self.to_db) / 2


#: (name, slice of davos) from the worst to the best class.
_SLICES = (
    ("not seen", 0.10, 0.17),
    ("doubtful", 0.30, 0.38),
    ("seen", 0.58, 0.66),
    ("assured", 0.80, 0.95),
)
CLASS_NAMES = tuple(name for name, _, _ in _SLICES)
NOT_SEEN, DOUBTFUL, SEEN, ASSURED = range(4)


def classes(reserve_db: float) -> tuple[MarginClass, ...]:
    """The four classes from worst to best; bounds −reserve, 0 and +reserve (dB).

    With a reserve of 0 the two middle classes have no width and colour nothing.
    """
    edges = (-reserve_db - BELOW_DB, -reserve_db, 0.0, reserve_db, reserve_db + ABOVE_DB)
    return tuple(MarginClass(name, edges[k], edges[k + 1], low, high) for k, (name, low, high) in enumerate(_SLICES))


def class_of(margin_db: ArrayLike, reserve_db: float) -> NDArray[np.int8]:
    """Class index by margin, any shape: 0 not seen to 3 assured, −1 for NaN (outside)."""
    margin = np.asarray(margin_db, float)
    index = np.searchsorted([-reserve_db, 0.0, reserve_db], margin, side="right").astype(np.int8)
    return np.where(np.isnan(margin), np.int8(-1), index).astype(np.int8)


def colour_map(name: str) -> NDArray[np.float64]:
    """A map of cmcrameri by name, (256, 3) in 0…1: its file alone, since importing the package reads all of them."""
    found = find_spec("cmcrameri")
    assert found is not None
    assert found.origin is not None
    return np.loadtxt(Path(found.origin).parent / "cmaps" / f"{name}.txt")


@lru_cache(maxsize=1)
def _davos() -> NDArray[np.float64]:
    """The map as (256, 3) in 0…1."""
    return colour_map("davos")


def _at(position: NDArray[np.float64]) -> NDArray[np.uint8]:
    """Colours (…, 3) at places (…,) of the map, 0 to 1: its own 256 entries, as they are."""
    table = np.round(_davos() * 255).astype(np.uint8)
    return table[np.clip((position * len(table)).astype(int), 0, len(table) - 1)]


def margin_rgb(margin_db: ArrayLike, reserve_db: float) -> NDArray[np.uint8]:
    """Colour of a margin: (…,) dB → (…, 3) sRGB 0…255.

    Continuous inside a class, quantised down to 0.25 dB, a jump at −reserve, 0 and +reserve; values beyond the
    ends take the end colours, −inf that of the lowest. NaN (outside every room) is paper white.
    """
    margin = np.asarray(margin_db, float)
    outside = np.isnan(margin)
    index = np.maximum(class_of(margin, reserve_db), 0)
    parts = classes(reserve_db)
    low = np.array([c.from_db for c in parts])[index]
    width = np.array([max(c.to_db - c.from_db, _THINNEST_DB) for c in parts])[index]
    low_at, high_at = (np.array([getattr(c, name) for c in parts])[index] for name in ("slice_from", "slice_to"))
    finite = np.clip(np.where(outside, 0.0, margin), parts[0].from_db, parts[-1].to_db)
    # Steps count from the class's lower bound: a quantised value never falls into the class below.
    stepped = np.floor((finite - low) / STEP_DB + 1e-9) * STEP_DB
    share = np.clip(stepped / width, 0.0, 1.0)
    rgb = _at(low_at + share * (high_at - low_at))
    rgb[outside] = 255
    return rgb


def pale(rgb: ArrayLike) -> NDArray[np.uint8]:
    """Colours (…, 3) as they are in the air above people: 42 % of them on white."""
    return np.asarray(np.round(255 - _PALE * (255 - np.asarray(rgb, float))), np.uint8)


def class_rgb(index: int, where: float = 0.5) -> NDArray[np.uint8]:
    """Colour (3,) of a class at a share `where` of its slice: 0 start, 0.5 middle, 1 end."""
    _, low, high = _SLICES[index]
    return _at(np.asarray(low + where * (high - low)))


def legend_image(index: int, reserve_db: float, n: int = 256) -> NDArray[np.uint8]:
    """One class's block for a legend bar: (n, 1, 3), the lowest margin in row 0."""
    part = classes(reserve_db)[index]
    width = part.to_db - part.from_db
    margin = part.from_db + (np.arange(n) + 0.5) / n * width
    return margin_rgb(margin, reserve_db)[:, None, :]


def hex_of(rgb: ArrayLike) -> str:
    """(3,) sRGB 0…255 → "#rrggbb"."""
    r, g, b = (int(v) for v in np.asarray(rgb))
    return f"#{r:02x}{g:02x}{b:02x}"
