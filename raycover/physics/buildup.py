"""What a sheet is built up of: layers, studs in a gap of them, mats of bars; what it lets through and mirrors."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from raycover.physics.metalwork import mat_loss_db, shadowed_share
from raycover.physics.slab import (
    SPREAD,
    Layer,
    Losses,
    LossTable,
    Material,
    ReflectionTable,
    loss_db,
    loss_spread_db,
    mixed_db,
    reflected_power,
    reflection_spread_db,
    varied_loss_db,
)
from raycover.physics.slab.varied import factor_columns

Floats = NDArray[np.float64]

_OPAQUE_METAL_M = 10e-6  # five skin depths at 5.8 GHz (2.1 µm for 10⁷ S/m): more changes nothing


@dataclass(frozen=True)
class Studs:
    """Upright studs each `pitch_m`, `width_m` wide, that fill the widest air gap of the layers."""

    pitch_m: float
    width_m: float
    material: Material


@dataclass(frozen=True)
class Mats:
    """Square mats of round bars: `n_mats` of them in the thickest layer, bars `bar_m` thick each `pitch_m`."""

    pitch_m: float
    bar_m: float
    n_mats: int = 1


class Part(NamedTuple):
    """What may differ from the drawing: an even half-range of thickness, standard deviations of ε_r and σ."""

    name: str
    thickness: float
    a: float
    c: float


@dataclass(frozen=True)
class Buildup:
    """Layers, with studs and mats if any.

    A wall on studs is two walls side by side, one through the gap and one through the stud: powers are added by
    their shares of the area (our assumption; a target larger than a stud and moving past it meets the mean, a unit
    right behind a stud sees less). Timber takes its share width/pitch at any angle; of metal the shadow of its
    depth is added. Mats add their loss to the sheet's and leave its reflection alone.
    """

    layers: tuple[Layer, ...]
    studs: Studs | None = None
    mats: Mats | None = None

    @property
    def materials(self) -> tuple[Material, ...]:
        """Every material in it, each once."""
        found = [layer.material for layer in self.layers] + [self.studs.material if self.studs else None]
        return tuple(dict.fromkeys(m for m in found if m is not None))

    @property
    def is_opaque(self) -> bool:
        """Whether a layer of metal runs through."""
        return any(_is_metal(layer) for layer in self.layers)

    @property
    def parts(self) -> tuple[Part, ...]:
        """What may vary, a row for each column of the factors of `varied`: the layers, then the studs."""
        rows = [
            Part("air", SPREAD, 0.0, 0.0)
            if layer.material is None
            else Part(layer.material.name, SPREAD, layer.material.spread_a, layer.material.spread_c)
            for layer in self.layers
        ]
        if self.studs is not None:
            made = self.studs.material
            rows.append(Part(f"{made.name} studs", SPREAD, made.spread_a, made.spread_c))
        return tuple(rows)

    def loss_table(self, frequency_ghz: float, losses: Losses) -> LossTable:
        """One-way loss against incidence; raises ValueError where a material has no figure."""
        if self.is_opaque:
            return LossTable.opaque()
        if self.studs is None and self.mats is None:
            return LossTable(self.layers, frequency_ghz, losses=losses)
        return LossTable.of(
            self._loss_db(
                frequency_ghz,
                LossTable.cosines(),
                lambda layers: LossTable(layers, frequency_ghz, losses=losses).at_cosines,
            )
        )

    def loss_db(self, frequency_ghz: float, cos_incidence: ArrayLike, losses: Losses) -> Floats:
        """The same at given cosines, without a table: for few angles and many frequencies."""
        cos = np.asarray(cos_incidence, dtype=np.float64)
        return self._loss_db(frequency_ghz, cos, lambda layers: loss_db(layers, frequency_ghz, cos, losses=losses))

    def _loss_db(self, frequency_ghz: float, cos: Floats, of_layers: Callable[[tuple[Layer, ...]], Floats]) -> Floats:
        shares, sections = self._sections(cos)
        loss = [np.full(cos.shape, np.inf) if _holds_metal(layers) else of_layers(layers) for layers in sections]
        return mixed_db(shares, loss) + self.mat_loss_db(frequency_ghz)

    def reflection_table(self, frequency_ghz: float, losses: Losses) -> ReflectionTable:
        """One-way reflection loss against incidence, the mean of both faces; raises ValueError as `loss_table`."""

        def of_layers(layers: tuple[Layer, ...], first_face_only: bool) -> Floats:
            return ReflectionTable(layers, frequency_ghz, losses=losses, first_face_only=first_face_only).at_cosines

        return ReflectionTable.of(self._mirrored(ReflectionTable.cosines(), of_layers))

    def mirrored_power(self, frequency_ghz: float, cos_incidence: ArrayLike, losses: Losses) -> Floats:
        """Share of the power mirrored at given cosines, without a table."""
        cos = np.asarray(cos_incidence, dtype=np.float64)
        return self._mirrored(
            cos,
            lambda layers, first: reflected_power(layers, frequency_ghz, cos, losses=losses, first_face_only=first),
        )

    def _mirrored(self, cos: Floats, of_layers: Callable[[tuple[Layer, ...], bool], Floats]) -> Floats:
        power = np.zeros(cos.shape)
        for share, layers in zip(*self._sections(cos), strict=True):
            if not _holds_metal(layers):
                power = power + share * of_layers(layers, False)
                continue
            for face in _faces(layers):
                power = power + share / 2 * (of_layers(face, True) if len(face) > 1 else 1.0)
        return np.clip(power, 0.0, 1.0)

    def loss_spread_db(self, frequency_ghz: float, cos_incidence: ArrayLike) -> tuple[Floats, Floats]:
        """Least and largest coherent loss within ±10 % of every thickness; with studs, bounds of their mean."""
        cos = np.asarray(cos_incidence, dtype=np.float64)
        shares, sections = self._sections(cos)
        ends = [
            (np.full(cos.shape, np.inf),) * 2 if _holds_metal(layers) else loss_spread_db(layers, frequency_ghz, cos)
            for layers in sections
        ]
        mats = self.mat_loss_db(frequency_ghz)
        return mixed_db(shares, [low for low, _ in ends]) + mats, mixed_db(shares, [high for _, high in ends]) + mats

    def reflection_spread_db(self, frequency_ghz: float, cos_incidence: ArrayLike) -> tuple[Floats, Floats]:
        """Least and largest coherent reflection loss, on either face, as `loss_spread_db`."""
        cos = np.asarray(cos_incidence, dtype=np.float64)
        shares, sections = self._sections(cos)
        ends = []
        for layers in sections:
            stacks = _faces(layers) if _holds_metal(layers) else (layers,)
            found = [_metal_spread(face, frequency_ghz, cos) for face in stacks]
            ends.append((np.min([low for low, _ in found], axis=0), np.max([high for _, high in found], axis=0)))
        return mixed_db(shares, [low for low, _ in ends]), mixed_db(shares, [high for _, high in ends])

    def varied(
        self,
        frequency_ghz: float,
        cos_incidence: ArrayLike,
        thickness_factors: ArrayLike = 1.0,
        a_factors: ArrayLike = 1.0,
        c_factors: ArrayLike = 1.0,
        *,
        each_polarisation: bool = False,
    ) -> tuple[Floats, Floats]:
        """Loss and reflection loss, coherent, as `varied_loss_db`; factors have a column for each of `parts`.

        The factor on the thickness of studs is one on their width; their depth is that of the gap they fill.
        """
        cos = np.atleast_1d(np.asarray(cos_incidence, dtype=np.float64))
        n_layers = len(self.layers)
        thickness, a, c = factor_columns(len(self.parts), thickness_factors, a_factors, c_factors)
        width = thickness[:, n_layers:] if self.studs is not None else np.ones((len(a), 1))
        shares, sections = self._sections(cos, width)
        loss, mirrored = [], []
        for layers in sections:
            columns = self._columns(layers, c.shape[1])
            factors = thickness[:, :n_layers], a[:, columns], c[:, columns]
            if not _holds_metal(layers):
                one = varied_loss_db(layers, frequency_ghz, cos, *factors, each_polarisation=each_polarisation)
                loss.append(one[0])
                mirrored.append(one[1])
                continue
            faces = []
            for face, order in zip(_faces(layers), (slice(None), slice(None, None, -1)), strict=True):
                kept = [f[:, order][:, : len(face)] for f in factors]
                faces.append(
                    varied_loss_db(
                        face, frequency_ghz, cos, *kept, each_polarisation=each_polarisation, first_face_only=True
                    )[1]
                    if len(face) > 1
                    else np.zeros((*((2,) if each_polarisation else ()), len(a), len(cos)))
                )
            loss.append(np.full_like(faces[0], np.inf))
            mirrored.append(mixed_db([0.5, 0.5], faces))
        return mixed_db(shares, loss) + self.mat_loss_db(frequency_ghz), mixed_db(shares, mirrored)

    def mat_loss_db(self, frequency_ghz: float) -> float:
        """What the mats add [dB], 0 without any."""
        if self.mats is None:
            return 0.0
        around = max(self.layers, key=lambda layer: (layer.material is not None, layer.thickness_m))
        one = mat_loss_db(self.mats.pitch_m, self.mats.bar_m, frequency_ghz, around.permittivity(frequency_ghz))
        return self.mats.n_mats * one

    def _sections(self, cos: Floats, width: ArrayLike = 1.0) -> tuple[list[Floats], list[tuple[Layer, ...]]]:
        """Shares of the area (…, n_cos) and the layers there; `width` varies that of the studs."""
        if self.studs is None:
            return [np.ones(cos.shape)], [self.layers]
        gap = self.gap
        depth = self.layers[gap].thickness_m
        wide = self.studs.width_m * np.asarray(width)
        if self.studs.material.is_metal:
            share = np.minimum(1.0, shadowed_share(self.studs.pitch_m, 0.0, depth, cos) + wide / self.studs.pitch_m)
        else:
            share = np.minimum(1.0, wide / self.studs.pitch_m + np.zeros(cos.shape))
        filled = replace(self.layers[gap], material=self.studs.material)
        return [1 - share, share], [self.layers, (*self.layers[:gap], filled, *self.layers[gap + 1 :])]

    @property
    def gap(self) -> int:
        """Which layer the studs fill: the widest air gap. Raises ValueError where there is none."""
        gaps = [i for i, layer in enumerate(self.layers) if layer.material is None]
        if not gaps:
            raise ValueError("studs need an air gap among the layers")
        return max(gaps, key=lambda i: self.layers[i].thickness_m)

    def _columns(self, layers: tuple[Layer, ...], n_parts: int) -> list[int]:
        """The column of `parts` that each layer of a section takes its material from."""
        columns = list(range(len(layers)))
        if layers is not self.layers:
            columns[self.gap] = n_parts - 1
        return columns


def _is_metal(layer: Layer) -> bool:
    return layer.material is not None and layer.material.is_metal


def _holds_metal(layers: Sequence[Layer]) -> bool:
    return any(_is_metal(layer) for layer in layers)


def _faces(layers: tuple[Layer, ...]) -> tuple[tuple[Layer, ...], tuple[Layer, ...]]:
    """What a wave meets from either side: the layers before the first metal, and as much metal as stops it."""
    found = []
    for order in (layers, layers[::-1]):
        first = next(i for i, layer in enumerate(order) if _is_metal(layer))
        metal = replace(order[first], thickness_m=min(order[first].thickness_m, _OPAQUE_METAL_M))
        found.append((*order[:first], metal))
    return found[0], found[1]


def _metal_spread(layers: tuple[Layer, ...], frequency_ghz: float, cos: Floats) -> tuple[Floats, Floats]:
    if len(layers) == 1 and _is_metal(layers[0]):
        return np.zeros(cos.shape), np.zeros(cos.shape)
    if not _holds_metal(layers):
        return reflection_spread_db(layers, frequency_ghz, cos)
    return reflection_spread_db(layers, frequency_ghz, cos, first_face_only=True)
