"""Measured losses between the frequencies and angles at which they were measured."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

OCTAVE = 2.0
"""The nearest measured frequency stands in as far as this factor beyond the measured ones (our assumption)."""


@dataclass(frozen=True)
class MeasuredRow:
    """One measurement: one-way loss [dB], and the reflection loss [dB] if that was measured too."""

    frequency_ghz: float
    loss_db: float
    incidence_deg: float = 0.0
    reflection_db: float | None = None


@dataclass(frozen=True)
class Measured:
    """Measurements of one sheet: at least one row, no two of them at the same frequency and angle."""

    rows: tuple[MeasuredRow, ...]

    def __bool__(self) -> bool:
        return bool(self.rows)

    @property
    def from_ghz(self) -> float:
        return min(row.frequency_ghz for row in self.rows)

    @property
    def to_ghz(self) -> float:
        return max(row.frequency_ghz for row in self.rows)

    @property
    def reflects(self) -> bool:
        """Whether reflection was measured."""
        return all(row.reflection_db is not None for row in self.rows)

    def covers(self, frequency_ghz: float) -> bool:
        """Whether a frequency lies among the measured ones."""
        return bool(self.rows) and self.from_ghz <= frequency_ghz <= self.to_ghz

    def nearest_ghz(self, frequency_ghz: float) -> float:
        """The measured frequency nearest to one, by ratio."""
        return min((row.frequency_ghz for row in self.rows), key=lambda f: abs(np.log(f / frequency_ghz)))

    def is_near(self, frequency_ghz: float) -> bool:
        """Whether a frequency lies among the measured ones or within an octave of their ends."""
        nearest = float(np.clip(frequency_ghz, self.from_ghz, self.to_ghz))
        return max(nearest, frequency_ghz) <= OCTAVE * min(nearest, frequency_ghz)

    def loss_db(self, frequency_ghz: float, cos_incidence: ArrayLike) -> Floats:
        """One-way loss [dB] in the shape of `cos_incidence`.

        Linear in dB over the logarithm of the frequency, and over the angle in degrees at each frequency;
        beyond what was measured the nearest holds (whether that may be is for the caller to judge: `is_near`).
        """
        return self._between(frequency_ghz, cos_incidence, [row.loss_db for row in self.rows])

    def reflection_db(self, frequency_ghz: float, cos_incidence: ArrayLike) -> Floats:
        """Reflection loss [dB] as measured, in between as `loss_db`. Raises ValueError if it was not measured."""
        values = [row.reflection_db for row in self.rows if row.reflection_db is not None]
        if len(values) != len(self.rows):
            raise ValueError("reflection was not measured")
        return self._between(frequency_ghz, cos_incidence, values)

    def _between(self, frequency_ghz: float, cos_incidence: ArrayLike, values: Sequence[float]) -> Floats:
        angle = np.degrees(np.arccos(np.clip(np.abs(np.asarray(cos_incidence, dtype=np.float64)), 0.0, 1.0)))
        frequencies = sorted({row.frequency_ghz for row in self.rows})
        curves = []
        for frequency in frequencies:
            points = sorted(
                (row.incidence_deg, value)
                for row, value in zip(self.rows, values, strict=True)
                if row.frequency_ghz == frequency
            )
            curves.append(np.interp(angle, *np.array(points).T))
        at = float(np.clip(frequency_ghz, frequencies[0], frequencies[-1]))
        above = min(int(np.searchsorted(frequencies, at)), len(frequencies) - 1)
        below = max(above - 1, 0)
        if below == above:
            return np.asarray(curves[above])
        share = np.log(at / frequencies[below]) / np.log(frequencies[above] / frequencies[below])
        return np.asarray((1 - share) * curves[below] + share * curves[above])
