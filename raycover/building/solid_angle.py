"""How often triangles wind around points: 1 inside a closed object, 0 outside, between the two near an open one.

The solid angle of a triangle, A. van Oosterom and J. Strackee, IEEE Trans. Biomed. Eng. 30 (1983) 125,
summed over all of them and divided by 4π.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.floating]
_CHUNK = 4_000_000


def winding_number(triangles: Floats, points: Floats) -> Floats:
    """Winding number (n,) of triangles (m, 3, 3), outward, about points (n, 3)."""
    found = np.zeros(len(points))
    step = max(_CHUNK // max(len(triangles), 1), 1)
    for at in range(0, len(points) if len(triangles) else 0, step):
        a, b, c = (triangles[None, :, k] - points[at : at + step, None] for k in range(3))
        la, lb, lc = (np.linalg.norm(v, axis=-1) for v in (a, b, c))
        top = np.einsum("pmi,pmi->pm", a, np.cross(b, c))
        dot = [np.einsum("pmi,pmi->pm", v, w) for v, w in ((a, b), (b, c), (c, a))]
        bottom = la * lb * lc + dot[0] * lc + dot[1] * la + dot[2] * lb
        found[at : at + step] = np.arctan2(top, bottom).sum(axis=1) / (2 * np.pi)
    return found
