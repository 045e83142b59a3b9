"""What a sheet is made of, to radio waves: rows of permittivity and conductivity, and layers of them.

Source: ITU-R P.2040. Time sign exp(+jωt): a lossy medium has a relative permittivity with a negative imaginary part.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.constants import epsilon_0

SPREAD_A, SPREAD_C = 0.05, 0.30
"""Relative standard deviations of permittivity and conductivity where a row gives none (our assumption).

Rows of one name differ by up to 8 % and 33 % at 9 GHz between editions 1 and 3 of P.2040 [edition 1 through another
library's table], boards and blocks of one kind at least as much.
"""


@dataclass(frozen=True)
class Material:
    """One row of a P.2040 table: ε_r = a·f^b and σ = c·f^d [S/m], f in GHz, valid from one f to another.

    `measured` rows (f, ε_r, σ), rising in f, win over the formula between the first and the last of them: linear
    over the logarithm of f. `spread_a` and `spread_c` are relative standard deviations of ε_r and σ from one batch
    to another.
    """

    name: str
    a: float
    b: float
    c: float
    d: float
    from_ghz: float
    to_ghz: float
    spread_a: float = SPREAD_A
    spread_c: float = SPREAD_C
    measured: tuple[tuple[float, float, float], ...] = ()

    def varied(self, factor_a: float, factor_c: float) -> Material:
        """The same material with its permittivity and its conductivity times a factor each."""
        measured = tuple((f, permittivity * factor_a, sigma * factor_c) for f, permittivity, sigma in self.measured)
        return replace(self, a=self.a * factor_a, c=self.c * factor_c, measured=measured)

    @property
    def is_metal(self) -> bool:
        """Whether it conducts so well (10⁵ S/m or more) that a sheet of it is opaque: a few µm stop 5.8 GHz."""
        return self.c >= 1e5

    @property
    def ranges_ghz(self) -> tuple[tuple[float, float], ...]:
        """Where there are figures: the formula's range and the measured one, joined where they meet."""
        ranges = [(self.from_ghz, self.to_ghz)]
        if self.measured:
            ranges = sorted({*ranges, (self.measured[0][0], self.measured[-1][0])})
        if len(ranges) == 2 and ranges[1][0] <= ranges[0][1]:
            return ((ranges[0][0], max(ranges[0][1], ranges[1][1])),)
        return tuple(ranges)

    def holds_at(self, frequency_ghz: float) -> bool:
        """Whether there is a figure at a frequency."""
        return any(low <= frequency_ghz <= high for low, high in self.ranges_ghz)

    @property
    def known_words(self) -> str:
        """Its name and where there are figures."""
        return f"{self.name} ({' and '.join(f'{low:g} to {high:g} GHz' for low, high in self.ranges_ghz)})"

    def permittivity(self, frequency_ghz: float) -> complex:
        """Complex relative permittivity η = ε_r − jσ/(2πf·ε0) at `frequency_ghz`.

        Raises ValueError where there is no figure: a row is never extrapolated.
        """
        if not self.holds_at(frequency_ghz):
            known = " and ".join(f"from {low:g} to {high:g} GHz" for low, high in self.ranges_ghz)
            raise ValueError(f"material {self.name!r} is known {known}, not at {frequency_ghz:g} GHz")
        if self.measured and self.measured[0][0] <= frequency_ghz <= self.measured[-1][0]:
            f, real, sigmas = np.array(self.measured).T
            relative, sigma = (float(np.interp(np.log(frequency_ghz), np.log(f), y)) for y in (real, sigmas))
        else:
            relative, sigma = self.a * frequency_ghz**self.b, self.c * frequency_ghz**self.d
        return complex(relative, -sigma / (2 * np.pi * frequency_ghz * 1e9 * epsilon_0))


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
