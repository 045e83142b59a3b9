"""Hot sources, moving things and other units against what detectors answer to.

[C] computed here by another way than the code's; [M] from memory; the rules themselves are ours.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.constants import Boltzmann, Planck, speed_of_light, zero_Celsius
from scipy.integrate import quad
from scipy.signal import lsim

from raycover.physics.disturbance import (
    BODY_M2,
    REJECTION_DB,
    change_db,
    doppler_db,
    fill_db,
    flicker_db,
    interference_db,
    source_contrast,
    zone_area_m2,
)


def radiance(celsius: float) -> float:
    """Planck's law per wavelength, 8 to 14 µm, integrated by QUADPACK [C]."""

    def per_metre(wavelength: float) -> float:
        x = Planck * speed_of_light / (wavelength * Boltzmann * (celsius + zero_Celsius))
        return 2 * Planck * speed_of_light**2 / wavelength**5 / np.expm1(x)

    return quad(per_metre, 8e-6, 14e-6, epsrel=1e-12, epsabs=0)[0]


def person(ambient_c: float) -> float:
    """Radiance of a clothed person above the room's: shares, emissivities and clothing of PHYSICS, ours there too.

    0.7 clo of 0.155 m²K/W (ISO 7730 [2nd]) and 11.7 W/m²K: 85 % clothed (0.95), 15 % bare (0.98).
    """
    skin = 33.5 + 0.13 * (ambient_c - 22)
    air, cloth = 1 / 11.7, 0.155 * 0.7
    clothing = ambient_c + (skin - ambient_c) * air / (cloth + air)
    return 0.85 * 0.95 * (radiance(clothing) - radiance(ambient_c)) + 0.15 * 0.98 * (
        radiance(skin) - radiance(ambient_c)
    )


@pytest.mark.parametrize(
    ("surface", "ambient", "emissivity"), [(80, 20, 0.95), (150, 18, 0.9), (35, 28, 0.3), (5, 20, 1)]
)
def test_contrast_of_a_source_against_independent_quadrature(surface: float, ambient: float, emissivity: float) -> None:
    expected = emissivity * (radiance(surface) - radiance(ambient)) / person(20)
    assert source_contrast(surface, ambient, emissivity) == pytest.approx(expected, rel=1e-9)
    assert (expected < 0) == (surface < ambient)


def test_a_heater_of_80_degrees_outshines_a_person_by_20_db() -> None:
    """L(80 °C) − L(20 °C) = 110.33 − 49.37 against 5.433 W/m²/sr [C]: 0.95·60.96/5.433 = 10.66 times, 20.55 dB."""
    k = 0.95 * (radiance(80) - radiance(20)) / person(20)
    assert 20 * np.log10(source_contrast(80, 20)) == pytest.approx(20 * np.log10(k), abs=1e-9)
    assert 20 * np.log10(k) == pytest.approx(20.55, abs=0.01)


def test_what_is_as_warm_as_the_air_has_no_contrast() -> None:
    assert source_contrast(20, 20) == 0


def test_area_counts_as_far_as_it_fits_a_zone() -> None:
    """At 4 m a half zone of an 11° pair covers 0.5·0.768 × 0.8·0.768 = 0.2359 m² [C]."""
    side = 4 * np.radians(11)
    assert side == pytest.approx(0.768, abs=5e-4)
    assert zone_area_m2(4, 11) == pytest.approx(0.2359, abs=5e-4)
    # larger than the zone, as the body is there: no difference
    assert fill_db(3.0, 4, 11) == pytest.approx(0)
    # a tenth of the zone: a tenth of the power, 20 dB
    assert fill_db(0.1 * 0.4 * side**2, 4, 11) == pytest.approx(-20)
    # far off both are smaller than a zone: the ratio of areas
    assert fill_db(BODY_M2 / 2, 100, 11) == pytest.approx(20 * np.log10(0.5))
    assert fill_db(2 * BODY_M2, 100, 11) == pytest.approx(20 * np.log10(2))
    assert fill_db(0.0, 5, 11) == -np.inf


@pytest.mark.parametrize("seconds", [0.01, 0.5, 1 / (2 * np.pi * 0.1), 5.0, 20.0, 300.0])
def test_a_slow_change_is_what_a_high_pass_leaves_of_it(seconds: float) -> None:
    """Against SciPy's simulation of a first-order high pass of 0.1 Hz [M] that meets 1 − exp(−t/τ) [C]."""
    hold = 1 / (2 * np.pi * 0.1)
    time = np.linspace(0, 12 * max(seconds, hold), 8_001)
    _, out, _ = lsim(([hold, 0], [hold, 1]), 1 - np.exp(-time / seconds), time)
    assert change_db(seconds) == pytest.approx(20 * np.log10(out.max()), abs=0.02)


def test_a_change_as_slow_as_the_filter_leaves_1_over_e() -> None:
    assert change_db(1 / (2 * np.pi * 0.1)) == pytest.approx(-20 * np.log10(np.e), abs=1e-5)
    assert change_db(1e-9) == pytest.approx(0, abs=1e-3)


def test_flicker_passes_between_a_tenth_and_ten_hertz() -> None:
    """3 dB down at either end, as a first-order filter is; next to nothing lost at 1 Hz."""
    assert flicker_db([0.1, 10]) == pytest.approx([-3.0107, -3.0107], abs=1e-3)
    assert flicker_db(1.0) == pytest.approx(-20 * np.log10(1.01), abs=1e-9)
    assert flicker_db(100.0) == pytest.approx(-10 * np.log10(101), abs=1e-4)


def test_speed_against_a_walker() -> None:
    """First order below 0.1 and above 3 m/s, relative to 1.22 m/s and never above it (ours)."""
    walker = -10 * np.log10((1 + (0.1 / 1.22) ** 2) * (1 + (1.22 / 3) ** 2))
    assert doppler_db(1.22, 1.22) == 0
    assert doppler_db(6, 6) == pytest.approx(-10 * np.log10(5) - walker, abs=2e-3)
    assert doppler_db(0.01, 0.01) == pytest.approx(-10 * np.log10(101) - walker, abs=1e-3)
    assert doppler_db(0, 0) == -np.inf
    assert doppler_db(0, 6) == 0  # of a fan's blade some part moves as a walker does
    assert doppler_db(4, 8) == doppler_db(4, 4)


def test_interference_against_the_radar_equation() -> None:
    """Two units of 20 dBi, 10 mW, 5.8 GHz; reach 7 m and 5 m, 4 m apart, 3 dB between [C].

    The echo of 0.73 m² at 7 m in the radar equation, the other's carrier in Friis' formula; both in watts.
    """
    wavelength, power, sigma = speed_of_light / 5.8e9, 0.01, 0.73
    reach_a, reach_b, d, loss = 7.0, 5.0, 4.0, 3.0
    # the reach goes with the square root of the gain: equal thresholds
    gain_a = 100.0
    echo = power * gain_a**2 * wavelength**2 * sigma / ((4 * np.pi) ** 3 * reach_a**4)
    gain_b = np.sqrt(echo * (4 * np.pi) ** 3 * reach_b**4 / (power * wavelength**2 * sigma))
    carrier = power * gain_a * gain_b * (wavelength / (4 * np.pi * d)) ** 2 * 10 ** (-loss / 10)
    expected = 10 * np.log10(carrier / echo) - REJECTION_DB
    m_a, m_b = (40 * np.log10(r / d) - 2 * loss for r in (reach_a, reach_b))
    assert interference_db(m_a, m_b, d, loss) == pytest.approx(expected, abs=1e-9)
    assert interference_db(-np.inf, -np.inf, d, np.inf) == -np.inf


def test_rejection_is_what_makes_equal_units_of_seven_metres_disturb_each_other_up_to_there() -> None:
    """4π·s0⁴/(σ·d²) at d = s0 = 7 m: 29.3 dB; with 30 dB of rejection the limit lies at 6.4 m [C]."""
    limit = 7.0**2 * np.sqrt(4 * np.pi / 0.73) * 10 ** (-REJECTION_DB / 20)
    assert limit == pytest.approx(6.43, abs=0.01)
    margin = 40 * np.log10(7 / limit)
    assert interference_db(margin, margin, limit, 0.0) == pytest.approx(0, abs=1e-9)
