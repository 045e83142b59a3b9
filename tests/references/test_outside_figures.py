"""Figures that the computation rests on against other people's figures for the same things.

Each with its source; none of them was used to make what it checks.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from raycover.catalogue import SolidMaterial, load_catalogue
from raycover.physics.infrared import band_radiance
from raycover.physics.microwave import reach_factor
from raycover.physics.slab import Layer, Material, loss_db
from raycover.rays.reflecting import half_space_table
from raycover.scene.routes import WALKING_SPEED

STEFAN_BOLTZMANN = 5.670374e-8


def fraction_below(micrometre_kelvin: float) -> float:
    """Share of a black body's power below λ·T, by the series of S. L. Chang and K. T. Rhee, Int. Comm. Heat Mass
    Transfer 11 (1984) 451-455 [M]: no quadrature."""
    x = 14_387.77 / micrometre_kelvin
    terms = (math.exp(-n * x) * (x**3 + 3 * x**2 / n + 6 * x / n**2 + 6 / n**3) / n for n in range(1, 40))
    return 15 / math.pi**4 * sum(terms)


def test_band_radiance_by_the_tables_of_heat_transfer() -> None:
    """Blackbody functions of the textbooks (Incropera & DeWitt, table 12.1 [M]): F(2400 µm·K) = 0.1403,
    F(4200) = 0.5160. At 300 K those are 8 and 14 µm: 0.3757 · σ · 300⁴ / π = 54.93 W/m²/sr."""
    assert fraction_below(2400) == pytest.approx(0.1403, abs=1e-4)
    assert fraction_below(4200) == pytest.approx(0.5160, abs=1e-4)
    by_hand = (0.5160 - 0.1403) * STEFAN_BOLTZMANN * 300**4 / math.pi
    assert by_hand == pytest.approx(54.93, abs=0.01)
    assert float(band_radiance(300 - 273.15)) == pytest.approx(by_hand, rel=1e-3)


@pytest.mark.parametrize("celsius", [-30.0, 0.0, 20.0, 34.0, 50.0, 300.0])
def test_band_radiance_by_a_series(celsius: float) -> None:
    kelvin = celsius + 273.15
    share = fraction_below(14 * kelvin) - fraction_below(8 * kelvin)
    expected = share * STEFAN_BOLTZMANN * kelvin**4 / math.pi
    assert float(band_radiance(celsius)) == pytest.approx(expected, rel=1e-5)


def test_crown_glass_as_in_optics_books() -> None:
    """n = 1.5 in air (Hecht, Optics, chapter 4 [M]): 4 % square on; at 45° 9.2 % across and 0.85 % in the plane of
    incidence; at Brewster's angle arctan 1.5 = 56.31° 14.8 % across and nothing in the plane; all of it at grazing."""
    table = half_space_table(SolidMaterial("glass", material=Material("n = 1.5", 2.25, 0, 0, 0, 1, 100)), 10.0)
    for angle, across, along in ((0.0, 0.04, 0.04), (45.0, 0.0920, 0.0085), (56.31, 0.1479, 0.0), (89.999, 1.0, 1.0)):
        found = 10 ** (-table.loss_db(math.cos(math.radians(angle))) / 10)
        assert found == pytest.approx((across + along) / 2, abs=1e-3)
        if 0 < angle < 89:
            # The sine and tangent laws, which share no line with the admittances of a slab.
            i = math.radians(angle)
            t = math.asin(math.sin(i) / 1.5)
            assert (math.sin(i - t) / math.sin(i + t)) ** 2 == pytest.approx(across, abs=1e-4)
            assert (math.tan(i - t) / math.tan(i + t)) ** 2 == pytest.approx(along, abs=1e-4)


def liebe(ghz: float, kelvin: float) -> complex:
    """Water by H. J. Liebe, G. A. Hufford and T. Manabe, Int. J. IR mm Waves 12 (1991) 659-675 [2nd]."""
    theta = 1 - 300 / kelvin
    static, first = 77.66 - 103.3 * theta, 20.2 + 146.4 * theta + 316 * theta**2
    middle, last = 0.0671 * static, 3.52 + 7.52 * theta
    return last + (middle - last) / (1 + 1j * ghz / (39.8 * first)) + (static - middle) / (1 + 1j * ghz / first)


def ulaby(ghz: float, celsius: float) -> complex:
    """Pure water with one relaxation, F. T. Ulaby and D. G. Long, Microwave Radar and Radiometric Remote Sensing, 2014
    [2nd]."""
    static = 88.045 - 0.4147 * celsius + 6.295e-4 * celsius**2 + 1.075e-5 * celsius**3
    turn_s = 1.1109e-10 - 3.824e-12 * celsius + 6.938e-14 * celsius**2 - 5.096e-16 * celsius**3
    return 4.9 + (static - 4.9) / (1 + 1j * ghz * 1e9 * turn_s)


def test_liquids_lose_what_water_does() -> None:
    """1405 and 1399 dB/m at 5.8 GHz and 20 °C by two published formulae; a load of liquid is 0.6 of it (ours)."""
    for eta, rate in ((liebe(5.8, 293.15), 1405), (ulaby(5.8, 20.0), 1399)):
        found = 20 * math.log10(math.e) * 2 * math.pi * 5.8e9 / 299_792_458 * -np.sqrt(eta).imag
        assert found == pytest.approx(rate, abs=1)
        assert load_catalogue().solids["liquid"].loss_db_per_m(5.8) == pytest.approx(0.6 * found, rel=0.01)


def test_acrylic_by_a_second_table() -> None:
    """2.59 and tan δ 0.018, or 2.57 and 0.0082, at 10 GHz, and 2.60 and 0.015 at 3 GHz (Reference Data for Radio
    Engineers, through a table of permittivities [V]): a sheet of 5 mm differs by less than half a dB from ours."""
    ours = load_catalogue().constructions["acrylic-5"].layers
    for ghz, a, tangent in ((10.0, 2.59, 0.018), (10.0, 2.57, 0.0082), (5.8, 2.60, 0.015)):
        theirs = Material("acrylic", a, 0, 0.05563 * a * tangent, 1, 1, 100)
        for cosine in (1.0, 0.7):
            expected = float(loss_db([Layer(5e-3, theirs)], ghz, cosine))
            assert float(loss_db(ours, ghz, cosine)) == pytest.approx(expected, abs=0.5)


def test_people_walk_as_streets_are_timed_for() -> None:
    """3.81 ft/s is the mean of people over 65 at crossings (T. J. Gates et al., Transp. Res. Rec. 1982, 2006, 38-47
    [V abstract]), 4.0 ft/s what signals have been timed for (Manual on Uniform Traffic Control Devices [2nd])."""
    assert 3.81 * 0.3048 < WALKING_SPEED < 4.0 * 0.3048


def test_fourth_power() -> None:
    """Twice the distance is 12.04 dB less echo (any radar textbook): so 6.02 dB one way halve the reach."""
    assert float(reach_factor(20 * math.log10(2))) == pytest.approx(0.5, abs=1e-12)
