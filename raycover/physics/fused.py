"""The signal of many walks in one pass, compiled: sampling, sum, band-pass, peak and pulses. Alone here knows numba.

The same sums as the numpy path of `signal`, which says what they mean.
"""

from __future__ import annotations

from math import sqrt
from typing import Any

import numpy as np
from numba import njit


@njit(nogil=True, fastmath=True, cache=True, error_model="numpy", inline="always")
def _at_step(place, normal, level, strength, image, half, bx, by, bz, seen) -> Any:  # type: ignore[no-untyped-def]
    """Sum over patches (n, 3) of one pose at one step, about the place (bx, by, bz)."""
    n = image.shape[0]
    scale = np.float32((n - 1) / (2 * half))
    most = np.float32(n - 1.001)
    one, none = np.float32(1), np.float32(0)
    total = none
    for i in range(place.shape[0]):
        if (seen >> level[i]) & 1 == 0:
            continue
        x, y, z = bx + place[i, 0], by + place[i, 1], bz + place[i, 2]
        facing = -(x * normal[i, 0] + y * normal[i, 1] + z * normal[i, 2])
        if facing <= none:
            continue
        square = x * x + y * y + z * z
        s = sqrt(square)
        shrink = one / max(s - z, np.float32(1e-6) * s)
        u = min(max((x * shrink + half) * scale, none), most)
        v = min(max((y * shrink + half) * scale, none), most)
        column, row = int(u), int(v)
        u -= np.float32(column)
        v -= np.float32(row)
        low = image[row, column] * (one - u) + image[row, column + 1] * u
        high = image[row + 1, column] * (one - u) + image[row + 1, column + 1] * u
        total += facing * strength[i] / (s * square) * (low * (one - v) + high * v)
    return total


@njit(nogil=True, fastmath=True, cache=True, error_model="numpy")
def walk_signals(place, normal, level, strength, image, half, base, pose, visible) -> Any:  # type: ignore[no-untyped-def]
    n_walks, n_steps = base.shape[0], place.shape[1]
    out = np.zeros((n_walks, n_steps), np.float32)
    table = visible.shape[0] == n_walks and visible.shape[1] == n_steps
    for w in range(n_walks):
        k = pose[w]
        for t in range(n_steps):
            seen = visible[w, t] if table else np.uint8(255)
            out[w, t] = _at_step(
                place[k, t], normal[k, t], level[k, t], strength, image, half, base[w, 0], base[w, 1], base[w, 2], seen
            )
    return out


@njit(nogil=True, fastmath=True, cache=True, error_model="numpy")
def walk_outcome(  # type: ignore[no-untyped-def]
    place, normal, level, strength, image, half, base, pose, visible, steps, threshold, fast_kept, slow_kept
) -> Any:
    n_walks = base.shape[0]
    peak = np.zeros(n_walks, np.float32)
    pulses = np.zeros(n_walks, np.int16)
    table = visible.shape[0] == n_walks and visible.shape[1] == place.shape[1]
    for w in range(n_walks):
        k = pose[w]
        fast, slow = np.float32(0), np.float32(0)
        first = True
        sign = 0
        for t in range(steps[w, 0], steps[w, 1]):
            seen = visible[w, t] if table else np.uint8(255)
            total = np.float32(0)
            if seen != 0:
                total = _at_step(
                    place[k, t], normal[k, t], level[k, t], strength, image, half,
                    base[w, 0], base[w, 1], base[w, 2], seen,
                )  # fmt: skip
            if first:
                fast, slow, first = total, total, False
            fast = total + fast_kept * (fast - total)
            slow = fast + slow_kept * (slow - fast)
            out = fast - slow
            size = abs(out)
            if size > peak[w]:
                peak[w] = size
            now = 0
            if size >= threshold[w]:
                now = 1 if out > 0 else -1
            if now != 0 and now != sign:
                pulses[w] += 1
            sign = now
    return peak, pulses
