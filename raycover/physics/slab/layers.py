"""What a sheet is made of, to radio waves: rows of permittivity and conductivity, and layers of them.

Source: ITU-R P.2040. Time sign exp(+jωt): a lossy medium has a relative permittivity with a negative imaginary part.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.constants import epsilon_0

SPREAD_A, SPREAD_C = 0.05, 0.30
"""Relative standard deviations of permittivity and conductivity where a row gives none (our assumption).

Rows of one name differ by up to 8 % and 35 % at 5.8 GHz between editions 1 and 3 of P.2040 [edition 1 from memory],
boards and blocks of one kind at least as much.
"""


@dataclass(frozen=True)
class Material:
    """One row of a P.2040 table: ε_r = a·f^b and σ = c·f^d [S/m], f in GHz, valid from one f to another.

    `spread_a` and `spread_c` are relative standard deviations of ε_r and σ from one batch to another.
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

    def varied(self, factor_a: float, factor_c: float) -> Material:
        """The same material with its permittivity and its conductivity times a factor each."""
        return replace(self, a=self.a * factor_a, c=self.c * factor_c)

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
