"""Symbols of detectors as DXF blocks, in metres, at the size that a plan at 1:100 shows them: as on our own plans."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from raycover.draw.glyphs import COLLAR, RING, TICK, WORDS, Sort
from raycover.draw.page import arc

Floats = NDArray[np.float64]
#: Metres a millimetre of paper at 1:100.
_M_PER_MM = 0.1


def block_name(sort: Sort) -> str:
    return f"RAYCOVER-{sort.upper().replace(' ', '-')}"


def define(document: Any) -> None:
    """Add a block for each sort of unit, azimuth 0 along x. Layer 0 and colour by block: the insert's layer rules."""
    for sort in WORDS:
        block = document.blocks.new(block_name(sort))
        r = RING * _M_PER_MM
        block.add_circle((0, 0), r)
        block.add_line((r, 0), (r + TICK * _M_PER_MM, 0))
        if sort == "infrared" or sort.startswith("dual"):
            block.add_circle((0, 0), 0.047)
        if sort == "infrared long":
            block.add_line((-0.093, 0), (0.093, 0))
        elif sort == "infrared side":
            block.add_lwpolyline([*arc((0, 0), 0.095, -90, 90, 13).tolist()], close=True)
        elif sort != "infrared":
            if sort == "microwave long":
                block.add_line((-0.05, 0), (0.05, 0))
            elif sort == "microwave":
                block.add_circle((0, 0), 0.03)
            spread = 40 if sort == "microwave long" else 62
            for side in (0, 180):
                block.add_arc((0, 0), 0.088, side - spread, side + spread)


def wedge(centre: tuple[float, float], from_deg: float, to_deg: float) -> Floats:
    """The outline (n, 2) of a masked sector about a unit."""
    inner, outer = (RING + COLLAR) * _M_PER_MM, (RING + 2.3) * _M_PER_MM
    return np.concatenate([arc(centre, outer, from_deg, to_deg), arc(centre, inner, to_deg, from_deg)])
