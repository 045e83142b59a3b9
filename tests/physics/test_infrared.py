"""Infrared relations: invariants and borders; figures are in tests/references."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from raycover.physics import infrared
from raycover.physics.infrared import (
    WARM_FROM_C,
    band_radiance,
    clo_worn,
    contrast_db,
    contrast_factor,
    direction_ratio,
    person_difference,
    worn_contrast,
    zone_crossing_hz,
)


@settings(deadline=None)
@given(st.floats(-60, 60), st.floats(0.1, 40))
def test_hotter_is_brighter(celsius: float, more: float) -> None:
    assert band_radiance(celsius + more) > band_radiance(celsius)


@settings(deadline=None)
@given(st.floats(-40, 60), st.floats(8.1, 13.9))
def test_bands_add_up(celsius: float, cut_um: float) -> None:
    parts = band_radiance(celsius, 8.0, cut_um) + band_radiance(celsius, cut_um, 14.0)
    assert parts == pytest.approx(float(band_radiance(celsius)), rel=1e-10)


def test_very_cold_bodies_are_dark() -> None:
    assert band_radiance(-273.0) == pytest.approx(0.0, abs=1e-300)


@pytest.mark.parametrize("bad", [-273.15, -400.0, np.nan])
def test_no_temperature_below_absolute_zero(bad: float) -> None:
    with pytest.raises(ValueError, match="absolute zero"):
        band_radiance(bad)


@pytest.mark.parametrize(("lo", "hi"), [(0.0, 14.0), (14.0, 8.0), (8.0, 8.0)])
def test_bands_must_rise(lo: float, hi: float) -> None:
    with pytest.raises(ValueError, match="positive and rising"):
        band_radiance(20.0, lo, hi)


@pytest.mark.parametrize("target", ["clothed", "skin"])
def test_contrast_falls_as_the_room_warms(target: infrared.Target) -> None:
    k = contrast_factor(np.linspace(-10, 45, 100), target)
    assert np.all(np.diff(k) < 0)
    assert contrast_factor(20.0, target) == 1.0
    assert contrast_factor(45.0, target) < 0  # hotter than the body: the contrast returns inverted


def test_target_must_be_known() -> None:
    with pytest.raises(ValueError, match="'clothed' or 'skin'"):
        contrast_factor(20.0, "dressed")  # type: ignore[arg-type]


@pytest.mark.parametrize("clo", [0.5, 1.0])
def test_clothing_hardly_matters(clo: float, monkeypatch: pytest.MonkeyPatch) -> None:
    """Our 0.7 clo is an assumption; 0.5 and 1 clo give the same k within 0.02 from 10 to 35 °C."""
    ambient = np.arange(10.0, 36.0)
    assumed = contrast_factor(ambient)
    monkeypatch.setattr(infrared, "_R_CLOTHING", 0.155 * clo)
    np.testing.assert_allclose(contrast_factor(ambient), assumed, rtol=0, atol=0.02)


def test_contrast_in_decibels() -> None:
    np.testing.assert_allclose(contrast_db([1.0, -1.0, 0.1, 0.0]), [0.0, 0.0, -20.0, -np.inf])


def test_half_the_contrast_is_left_where_the_warning_starts() -> None:
    """From WARM_FROM_C up at most half of the contrast is left: 6 dB of margin or more are gone."""
    assert contrast_db(contrast_factor(WARM_FROM_C)) == pytest.approx(-6.0, abs=0.1)


@settings(deadline=None)
@given(st.floats(0, 30), st.floats(0.1, 20))
def test_direction_ratio_is_the_cosine_at_the_unit(distance: float, height: float) -> None:
    ratio = direction_ratio(distance, height)
    assert 0 < ratio <= 1
    assert ratio == pytest.approx(np.cos(np.arctan2(distance, height)), rel=1e-9)


def test_geometry_is_checked() -> None:
    with pytest.raises(ValueError, match="above the target"):
        direction_ratio(2.0, 0.0)
    with pytest.raises(ValueError, match="must be positive"):
        zone_crossing_hz(1.0, 0.0, 7.5)
    with pytest.raises(ValueError, match="must be positive"):
        zone_crossing_hz(1.0, 3.0, 0.0)


def test_walking_round_the_unit_crosses_every_pair() -> None:
    """One full circle at radius s passes 360/P pairs, however fast."""
    slant, speed, pitch_deg = 4.0, 1.2, 9.0
    seconds = 2 * np.pi * slant / speed
    assert zone_crossing_hz(speed, slant, pitch_deg) * seconds == pytest.approx(40.0)


def test_cold_air_is_not_credited_to_people_who_dress_for_it() -> None:
    """1.7 clo at 4 °C and 3.5 clo at −20 °C (ISO 11079 for light work, from memory) leave 1.25 and 1.37 (by hand)."""
    np.testing.assert_allclose(worn_contrast([4.0, -20.0]), [1.247, 1.373], atol=0.001)
    air = np.array([10.0, 15.0, 20.0, 30.0])
    np.testing.assert_allclose(worn_contrast(air), contrast_factor(air))  # as tabled
    np.testing.assert_allclose(clo_worn([-30.0, -8.0, 7.0, 35.0]), [3.5, 2.6, 1.2, 0.7])
    assert contrast_db(contrast_factor(-20.0)) > 8  # what indoor clothing would have promised


def test_clothing_by_hand_at_four_degrees() -> None:
    """Skin 33.5 − 0.13·18 = 31.16 °C; over 1.7 clo (0.2635) and air (0.0855) clothing of 4 + 27.16·0.0855/0.349."""
    skin, clothing = 31.16, 4 + 27.16 * (1 / 11.7) / (0.155 * 1.7 + 1 / 11.7)
    room, at_20 = band_radiance(4.0), person_difference(20.0)
    body = 0.85 * 0.95 * (band_radiance(clothing) - room) + 0.15 * 0.98 * (band_radiance(skin) - room)
    assert float(worn_contrast(4.0)) == pytest.approx(float(body / at_20), rel=1e-9)
