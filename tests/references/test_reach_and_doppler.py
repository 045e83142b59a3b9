"""Two-way radar figures against the published constants and the table of reach factors."""

from __future__ import annotations

import numpy as np
import pytest
from p2040 import MATERIALS, stack

from raycover.physics.microwave import bulk_loss_db_per_m, cross_section_db, doppler_hz, reach_factor
from raycover.physics.slab import loss_db


def test_reach_factor_table() -> None:
    """One-way loss → share of the reach, two-way radar equation [C]."""
    loss = [1, 1.42, 2, 3, 4, 6, 8, 10, 15, 21]
    factor = [0.891, 0.849, 0.794, 0.708, 0.631, 0.501, 0.398, 0.316, 0.178, 0.089]
    np.testing.assert_allclose(reach_factor(loss), factor, rtol=0, atol=0.0005)


def test_reach_from_the_radar_equation_itself() -> None:
    """Pr ∝ σ/(s⁴·L²): at the shortened reach the received power is the free one again."""
    loss_ratio = 10 ** (np.array([0.5, 3.0, 17.0]) / 10)
    s = 12.0 * reach_factor([0.5, 3.0, 17.0])
    np.testing.assert_allclose(1 / (s**4 * loss_ratio**2), 1 / 12.0**4, rtol=1e-12)


def test_cross_section_shortens_the_reach() -> None:
    """1 m² → 0.73 m² (mean person, 3GPP TR 38.901 sensing model [2nd]) scales the reach by 0.924 [C]."""
    margin_db = cross_section_db(0.73, 1.0)
    assert margin_db == pytest.approx(-1.37, abs=0.005)
    assert 10 ** (margin_db / 40) == pytest.approx(0.924, abs=0.0005)


@pytest.mark.parametrize(("frequency_ghz", "hz"), [(5.8, 38.69), (24.125, 160.94)])
def test_doppler(frequency_ghz: float, hz: float) -> None:
    """Hz per m/s straight toward the unit, 2v/λ with CODATA's c [C]; none across, inverted away."""
    assert doppler_hz(1.0, frequency_ghz, 0.0) == pytest.approx(hz, abs=0.005)
    assert doppler_hz(1.0, frequency_ghz, np.pi / 2) == pytest.approx(0.0, abs=1e-12)
    assert doppler_hz(1.0, frequency_ghz, np.pi) == pytest.approx(-hz, abs=0.005)


@pytest.mark.parametrize("frequency_ghz", [5.8, 24.125])
def test_bulk_loss_is_what_more_thickness_costs(frequency_ghz: float) -> None:
    """Two thick concrete slabs differ by the medium's attenuation alone; reflections cancel (exact limit)."""
    thin, thick = (loss_db(stack((mm, "concrete")), frequency_ghz, 1.0, losses="coherent") for mm in (800, 900))
    assert thick - thin == pytest.approx(0.1 * bulk_loss_db_per_m(MATERIALS["concrete"], frequency_ghz), abs=1e-6)
