"""Invariants of the slab formulae on arbitrary layers; the published figures are in tests/references."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from raycover.physics.slab import (
    Layer,
    LossTable,
    LossTables,
    Material,
    loss_db,
    loss_spread_db,
    reflectance,
    transmittance,
)

LOSSLESS = Material("lossless board", 2.7, 0, 0, 0, 1, 100)
LOSSY = Material("damp board", 4.0, 0, 0.05, 0.8, 1, 100)
DENSE = Material("dense block", 5.24, 0, 0.0462, 0.7822, 1, 100)

frequencies = st.floats(1.0, 100.0)
cosines = st.floats(0.0, 1.0)
stacks = st.lists(st.builds(Layer, st.floats(0.0, 0.4), st.sampled_from([LOSSLESS, LOSSY, DENSE, None])), max_size=5)


@settings(deadline=None)
@given(stacks, frequencies, cosines)
def test_passive_and_reciprocal(layers: list[Layer], frequency_ghz: float, cos: float) -> None:
    forward = transmittance(layers, frequency_ghz, cos)
    backward = transmittance(layers[::-1], frequency_ghz, cos)
    reflected = reflectance(layers, frequency_ghz, cos)
    for t, u, r in zip(forward, backward, reflected, strict=True):
        assert abs(t) ** 2 + abs(r) ** 2 <= 1 + 1e-9
        assert abs(t - u) <= 1e-9


@settings(deadline=None)
@given(
    st.lists(st.builds(Layer, st.floats(0.0, 0.4), st.sampled_from([LOSSLESS, None])), max_size=4),
    frequencies,
    cosines,
)
def test_lossless_layers_keep_the_energy(layers: list[Layer], frequency_ghz: float, cos: float) -> None:
    for t, r in zip(transmittance(layers, frequency_ghz, cos), reflectance(layers, frequency_ghz, cos), strict=True):
        assert abs(t) ** 2 + abs(r) ** 2 == pytest.approx(1.0, abs=1e-9)


@settings(deadline=None)
@given(st.lists(st.sampled_from([LOSSY, DENSE, None]), max_size=4), frequencies, cosines)
def test_zero_thickness_costs_nothing(materials: list[Material | None], frequency_ghz: float, cos: float) -> None:
    layers = [Layer(0.0, material) for material in materials]
    assert loss_db(layers, frequency_ghz, cos) == pytest.approx(0.0, abs=1e-9)
    assert loss_db(layers, frequency_ghz, cos, losses="coherent") == pytest.approx(0.0, abs=1e-9)
    assert LossTable(layers, frequency_ghz).loss_db(cos) == pytest.approx(0.0, abs=1e-9)


@settings(deadline=None)
@given(st.floats(0.0, 1.0), frequencies, cosines)
def test_air_costs_nothing(thickness_m: float, frequency_ghz: float, cos: float) -> None:
    assert loss_db([Layer(thickness_m, None)], frequency_ghz, cos) == pytest.approx(0.0, abs=1e-7)


@settings(deadline=None)
@given(st.floats(0.15, 5.0), st.floats(24.0, 100.0), cosines)
def test_thick_lossy_layers_stay_finite(thickness_m: float, frequency_ghz: float, cos: float) -> None:
    loss = loss_db([Layer(thickness_m, DENSE)], frequency_ghz, cos)
    assert np.isfinite(loss)
    assert loss > 40


def test_very_thick_layers_are_averaged_too() -> None:
    """5 m of dense block at 100 GHz: the thin end of ±10 % decides, far below the smallest float's power."""
    drawn, averaged = (loss_db([Layer(5.0, DENSE)], 100.0, 1.0, losses=losses) for losses in ("coherent", "averaged"))
    thinnest = loss_db([Layer(4.5, DENSE)], 100.0, 1.0, losses="coherent")
    assert thinnest < averaged < drawn
    # ∫ of exp(slope·x) over the range, 1 m wide, dominated by its thin end: 10·log10 of slope × 1 m above it.
    nepers = (drawn - thinnest) / 0.5 / (10 * np.log10(np.e))
    assert averaged - thinnest == pytest.approx(10 * np.log10(nepers), abs=0.1)


def test_one_layer_equals_the_closed_formula() -> None:
    """Single-slab formula of ITU-R P.2040 §2.2 written out: T = (1−r'²)e^(−jq)/(1−r'²e^(−2jq))."""
    frequency_ghz, thickness, cos = 10.0, 0.03, np.linspace(0.01, 1, 50)
    eta = LOSSY.permittivity(frequency_ghz)
    root = np.sqrt(eta - (1 - cos**2))
    q = 2 * np.pi * thickness * root / (299_792_458 / (frequency_ghz * 1e9))
    halves = ((cos - root) / (cos + root), (eta * cos - root) / (eta * cos + root))
    layers = [Layer(thickness, LOSSY)]
    for half, t, r in zip(
        halves,
        transmittance(layers, frequency_ghz, cos),
        reflectance(layers, frequency_ghz, cos),
        strict=True,
    ):
        below = 1 - half**2 * np.exp(-2j * q)
        np.testing.assert_allclose(t, (1 - half**2) * np.exp(-1j * q) / below, rtol=1e-10)
        # P.2040 writes TM for the field across the plane of incidence the other way round: same size.
        np.testing.assert_allclose(np.abs(r), np.abs(half * (1 - np.exp(-2j * q)) / below), rtol=1e-10)


def test_a_layer_cut_in_two_is_the_same_layer() -> None:
    cos = np.linspace(0, 1, 40)
    whole = transmittance([Layer(0.05, LOSSY)], 24.0, cos)
    cut = transmittance([Layer(0.02, LOSSY), Layer(0.03, LOSSY)], 24.0, cos)
    np.testing.assert_allclose(whole, cut, rtol=1e-10)


def test_thickness_override_broadcasts() -> None:
    layers = [Layer(0.01, LOSSY), Layer(0.02, None)]
    variants = np.array([[0.01, 0.02], [0.012, 0.03], [0.0, 0.0]])
    cos = np.array([[1.0, 0.5], [0.2, 0.9]])
    te, tm = transmittance(layers, 10.0, cos, thickness_m=variants)
    assert te.shape == tm.shape == (3, 2, 2)
    for i, (first, second) in enumerate(variants):
        alone = transmittance([Layer(first, LOSSY), Layer(second, None)], 10.0, cos)
        np.testing.assert_allclose((te[i], tm[i]), alone, rtol=1e-12)


@pytest.mark.parametrize("bad", [[0.01], [[0.01, -0.02]], [[0.01, np.nan]], 0.01])
def test_thickness_override_is_checked(bad: object) -> None:
    with pytest.raises(ValueError, match="thickness_m"):
        transmittance([Layer(0.01, LOSSY), Layer(0.02, None)], 10.0, 1.0, thickness_m=bad)


@pytest.mark.parametrize("bad", [-0.001, np.nan, np.inf])
def test_layer_refuses_a_bad_thickness(bad: float) -> None:
    with pytest.raises(ValueError, match="thickness must be finite and not negative"):
        Layer(bad, LOSSY)


def test_losses_must_be_known() -> None:
    with pytest.raises(ValueError, match="'averaged' or 'coherent'"):
        loss_db([Layer(0.01, LOSSY)], 10.0, 1.0, losses="average")  # type: ignore[arg-type]


def test_side_of_the_normal_does_not_matter() -> None:
    layers = [Layer(0.01, LOSSY)]
    cos = np.array([0.1, 0.6, 1.0])
    np.testing.assert_array_equal(loss_db(layers, 10.0, -cos), loss_db(layers, 10.0, cos))
    table = LossTable(layers, 10.0)
    np.testing.assert_array_equal(table.loss_db(-cos), table.loss_db(cos))


def test_shapes_and_precision() -> None:
    layers = [Layer(0.01, LOSSY)]
    table = LossTable(layers, 10.0)
    cos = np.random.default_rng(1).uniform(0.05, 1, (3, 4))
    assert loss_db(layers, 10.0, cos).shape == (3, 4)
    assert loss_db(layers, 10.0, np.empty((0, 2))).shape == (0, 2)
    assert table.loss_db(np.empty((0, 2))).shape == (0, 2)
    single = table.loss_db(cos.astype(np.float32))
    assert single.dtype == np.float32
    assert table.loss_db(cos).dtype == np.float64
    np.testing.assert_allclose(single, table.loss_db(cos), rtol=0, atol=1e-4)
    low, high = loss_spread_db(layers, 10.0, cos)
    assert low.shape == high.shape == (3, 4)


@pytest.mark.parametrize("precision", [np.float32, np.float64])
def test_tables_end_to_end_are_those_one_by_one(precision: type) -> None:
    """To the last bit of double precision, though the cosine be single; also just above 1, as rounding leaves it."""
    tables = [LossTable([Layer(0.01, LOSSY)], 10.0), LossTable.constant(2.5), LossTable([Layer(0.1, DENSE)], 5.8)]
    rng = np.random.default_rng(4)
    cos = np.concatenate([rng.uniform(0, 1, 3000), [0.0, 1.0, 1 + 2**-22, 1 / 4096]]).astype(precision)
    which = rng.integers(0, 3, len(cos))
    found = LossTables(tables).loss_db(LossTables.starts(which), cos)
    assert found.dtype == np.float64
    one_by_one = np.choose(which, [table.loss_db(cos.astype(float)) for table in tables])
    np.testing.assert_array_equal(found, one_by_one)


def test_no_layers_lose_nothing() -> None:
    assert loss_db([], 10.0, 0.5) == 0.0
    assert LossTable([], 10.0).loss_db(0.5) == 0.0
    assert loss_spread_db([], 10.0, 0.5) == (0.0, 0.0)


@pytest.mark.parametrize("loss", [0.0, 2.5, np.inf])
def test_constant_tables(loss: float) -> None:
    table = LossTable.constant(loss)
    np.testing.assert_array_equal(table.loss_db(np.array([0.0, 0.123, 1.0, -0.4])), np.full(4, loss))
    assert table.is_opaque == np.isinf(loss)
    assert LossTable.opaque().is_opaque


@pytest.mark.parametrize("loss", [-1.0, np.nan])
def test_constant_tables_refuse_a_gain(loss: float) -> None:
    with pytest.raises(ValueError, match="not negative"):
        LossTable.constant(loss)


def test_lookup_outside_its_range() -> None:
    """Rounding above 1 counts as 1; NaN stays NaN; grazing is large but finite."""
    table = LossTable([Layer(0.01, LOSSY)], 10.0)
    assert table.loss_db(1.0000001) == table.loss_db(1.0)
    assert np.isnan(table.loss_db(np.nan))
    assert 40 < table.loss_db(0.0) < np.inf


def test_loss_grows_toward_grazing() -> None:
    """Below the Brewster angles' region both polarisations fall with cos²: 20 dB a decade."""
    layers = [Layer(0.01, LOSSY)]
    steep = loss_db(layers, 10.0, np.array([1e-4, 1e-5]))
    assert steep[1] - steep[0] == pytest.approx(20.0, abs=0.05)
