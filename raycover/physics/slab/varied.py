"""A sheet varied: what it costs where its layers are thicker, denser or wetter than drawn, draw by draw."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from raycover.physics.slab.averages import is_symmetric, loss_in_db, reflected_db
from raycover.physics.slab.fields import Amplitudes, Complexes, Floats, cosines, fields, power_of
from raycover.physics.slab.layers import Layer

_CHUNK = 200_000  # draws times angles worked on at once


def varied_loss_db(
    layers: Sequence[Layer],
    frequency_ghz: float,
    cos_incidence: ArrayLike,
    thickness_factors: ArrayLike = 1.0,
    a_factors: ArrayLike = 1.0,
    c_factors: ArrayLike = 1.0,
    *,
    each_polarisation: bool = False,
    first_face_only: bool = False,
) -> tuple[Floats, Floats]:
    """One-way loss and reflection loss [dB] of layers varied by factors, coherent, draw by draw.

    Parameters
    ----------
    layers : as drawn.
    frequency_ghz : [GHz]
    cos_incidence : (n_cos,) cosine of the angle to the normal; a single number counts as one.
    thickness_factors, a_factors, c_factors : what each broadcasts to (n_draws, n_layers): factors on a layer's
        thickness, on its relative permittivity, and on its conductivity. Air keeps its permittivity whatever its
        factors; a permittivity below that of air counts as that of air.
    each_polarisation : TE and TM apart instead of their mean power.
    first_face_only : mirrored by the first face, instead of the mean power of both faces (see `reflected_power`).

    Returns two arrays (n_draws, n_cos), or (2, n_draws, n_cos) with TE first. Raises ValueError for factors that
    are negative, not finite or of the wrong shape, and for a material outside its frequency range.
    Source: the slab formulae of `transmittance`; how much layers vary is the caller's to say.
    """
    cos = np.atleast_1d(cosines(cos_incidence))
    if cos.ndim != 1:
        raise ValueError(f"cos_incidence must be one-dimensional, not of shape {cos.shape}")
    thickness, a, c = factor_columns(len(layers), thickness_factors, a_factors, c_factors)
    n_draws = len(thickness)
    loss, mirrored = np.empty((2, 2, n_draws, len(cos)))
    step = max(1, _CHUNK // len(cos)) if len(cos) else n_draws
    for start in range(0, n_draws, step):
        part = slice(start, start + step)
        metres = [layer.thickness_m * thickness[part, i, None] for i, layer in enumerate(layers)]
        etas = [_varied(layer, frequency_ghz, a[part, i, None], c[part, i, None]) for i, layer in enumerate(layers)]
        shape = (len(thickness[part]), len(cos))
        forward = fields(etas, frequency_ghz, cos, metres)
        for k, each in enumerate(forward):
            loss[k, part] = np.broadcast_to(loss_in_db(power_of(each.transmitted), -each.phase.imag), shape)
            mirrored[k, part] = _mirrored(each, shape)
        if not (first_face_only or is_symmetric(layers)):
            for k, each in enumerate(fields(etas[::-1], frequency_ghz, cos, metres[::-1])):
                mirrored[k, part] = (mirrored[k, part] + _mirrored(each, shape)) / 2
    if each_polarisation:
        return loss, reflected_db(mirrored)
    # relative to the smaller loss, so that a very thick sheet does not underflow
    least = loss.min(axis=0)
    mean = (10 ** ((least - loss) / 10)).mean(axis=0)
    return np.maximum(least - 10 * np.log10(mean), 0.0), reflected_db(mirrored.mean(axis=0))


def _mirrored(each: Amplitudes, shape: tuple[int, int]) -> Floats:
    return np.broadcast_to(np.minimum(power_of(each.reflected), 1.0), shape)


def _varied(layer: Layer, frequency_ghz: float, a: Floats, c: Floats) -> Complexes | complex:
    """Permittivity of a layer with its real part times `a` (n, 1) and its conductivity times `c` (n, 1)."""
    if layer.material is None:
        return 1 + 0j
    drawn = layer.permittivity(frequency_ghz)
    eta: Complexes = np.maximum(drawn.real * a, min(1.0, drawn.real)) + 1j * drawn.imag * c
    return eta


def factor_columns(n_columns: int, *given: ArrayLike) -> list[Floats]:
    """The factors, all of one shape (n_draws, n_columns). Raises ValueError where that can't be, or one is negative."""
    arrays = [np.asarray(factors, dtype=np.float64) for factors in given]
    try:
        shape = np.broadcast_shapes((1, n_columns), *(array.shape for array in arrays))
    except ValueError:
        shape = ()
    if len(shape) != 2 or shape[1] != n_columns:
        raise ValueError(
            f"factors must broadcast to (n_draws, {n_columns}), a column for each part that varies, "
            f"not {', '.join(str(array.shape) for array in arrays)}"
        )
    if not all(np.isfinite(array).all() and (array >= 0).all() for array in arrays):
        raise ValueError("factors must be finite and not negative")
    return [np.broadcast_to(array, shape) for array in arrays]
