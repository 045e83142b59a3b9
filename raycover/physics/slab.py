"""Radio loss of flat layered sheets: material rows, slab formulae, averaging over thickness, lookup.

Source: ITU-R P.2040 §2.2, slab formulae in our own words; the ITU text itself was not read, the results agree
with two open libraries (sionna-rt, tmm) [V]. Time sign exp(+jωt): a lossy medium has a relative permittivity
with a negative imaginary part. Everything is one way.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.constants import epsilon_0, speed_of_light
from scipy.interpolate import CubicSpline
from scipy.stats import qmc

Losses = Literal["averaged", "coherent"]
Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

SPREAD = 0.10
"""Every thickness, air gaps included, varies evenly within this share of itself (our assumption)."""

GRAZING_COS = 1e-9
"""Smaller cosines of incidence are taken as this one; in the limit nothing passes."""

_MOST_NODES = 256  # of one layer; finding more Gauss–Legendre nodes takes longer than the integral
_MOST_TENSOR_NODES = 6_000
_SOBOL_BITS = 11
_CHUNK = 60_000  # variants times angles worked on at once: arrays of this size stay in cache


@dataclass(frozen=True)
class Material:
    """One row of a P.2040 table: ε_r = a·f^b and σ = c·f^d [S/m], f in GHz, valid from one f to another."""

    name: str
    a: float
    b: float
    c: float
    d: float
    from_ghz: float
    to_ghz: float

    def permittivity(self, frequency_ghz: float) -> complex:
        """Complex relative permittivity η = ε_r − jσ/(2πf·ε0) at `frequency_ghz`.

        Raises ValueError outside the row's range: a row is never extrapolated.
        """
        if not self.from_ghz <= frequency_ghz <= self.to_ghz:
            raise ValueError(
                f"material {self.name!r} is known from {self.from_ghz:g} to {self.to_ghz:g} GHz, "
                f"not at {frequency_ghz:g} GHz"
            )
        sigma = self.c * frequency_ghz**self.d
        return complex(self.a * frequency_ghz**self.b, -sigma / (2 * np.pi * frequency_ghz * 1e9 * epsilon_0))


@dataclass(frozen=True)
class Layer:
    """A flat layer, `thickness_m` [m] of a `material`; None is air. Raises ValueError on a bad thickness."""

    thickness_m: float
    material: Material | None

    def __post_init__(self) -> None:
        if not (np.isfinite(self.thickness_m) and self.thickness_m >= 0):
            raise ValueError(f"a layer's thickness must be finite and not negative: {self.thickness_m!r} m")

    def permittivity(self, frequency_ghz: float) -> complex:
        """Complex relative permittivity, 1 for air; raises ValueError as `Material.permittivity` does."""
        return 1 + 0j if self.material is None else self.material.permittivity(frequency_ghz)


def transmittance(
    layers: Sequence[Layer],
    frequency_ghz: float,
    cos_incidence: ArrayLike,
    *,
    thickness_m: ArrayLike | None = None,
) -> tuple[Complexes, Complexes]:
    """Complex amplitude transmission (T_te, T_tm) of the layers in air.

    Parameters
    ----------
    layers : from the side of the source; the order does not change the transmission.
    frequency_ghz : [GHz]
    cos_incidence : any shape S, cosine of the angle to the normal in air; the sign is ignored.
    thickness_m : (..., n_layers) [m], other thicknesses to use in place of the layers' own.

    Returns arrays of shape (...) + S. Zero total thickness gives exactly 1. |T| underflows to 0 beyond about
    6,000 dB; `loss_db` does not. Raises ValueError for a material outside its frequency range.
    Source: ITU-R P.2040 §2.2 by characteristic matrices.
    """
    cos, thicknesses = _shaped(layers, cos_incidence, thickness_m)
    te, tm = _fields(layers, frequency_ghz, cos, thicknesses)
    phase = np.exp(-1j * te.phase)
    return te.transmitted * phase, tm.transmitted * phase


def reflectance(
    layers: Sequence[Layer],
    frequency_ghz: float,
    cos_incidence: ArrayLike,
    *,
    thickness_m: ArrayLike | None = None,
) -> tuple[Complexes, Complexes]:
    """Complex amplitude reflection (R_te, R_tm) on the side of the first layer; see `transmittance`."""
    cos, thicknesses = _shaped(layers, cos_incidence, thickness_m)
    te, tm = _fields(layers, frequency_ghz, cos, thicknesses)
    return te.reflected, tm.reflected


def loss_db(
    layers: Sequence[Layer],
    frequency_ghz: float,
    cos_incidence: ArrayLike,
    *,
    losses: Losses = "averaged",
) -> Floats:
    """One-way loss [dB], ≥ 0, of the mean power of both polarisations; shape of `cos_incidence`.

    losses="coherent" takes the slab as drawn. "averaged" (our default) takes the power mean over ±10 % of
    every thickness, air gaps included, each layer on its own: Gauss–Legendre over up to three layers, with
    nodes enough for the ripple of each; 2,048 Sobol points for more or for very thick ones. Against dense
    integration up to three layers agree within 0.01 dB from cos 0.02 up; triple glazing (five layers) at
    24 GHz within 0.01 dB from cos 0.1 up and 0.1 dB at cos 0.02.
    """
    cos = _cosines(cos_incidence)
    flat = cos.ravel()
    if losses == "coherent":
        thicknesses = [np.full((1, 1), layer.thickness_m) for layer in layers]
        weights = [np.ones((1, 1)) for _ in layers]
    elif losses == "averaged":
        thicknesses, weights = _variants(layers, frequency_ghz)
    else:
        raise ValueError(f"losses must be 'averaged' or 'coherent', not {losses!r}")
    n_variants = int(np.prod(np.broadcast_shapes(*(t.shape for t in thicknesses)))) if layers else 1
    step = max(1, _CHUNK // n_variants)
    parts = [
        _mean_loss_db(layers, frequency_ghz, flat[start : start + step], thicknesses, weights)
        for start in range(0, flat.size, step)
    ]
    return np.concatenate(parts).reshape(cos.shape) if parts else np.zeros(cos.shape)


def loss_spread_db(layers: Sequence[Layer], frequency_ghz: float, cos_incidence: ArrayLike) -> tuple[Floats, Floats]:
    """Smallest and largest coherent loss [dB] met within ±10 % of every thickness.

    Mean power of both polarisations, 4,096 evenly spread variants (Sobol), so the extremes of a sharp
    resonance of several layers are approached from inside. Shapes of `cos_incidence`.
    """
    cos = _cosines(cos_incidence)
    low, high = np.zeros(cos.size), np.zeros(cos.size)
    if not layers:
        return low.reshape(cos.shape), high.reshape(cos.shape)
    drawn = np.array([layer.thickness_m for layer in layers])
    points = _sobol(len(layers), _SOBOL_BITS + 1)
    points = (points - points.min(axis=0)) / np.ptp(points, axis=0)  # reach both ends of the range
    varied = drawn * (1 + SPREAD * (2 * points - 1))
    step = max(1, _CHUNK // len(varied))
    for start in range(0, cos.size, step):
        part = slice(start, start + step)
        thicknesses = [column[:, None] for column in varied.T]
        te, tm = _fields(layers, frequency_ghz, cos.ravel()[part], thicknesses)
        each = _to_db((_power(te.transmitted) + _power(tm.transmitted)) / 2, -te.phase.imag)
        low[part], high[part] = each.min(axis=0), each.max(axis=0)
    return low.reshape(cos.shape), high.reshape(cos.shape)


class LossTable:
    """One-way loss of one construction at one frequency, looked up by cosine of incidence.

    Built once; an even grid of 4,097 cosines with linear interpolation, within 0.01 dB of `loss_db` for
    cos ≥ 0.02 on the catalogue's constructions. Below the first step (cos 0.00025) the loss levels off
    instead of running to infinity.
    """

    N_STEPS = 4096
    _N_COARSE = 513

    def __init__(self, layers: Sequence[Layer], frequency_ghz: float, *, losses: Losses = "averaged") -> None:
        """Tabulate `layers` at `frequency_ghz` [GHz]; raises ValueError as `loss_db` does."""
        cos = np.linspace(0.0, 1.0, self.N_STEPS + 1)
        cos[0] = cos[1] / 4
        if losses == "averaged" and any(layer.thickness_m > 0 for layer in layers):
            # Near grazing the power falls as cos²; without that share the loss is smooth in √cos.
            coarse = np.linspace(np.sqrt(cos[0]), 1.0, self._N_COARSE)
            smooth = loss_db(layers, frequency_ghz, coarse**2, losses=losses) + 40 * np.log10(coarse)
            values = CubicSpline(coarse, smooth)(np.sqrt(cos)) - 20 * np.log10(cos)
        else:
            values = loss_db(layers, frequency_ghz, cos, losses=losses)
        self._fill(np.maximum(values, 0.0))

    @classmethod
    def constant(cls, loss_db: float) -> LossTable:
        """A table of the same loss [dB] at every angle; infinite for an opaque sheet."""
        if not loss_db >= 0:
            raise ValueError(f"a loss must be a number of dB that is not negative, not {loss_db!r}")
        table = cls.__new__(cls)
        table._fill(np.full(cls.N_STEPS + 1, float(loss_db)))
        return table

    @classmethod
    def opaque(cls) -> LossTable:
        """A table of infinite loss."""
        return cls.constant(np.inf)

    @property
    def is_opaque(self) -> bool:
        """Whether nothing passes at any angle."""
        return bool(np.isinf(self._value).all())

    def _fill(self, values: Floats) -> None:
        finite = np.isfinite(values)
        slope = np.zeros_like(values)
        both = finite[:-1] & finite[1:]
        slope[:-1][both] = np.diff(np.where(finite, values, 0.0))[both]
        self._value, self._slope = values, slope
        self._value32, self._slope32 = values.astype(np.float32), slope.astype(np.float32)

    def loss_db(self, cos_incidence: ArrayLike) -> NDArray[np.floating]:
        """One-way loss [dB], in the shape of `cos_incidence`; float32 for float32, else float64.

        The sign of the cosine is ignored, and what rounding left above 1 counts as 1. NaN gives NaN.
        """
        cos = np.asarray(cos_incidence)
        single = cos.dtype == np.float32
        value, slope = (self._value32, self._slope32) if single else (self._value, self._slope)
        position = np.minimum(np.abs(cos) * value.dtype.type(self.N_STEPS), value.dtype.type(self.N_STEPS))
        index = np.fmin(position, value.dtype.type(self.N_STEPS)).astype(np.int32)  # NaN has no index
        result: NDArray[np.floating] = value[index] + (position - index.astype(value.dtype)) * slope[index]
        return result


@dataclass(frozen=True)
class _Amplitudes:
    """Amplitudes of one polarisation; what leaves is `transmitted`·exp(−j·`phase`)."""

    transmitted: Complexes
    reflected: Complexes
    phase: Complexes


def _cosines(cos_incidence: ArrayLike) -> Floats:
    cos = np.abs(np.asarray(cos_incidence, dtype=np.float64))
    return np.clip(cos, GRAZING_COS, 1.0)


def _shaped(
    layers: Sequence[Layer], cos_incidence: ArrayLike, thickness_m: ArrayLike | None
) -> tuple[Floats, list[Floats]]:
    """Cosines, and one thickness array per layer with as many unit axes behind as the cosines have."""
    cos = _cosines(cos_incidence)
    if thickness_m is None:
        return cos, [np.asarray(layer.thickness_m) for layer in layers]
    given = np.asarray(thickness_m, dtype=np.float64)
    if given.ndim == 0 or given.shape[-1] != len(layers):
        raise ValueError(f"thickness_m needs a last axis of {len(layers)} layers, not shape {given.shape}")
    if not (np.isfinite(given).all() and (given >= 0).all()):
        raise ValueError("thickness_m must be finite and not negative")
    behind = (1,) * cos.ndim
    return cos, [given[..., i].reshape(given.shape[:-1] + behind) for i in range(len(layers))]


def _fields(
    layers: Sequence[Layer], frequency_ghz: float, cos: Floats, thicknesses: Sequence[Floats]
) -> tuple[_Amplitudes, _Amplitudes]:
    """TE and TM amplitudes; the thickness arrays need only broadcast against each other and `cos`.

    The tangential fields are carried from the far side to the near one. exp(jb) of each layer, which would
    overflow in a thick lossy one, is taken out of its matrix and gathered in `phase`. For TM both fields
    are scaled by cosθ, so that y0 = 1/cosθ is never formed.
    """
    wavenumber = 2 * np.pi * frequency_ghz * 1e9 / speed_of_light
    one = np.ones_like(cos, dtype=np.complex128)
    te_e, te_h = one, cos * one
    tm_e, tm_h = cos * one, one
    phase = 0 * one
    for layer, thickness in zip(reversed(layers), reversed(thicknesses), strict=True):
        eta = layer.permittivity(frequency_ghz)
        r = np.sqrt(eta - 1 + (cos * cos).astype(np.complex128))  # √(η − sin²θ), Im ≤ 0 as Im η ≤ 0
        b = wavenumber * thickness * r
        phase = phase + b
        sine = -np.expm1(-2j * b) / 2  # j·sin b and cos b, both over exp(jb)
        cosine = 1 - sine
        te_e, te_h = cosine * te_e + sine / r * te_h, sine * r * te_e + cosine * te_h
        y = eta / r
        tm_e, tm_h = cosine * tm_e + sine / y * tm_h, sine * y * tm_e + cosine * tm_h
    te_sum = cos * te_e + te_h
    tm_sum = tm_e + cos * tm_h
    return (
        _Amplitudes(2 * cos / te_sum, (cos * te_e - te_h) / te_sum, phase),
        _Amplitudes(2 * cos / tm_sum, (tm_e - cos * tm_h) / tm_sum, phase),
    )


def _power(amplitude: Complexes) -> Floats:
    power: Floats = amplitude.real**2 + amplitude.imag**2
    return power


def _to_db(scaled_power: Floats, nepers: Floats) -> Floats:
    """Loss of scaled_power·exp(−2·nepers) in dB, safe where that product underflows; never −0 or less."""
    loss: Floats = -10 * np.log10(scaled_power) + 20 * np.log10(np.e) * nepers
    return np.maximum(loss, 0.0) + 0.0


def _mean_loss_db(
    layers: Sequence[Layer],
    frequency_ghz: float,
    cos: Floats,
    thicknesses: Sequence[Floats],
    weights: Sequence[Floats],
) -> Floats:
    """Loss of the weighted power mean over all axes but the last, which is that of `cos` (n,)."""
    te, tm = _fields(layers, frequency_ghz, cos, thicknesses)
    power = (_power(te.transmitted) + _power(tm.transmitted)) / 2
    nepers = np.broadcast_to(-te.phase.imag, power.shape)
    variants = tuple(range(power.ndim - 1))
    least = nepers.min(axis=variants)
    weight = np.ones(1)
    for share in weights:
        weight = weight * share
    return _to_db((power * weight * np.exp(-2 * (nepers - least))).sum(axis=variants), least)


def _variants(layers: Sequence[Layer], frequency_ghz: float) -> tuple[list[Floats], list[Floats]]:
    """Thicknesses to average over, one array per layer, and weights whose product sums to 1.

    Up to three layers each have an axis of their own, so that a layer's exponentials are worked out once a
    node. The last axis is left to the angles.
    """
    n_layers = len(layers)
    wavenumber = 2 * np.pi * frequency_ghz * 1e9 / speed_of_light
    varied = [layer.thickness_m > 0 for layer in layers]
    # exp(jhx) on ±1, h the half-range of the phase there and back, needs somewhat over h/2 nodes. Few layers
    # afford the many harmonics of a resonance near grazing; beyond three Sobol points are cheaper.
    nodes_per_rad = {0: 0.0, 1: 4.0, 2: 2.0}.get(sum(varied), 0.8)
    nodes = [1] * n_layers
    for i, layer in enumerate(layers):
        if varied[i]:
            index = abs(layer.permittivity(frequency_ghz)) ** 0.5
            nodes[i] = 10 + int(nodes_per_rad * SPREAD * 2 * wavenumber * layer.thickness_m * index)
    if sum(varied) > 3 or max(nodes, default=1) > _MOST_NODES or np.prod(nodes) > _MOST_TENSOR_NODES:
        points = _sobol(n_layers, _SOBOL_BITS)
        count = len(points)
        factors = 1 + SPREAD * (2 * points - 1)
        thicknesses = [layer.thickness_m * factors[:, i, None] for i, layer in enumerate(layers)]
        return thicknesses, [np.full((count, 1), 1 / count)] + [np.ones((1, 1))] * (n_layers - 1)
    thicknesses, weights = [], []
    for i, (layer, n) in enumerate(zip(layers, nodes, strict=True)):
        x, w = _gauss_legendre(n)
        shape = (1,) * i + (n,) + (1,) * (n_layers - i)
        thicknesses.append((layer.thickness_m * (1 + SPREAD * x)).reshape(shape))
        weights.append((w / 2).reshape(shape))
    return thicknesses, weights


@cache
def _gauss_legendre(n: int) -> tuple[Floats, Floats]:
    """Nodes on ±1 and weights summing to 2."""
    nodes, weights = np.polynomial.legendre.leggauss(n)
    return nodes, weights


@cache
def _sobol(n_dimensions: int, bits: int) -> Floats:
    """(2^bits, n_dimensions) Sobol points, unscrambled and centred in their cells: the same every time."""
    points: Floats = qmc.Sobol(n_dimensions, scramble=False).random_base2(bits)
    return points + 0.5 / 2**bits
