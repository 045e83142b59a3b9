"""Sheets varied draw by draw: against the sheets as drawn, and against layers varied one at a time."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from raycover.physics.slab import (
    Layer,
    Material,
    loss_db,
    reflectance,
    reflection_db,
    transmittance,
    varied_loss_db,
)

BOARD = Material("board", 2.73, 0, 0.0085, 0.9395, 1, 100)
BLOCK = Material("block", 5.24, 0, 0.0462, 0.7822, 1, 100)
WALL = [Layer(0.0125, BOARD), Layer(0.075, None), Layer(0.1, BLOCK)]
COS = np.cos(np.radians([0.0, 30.0, 60.0, 80.0]))


def test_no_factors_give_the_sheet_as_drawn() -> None:
    loss, mirrored = varied_loss_db(WALL, 5.8, COS)
    assert loss.shape == mirrored.shape == (1, 4)
    np.testing.assert_allclose(loss[0], loss_db(WALL, 5.8, COS, losses="coherent"), rtol=1e-12)
    np.testing.assert_allclose(mirrored[0], reflection_db(WALL, 5.8, COS, losses="coherent"), rtol=1e-12)


def test_each_draw_is_the_sheet_so_varied() -> None:
    rng = np.random.default_rng(3)
    thickness, a, c = rng.uniform(0.8, 1.2, (3, 7, 3))
    loss, mirrored = varied_loss_db(WALL, 24.125, COS, thickness, a, c)
    assert loss.shape == (7, 4)
    for draw in range(7):
        sheet = [
            Layer(
                layer.thickness_m * thickness[draw, i],
                None if layer.material is None else layer.material.varied(a[draw, i], c[draw, i]),
            )
            for i, layer in enumerate(WALL)
        ]
        np.testing.assert_allclose(loss[draw], loss_db(sheet, 24.125, COS, losses="coherent"), rtol=1e-10)
        np.testing.assert_allclose(mirrored[draw], reflection_db(sheet, 24.125, COS, losses="coherent"), rtol=1e-10)


def test_each_polarisation_apart() -> None:
    loss, mirrored = varied_loss_db(WALL, 5.8, COS, each_polarisation=True, first_face_only=True)
    assert loss.shape == mirrored.shape == (2, 1, 4)
    for k in range(2):
        np.testing.assert_allclose(loss[k, 0], -20 * np.log10(np.abs(transmittance(WALL, 5.8, COS)[k])), rtol=1e-10)
        np.testing.assert_allclose(mirrored[k, 0], -20 * np.log10(np.abs(reflectance(WALL, 5.8, COS)[k])), rtol=1e-9)


@settings(deadline=None)
@given(
    st.lists(st.floats(0.5, 1.5), min_size=3, max_size=3),
    st.lists(st.floats(0.0, 3.0), min_size=3, max_size=3),
    st.lists(st.floats(0.0, 3.0), min_size=3, max_size=3),
    st.floats(1.0, 100.0),
    st.floats(0.0, 1.0),
)
def test_energy_is_never_gained(
    thickness: list[float], a: list[float], c: list[float], frequency_ghz: float, cos: float
) -> None:
    """|R|² + |T|² ≤ 1 whatever the factors, each polarisation and each face by itself."""
    for layers, order in ((WALL, slice(None)), (WALL[::-1], slice(None, None, -1))):
        factors = [np.array([f[order]]) for f in (thickness, a, c)]
        loss, mirrored = varied_loss_db(
            layers, frequency_ghz, cos, *factors, each_polarisation=True, first_face_only=True
        )
        assert np.all(10 ** (-loss / 10) + 10 ** (-mirrored / 10) <= 1 + 1e-9)


def test_many_draws_in_parts() -> None:
    """More draws than are worked on at once give the same as each by itself; very thick sheets stay finite."""
    factors = np.linspace(0.9, 1.1, 60_000)[:, None]
    loss, _ = varied_loss_db([Layer(2.0, BLOCK)], 24.125, COS, factors)
    assert loss.shape == (60_000, 4)
    assert np.isfinite(loss).all()
    assert loss[0, 0] == pytest.approx(float(loss_db([Layer(1.8, BLOCK)], 24.125, 1.0, losses="coherent")), rel=1e-12)
    assert (np.diff(loss[:, 0]) > 0).all()


def test_air_stays_air_and_nothing_falls_below_it() -> None:
    loss, mirrored = varied_loss_db([Layer(0.1, None)], 5.8, 1.0, 1.0, 5.0, 5.0)
    assert (loss[0, 0], mirrored[0, 0]) == (0.0, np.inf)
    light = Material("foam", 1.05, 0, 0, 0, 1, 100)
    loss, mirrored = varied_loss_db([Layer(0.1, light)], 5.8, 1.0, 1.0, 0.5, 1.0)
    assert (loss[0, 0], mirrored[0, 0]) == (0.0, np.inf)


@pytest.mark.parametrize(
    "factors",
    [[[1.0, 1.0]], [[1.0, 1.0, -1.0]], [[1.0, np.nan, 1.0]], np.ones((2, 2, 3))],
    ids=["too few layers", "negative", "not a number", "too many axes"],
)
def test_bad_factors(factors: object) -> None:
    with pytest.raises(ValueError, match="factors must"):
        varied_loss_db(WALL, 5.8, COS, factors)  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="factors must broadcast to"):
        varied_loss_db(WALL, 5.8, COS, np.ones((2, 3)), np.ones((4, 3)))


def test_a_material_varied() -> None:
    made = BOARD.varied(1.1, 0.5)
    assert made.permittivity(5.8).real == pytest.approx(1.1 * BOARD.permittivity(5.8).real)
    assert made.permittivity(5.8).imag == pytest.approx(0.5 * BOARD.permittivity(5.8).imag)
    assert (made.name, made.to_ghz) == (BOARD.name, BOARD.to_ghz)
