"""Slab losses against published and independently computed figures; rows in p2040.py with their edition.

Status marks: [V] read in the source named, [C] computed from such values, [M] from memory.
"""

from __future__ import annotations

import numpy as np
import pytest
import tmm
from p2040 import BANDS_GHZ, COHERENT_DB, CONSTRUCTIONS, MATERIALS, stack
from scipy.constants import speed_of_light
from scipy.integrate import simpson
from scipy.stats import qmc

from raycover.physics.slab import (
    Layer,
    LossTable,
    Material,
    loss_db,
    loss_spread_db,
    reflectance,
    transmittance,
)

ANGLES_DEG = np.array([0.0, 45.0, 60.0])
COS = np.cos(np.deg2rad(ANGLES_DEG))
NAMES = list(CONSTRUCTIONS)
every_construction = pytest.mark.parametrize("name", NAMES)
both_bands = pytest.mark.parametrize("frequency_ghz", BANDS_GHZ)


def power(amplitude: np.ndarray) -> np.ndarray:
    return np.abs(amplitude) ** 2


def db(transmitted: np.ndarray) -> np.ndarray:
    return -10 * np.log10(transmitted)


@both_bands
@every_construction
def test_coherent_table(name: str, frequency_ghz: float) -> None:
    """The table of coherent one-way losses [C], printed to 0.01 dB."""
    expected = COHERENT_DB[name][BANDS_GHZ.index(frequency_ghz)]
    found = loss_db(CONSTRUCTIONS[name], frequency_ghz, COS, losses="coherent")
    np.testing.assert_allclose(found, expected, rtol=0, atol=0.01)


def test_single_polarisations_of_plasterboard() -> None:
    """12.5 mm at 5.8 GHz [C]: 45° TE 1.94, TM 0.75; 60° TE 3.60, TM 0.65."""
    te, tm = transmittance(CONSTRUCTIONS["12.5 mm plasterboard"], 5.8, COS)
    np.testing.assert_allclose(db(power(te))[1:], [1.94, 3.60], rtol=0, atol=0.01)
    np.testing.assert_allclose(db(power(tm))[1:], [0.75, 0.65], rtol=0, atol=0.01)


def test_full_ray_trace_through_a_sheet() -> None:
    """sionna-rt's trace through a 12.5 mm plasterboard sheet at 5.8 GHz, TE, 0/45/60° [V]."""
    te, _ = transmittance(CONSTRUCTIONS["12.5 mm plasterboard"], 5.8, COS)
    np.testing.assert_allclose(db(power(te)), [0.9155, 1.9396, 3.6028], rtol=0, atol=1e-4)


def test_edition_1_of_concrete_differs() -> None:
    """Edition 1 gives 15.9 dB for 150 mm at 5.8 GHz where editions 3/4 give 21.0 [C]; its row is [M]."""
    edition_1 = Material("concrete, edition 1", 5.31, 0, 0.0326, 0.8095, 1, 100)
    loss = loss_db([Layer(0.150, edition_1)], 5.8, 1.0, losses="coherent")
    assert loss == pytest.approx(15.9, abs=0.05)


def test_ceiling_tile_of_another_measurement() -> None:
    """A ceiling tile measured 0.40 dB at 28 GHz (arXiv 2103.02745, abstract [V]); its thickness isn't given.

    15 mm of the table's ceiling board must come within 1 dB of it: same order, not the same board.
    """
    assert loss_db(CONSTRUCTIONS["15 mm ceiling board"], 28.0, 1.0) == pytest.approx(0.40, abs=1.0)


@both_bands
@every_construction
def test_against_tmm(name: str, frequency_ghz: float) -> None:
    """PyPI `tmm`, an optics library of the other time sign: n = √(conj η). Every amplitude to 1e-9 dB."""
    layers = CONSTRUCTIONS[name]
    indices = [1.0, *(np.sqrt(np.conj(layer.permittivity(frequency_ghz))) for layer in layers), 1.0]
    depths = [np.inf, *(layer.thickness_m for layer in layers), np.inf]
    wavelength = speed_of_light / (frequency_ghz * 1e9)
    for angle in np.deg2rad([0.0, 20.0, 45.0, 60.0, 75.0, 85.0, 89.0]):
        transmitted = transmittance(layers, frequency_ghz, np.cos(angle))
        reflected = reflectance(layers, frequency_ghz, np.cos(angle))
        for pol, t, r in zip("sp", transmitted, reflected, strict=True):
            theirs = tmm.coh_tmm(pol, indices, depths, angle, wavelength)
            assert abs(db(power(t)) - db(theirs["T"])) < 1e-9
            assert power(r) == pytest.approx(theirs["R"], abs=1e-11)


@both_bands
@every_construction
def test_energy_is_never_gained(name: str, frequency_ghz: float) -> None:
    """Passivity, exact physics: |R|² + |T|² ≤ 1."""
    cos = np.linspace(0.0, 1.0, 301)
    for t, r in zip(
        transmittance(CONSTRUCTIONS[name], frequency_ghz, cos),
        reflectance(CONSTRUCTIONS[name], frequency_ghz, cos),
        strict=True,
    ):
        assert np.all(power(t) + power(r) <= 1 + 1e-12)


@both_bands
@every_construction
def test_reversed_layers_transmit_the_same(name: str, frequency_ghz: float) -> None:
    """Reciprocity, exact physics; a coat of plywood makes the symmetric constructions lopsided."""
    layers = [*CONSTRUCTIONS[name], *stack((18, "plywood"))]
    forward, backward = (transmittance(order, frequency_ghz, COS) for order in (layers, layers[::-1]))
    np.testing.assert_allclose(forward, backward, rtol=1e-12)


@both_bands
@every_construction
def test_grazing_reflects_everything(name: str, frequency_ghz: float) -> None:
    """Limit of the slab formulae: |R| → 1 as the angle nears 90°."""
    for r in reflectance(CONSTRUCTIONS[name], frequency_ghz, 1e-7):
        assert abs(r) == pytest.approx(1.0, abs=1e-5)


def test_brewster_of_lossless_glass() -> None:
    """tan θ_B = √ε_r = √6.31, θ_B = 68.3° [C]: TM passes whole there, TE does not."""
    brewster = np.arctan(np.sqrt(6.31))
    assert np.rad2deg(brewster) == pytest.approx(68.3, abs=0.05)
    slab = [Layer(0.006, Material("lossless glass", 6.31, 0, 0, 0, 0.1, 100))]
    te, tm = reflectance(slab, 24.125, np.cos(brewster))
    assert abs(tm) < 1e-12
    assert abs(te) > 0.5
    angles = np.deg2rad(np.linspace(60, 80, 2001))
    dip = angles[np.argmin(np.abs(reflectance(slab, 24.125, np.cos(angles))[1]))]
    assert np.rad2deg(dip) == pytest.approx(68.3, abs=0.05)


def test_ripple_of_plasterboard() -> None:
    """12.5 mm at 24 GHz: 2.1–3.1 dB over ±10 % of thickness [C]; the spread reports the same."""
    layers = CONSTRUCTIONS["12.5 mm plasterboard"]
    te, tm = transmittance(layers, 24.125, 1.0, thickness_m=np.linspace(0.01125, 0.01375, 1001)[:, None])
    swept = db((power(te) + power(tm)) / 2)
    assert (swept.min(), swept.max()) == pytest.approx((2.1, 3.1), abs=0.05)
    assert loss_spread_db(layers, 24.125, 1.0) == pytest.approx((swept.min(), swept.max()), abs=1e-3)


def test_ripple_of_a_glazing_cavity() -> None:
    """6 mm panes with a cavity of 6–24 mm at 5.8 GHz: 0.4–9.9 dB [C]."""
    cavity = np.linspace(0.006, 0.024, 2001)
    panes = np.full_like(cavity, 0.006)
    te, _ = transmittance(
        CONSTRUCTIONS["6-16-6 uncoated glazing"],
        5.8,
        1.0,
        thickness_m=np.stack([panes, cavity, panes], axis=-1),
    )
    swept = db(power(te))
    assert (swept.min(), swept.max()) == pytest.approx((0.4, 9.9), abs=0.05)


def dense_average_db(layers: list[Layer], frequency_ghz: float, cos: float) -> float:
    """Power mean over ±10 % by Simpson's rule on an even grid: another rule than the package's."""
    n_points = {1: 2001, 2: 257, 3: 65}[len(layers)]
    share = np.linspace(0.9, 1.1, n_points)
    grid = np.stack(np.meshgrid(*[share] * len(layers), indexing="ij"), axis=-1)
    drawn = np.array([layer.thickness_m for layer in layers])
    te, tm = transmittance(layers, frequency_ghz, cos, thickness_m=grid * drawn)
    mean = (power(te) + power(tm)) / 2
    for _ in layers:
        mean = simpson(mean, x=share, axis=-1) / 0.2
    return float(db(mean))


@both_bands
@every_construction
def test_averaged_against_dense_integration(name: str, frequency_ghz: float) -> None:
    """Converged to 0.01 dB from cos 0.02 (88.9°) to the normal."""
    cos = np.array([1.0, 0.7, 0.5, 0.2, 0.083, 0.02])
    expected = [dense_average_db(CONSTRUCTIONS[name], frequency_ghz, c) for c in cos]
    np.testing.assert_allclose(loss_db(CONSTRUCTIONS[name], frequency_ghz, cos), expected, rtol=0, atol=0.01)


@pytest.mark.parametrize(
    "layers",
    [
        stack((4, "glass"), (12, None), (4, "glass"), (12, None), (4, "glass")),
        stack((215, "brick"), (50, None), (100, "brick")),
        stack((12.5, "plasterboard"), (12.5, "plasterboard"), (75, None), (25, "plasterboard")),
    ],
    ids=["triple glazing", "cavity wall", "double-boarded stud wall"],
)
def test_many_or_thick_layers_against_random_sampling(layers: list[Layer]) -> None:
    """Sobol averaging at 24.125 GHz against 65,536 scrambled points: 0.01 dB from cos 0.1 up."""
    cos = np.array([1.0, 0.7, 0.4, 0.1])
    points = qmc.Sobol(len(layers), scramble=True, seed=7).random_base2(16)
    varied = np.array([layer.thickness_m for layer in layers]) * (0.9 + 0.2 * points)
    te, tm = transmittance(layers, 24.125, cos, thickness_m=varied)
    expected = db(((power(te) + power(tm)) / 2).mean(axis=0))
    np.testing.assert_allclose(loss_db(layers, 24.125, cos), expected, rtol=0, atol=0.01)


@pytest.mark.parametrize("losses", ["averaged", "coherent"])
@both_bands
@every_construction
def test_lookup_stays_within_a_hundredth(name: str, frequency_ghz: float, losses: str) -> None:
    cos = np.random.default_rng(20).uniform(0.02, 1.0, 1000)
    table = LossTable(CONSTRUCTIONS[name], frequency_ghz, losses=losses)
    exact = loss_db(CONSTRUCTIONS[name], frequency_ghz, cos, losses=losses)
    np.testing.assert_allclose(table.loss_db(cos), exact, rtol=0, atol=0.01)


@both_bands
@every_construction
def test_averaging_lies_within_the_spread(name: str, frequency_ghz: float) -> None:
    low, high = loss_spread_db(CONSTRUCTIONS[name], frequency_ghz, COS)
    mean = loss_db(CONSTRUCTIONS[name], frequency_ghz, COS)
    assert np.all(low < mean)
    assert np.all(mean < high)


def test_rows_refuse_other_frequencies() -> None:
    """Brick is given for 1–40 GHz; the table's edges themselves are in."""
    for frequency_ghz in (1.0, 40.0):
        assert MATERIALS["brick"].permittivity(frequency_ghz).real == 3.91
    for frequency_ghz in (0.999, 40.001, float("nan")):
        with pytest.raises(ValueError, match=r"'brick' is known from 1 to 40 GHz, not at"):
            MATERIALS["brick"].permittivity(frequency_ghz)
