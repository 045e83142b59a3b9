"""Lengths as text: exact conversions, every way of writing that is allowed, and what is refused with what hint.

One international foot is 0.3048 m exactly, an inch 25.4 mm exactly (international yard and pound agreement, 1959;
also NIST Handbook 44, appendix C). The figures below are worked out from that by hand.
"""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

import raycover
from raycover.errors import InputError
from raycover.scene.lengths import PATTERN, NotALength, length_m

GOOD = [
    ("2500 mm", 2.5),
    ("250 cm", 2.5),
    ("2.5 m", 2.5),
    ("2.5m", 2.5),
    (".5 m", 0.5),
    ("-250 mm", -0.25),
    ("+1 m", 1.0),
    ("1 ft", 0.3048),
    ("3 ft", 0.9144),
    ("2 ft", 0.6096),
    ("12 ft 6 in", 3.81),
    ("12ft6in", 3.81),
    ("12'6\"", 3.81),
    ("12'-6\"", 3.81),
    ("12' 6\"", 3.81),
    ("12′ 6″", 3.81),
    ("12' 6''", 3.81),
    ("8'", 2.4384),
    ("150 in", 3.81),
    ('150"', 3.81),
    ("1 in", 0.0254),
    ("3/4 in", 0.01905),
    ("6 3/4 in", 0.17145),
    ("6-3/4 in", 0.17145),
    ("12 ft 6 3/4 in", 3.82905),
    ("12'-6 1/2\"", 3.8227),
    ("10.5 ft", 3.2004),
    ("-2 ft 6 in", -0.762),
    ("0 ft", 0.0),
    ("0 ft 3 in", 0.0762),
    ("  1 m  ", 1.0),
]


@pytest.mark.parametrize(("text", "metres"), GOOD)
def test_lengths_are_exact(text: str, metres: float) -> None:
    assert length_m(text) == metres
    assert re.search(PATTERN, text), "what a scene accepts its JSON Schema accepts too"


BAD = [
    ("", "12 ft 6 in"),
    ("in", "12 ft 6 in"),
    ("two metres", "12 ft 6 in"),
    ("28 dm", "2500 mm"),
    ("2.5", "take the quotes away"),
    ("2,5", "write 2.5 with a point"),
    ("2,5 m", "write 2.5 m with a point"),
    ("12,5 ft", "write 12.5 ft with a point"),
    ("12 ft 6,5 in", "write 12 ft 6.5 in with a point"),
    ("12 ft 14 in", "12 inches make a foot"),
    ("12 ft 12 in", "12 inches make a foot"),
    ("3/0 in", "3/4 in"),
    ("6 in 12 ft", "12 ft 6 in"),
    ("12 ft 6", "12 ft 6 in"),
    ("1/2 ft", "12 ft 6 in"),
    ("1e3 m", "2.5 m"),
    ("nan m", "2.5 m"),
    ("inf m", "2.5 m"),
    ("- m", "2.5 m"),
    ("1 m 20 cm", "2.5 m"),
    ("2 ft -6 in -", "2.5 m"),
    ("9" * 5000 + " m", "2.5 m"),
    ("1/" + "0" * 5000 + " in", "2.5 m"),
]


@pytest.mark.parametrize(("text", "words"), BAD, ids=[text[:16] for text, _ in BAD])
def test_what_is_no_length_says_what_is(text: str, words: str) -> None:
    with pytest.raises(NotALength) as caught:
        length_m(text)
    assert words in caught.value.help
    assert len(caught.value.what) < 120


@given(feet=st.integers(0, 9999), inches=st.integers(0, 11), sixteenths=st.integers(1, 15))
def test_feet_inches_and_sixteenths(feet: int, inches: int, sixteenths: int) -> None:
    """All of them against whole sixteenths of an inch, 1.5875 mm each."""
    n = (feet * 12 + inches) * 16 + sixteenths
    assert length_m(f"{feet} ft {inches} {sixteenths}/16 in") == pytest.approx(n * 0.0015875, rel=1e-15)


@given(st.text("0123456789 .,/-'\"ftinmc", max_size=14))
def test_any_text_gives_a_number_or_a_hint(text: str) -> None:
    try:
        value: float | None = length_m(text)
    except NotALength as error:
        value, hint = None, error.help
    if value is None:
        assert hint
    else:
        assert abs(value) < 1e13
        assert re.search(PATTERN, text)


def test_feet_and_inches_in_a_scene() -> None:
    scene = raycover.load_text(
        "raycover: 1\n"
        "rooms:\n"
        "  - {name: H, outline: [[0, 0], [40 ft, 0], [40 ft, 12'6\"], [0, 12 ft 6 in]], height: 9 ft, walls: none}\n"
        "partitions:\n"
        "  - {name: P, line: [[1, 0], [1, 2 ft]], height: '6''8\"', construction: chipboard-18}\n"
        "grid: 3/4 in\n"
        "planes: [{name: desk, height: 2 ft 5 in, extent: [0, 0, 1, 1]}]\n"
    )
    assert scene.rooms[0].outline[2] == (12.192, 3.81)
    assert scene.rooms[0].height == 2.7432
    assert scene.partitions[0].height == 2.032
    assert scene.grid == 0.01905
    assert scene.planes[0].height == 0.7366


def test_a_scene_refuses_with_the_place_and_what_is_allowed() -> None:
    with pytest.raises(InputError) as caught:
        raycover.load_text("raycover: 1\ngrid: a foot\n")
    (problem,) = caught.value.problems
    assert (problem.code, problem.position.line, problem.position.column) == ("not-a-length", 2, 7)
    assert "12 ft 6 in" in problem.help
    assert "2500 mm" in problem.help
