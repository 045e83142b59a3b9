"""Radar relations: invariants and borders; figures are in tests/references."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from raycover.physics.microwave import (
    bulk_loss_db_per_m,
    combine_paths_db,
    cross_section_db,
    doppler_hz,
    reach_factor,
)
from raycover.physics.slab import Material

margins = st.lists(st.floats(-300, 300) | st.just(-np.inf), min_size=1, max_size=6)


def test_reach_at_the_ends() -> None:
    assert reach_factor(0.0) == 1.0
    assert reach_factor(np.inf) == 0.0


@settings(deadline=None)
@given(st.floats(0, 60), st.floats(0, 60))
def test_losses_in_a_row_multiply(a: float, b: float) -> None:
    assert reach_factor(a + b) == pytest.approx(reach_factor(a) * reach_factor(b), rel=1e-12)


@pytest.mark.parametrize(("sigma", "reference"), [(0, 1), (1, 0), (-1, 1), (1, np.nan)])
def test_cross_sections_must_be_positive(sigma: float, reference: float) -> None:
    with pytest.raises(ValueError, match="must be positive"):
        cross_section_db(sigma, reference)


@settings(deadline=None)
@given(margins)
def test_more_paths_never_hurt(paths: list[float]) -> None:
    together = combine_paths_db(paths)
    assert together >= max(paths) - 1e-9
    assert together <= max(paths) + 20 * np.log10(len(paths)) + 1e-9


@settings(deadline=None)
@given(margins, st.randoms())
def test_order_of_paths_does_not_matter(paths: list[float], random: st.DataObject) -> None:
    shuffled = list(paths)
    random.shuffle(shuffled)
    assert combine_paths_db(shuffled) == pytest.approx(float(combine_paths_db(paths)), abs=1e-9)


def test_two_equal_paths_add_six_decibels() -> None:
    """Twice the one-way power, squared by the round trip: 20·log10 2."""
    assert combine_paths_db([3.0, 3.0]) == pytest.approx(3.0 + 20 * np.log10(2))


def test_paths_that_carry_nothing() -> None:
    grid = np.array([[-np.inf, 4.0, -np.inf], [-np.inf, -np.inf, 0.0]])
    np.testing.assert_allclose(combine_paths_db(grid, axis=0), [-np.inf, 4.0, 0.0])
    assert combine_paths_db(grid, axis=1).shape == (2,)
    assert combine_paths_db(np.empty((0,))) == -np.inf


def test_doppler_broadcasts() -> None:
    assert doppler_hz(np.ones((3, 1)), 24.125, np.zeros(4)).shape == (3, 4)


def test_bulk_loss() -> None:
    """Low-loss limit of a plane wave, σ·Z0/(2√ε_r) nepers a metre (textbook, Z0 = 376.73 Ω)."""
    slightly_lossy = Material("dry sand", 4.0, 0, 0.001, 0, 1, 10)
    expected = 20 * np.log10(np.e) * 0.001 * 376.73 / (2 * 2.0)
    assert bulk_loss_db_per_m(slightly_lossy, 5.8) == pytest.approx(expected, rel=1e-4)
    assert bulk_loss_db_per_m(Material("vacuum", 1, 0, 0, 0, 1, 10), 5.8) == 0.0
    with pytest.raises(ValueError, match="'dry sand' is known from 1 to 10 GHz"):
        bulk_loss_db_per_m(slightly_lossy, 24.0)
