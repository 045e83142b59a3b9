"""Bodies of patches: sizes, areas, what a pose is; dimensions with their sources in the module."""

from __future__ import annotations

import numpy as np
import pytest

from raycover.physics.body import KINDS, Kind, make_body

PHASES = np.linspace(0, 2 * np.pi, 13)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("n", [54, 210])
def test_normals_are_unit_and_nothing_lies_below_the_floor(kind: Kind, n: int) -> None:
    body = make_body(kind, n)
    place, normal = body.pose(PHASES)
    assert place.shape == normal.shape == (13, body.n_patches, 3)
    assert body.n_patches >= 24
    np.testing.assert_allclose(np.linalg.norm(normal, axis=-1), 1, atol=1e-9)
    assert place[..., 2].min() > -0.02
    assert place[..., 2].max() <= body.height + 1e-9


@pytest.mark.parametrize("n", [54, 210])
def test_walker_has_the_patches_and_size_it_says(n: int) -> None:
    """Stature 1.740 m [V]; skin near Du Bois' 1.9 m² for 1.74 m and 75 kg, 0.007184·75^0.425·174^0.725 [M]."""
    body = make_body("adult", n)
    assert body.n_patches == n
    assert body.height == 1.740
    assert body.area.sum() == pytest.approx(0.007184 * 75**0.425 * 174**0.725, rel=0.05)
    place, _ = body.pose(np.zeros(1), 0.0)
    assert place[..., 2].max() == pytest.approx(1.740, abs=0.05)
    across = np.ptp(place[..., 1])
    assert 0.40 < across < 0.55  # about 0.45 m wide [M]


def test_child_and_wheelchair_user_are_lower() -> None:
    heights = {kind: make_body(kind, 210).height for kind in KINDS}
    assert heights["child"] < heights["seated"] < heights["wheelchair"] < heights["adult"]


def test_gait_is_periodic_and_its_halves_mirror() -> None:
    body = make_body("adult", 210)
    one, later = body.pose(np.array([0.7]))[0], body.pose(np.array([0.7 + 2 * np.pi]))[0]
    np.testing.assert_allclose(one, later, atol=1e-9)
    half = body.pose(np.array([0.7 + np.pi]))[0]
    mirrored = half * np.array([1, -1, 1])
    order = lambda p: p[np.lexsort(np.round(p, 6).T)]  # noqa: E731
    np.testing.assert_allclose(order(one[0]), order(mirrored[0]), atol=1e-6)


def test_standing_still_is_still() -> None:
    body = make_body("adult", 54)
    place, _ = body.pose(PHASES, 0.0)
    assert np.ptp(place, axis=0).max() < 1e-12


def test_seated_person_moves_only_the_small_motion_arm() -> None:
    """A bar 0.381 m long, 76 mm square in girth, at 0.914 m, turning 90° at 90°/s (NEMA WD 7 [2nd])."""
    body = make_body("seated", 210)
    place, _ = body.pose(PHASES)
    still = ~body.moves
    assert np.ptp(place[:, still], axis=0).max() < 1e-12
    arm = place[:, body.moves]
    assert arm[..., 2].mean() == pytest.approx(0.914, abs=0.01)
    sides = body.area[body.moves].sum() - 2 * np.pi * (2 * 0.076 / np.pi) ** 2
    assert sides == pytest.approx(4 * 0.076 * 0.381, rel=0.01)
    tip = arm[:, np.argmax(np.linalg.norm(arm[0, :, :2] - arm[0, :, :2].min(axis=0), axis=1))]
    turned = np.degrees(np.ptp(np.unwrap(np.arctan2(tip[:, 1] + 0.205, tip[:, 0] - 0.05))))
    assert turned == pytest.approx(90, abs=3)
    assert body.cycle_s == pytest.approx(2.0)


def test_bodies_that_are_not() -> None:
    with pytest.raises(ValueError, match="54 or 210"):
        make_body("adult", 100)
    with pytest.raises(ValueError, match="kind must be one of"):
        make_body("ghost")  # type: ignore[arg-type]
