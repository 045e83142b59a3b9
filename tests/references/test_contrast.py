"""Thermal contrast against Planck's law with CODATA constants [C]; geometry of zones and direction [C]."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from scipy.constants import Boltzmann, Planck, sigma, speed_of_light, zero_Celsius
from scipy.integrate import quad

from raycover.physics.infrared import (
    band_radiance,
    contrast_db,
    contrast_factor,
    direction_ratio,
    zone_crossing_hz,
)

AMBIENT_C = [10, 15, 20, 22, 25, 28, 30, 32, 35]


def test_band_radiances() -> None:
    """L(8–14 µm) in W/m²/sr [C]."""
    celsius = [15, 20, 25, 30, 34, 37]
    expected = [45.54, 49.37, 53.40, 57.61, 61.12, 63.83]
    np.testing.assert_allclose(band_radiance(celsius), expected, rtol=0, atol=0.005)


@pytest.mark.parametrize("celsius", [-30.0, 20.0, 34.0])
def test_band_radiance_against_adaptive_quadrature(celsius: float) -> None:
    """Planck's law per frequency instead of wavelength, integrated by QUADPACK."""

    def per_hz(nu: float) -> float:
        photon = Planck * nu / (Boltzmann * (celsius + zero_Celsius))
        return 2 * Planck * nu**3 / speed_of_light**2 / np.expm1(photon)

    expected, _ = quad(per_hz, speed_of_light / 14e-6, speed_of_light / 8e-6, epsrel=1e-12, epsabs=0)
    assert band_radiance(celsius) == pytest.approx(expected, rel=1e-10)


def test_whole_spectrum_is_stefan_boltzmann() -> None:
    """Bands from 1 µm to 5 mm add up to σT⁴/π (Stefan–Boltzmann law, CODATA) at 300 K."""
    edges = np.geomspace(1, 5000, 60)
    total = sum(band_radiance(300 - zero_Celsius, lo, hi) for lo, hi in itertools.pairwise(edges))
    assert total == pytest.approx(sigma * 300**4 / np.pi, rel=1e-6)


def test_contrast_of_bare_skin() -> None:
    """k of skin at 34 °C relative to 20 °C ambient [C]; 0.299 at 30 °C, none at 34 °C.

    At 22 °C 0.8649, so 0.86: the table this row comes from printed 0.87 (the radiances are checked against
    QUADPACK above).
    """
    expected = [1.64, 1.33, 1, 0.86, 0.66, 0.44, 0.30, 0.15, -0.08]
    np.testing.assert_allclose(contrast_factor(AMBIENT_C, "skin"), expected, rtol=0, atol=0.005)
    assert contrast_factor(30.0, "skin") == pytest.approx(0.299, abs=0.0005)
    assert contrast_factor(34.0, "skin") == 0.0
    assert contrast_db(contrast_factor(34.0, "skin")) == -np.inf


def test_contrast_of_a_clothed_person() -> None:
    """k of the adaptive clothed person [C, on our own assumption; clothing from ISO 7730 [2nd]]."""
    expected = [1.54, 1.28, 1, 0.88, 0.69, 0.50, 0.37, 0.23, 0.02]
    np.testing.assert_allclose(contrast_factor(AMBIENT_C), expected, rtol=0, atol=0.005)


def test_direction_ratios() -> None:
    """Toward over across at 2, 4 and 6 m, 1.7 m above the target's middle [C]."""
    np.testing.assert_allclose(direction_ratio([2, 4, 6], 1.7), [0.65, 0.39, 0.27], rtol=0, atol=0.005)


def test_direction_ratio_from_the_angles_themselves() -> None:
    """Turning of the line of sight over a small step toward and a small step across, by vectors."""
    step = 1e-5
    for r in (0.5, 2.0, 6.0):
        sight = np.array([r, 0.0, 1.7])

        def turned(moved: tuple[float, float, float], sight: np.ndarray = sight) -> float:
            other = sight + np.array(moved)
            return float(np.arctan2(np.linalg.norm(np.cross(sight, other)), sight @ other))

        ratio = turned((step, 0, 0)) / turned((0, step, 0))
        assert direction_ratio(r, 1.7) == pytest.approx(ratio, rel=1e-4)


def test_zone_crossing_rates() -> None:
    """7.5° pairs at 1 m/s: 2.5, 1.3 and 0.85 Hz at 3, 6 and 9 m [C]."""
    np.testing.assert_allclose(zone_crossing_hz(1.0, [3, 6, 9], 7.5), [2.5, 1.3, 0.85], rtol=0, atol=0.05)
