"""What sheets mirror, against hand-worked numbers and `tmm`. Rows of materials in p2040.py, with their edition.

Status marks: [V] read in the source named, [C] computed from such values, exact physics where nothing is named.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import tmm
from p2040 import BANDS_GHZ, CONSTRUCTIONS, MATERIALS
from scipy.constants import speed_of_light
from scipy.integrate import simpson

from raycover.catalogue import load_catalogue
from raycover.physics.slab import (
    Layer,
    Material,
    ReflectionTable,
    reflectance,
    reflected_power,
    reflection_db,
    reflection_spread_db,
)

CATALOGUE = load_catalogue()
LAYERED = [name for name, made in CATALOGUE.constructions.items() if made.kind == "layers"]
every_layered = pytest.mark.parametrize("name", LAYERED)
both_bands = pytest.mark.parametrize("frequency_ghz", BANDS_GHZ)
both_losses = pytest.mark.parametrize("losses", ["averaged", "coherent"])

LOSSLESS = Material("lossless", 4.0, 0, 0, 0, 1, 100)


def test_thick_brick_mirrors_as_a_half_space() -> None:
    """|(√η − 1)/(√η + 1)|² at normal incidence. By hand with ε_r = 3.91 [V] and no loss: √3.91 = 1.97737,
    (0.97737/2.97737)² = 0.10776, 9.675 dB; the loss of brick at 5.8 GHz changes that by less than 0.05 dB."""
    expected = 10 * math.log10((2.97737 / 0.97737) ** 2)
    assert expected == pytest.approx(9.675, abs=0.001)
    found = reflection_db([Layer(5.0, MATERIALS["brick"])], 5.8, 1.0)
    assert found == pytest.approx(expected, abs=0.05)


def test_quarter_wave_of_glass_by_hand() -> None:
    """ε = 4, n = 2: a quarter wave mirrors ((1 − n²)/(1 + n²))² = (3/5)² = 0.36, 4.437 dB."""
    quarter = speed_of_light / 10e9 / 2 / 4
    assert reflection_db([Layer(quarter, LOSSLESS)], 10.0, 1.0, losses="coherent") == pytest.approx(4.437, abs=1e-3)


def test_half_wave_mirrors_nothing() -> None:
    """n·d = λ/2: both faces' reflections cancel, so the loss of the mirrored way is unbounded."""
    half = speed_of_light / 10e9 / 2 / 2
    assert reflected_power([Layer(half, LOSSLESS)], 10.0, 1.0, losses="coherent") < 1e-25
    assert reflection_db([Layer(half, LOSSLESS)], 10.0, 1.0, losses="coherent") > 250
    assert reflection_db([Layer(0.0, LOSSLESS)], 10.0, 1.0) == np.inf


def test_brewster_halves_the_mean_power() -> None:
    """At tan θ = √ε only TE is mirrored; a slab thick enough to average gives the mean power 2r/(1 + r) of
    r = ((ε − 1)/(ε + 1))² = 0.36 there, incoherent faces of a lossless slab: 0.5294/2 = 0.2647, 5.77 dB."""
    brewster = math.atan(2.0)
    power = reflected_power([Layer(2.0, LOSSLESS)], 10.0, math.cos(brewster))
    assert power == pytest.approx(0.72 / 1.36 / 2, abs=2e-3)


def test_average_is_the_power_mean_over_the_thickness() -> None:
    """Dense Simpson integration of the coherent |R|² over ±10 %, an independent rule."""
    for name in ("12.5 mm plasterboard", "6 mm glass", "100 mm brick"):
        (layer,) = CONSTRUCTIONS[name]
        factors = np.linspace(0.9, 1.1, 20_001)
        cos = np.array([1.0, 0.7, 0.3, 0.05])
        te, tm = reflectance([layer], 24.125, cos, thickness_m=(layer.thickness_m * factors)[:, None])
        power = (np.abs(te) ** 2 + np.abs(tm) ** 2) / 2
        expected = simpson(power, x=factors, axis=0) / 0.2
        np.testing.assert_allclose(reflected_power([layer], 24.125, cos), expected, rtol=0, atol=1e-6)


@both_bands
@every_layered
def test_spread_holds_the_mean_and_the_drawn_sheet(name: str, frequency_ghz: float) -> None:
    layers = CATALOGUE.constructions[name].layers
    cos = np.cos(np.radians([0.0, 30.0, 60.0, 80.0]))
    low, high = reflection_spread_db(layers, frequency_ghz, cos)
    mean = reflection_db(layers, frequency_ghz, cos)
    assert np.all((low - 1e-6 <= mean) & (mean <= high + 1e-6))


def test_spread_of_plasterboard_against_a_sweep() -> None:
    layers = CONSTRUCTIONS["12.5 mm plasterboard"]
    te, tm = reflectance(layers, 24.125, 1.0, thickness_m=np.linspace(0.01125, 0.01375, 5001)[:, None])
    swept = -10 * np.log10((np.abs(te) ** 2 + np.abs(tm) ** 2) / 2)
    assert reflection_spread_db(layers, 24.125, 1.0) == pytest.approx((swept.min(), swept.max()), abs=0.01)


@both_losses
@both_bands
@every_layered
def test_table_against_the_formula(name: str, frequency_ghz: float, losses: str) -> None:
    """The stated accuracy of the lookup, in power: 1e-4 averaged, 1e-3 coherent."""
    layers = CATALOGUE.constructions[name].layers
    cos = np.random.default_rng(4).uniform(0, 1, 300)
    table = ReflectionTable(layers, frequency_ghz, losses=losses)  # type: ignore[arg-type]
    exact = reflected_power(layers, frequency_ghz, cos, losses=losses)  # type: ignore[arg-type]
    np.testing.assert_allclose(table.power(cos), exact, rtol=0, atol=1e-4 if losses == "averaged" else 1e-3)
    np.testing.assert_allclose(table.power(cos.astype(np.float32)), exact, rtol=0, atol=2e-3)


def test_table_at_a_zero() -> None:
    """A half-wave sheet at normal incidence: the table says that hardly anything is mirrored, never NaN."""
    half = speed_of_light / 10e9 / 2 / 2
    table = ReflectionTable([Layer(half, LOSSLESS)], 10.0, losses="coherent")
    loss = table.loss_db(np.array([1.0, 0.99999, 0.9999]))
    assert loss[0] > 250
    assert np.all(loss[1:] > 60)


@both_losses
@both_bands
@pytest.mark.parametrize("name", list(CATALOGUE.constructions))
def test_energy_is_never_gained(name: str, frequency_ghz: float, losses: str) -> None:
    """What passes and what is mirrored never exceed what came, for every construction and for averages too."""
    made = CATALOGUE.constructions[name]
    cos = np.linspace(0.0, 1.0, 777)
    passed = 10 ** (-made.loss_table(frequency_ghz, losses).loss_db(cos) / 10)  # type: ignore[arg-type]
    mirrored = 10 ** (-made.reflection_table(frequency_ghz, losses).loss_db(cos) / 10)  # type: ignore[arg-type]
    assert np.all(passed + mirrored <= 1 + 1e-3)


@both_bands
def test_both_faces_of_a_lopsided_sheet(frequency_ghz: float) -> None:
    """Transmission is the same from both sides, reflection is not: the mean of two `tmm` runs."""
    layers = [*CONSTRUCTIONS["12.5 mm plasterboard"], Layer(0.1, MATERIALS["brick"])]
    angle = math.radians(40.0)
    expected = []
    for order in (layers, layers[::-1]):
        indices = [1.0, *(np.sqrt(np.conj(layer.permittivity(frequency_ghz))) for layer in order), 1.0]
        depths = [np.inf, *(layer.thickness_m for layer in order), np.inf]
        expected += [
            tmm.coh_tmm(pol, indices, depths, angle, speed_of_light / (frequency_ghz * 1e9))["R"] for pol in "sp"
        ]
    found = reflected_power(layers, frequency_ghz, math.cos(angle), losses="coherent")
    assert found == pytest.approx(np.mean(expected), abs=1e-11)
    first = reflected_power(layers, frequency_ghz, math.cos(angle), losses="coherent", first_face_only=True)
    assert first == pytest.approx(np.mean(expected[:2]), abs=1e-11)


@both_losses
def test_metal_mirrors_all_and_air_nothing(losses: str) -> None:
    """A perfect conductor's |R| = 1 at every angle; an open mesh is taken as air."""
    cos = np.array([0.0, 0.3, 1.0])
    for name, expected in (("steel-panel", 0.0), ("mirror-6", 0.0), ("wire-mesh-50", np.inf)):
        table = CATALOGUE.constructions[name].reflection_table(5.8, losses)  # type: ignore[arg-type]
        np.testing.assert_array_equal(table.loss_db(cos), np.full(3, expected))
        assert table.never_mirrors == (name == "wire-mesh-50")


@pytest.mark.parametrize(("frequency_ghz", "loss"), [(5.8, 33.7), (24.125, 42.3)])
def test_coated_glazing_mirrors_as_a_thin_film(frequency_ghz: float, loss: float) -> None:
    """A film of sheet resistance Rs in free space, Z0 = 376.73 Ω: T = 2Rs/(2Rs + Z0), R = −Z0/(2Rs + Z0)
    (transmission line with a shunt, textbook). 33.7 dB is Rs = 3.97 Ω, |R|² = 0.959, 0.18 dB [C]."""
    amplitude = 10 ** (-loss / 20)
    sheet_ohm = 376.73 * amplitude / (1 - amplitude) / 2
    expected = -20 * math.log10(376.73 / (2 * sheet_ohm + 376.73))
    table = CATALOGUE.constructions["coated-glazing"].reflection_table(frequency_ghz, "averaged")
    assert table.loss_db([1.0, 0.5]) == pytest.approx([expected, expected], abs=1e-6)
    if frequency_ghz == 5.8:
        assert sheet_ohm == pytest.approx(3.97, abs=0.01)
        assert expected == pytest.approx(0.18, abs=0.01)
