"""What a sheet is made of, and what it does to microwave: what it lets through and what it mirrors."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from raycover.physics.buildup import Buildup, Mats, Part, Studs
from raycover.physics.measured import Measured
from raycover.physics.slab import SPREAD_C, Layer, Losses, LossTable, Material, ReflectionTable, reflected_db
from raycover.physics.slab.varied import factor_columns

Floats = NDArray[np.float64]


NOT_MEASURED = Measured(())


class Doubt(NamedTuple):
    """Why a construction has no figure at a frequency, or only a nearby one."""

    known: tuple[str, ...]
    stands_in: str = ""


@dataclass(frozen=True)
class Construction:
    """What a sheet is made of. `thickness_m` is for drawing; losses come from `layers` or `measured`.

    Measured losses win between the frequencies at which they were measured. Beyond them the layers count, if there
    are any; else the nearest measured frequency within an octave of it, and nothing farther away. `added_db` is a
    correction from a test on site: it adds to every one-way loss, which stays 0 at least, and to no reflection.
    """

    name: str
    kind: Literal["layers", "opaque", "open", "measured"]
    thickness_m: float
    layers: tuple[Layer, ...] = ()
    measured: Measured = NOT_MEASURED
    glazing: bool = False
    source: str = ""
    studs: Studs | None = None
    mats: Mats | None = None
    added_db: float = 0.0

    @property
    def stops_infrared(self) -> bool:
        return self.kind != "open"

    @property
    def buildup(self) -> Buildup:
        """Its layers with studs and mats."""
        return Buildup(self.layers, self.studs, self.mats)

    @property
    def materials(self) -> tuple[Material, ...]:
        """Every material in it, each once."""
        return self.buildup.materials

    def loss_table(self, frequency_ghz: float, losses: Losses) -> LossTable:
        """One-way microwave loss against incidence. Raises ValueError where there is no figure (see `doubt_at`)."""
        return _loss_table(self, frequency_ghz, losses)

    def reflection_table(self, frequency_ghz: float, losses: Losses) -> ReflectionTable:
        """One-way reflection loss against incidence, averaged over thickness or coherent as the losses are.

        Layers mirror as their slab formula says, metal within them as the last thing that is seen from a face;
        other opaque sheets mirror all, `open` ones nothing. Where a loss L was measured without its reflection,
        layers tell it, as far as the energy allows; without layers the sheet is taken for an electrically thin
        conducting film, whose amplitudes obey R = T − 1: |R|² = (1 − 10^(−L/20))² (our assumption; right for coated
        glass, too much for a wall that swallows what it stops). It lies below the bound of the energy,
        1 − 10^(−L/10). Raises ValueError as `loss_table`.
        """
        return _reflection_table(self, frequency_ghz, losses)

    def loss_db(self, frequency_ghz: float, cos_incidence: ArrayLike, losses: Losses) -> Floats:
        """As `loss_table`, at given cosines and without a table: for few angles and many frequencies."""
        if self._by_layers(frequency_ghz):
            return self.corrected_db(self.buildup.loss_db(frequency_ghz, cos_incidence, losses))
        return np.asarray(self.loss_table(frequency_ghz, losses).loss_db(np.asarray(cos_incidence, dtype=np.float64)))

    def mirrored_power(self, frequency_ghz: float, cos_incidence: ArrayLike, losses: Losses) -> Floats:
        """Share of the power mirrored, as `reflection_table`, at given cosines and without a table."""
        if self._by_layers(frequency_ghz) or (self.kind == "opaque" and self._faces_known(frequency_ghz)):
            return self.buildup.mirrored_power(frequency_ghz, cos_incidence, losses)
        table = self.reflection_table(frequency_ghz, losses)
        return np.asarray(table.power(np.asarray(cos_incidence, dtype=np.float64)))

    def loss_spread_db(self, frequency_ghz: float, cos_incidence: ArrayLike) -> tuple[Floats, Floats]:
        """Least and largest one-way loss [dB] within ±10 % of every thickness; of a measured one, itself twice."""
        if self._by_layers(frequency_ghz):
            low, high = self.buildup.loss_spread_db(frequency_ghz, cos_incidence)
            return self.corrected_db(low), self.corrected_db(high)
        loss = np.asarray(self.loss_table(frequency_ghz, "coherent").loss_db(cos_incidence), dtype=np.float64)
        return loss, loss.copy()

    def reflection_spread_db(self, frequency_ghz: float, cos_incidence: ArrayLike) -> tuple[Floats, Floats]:
        """Least and largest reflection loss [dB], on either face, as `loss_spread_db`."""
        if self._by_layers(frequency_ghz) or (self.kind == "opaque" and self._faces_known(frequency_ghz)):
            return self.buildup.reflection_spread_db(frequency_ghz, cos_incidence)
        loss = np.asarray(self.reflection_table(frequency_ghz, "coherent").loss_db(cos_incidence), dtype=np.float64)
        return loss, loss.copy()

    def parts(self, frequency_ghz: float) -> tuple[Part, ...]:
        """What may differ from the drawing, a row for each column of the factors of `varied`.

        Opaque sheets without layers and open ones have none. A measured sheet has one, taken for the conductance of
        a film: the sheet that is built is never the one that was measured (our assumption).
        """
        if self._by_layers(frequency_ghz) or (self.kind == "opaque" and self._faces_known(frequency_ghz)):
            return self.buildup.parts
        if self.kind == "measured":
            return (Part("as measured", 0.0, 0.0, SPREAD_C),)
        return ()

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
        """One-way loss and reflection loss [dB] with its parts varied by factors, coherent, draw by draw.

        Parameters
        ----------
        frequency_ghz : [GHz]
        cos_incidence : (n_cos,)
        thickness_factors, a_factors, c_factors : what each broadcasts to (n_draws, n_parts), a column for each of
            `parts(frequency_ghz)`; with no parts, (n_draws, 0). Factor c on a measured loss adds 20·log10 of it.
        each_polarisation : TE and TM apart, TE first, instead of their mean power.

        Returns two arrays (n_draws, n_cos), or (2, n_draws, n_cos). Raises ValueError as `loss_table` does, and for
        factors that are negative or of the wrong shape.
        """
        cos = np.atleast_1d(np.asarray(cos_incidence, dtype=np.float64))
        n_parts = len(self.parts(frequency_ghz))
        factors = factor_columns(n_parts, thickness_factors, a_factors, c_factors)
        if self._by_layers(frequency_ghz) or (n_parts and self.kind == "opaque"):
            loss_db, mirrored_db = self.buildup.varied(
                frequency_ghz, cos, *factors, each_polarisation=each_polarisation
            )
            return self.corrected_db(loss_db), mirrored_db
        plain = replace(self, added_db=0.0) if self.added_db else self
        loss = np.asarray(plain.loss_table(frequency_ghz, "coherent").loss_db(cos))
        mirrored = np.asarray(self.reflection_table(frequency_ghz, "coherent").loss_db(cos))
        both = [np.broadcast_to(values, (len(factors[0]), len(cos))) for values in (loss, mirrored)]
        if n_parts:
            with np.errstate(divide="ignore"):
                both[0] = np.maximum(both[0] + 20 * np.log10(factors[2]), 0.0)
            known = self.measured.reflects or self._faces_known(frequency_ghz)
            both[1] = reflected_db(_beside(both[0], 10 ** (-mirrored / 10) if known else None))
        both[0] = self.corrected_db(both[0])
        if each_polarisation:
            both = [np.broadcast_to(values, (2, *values.shape)) for values in both]
        return both[0], both[1]

    def corrected_db(self, loss_db: Floats) -> Floats:
        """One-way losses [dB] with the correction, none below 0."""
        return np.maximum(loss_db + self.added_db, 0.0) if self.added_db else loss_db

    def doubt_at(self, frequency_ghz: float) -> Doubt | None:
        """None where there is a figure at a frequency; else what is known, and what stands in for it if anything."""
        if self.kind in ("opaque", "open") or self.measured.covers(frequency_ghz):
            return None
        if not self._by_layers(frequency_ghz):
            known = f"{self.name} (measured {_range(self.measured.from_ghz, self.measured.to_ghz)})"
            near = self.measured.is_near(frequency_ghz)
            return Doubt((known,), f"{self.measured.nearest_ghz(frequency_ghz):g} GHz" if near else "")
        unknown = tuple(sorted(m.known_words for m in self.materials if not m.holds_at(frequency_ghz)))
        return Doubt(unknown) if unknown else None

    def _by_layers(self, frequency_ghz: float) -> bool:
        """Whether the figures at a frequency are computed from layers."""
        return self.kind in ("layers", "measured") and bool(self.layers) and not self.measured.covers(frequency_ghz)

    def _faces_known(self, frequency_ghz: float) -> bool:
        return bool(self.layers) and all(m.holds_at(frequency_ghz) for m in self.materials)


@lru_cache(maxsize=1024)
def _loss_table(construction: Construction, frequency_ghz: float, losses: Losses) -> LossTable:
    if construction.kind == "opaque":
        return LossTable.opaque()
    if construction.kind == "open" or (construction.kind == "layers" and not construction.layers):
        return LossTable.constant(0.0)
    if construction._by_layers(frequency_ghz):
        table = construction.buildup.loss_table(frequency_ghz, losses)
        return LossTable.of(construction.corrected_db(table.at_cosines)) if construction.added_db else table
    _refuse_far(construction, frequency_ghz)
    measured = construction.measured.loss_db(frequency_ghz, LossTable.cosines())
    return LossTable.of(construction.corrected_db(measured))


@lru_cache(maxsize=1024)
def _reflection_table(construction: Construction, frequency_ghz: float, losses: Losses) -> ReflectionTable:
    if construction.kind == "open" or (construction.kind == "layers" and not construction.layers):
        return ReflectionTable.constant(np.inf)
    if construction.kind == "opaque" and not construction._faces_known(frequency_ghz):
        return ReflectionTable.constant(0.0)
    if construction.kind == "opaque" or construction._by_layers(frequency_ghz):
        return construction.buildup.reflection_table(frequency_ghz, losses)
    _refuse_far(construction, frequency_ghz)
    measured, cos = construction.measured, ReflectionTable.cosines()
    known: Floats | None = None
    if measured.reflects:
        known = 10 ** (-measured.reflection_db(frequency_ghz, cos) / 10)
    elif construction.layers and construction._faces_known(frequency_ghz):
        known = construction.buildup.reflection_table(frequency_ghz, losses).at_cosines
    return ReflectionTable.of(_beside(measured.loss_db(frequency_ghz, cos), known))


def _beside(loss_db: Floats, known: Floats | None) -> Floats:
    """Mirrored power beside a loss: as `known`, within the bound of the energy; where it is not, that of a film."""
    if known is None:
        return np.asarray((1 - 10 ** (-loss_db / 20)) ** 2)
    return np.minimum(known, 1 - 10 ** (-loss_db / 10))


def _refuse_far(construction: Construction, frequency_ghz: float) -> None:
    measured = construction.measured
    if not measured.is_near(frequency_ghz):
        raise ValueError(
            f"{construction.name!r} was measured {_range(measured.from_ghz, measured.to_ghz)}: "
            f"{frequency_ghz:g} GHz is too far away"
        )


def _range(low: float, high: float) -> str:
    return f"at {low:g} GHz" if low == high else f"{low:g} to {high:g} GHz"
