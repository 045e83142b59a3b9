"""The independent radio engine against numbers worked by hand and the tables; it is what truths are drawn from."""

from __future__ import annotations

import coherent_engine as engine
import numpy as np
import p2040
import pytest
from p2040 import BANDS_GHZ, COHERENT_DB, CONSTRUCTIONS

METAL = [(engine.permittivity(1, 1e7, 5.8), 0.01)]
WALL_Y0 = ([-50.0, 0, -50], [100.0, 0, 0], [0, 0, 100.0])  # the plane y = 0, wide
FAR = ([900.0, 900, 900], [1.0, 0, 0], [0, 1.0, 0])


def layers_of(name: str, frequency_ghz: float) -> list[tuple[complex, float]]:
    return [(layer.permittivity(frequency_ghz), layer.thickness_m) for layer in CONSTRUCTIONS[name]]


def ways(sheets, source, points, frequency_ghz=5.8, **more):
    return engine.trace(
        engine.one_room(sheets, frequency_ghz), np.array([source], float), np.array([points], float), **more
    )


@pytest.mark.parametrize("name", COHERENT_DB)
@pytest.mark.parametrize("band", [0, 1])
def test_one_sheet_loses_what_the_table_says(name: str, band: int) -> None:
    """Coherent loss at 0°, 45°, 60°, computed outside this project [C]; two decimals."""
    frequency = BANDS_GHZ[band]
    angles = np.radians([0, 45, 60])
    points = np.stack([4 * np.tan(angles), np.full(3, 2.0), np.full(3, 0.3)], axis=1)  # 4 m apart across the wall
    found = ways([(*WALL_Y0, layers_of(name, frequency))], [0, -2.0, 0.3], points, frequency, order=0)
    loss = -10 * np.log10(found.total((1, 3))[0] * found.length_m**2)
    np.testing.assert_allclose(loss, COHERENT_DB[name][band], atol=0.006)


def test_two_rays_over_a_metal_plane() -> None:
    """Direct and mirrored path by hand [C]: 3 m and 4 m above, 8 m apart: √65 and √(64 + 49) m, nothing lost."""
    found = ways([(*WALL_Y0, METAL)], [0, 3.0, 0], [[8.0, 4.0, 0]], order=2)
    assert found.n_reflections.tolist() == [0, 1]
    np.testing.assert_allclose(found.length_m**2, [65, 113])
    np.testing.assert_allclose(found.power * [65, 113], 1, rtol=1e-3)
    # Added with their phases the field along the wall (the normal to the drawing) turns round: 1/√65 − e^(−jkΔ)/√113.
    found = ways([(*WALL_Y0, METAL)], [0, 3.0, 0], [[8.0, 4.0, 0]], order=1, polarisation=np.array([[0, 0, 1.0]]))
    turn = np.exp(-2j * np.pi * 5.8e9 / 299_792_458 * (np.sqrt(113) - np.sqrt(65)))
    expected = abs(1 / np.sqrt(65) - turn / np.sqrt(113)) ** 2
    np.testing.assert_allclose(found.coherent_total((1, 1))[0, 0], expected, rtol=2e-3)


def test_brewster_angle_mirrors_one_polarisation_only() -> None:
    """Lossless glass, tan θ = √6.31, θ = 68.3° [C]: a field in the plane of incidence is not mirrored at all."""
    glass = [(6.31 + 0j, 0.006)]
    reach = np.sqrt(6.31)
    for along, mirrored in (([0, 0, 1.0], True), ([1.0, 0, 0], False)):
        found = ways([(*WALL_Y0, glass)], [0, 1.0, 0], [[2 * reach, 1.0, 0]], order=1, polarisation=np.array([along]))
        power = found.power[found.n_reflections == 1] * 4 * (1 + 6.31)
        assert (power > 0.05).all() if mirrored else (power < 1e-12).all()


def test_metal_corner_sends_three_images_back() -> None:
    """Two metal planes at right angles [C]: four ways with the lengths of the images, none loses anything."""
    sheets = [(*WALL_Y0, METAL), ([0, -50.0, -50], [0, 100.0, 0], [0, 0, 100.0], METAL)]
    found = ways(sheets, [1.0, 2.0, 0], [[4.0, 6.0, 1.0]], order=3)
    lengths = sorted(np.sqrt([(4 - x) ** 2 + (6 - y) ** 2 + 1 for x in (1, -1) for y in (2, -2)]))
    np.testing.assert_allclose(np.sort(found.length_m), lengths)
    np.testing.assert_allclose(found.power * found.length_m**2, 1, rtol=3e-3)


def test_energy_is_kept_by_sheets_without_loss() -> None:
    """What a lossless sheet passes and what it mirrors add up to what came, either polarisation [C]."""
    cos = np.linspace(0.05, 1, 40)
    eta, thick = np.tile([2.73 + 0j, 1, 6.31], (40, 1)), np.tile([0.0125, 0.03, 0.006], (40, 1))
    t_te, t_tm, r_te, r_tm = engine.slab(eta, thick, cos, np.full(40, 24.125))
    np.testing.assert_allclose(abs(t_te) ** 2 + abs(r_te) ** 2, 1)
    np.testing.assert_allclose(abs(t_tm) ** 2 + abs(r_tm) ** 2, 1)


def test_swapping_unit_and_target_changes_nothing() -> None:
    """Reciprocity, tilted sheets among them, layers in no symmetric order, three reflections."""
    board, glass = layers_of("12.5 mm plasterboard", 5.8)[0], layers_of("6 mm glass", 5.8)[0]
    sheets = [
        ([0.0, 0, 0], [5.0, 0, 0], [0, 0, 3.0], [board, (1, 0.05), glass]),
        ([0.0, 4, 0], [5.0, 0.5, 0], [0, 0.4, 3.0], [glass, board]),
        ([2.5, -1, 0], [0.3, 6, 0], [0, 0, 3.0], [board]),
        ([0.0, 0, 0], [0, 4.0, 0], [0.2, 0, 3.0], METAL),
    ]
    rng = np.random.default_rng(1)
    points = rng.uniform([0.4, 0.4, 0.2], [4.6, 3.6, 2.6], (6, 3))
    source = np.array([1.1, 1.7, 2.0])
    there = ways(sheets, source, points, order=3)
    room = engine.one_room(sheets, 5.8)
    for i, point in enumerate(points):
        back = engine.trace(room, point[None], source[None, None], order=3)
        mine = there.point == i
        assert mine.sum() > 6
        np.testing.assert_allclose(np.sort(there.length_m[mine]), np.sort(back.length_m))
        np.testing.assert_allclose(there.power[mine].sum(), back.power.sum(), rtol=1e-9)


def test_slab_agrees_with_the_other_formulation() -> None:
    """Airy's recursion here, characteristic matrices in the package: complex coefficients alike to 1e-9."""
    from raycover.physics.slab import reflectance, transmittance

    cos = np.linspace(0.05, 1, 30)
    for frequency in BANDS_GHZ:
        layers = p2040.stack((12.5, "plasterboard"), (40, None), (6, "glass"), (100, "brick"))
        eta = np.tile([layer.permittivity(frequency) for layer in layers], (30, 1))
        thick = np.tile([layer.thickness_m for layer in layers], (30, 1))
        t_te, t_tm, r_te, r_tm = engine.slab(eta, thick, cos, np.full(30, frequency))
        for mine, theirs in zip(
            (t_te, t_tm, r_te, r_tm),
            (*transmittance(layers, frequency, cos), *reflectance(layers, frequency, cos)),
            strict=True,
        ):
            np.testing.assert_allclose(mine, theirs, rtol=1e-9, atol=1e-12)
