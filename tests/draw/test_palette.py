"""The map's colours: the four classes, their figures in the drawing standard, and their distance for every eye."""

from __future__ import annotations

from itertools import combinations, pairwise

import numpy as np
import pytest
from colorspacious import cspace_convert
from numpy.typing import ArrayLike, NDArray

from raycover.draw import palette

#: From the project's drawing standard: start, middle, end of each class at a reserve of 3 dB.
STANDARD = {
    "not seen": ("#0f286d", "#163479", "#1c3f83"),
    "doubtful": ("#3a679b", "#45719d", "#4d789d"),
    "seen": ("#7f9a8b", "#8aa288", "#95aa87"),
    "assured": ("#d4dba8", "#f0f1cd", "#fbfbeb"),
}
#: Same source: smallest CIEDE2000 between ends of two classes, and between neighbouring middles.
DISTANCES = {
    "normal": (13.4, 20.2),
    "deuteranomaly": (12.1, 18.2),
    "protanomaly": (12.9, 19.5),
    "tritanomaly": (12.4, 18.7),
    "grey": (11.9, 16.7),
}
LIGHTNESS = {"not seen": (19, 28), "doubtful": (43, 49), "seen": (61, 67), "assured": (86, 98)}


def ciede2000(first: ArrayLike, second: ArrayLike) -> float:
    """Colour difference of two CIELAB colours, CIE 142-2001 / ISO/CIE 11664-6."""
    (l1, a1, b1), (l2, a2, b2) = np.asarray(first, float), np.asarray(second, float)
    c_mean = (np.hypot(a1, b1) + np.hypot(a2, b2)) / 2
    g = 0.5 * (1 - np.sqrt(c_mean**7 / (c_mean**7 + 25**7)))
    a1, a2 = (1 + g) * a1, (1 + g) * a2
    c1, c2 = np.hypot(a1, b1), np.hypot(a2, b2)
    h1, h2 = np.degrees(np.arctan2(b1, a1)) % 360, np.degrees(np.arctan2(b2, a2)) % 360
    turn = 0.0 if c1 * c2 == 0 else (h2 - h1 + 180) % 360 - 180
    d_h = 2 * np.sqrt(c1 * c2) * np.sin(np.radians(turn / 2))
    l_mean, c_mean = (l1 + l2) / 2, (c1 + c2) / 2
    h_mean = h1 + h2 if c1 * c2 == 0 else (h1 + turn / 2) % 360
    t = (
        1
        - 0.17 * np.cos(np.radians(h_mean - 30))
        + 0.24 * np.cos(np.radians(2 * h_mean))
        + 0.32 * np.cos(np.radians(3 * h_mean + 6))
        - 0.20 * np.cos(np.radians(4 * h_mean - 63))
    )
    s_l = 1 + 0.015 * (l_mean - 50) ** 2 / np.sqrt(20 + (l_mean - 50) ** 2)
    s_c, s_h = 1 + 0.045 * c_mean, 1 + 0.015 * c_mean * t
    r_c = 2 * np.sqrt(c_mean**7 / (c_mean**7 + 25**7))
    r_t = -r_c * np.sin(np.radians(60 * np.exp(-(((h_mean - 275) / 25) ** 2))))
    parts = (l2 - l1) / s_l, (c2 - c1) / s_c, d_h / s_h
    return float(np.sqrt(sum(p**2 for p in parts) + r_t * parts[1] * parts[2]))


def lab(rgb: NDArray[np.uint8], eye: str) -> NDArray[np.float64]:
    """CIELAB of an sRGB colour as an eye sees it; grey keeps the lightness only."""
    seen = np.asarray(rgb) / 255
    if eye.endswith("anomaly"):
        space = {"name": "sRGB1+CVD", "cvd_type": eye, "severity": 100}
        seen = np.clip(cspace_convert(seen, space, "sRGB1"), 0, 1)
    found = np.asarray(cspace_convert(seen, "sRGB1", "CIELab"))
    return found * [1, 0, 0] if eye == "grey" else found


def ends(part: palette.MarginClass) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
    return palette.margin_rgb(part.from_db, 3), palette.margin_rgb(part.to_db - 0.01, 3)


@pytest.mark.parametrize(
    ("first", "second", "expected"),
    [
        # Sharma, Wu and Dalal, Color Res. Appl. 30 (2005) 21, table 1, pairs 1, 2, 16, 17, 21; from memory.
        ((50, 2.6772, -79.7751), (50, 0, -82.7485), 2.0425),
        ((50, 3.1571, -77.2803), (50, 0, -82.7485), 2.8615),
        ((50, 2.5, 0), (50, 0, -2.5), 4.3065),
        ((50, 2.5, 0), (73, 25, -18), 27.1492),
        ((50, 2.5, 0), (58, 24, 15), 19.4535),
    ],
)
def test_the_difference_formula_gives_published_figures(first: ArrayLike, second: ArrayLike, expected: float) -> None:
    assert ciede2000(first, second) == pytest.approx(expected, abs=1e-4)


def test_classes_have_the_colours_of_the_drawing_standard() -> None:
    for part in palette.classes(3):
        shades = [palette.margin_rgb(db, 3) for db in (part.from_db, part.middle_db, part.to_db - 0.01)]
        assert tuple(palette.hex_of(rgb) for rgb in shades) == STANDARD[part.name]


@pytest.mark.parametrize("eye", DISTANCES)
def test_classes_stay_apart_for_every_eye_and_in_grey(eye: str) -> None:
    parts = palette.classes(3)
    between = [
        ciede2000(lab(a, eye), lab(b, eye))
        for first, second in combinations(parts, 2)
        for a in ends(first)
        for b in ends(second)
    ]
    middles = [palette.margin_rgb(part.middle_db, 3) for part in parts]
    neighbours = [ciede2000(lab(a, eye), lab(b, eye)) for a, b in pairwise(middles)]
    # The standard's figures come from other conversions of white point and vision: 0.2 is their spread.
    assert (min(between), min(neighbours)) == pytest.approx(DISTANCES[eye], abs=0.2)


def test_lightness_rises_with_the_margin() -> None:
    margin = np.arange(-9, 15, 0.25)
    lightness = [lab(palette.margin_rgb(db, 3), "normal")[0] for db in margin]
    assert all(b >= a for a, b in pairwise(lightness))
    for part in palette.classes(3):
        found = [lab(rgb, "normal")[0] for rgb in ends(part)]
        assert found == pytest.approx(LIGHTNESS[part.name], abs=1)


@pytest.mark.parametrize("reserve", [0.5, 3.0, 6.0, 40.0])
def test_bounds_follow_the_reserve(reserve: float) -> None:
    just_below = np.nextafter(np.array([-reserve, 0.0, reserve]), -np.inf)
    assert palette.class_of([-reserve, 0.0, reserve], reserve).tolist() == [1, 2, 3]
    assert palette.class_of(just_below, reserve).tolist() == [0, 1, 2]
    starts = palette.margin_rgb([-reserve, 0.0, reserve], reserve)
    assert [palette.hex_of(c) for c in starts] == [STANDARD[n][0] for n in ("doubtful", "seen", "assured")]


def test_without_a_reserve_two_classes_remain() -> None:
    assert set(palette.class_of([-5, -1e-9, 0, 1e-9, 5], 0).tolist()) == {palette.NOT_SEEN, palette.ASSURED}


def test_colours_step_by_a_quarter_of_a_decibel_downwards() -> None:
    steps = palette.margin_rgb([6.0, 6.1, 6.2499, 6.25], 3)
    assert (steps[0] == steps[1]).all()
    assert (steps[1] == steps[2]).all()
    assert len(np.unique(palette.margin_rgb(np.linspace(-9, 15, 5000), 3), axis=0)) <= 24 / 0.25


def test_ends_and_outside() -> None:
    beyond = palette.margin_rgb([-np.inf, -99, 99, np.inf, np.nan], 3)
    assert [palette.hex_of(c) for c in beyond[:2]] == [STANDARD["not seen"][0]] * 2
    assert [palette.hex_of(c) for c in beyond[2:4]] == ["#fbfbec"] * 2  # the slice's own end, past the last step
    assert palette.hex_of(beyond[4]) == "#ffffff"
    assert palette.class_of(np.nan, 3) == -1


def test_shape_is_kept() -> None:
    assert palette.margin_rgb(np.zeros((4, 5)), 3).shape == (4, 5, 3)
    assert palette.legend_image(palette.SEEN, 3, 10).shape == (10, 1, 3)
