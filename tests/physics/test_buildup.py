"""Studs and mats within sheets, against hand-worked numbers and limits. The models are assumptions of ours."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.constants import speed_of_light

from raycover.physics.buildup import Buildup, Mats, Studs
from raycover.physics.metalwork import mat_loss_db, shadowed_share
from raycover.physics.slab import Layer, Material, loss_db, reflected_power, varied_loss_db

BOARD = Material("board", 2.73, 0, 0.0085, 0.9395, 1, 100)
WOOD = Material("wood", 1.99, 0, 0.0047, 1.0718, 0.001, 100)
CONCRETE = Material("concrete", 5.24, 0, 0.0462, 0.7822, 1, 100)
STEEL = Material("metal", 1, 0, 1e7, 0, 1, 100)
LAYERS = (Layer(0.0125, BOARD), Layer(0.075, None), Layer(0.0125, BOARD))
FILLED = (LAYERS[0], Layer(0.075, WOOD), LAYERS[2])
COS = np.cos(np.radians([0.0, 30.0, 60.0]))


def power(db: object) -> np.ndarray:
    return np.asarray(10 ** (-np.asarray(db) / 10))


def test_timber_studs_are_an_area_mean() -> None:
    """45 mm each 400 mm: 0.1125 of the wall is solid timber, 0.8875 is cavity; powers add by area."""
    wall = Buildup(LAYERS, Studs(0.4, 0.045, WOOD))
    for losses in ("averaged", "coherent"):
        cavity, stud = (loss_db(part, 5.8, COS, losses=losses) for part in (LAYERS, FILLED))  # type: ignore[arg-type]
        expected = -10 * np.log10(0.8875 * power(cavity) + 0.1125 * power(stud))
        np.testing.assert_allclose(wall.loss_table(5.8, losses).loss_db(COS), expected, atol=0.01)  # type: ignore[arg-type]
        mirrored = 0.8875 * reflected_power(LAYERS, 5.8, COS, losses=losses)  # type: ignore[arg-type]
        mirrored += 0.1125 * reflected_power(FILLED, 5.8, COS, losses=losses)  # type: ignore[arg-type]
        np.testing.assert_allclose(wall.reflection_table(5.8, losses).power(COS), mirrored, atol=1e-3)  # type: ignore[arg-type]


def test_steel_studs_shade_by_hand() -> None:
    """50 mm each 600 mm hide 1/12 of the wall seen square on: 10·log10(12/11) = 0.378 dB. At 60° the web of 75 mm
    hides 75·tan 60°·2/π = 82.7 mm more: 132.7/600, 1.084 dB."""
    wall = Buildup(LAYERS, Studs(0.6, 0.05, STEEL))
    plain = Buildup(LAYERS).loss_table(5.8, "averaged").loss_db(COS)
    extra = wall.loss_table(5.8, "averaged").loss_db(COS) - plain
    assert extra[0] == pytest.approx(0.378, abs=0.001)
    assert extra[2] == pytest.approx(1.084, abs=0.002)
    assert shadowed_share(0.6, 0.05, 0.075, 0.5) == pytest.approx(132.7 / 600, abs=1e-4)
    assert shadowed_share(0.6, 0.05, 0.075, 0.0) == 1.0


def test_steel_behind_a_board_mirrors_through_it() -> None:
    """Foil straight behind nothing mirrors all; behind a board all but what the board swallows both ways."""
    bare = Buildup((Layer(0.001, STEEL),)).reflection_table(5.8, "averaged")
    np.testing.assert_array_equal(bare.loss_db(COS), 0.0)
    backed = Buildup((Layer(0.0125, BOARD), Layer(1e-5, STEEL)))
    assert backed.is_opaque
    lossless = Material("lossless", 2.73, 0, 0, 0, 1, 100)
    through = Buildup((Layer(0.0125, lossless), Layer(1e-5, STEEL))).reflection_table(5.8, "coherent").power(1.0)
    assert through == pytest.approx(1.0, abs=2e-3)
    assert 0.3 < float(backed.reflection_table(24.125, "averaged").loss_db(1.0)) < 3.0


def test_wide_mats_leave_their_open_share() -> None:
    """10 mm bars each 150 mm: (140/150)² = 0.8711, 0.599 dB, where the pitch exceeds the wavelength."""
    assert mat_loss_db(0.15, 0.01, 5.8, CONCRETE.permittivity(5.8)) == pytest.approx(0.599, abs=0.001)
    slab = Buildup((Layer(0.15, CONCRETE),), mats=Mats(0.15, 0.01, 2))
    plain = Buildup((Layer(0.15, CONCRETE),))
    extra = slab.loss_table(5.8, "averaged").loss_db(COS) - plain.loss_table(5.8, "averaged").loss_db(COS)
    np.testing.assert_allclose(extra, 2 * 0.599, atol=0.002)


def test_close_mats_stop_nearly_all() -> None:
    """A grid much closer than a wavelength is a mirror: λ/20 and wires of a tenth of it, x = ln(10/π)/20 = 0.0579,
    |T|² = 4x²/(1 + 4x²) = 0.01323, 18.8 dB. The closer, the more; never a gain."""
    wavelength = speed_of_light / 5.8e9
    x = math.log(10 / math.pi) / 20
    expected = -10 * math.log10(4 * x * x / (1 + 4 * x * x))
    assert expected == pytest.approx(18.8, abs=0.05)
    assert mat_loss_db(wavelength / 20, wavelength / 200, 5.8, 1) == pytest.approx(expected, abs=1e-6)
    losses = [mat_loss_db(p * wavelength, p * wavelength / 10, 5.8, 1) for p in np.linspace(0.02, 3, 60)]
    assert (np.diff(losses) <= 1e-9).all()
    assert min(losses) >= 0
    assert mat_loss_db(0.001, 0.0005, 5.8, 1) == math.inf


@pytest.mark.parametrize("studs", [None, Studs(0.4, 0.045, WOOD), Studs(0.6, 0.05, STEEL)])
def test_energy_and_spread(studs: Studs | None) -> None:
    wall = Buildup(LAYERS, studs)
    cos = np.linspace(0.01, 1, 9)
    for frequency in (5.8, 24.125):
        loss = np.asarray(wall.loss_table(frequency, "averaged").loss_db(cos))
        mirrored = np.asarray(wall.reflection_table(frequency, "averaged").loss_db(cos))
        assert (power(loss) + power(mirrored) <= 1 + 1e-3).all()
        low, high = wall.loss_spread_db(frequency, cos)
        assert ((low <= loss + 0.02) & (loss <= high + 0.02)).all()
        low, high = wall.reflection_spread_db(frequency, cos)
        assert ((low <= mirrored + 0.05) & (mirrored <= high + 0.05)).all()


def test_variation_of_studs() -> None:
    """Columns: three layers, then the studs; their thickness factor is on the width."""
    wall = Buildup(LAYERS, Studs(0.4, 0.045, WOOD))
    assert [part.name for part in wall.parts] == ["board", "air", "board", "wood studs"]
    drawn, mirrored = wall.varied(5.8, COS)
    np.testing.assert_allclose(drawn[0], wall.loss_table(5.8, "coherent").loss_db(COS), atol=0.01)
    np.testing.assert_allclose(power(mirrored[0]), wall.reflection_table(5.8, "coherent").power(COS), atol=1e-3)
    thickness = np.array([[1, 1.1, 1, 0.5], [0.9, 1, 1, 2.0]])
    a, c = np.array([[1, 1, 1, 1.2]]), np.array([[1, 1, 1, 3.0]])
    loss, _ = wall.varied(5.8, COS, thickness, a, c)
    for draw, (row, share) in enumerate(zip(thickness, (0.05625, 0.225), strict=True)):
        cavity = varied_loss_db(LAYERS, 5.8, COS, row[None, :3])[0][0]
        stud = varied_loss_db(FILLED, 5.8, COS, row[None, :3], [[1, 1.2, 1]], [[1, 3.0, 1]])[0][0]
        expected = -10 * np.log10((1 - share) * power(cavity) + share * power(stud))
        np.testing.assert_allclose(loss[draw], expected, rtol=1e-10)


def test_variation_with_metal() -> None:
    wall = Buildup(LAYERS, Studs(0.6, 0.05, STEEL))
    loss, mirrored = wall.varied(5.8, COS, np.ones((5, 4)), each_polarisation=True)
    assert loss.shape == mirrored.shape == (2, 5, 3)
    np.testing.assert_allclose(
        power(loss).mean(axis=0)[0], power(wall.loss_table(5.8, "coherent").loss_db(COS)), atol=1e-3
    )
    np.testing.assert_allclose(
        power(mirrored).mean(axis=0)[0], wall.reflection_table(5.8, "coherent").power(COS), atol=1e-3
    )


def test_studs_need_a_gap() -> None:
    with pytest.raises(ValueError, match="air gap"):
        Buildup((Layer(0.1, BOARD),), Studs(0.4, 0.045, WOOD)).loss_table(5.8, "averaged")
