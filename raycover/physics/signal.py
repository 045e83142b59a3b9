"""The signal of an infrared detector: patches of a body through the zones of a lens, then a band-pass.

    x(t) = Σ_patches ΔL · A · max(cos, 0) / s² · R(direction)          [W/m²]

ΔL radiance of the patch above that of what stands behind it, A its area, cos that of its normal toward the unit,
s the distance, R the lens' response, −1 to 1. Patches that something hides add nothing. The amplifier passes about
0.1 to 10 Hz [M]: a one-pole low-pass, then a one-pole high-pass, both starting in their steady state: a filter that
starts empty answers the mere presence of a body with a false peak.

A model of a detector, checked against no real one.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib import import_module
from importlib.util import find_spec
from typing import Any

import numpy as np
from numpy.typing import NDArray

from raycover.physics.body import Body
from raycover.physics.infrared import radiance_above
from raycover.physics.lens import ResponseImage

#: numba is an extra, and slow to import: only who computes walks pays for it.
HAS_NUMBA = find_spec("numba") is not None

Floats = NDArray[np.floating]
Single = NDArray[np.float32]
Bools = NDArray[np.bool_]

#: Band of the amplifier, Hz [M].
BAND_HZ = (0.1, 10.0)
#: Longest time step (s) for walks near and far: a limb must not leap over a zone between two steps.
NEAR_STEP_S, FAR_STEP_S = 0.04, 0.08
#: The numpy path keeps its working arrays below this many patches at once.
_MOST_PATCHES = 1_500_000


def patch_strength(body: Body, ambient_c: float, background_c: float | None = None) -> Single:
    """(n,) radiance of each patch above its background times its area, W/sr.

    Skin and clothing as the clothed person of `infrared.contrast_factor`; `background_c` is the temperature of what
    stands behind, the air's if not given.
    """
    clothed, bare = radiance_above(ambient_c, background_c)
    return np.asarray(body.area * (body.bare * bare + (1 - body.bare) * clothed), np.float32)


def patch_signal(image: ResponseImage, place: Floats, normal: Floats, strength: Floats) -> Floats:
    """What patches add to the signal, W/m²: `place`, `normal` (…, n, 3) in the unit's frame, `strength` (n,)."""
    x, y, z = place[..., 0], place[..., 1], place[..., 2]
    square = x * x + y * y + z * z
    s = np.sqrt(square)
    scale = 1 / np.maximum(s - z, 1e-6 * s)
    facing = -(x * normal[..., 0] + y * normal[..., 1] + z * normal[..., 2])
    weight = np.maximum(facing, 0) * strength / (s * square)
    return np.asarray(weight * image.sample(x * scale, y * scale))


def coefficients(step_s: float) -> tuple[float, float]:
    """What one time step leaves of the old value in the low-pass and in the slow average that is taken off."""
    low_hz, high_hz = BAND_HZ
    return float(np.exp(-2 * np.pi * high_hz * step_s)), float(np.exp(-2 * np.pi * low_hz * step_s))


def band_pass(signal: Floats, step_s: float) -> Floats:
    """The amplifier's output for (…, t) samples every `step_s` seconds, from its steady state."""
    fast = _one_pole(signal, coefficients(step_s)[0])
    return fast - _one_pole(fast, coefficients(step_s)[1])


def _one_pole(signal: Floats, kept: float) -> Floats:
    """One-pole low-pass along the last axis, from its steady state at the first sample."""
    from scipy.signal import lfilter  # slow to import

    start = kept * signal[..., :1]
    return np.asarray(lfilter([1 - kept], [1, -kept], signal, axis=-1, zi=start)[0])


def count_pulses(output: Floats, threshold: Floats | float) -> NDArray[np.int64]:
    """Excursions (…,) of outputs (…, t) beyond ±threshold; one that changes sign counts again."""
    level = np.where(np.abs(output) >= np.asarray(threshold)[..., None], np.sign(output), 0)
    before = np.concatenate([np.zeros((*level.shape[:-1], 1)), level[..., :-1]], axis=-1)
    return np.asarray(((level != 0) & (level != before)).sum(axis=-1))


def pulse_level(output: Floats, n_pulses: int) -> Floats:
    """The largest threshold (…,) at which outputs (…, t) still count `n_pulses`; 0 where they never do."""
    highest = np.abs(output).max(axis=-1)
    if n_pulses == 1:
        return np.asarray(highest)
    best = np.zeros_like(highest)
    for share in np.geomspace(1, 1e-3, 400):
        reached = (best == 0) & (count_pulses(output, highest * share) >= n_pulses)
        best = np.where(reached, highest * share, best)
    return np.asarray(best)


@dataclass(frozen=True)
class Walks:
    """Walks of one body, ready for a unit: what every place shares.

    `place`, `normal` (k, t, n, 3) float32: patches at each step of k poses in the unit's frame, from the walk's
    middle on the floor; `level` (k, t, n) uint8: which bit of the visibility table a patch asks; `strength` (n,).
    """

    place: Single
    normal: Single
    level: NDArray[np.uint8]
    strength: Single
    step_s: float

    @property
    def n_steps(self) -> int:
        return self.place.shape[1]


def walk_signals(
    walks: Walks,
    image: ResponseImage,
    base: Floats,
    pose: NDArray[np.integer],
    visible: NDArray[np.uint8] | None = None,
    *,
    use_numba: bool | None = None,
) -> Floats:
    """Raw signals (m, t) of walks about places `base` (m, 3) in the unit's frame, each with its pose (m,).

    `visible` (m, t): bits of the levels of a body that the unit sees at each step; all if not given.
    """
    if _use_numba(use_numba):
        return np.asarray(_fused().walk_signals(*_arrays(walks, image, base, pose, visible)), float)
    n_steps, n = walks.place.shape[1:3]
    out = np.zeros((len(base), n_steps))
    for part in _chunks(len(base), n_steps * n):
        place = base[part, None, None, :].astype(np.float32) + walks.place[pose[part]]
        value = patch_signal(image, place, walks.normal[pose[part]], walks.strength)
        if visible is not None:
            value = value * ((visible[part][:, :, None] >> walks.level[pose[part]]) & 1)
        out[part] = value.sum(axis=-1)
    return out


def _use_numba(asked: bool | None) -> bool:
    """Whether the compiled path is taken: where numba is, unless told otherwise."""
    if asked and not HAS_NUMBA:
        raise RuntimeError("numba is not installed")
    return HAS_NUMBA if asked is None else asked


@cache
def _fused() -> Any:
    return import_module("raycover.physics.fused")


def _arrays(
    walks: Walks, image: ResponseImage, base: Floats, pose: NDArray[np.integer], visible: NDArray[np.uint8] | None
) -> tuple[Any, ...]:
    """The same as contiguous arrays of the types that the compiled path was made for."""
    seen = np.full((1, 1), 255, np.uint8) if visible is None else np.ascontiguousarray(visible, np.uint8)
    return (
        walks.place, walks.normal, walks.level, walks.strength, image.values, np.float32(image.half),
        np.ascontiguousarray(base, np.float32), np.ascontiguousarray(pose, np.int32), seen,
    )  # fmt: skip


def walk_outcome(
    walks: Walks,
    image: ResponseImage,
    base: Floats,
    pose: NDArray[np.integer],
    threshold: Floats,
    *,
    visible: NDArray[np.uint8] | None = None,
    steps: NDArray[np.integer] | None = None,
    use_numba: bool | None = None,
) -> tuple[Single, NDArray[np.int16]]:
    """Largest |output| (m,) of each walk and its pulses (m,) beyond `threshold` (m,).

    `base`, `pose`, `visible` as in `walk_signals`; `steps` (m, 2): first step of each walk and the one after its
    last, where something cuts it short. numba does it in one pass where it is installed; numpy gives the same.
    """
    m = len(base)
    if steps is None:
        steps = np.broadcast_to(np.array([0, walks.n_steps], np.int32), (m, 2))
    fast_kept, slow_kept = coefficients(walks.step_s)
    if _use_numba(use_numba):
        peak, pulses = _fused().walk_outcome(
            *_arrays(walks, image, base, pose, visible),
            np.ascontiguousarray(steps, np.int32),
            np.ascontiguousarray(threshold, np.float32),
            np.float32(fast_kept),
            np.float32(slow_kept),
        )
        return peak, pulses
    raw = walk_signals(walks, image, base, pose, visible, use_numba=False)
    # A walk cut short stands still before and after: its ends are held.
    column = np.arange(walks.n_steps)[None]
    raw = np.take_along_axis(raw, np.clip(column, steps[:, :1], np.maximum(steps[:, 1:] - 1, 0)), axis=1)
    output = band_pass(raw, walks.step_s)
    output[(column < steps[:, :1]) | (column >= steps[:, 1:])] = 0
    return np.abs(output).max(axis=1).astype(np.float32), count_pulses(output, threshold).astype(np.int16)


def _chunks(n: int, each: int) -> list[slice]:
    size = max(_MOST_PATCHES // max(each, 1), 1)
    return [slice(start, min(start + size, n)) for start in range(0, n, size)]
