"""The signal of patches through zones: the amplifier, pulses, and the two ways of computing the same."""

from __future__ import annotations

import numpy as np
import pytest

from raycover.physics import signal
from raycover.physics.body import make_body
from raycover.physics.lens import Ring, Zones, response_image
from raycover.physics.signal import (
    Walks,
    band_pass,
    count_pulses,
    patch_signal,
    pulse_level,
    walk_outcome,
    walk_signals,
)
from raycover.physics.walks import walks_of

ZONES = Zones((Ring(50, 24, 11, 9, 3), Ring(30, 16, 11, 9), Ring(10, 5, 11, 9)))


@pytest.mark.parametrize(("hz", "expected"), [(0.1, 0.5), (1.0, 0.985), (10.0, 0.5)])
def test_band_pass_halves_the_power_at_its_corners(hz: float, expected: float) -> None:
    """|H|² of two one-pole filters: (f/0.1)²/(1 + (f/0.1)²) · 1/(1 + (f/10)²), in closed form [C]; steps of 1 ms."""
    time = np.arange(0, max(40 / hz, 20), 1e-3)
    out = band_pass(np.sin(2 * np.pi * hz * time), 1e-3)
    power = 2 * np.mean(out[len(out) // 2 :] ** 2)
    exact = (hz / 0.1) ** 2 / (1 + (hz / 0.1) ** 2) / (1 + (hz / 10) ** 2)
    assert power == pytest.approx(exact, abs=0.02)
    assert exact == pytest.approx(expected, abs=0.01)


def test_a_steady_body_gives_no_false_peak() -> None:
    """A filter that starts empty would answer a constant signal with its whole height."""
    np.testing.assert_allclose(band_pass(np.full((3, 200), 7.0), 0.04), 0, atol=1e-12)


def test_pulses_are_excursions_and_changes_of_sign() -> None:
    output = np.array([0, 1.2, 1.5, 0.2, -1.1, -0.1, 1.4, -1.3, 0.9])
    assert count_pulses(output, 1.0) == 4
    assert count_pulses(output, 1.45) == 1
    assert pulse_level(output[None], 1)[0] == 1.5
    assert pulse_level(output[None], 3)[0] == pytest.approx(1.3, rel=0.02)
    assert pulse_level(np.zeros((1, 5)), 2)[0] == 0


def test_patch_signal_worked_by_hand() -> None:
    """One patch of 0.02 m² and 10 W/m²/sr, 60° off the line of sight, 4 m away: 10·0.02·0.5/16 = 6.25e-3 W/m² [C]."""
    image = response_image(ZONES)
    flat = type(image)(np.ones_like(image.values), image.half)
    tilt = np.radians(60)
    normal = np.array([[np.sin(tilt), 0, np.cos(tilt)]])
    value = patch_signal(flat, np.array([[0.0, 0, -4.0]]), normal, np.array([0.2]))
    assert value[0] == pytest.approx(6.25e-3, rel=1e-6)
    assert patch_signal(flat, np.array([[0.0, 0, -4.0]]), -normal, np.array([0.2]))[0] == 0


def _walks(n_patches: int = 54) -> Walks:
    headings = np.arange(8) * np.pi / 4
    return walks_of(make_body("adult", n_patches), headings, [0.0, 2.0], ambient_c=20, step_s=0.08, length_m=1.5,
                    lanes_m=(-0.2, 0.2))  # fmt: skip


def test_numba_and_numpy_agree() -> None:
    """Masks of visibility, walks cut short and thresholds included."""
    pytest.importorskip("numba")
    assert signal.HAS_NUMBA
    walks, image = _walks(), response_image(ZONES)
    rng = np.random.default_rng(5)
    m = 400
    base = np.column_stack([rng.uniform(-4, 4, (m, 2)), np.full(m, -3.0)])
    pose = rng.integers(0, len(walks.place), m)
    visible = rng.integers(0, 256, (m, walks.n_steps)).astype(np.uint8)
    first = rng.integers(0, 5, m)
    steps = np.stack([first, rng.integers(first + 1, walks.n_steps + 1)], axis=1)
    threshold = np.full(m, 0.02)
    raw = [walk_signals(walks, image, base, pose, visible, use_numba=use) for use in (True, False)]
    np.testing.assert_allclose(raw[0], raw[1], rtol=2e-3, atol=2e-5 * np.abs(raw[1]).max())
    both = [
        walk_outcome(walks, image, base, pose, threshold, visible=visible, steps=steps, use_numba=use)
        for use in (True, False)
    ]
    np.testing.assert_allclose(both[0][0], both[1][0], rtol=2e-3, atol=1e-6)
    assert np.mean(both[0][1] == both[1][1]) > 0.99
    assert both[0][1].max() >= 2


def test_hidden_levels_add_nothing() -> None:
    walks, image = _walks(), response_image(ZONES)
    base, pose = np.array([[2.0, 0.5, -3.0]]), np.array([3])
    whole = walk_signals(walks, image, base, pose)
    parts = [
        walk_signals(walks, image, base, pose, np.full((1, walks.n_steps), bits, np.uint8)) for bits in (0x0F, 0xF0, 0)
    ]
    np.testing.assert_allclose(parts[0] + parts[1], whole, rtol=1e-4, atol=1e-7)
    assert np.all(parts[2] == 0)
