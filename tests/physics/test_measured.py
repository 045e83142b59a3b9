"""Measured losses between their rows, by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest

from raycover.physics.measured import Measured, MeasuredRow
from raycover.physics.slab import Material

ROWS = Measured(
    (
        MeasuredRow(20.0, 9.0),
        MeasuredRow(5.0, 3.0),
        MeasuredRow(5.0, 5.0, 40.0),
        MeasuredRow(20.0, 9.0, 60.0),
    )
)


def test_at_the_rows_themselves() -> None:
    assert ROWS.loss_db(5.0, math.cos(math.radians(40.0))) == pytest.approx(5.0)
    assert ROWS.loss_db(20.0, 1.0) == pytest.approx(9.0)


def test_in_between_by_hand() -> None:
    """10 GHz lies half-way from 5 to 20 by ratio; 20° half-way from 0 to 40°: (4 + 9)/2 = 6.5 dB."""
    assert ROWS.loss_db(10.0, math.cos(math.radians(20.0))) == pytest.approx(6.5)
    assert ROWS.loss_db(10.0, -1.0) == pytest.approx(6.0)


def test_beyond_the_rows_the_nearest_holds() -> None:
    cos = np.cos(np.radians([0.0, 40.0, 70.0]))
    np.testing.assert_allclose(ROWS.loss_db(3.0, cos), [3.0, 5.0, 5.0])
    np.testing.assert_allclose(ROWS.loss_db(30.0, cos), [9.0, 9.0, 9.0])
    assert (ROWS.nearest_ghz(3.0), ROWS.nearest_ghz(12.0)) == (5.0, 20.0)
    assert ROWS.is_near(2.5)
    assert not ROWS.is_near(2.4)
    assert ROWS.is_near(40.0)
    assert not ROWS.is_near(41.0)
    assert Measured((MeasuredRow(5.0, 1.0), MeasuredRow(50.0, 1.0))).is_near(16.0)  # among them, an octave from none
    assert ROWS.covers(5.0)
    assert not ROWS.covers(4.99)


def test_reflection_only_where_measured() -> None:
    assert not ROWS.reflects
    with pytest.raises(ValueError, match="not measured"):
        ROWS.reflection_db(10.0, 1.0)
    mirrored = Measured((MeasuredRow(5.0, 30.0, 0.0, 1.0), MeasuredRow(20.0, 30.0, 0.0, 3.0)))
    assert mirrored.reflection_db(10.0, 1.0) == pytest.approx(2.0)


def test_a_measured_material_wins_over_its_row() -> None:
    """ε_r 4 and σ 0.1 at 4 GHz, 5 and 0.3 at 16 GHz: 4.5 and 0.2 at 8 GHz, half-way by ratio."""
    made = Material("block", 3.0, 0, 0.05, 0, 1, 10, measured=((4.0, 4.0, 0.1), (16.0, 5.0, 0.3)))
    eta = made.permittivity(8.0)
    assert eta.real == pytest.approx(4.5)
    assert -eta.imag == pytest.approx(0.2 / (2 * math.pi * 8e9 * 8.8541878e-12), rel=1e-6)
    assert made.permittivity(2.0).real == 3.0  # its row, below what was measured
    assert made.permittivity(16.0).real == 5.0  # measured, beyond its row
    assert made.ranges_ghz == ((1, 16.0),)
    with pytest.raises(ValueError, match="known from 1 to 16 GHz, not at 17 GHz"):
        made.permittivity(17.0)
    assert made.varied(1.1, 2.0).permittivity(8.0).real == pytest.approx(4.95)


def test_a_gap_between_row_and_measurements_stays_a_gap() -> None:
    made = Material("block", 3.0, 0, 0.05, 0, 1, 3, measured=((24.0, 4.0, 0.1),))
    assert made.known_words == "block (1 to 3 GHz and 24 to 24 GHz)"
    assert made.holds_at(24.0)
    assert not made.holds_at(10.0)
