"""Vectors in single precision, laid out for numpy and for ray tracers alike."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Single = NDArray[np.float32]


def columns(n: int) -> Single:
    """Room for n vectors (n, 3), each coordinate in a row of its own.

    numpy is several times faster along such rows than over vectors of three side by side; tracers take either.
    """
    return np.empty((3, n), np.float32).T


def rows(vectors: Single, index: NDArray[np.integer]) -> Single:
    """Some of the vectors (n, 3), by index, laid out as by `columns`."""
    return vectors.T.take(index, axis=1).T


def scaled(vectors: Single, by: Single) -> Single:
    """Vectors (n, 3) times numbers (n,), laid out as by `columns`."""
    found = columns(len(by))
    np.multiply(vectors.T, by, out=found.T)
    return found


def norm(vectors: Single) -> Single:
    """Lengths (n,) of vectors (n, 3)."""
    x, y, z = vectors.T
    square: Single = x * x + y * y + z * z
    return np.sqrt(square, out=square)
