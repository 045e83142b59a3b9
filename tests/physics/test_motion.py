"""Doppler, speeds and bodies: hand-worked numbers, and what the blend of two declared walks must keep."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from raycover.physics.microwave import (
    BREATHING_M2,
    SEATED_M2,
    WALKER_M2,
    body_db,
    sensitivity_db,
)
from raycover.physics.motion import ACROSS_SHARE, SMALL_MPS, WALK_MPS, SpeedBand, moving_db, with_derived
from raycover.physics.pattern import Declaration, resolve
from raycover.physics.shapes import Circle


def test_a_band_of_shifts_is_a_range_of_radial_speeds() -> None:
    """38.69 Hz per m/s at 5.8 GHz, 160.94 at 24.125 GHz [C]: 10 to 100 Hz is 0.2585 to 2.585 m/s, 0.0621 to 0.621."""
    low = SpeedBand.of_doppler(10, 100, 5.8)
    assert (low.from_mps, low.to_mps) == pytest.approx((10 / 38.69, 100 / 38.69), rel=2e-4)
    high = SpeedBand.of_doppler(10, 100, 24.125)
    assert (high.from_mps, high.to_mps) == pytest.approx((10 / 160.94, 100 / 160.94), rel=2e-4)


def test_response_to_a_radial_speed() -> None:
    """1 within the band, half at half the lowest and at twice the highest (first-order skirts, our assumption)."""
    band = SpeedBand(0.2, 2.0)
    assert band.response([0.2, -1.0, 2.0, 0.1, 4.0, 0.0]).tolist() == pytest.approx([1, 1, 1, 0.5, 0.5, 0])


def test_a_walker_at_an_angle_by_hand() -> None:
    """Declared walk, 6 dB along and 0 dB across the line of sight. At 60° a quarter of the energy lies along it:
    10·log10(0.25·10^0.6 + 0.75) = 2.42 dB."""
    walk = WALK_MPS
    cos_psi = np.cos(np.radians([0, 60, 90, 180]))
    expected = [6.0, 10 * math.log10(0.25 * 10**0.6 + 0.75), 0.0, 6.0]
    assert moving_db(6.0, 0.0, cos_psi, walk, None) == pytest.approx(expected)
    assert expected[1] == pytest.approx(2.42, abs=0.005)
    # Half as fast, straight along: a quarter of the trunk's power, of the limbs' what is left of it; standing: nothing.
    assert moving_db(6.0, 0.0, 1.0, walk / 2, None) == pytest.approx(
        10 * math.log10(0.25 * 10**0.6 + 0.75 * 0.25), abs=1e-9
    )
    assert np.isneginf(moving_db(6.0, 0.0, 1.0, 0.0, None))


def test_with_a_band_any_radial_speed_in_it_counts_in_full() -> None:
    band = SpeedBand(0.2, 3.0)
    # 1.22 m/s at 75°: 0.316 m/s along the line of sight, within the band
    assert moving_db(6.0, 0.0, math.cos(math.radians(75)), WALK_MPS, band) == pytest.approx(6.0)
    # at 85°: 0.106 m/s, response 0.5316: 10·log10(0.2826·3.981 + 0.7174) = 2.65 dB
    assert moving_db(6.0, 0.0, math.cos(math.radians(85)), WALK_MPS, band) == pytest.approx(2.65, abs=0.01)


@given(st.floats(-30, 40), st.floats(-30, 40), st.floats(-1, 1))
def test_the_blend_stays_between_its_ends(radial: float, tangential: float, cos_psi: float) -> None:
    margin = float(moving_db(radial, tangential, cos_psi, WALK_MPS, None))
    assert min(radial, tangential) - 1e-6 <= margin <= max(radial, tangential) + 1e-6
    assert margin == pytest.approx(float(moving_db(radial, tangential, -cos_psi, WALK_MPS, None)))


def test_one_declared_walk() -> None:
    """Radial unknown: no less than across. Tangential unknown: nothing across, cos²ψ of the power else."""
    assert moving_db(-np.inf, 3.0, [1.0, 0.5, 0.0], WALK_MPS, None) == pytest.approx([3, 3, 3])
    margin = moving_db(3.0, -np.inf, [1.0, 0.5, 0.0], WALK_MPS, None)
    assert margin[:2] == pytest.approx([3, 3 + 20 * math.log10(0.5)])
    assert np.isneginf(margin[2])
    assert np.isneginf(moving_db(-np.inf, -np.inf, 0.3, WALK_MPS, None))
    assert np.isposinf(moving_db(np.inf, 3.0, 0.3, WALK_MPS, None))


def test_bodies_against_what_a_declaration_assumes() -> None:
    """1 m² against the walker's 0.73 m²: +1.37 dB, reach × 1.082; so 1 → 0.73 m² scales the reach × 0.924.
    0.73 m²: 3GPP TR 38.901 [2nd]. Seated on a walking declaration: 10·log10(0.03/0.73) = −13.86 dB."""
    assert body_db(1.0, "radial") == pytest.approx(1.367, abs=1e-3)
    assert 10 ** ((body_db(0.73, "radial") - body_db(1.0, "radial")) / 40) == pytest.approx(0.924, abs=5e-4)
    assert body_db(WALKER_M2, "tangential") == 0
    assert body_db(SEATED_M2, "radial") == pytest.approx(-13.86, abs=0.01)
    # Presence is declared with a seated person already: nothing is taken off twice, nothing added.
    assert body_db(SEATED_M2, "presence") == 0
    assert body_db(WALKER_M2, "presence") == 0
    assert body_db(BREATHING_M2, "presence") == pytest.approx(-10)
    assert 0.01 <= SEATED_M2 <= 0.1  # [M]
    with pytest.raises(ValueError, match="positive"):
        body_db(0.0, "radial")


def test_sensitivity_is_per_cent_of_the_reach() -> None:
    """50 % of the reach: 40·log10 ½ = −12.04 dB."""
    assert sensitivity_db(50) == pytest.approx(-12.04, abs=0.005)
    assert sensitivity_db(100) == 0


def test_small_movements_are_those_of_the_test_arm() -> None:
    """Middle of a 381 mm arm turning at 90°/s (NEMA WD 7 [2nd]): 0.1905·π/2 = 0.299 m/s."""
    assert pytest.approx(0.381 / 2 * math.pi / 2, abs=0.005) == SMALL_MPS


def test_what_is_derived_and_from_what() -> None:
    radial = resolve((Declaration(2.5, 0, "radial", Circle(14)),), 2.5)
    made = {f.motion: f for f in with_derived(radial, None)}
    assert list(made) == ["tangential", "radial", "presence"]
    assert made["radial"].derived == ""
    assert made["tangential"].gain_db == pytest.approx(40 * math.log10(ACROSS_SHARE))
    assert made["presence"].gain_db == pytest.approx(10 * math.log10(0.03 / 0.73))
    assert all("our assumption" in made[m].derived for m in ("tangential", "presence"))
    # Only tangential: radial is no less; a declared motion is never touched.
    tangential = resolve((Declaration(2.5, 0, "tangential", Circle(11)),), 2.5)
    other = {f.motion: f.gain_db for f in with_derived(tangential, None)}
    assert other == pytest.approx({"tangential": 0, "radial": 0, "presence": -13.86}, abs=0.01)
    presence = resolve((Declaration(2.5, 0.75, "presence", Circle(6)),), 2.5)
    assert with_derived(presence, None) == presence
    # A band that begins at twice the small movements' speed takes another 20·log10 ½ off presence.
    slow = {f.motion: f.gain_db for f in with_derived(radial, SpeedBand(0.6, 3))}
    assert slow["presence"] == pytest.approx(-13.86 - 6.02, abs=0.01)


def test_derived_presence_against_a_declared_one() -> None:
    """A typical 5.8 GHz unit (typical of the trade, no source): 14 m across for radial, 6 m for presence on a desk.
    Presence taken from radial ends within a tenth of the declared slant range: √(7² + 2.5²)·10^(−13.86/40) = 3.35 m,
    √(3² + 1.75²) = 3.47 m."""
    (footprint,) = (f for f in with_derived(resolve((Declaration(2.5, 0, "radial", Circle(14)),), 2.5), None)
                    if f.motion == "presence")  # fmt: skip
    assert footprint.largest_slant * footprint.gain_ratio == pytest.approx(3.35, abs=0.01)
    assert footprint.largest_slant * footprint.gain_ratio == pytest.approx(math.hypot(3, 1.75), rel=0.1)
