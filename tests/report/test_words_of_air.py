"""The air of rooms in German titles of drawings and proofs."""

from __future__ import annotations

import pytest

from raycover.report.words import report_words
from raycover.scene.air import air_words


@pytest.mark.parametrize(
    ("rooms_c", "german"),
    [
        ({}, "20,5 °C"),
        ({"Freezer": -20.0}, "20,5 °C (Freezer −20 °C)"),
        ({"A": -20.0, "B": 4.5}, "20,5 °C (2 Räume −20 bis 4,5 °C)"),
        ({"A": 4.5, "B": 4.5}, "20,5 °C (2 Räume 4,5 °C)"),
        ({"A room with a long name": 4.5}, "20,5 °C (1 Raum 4,5 °C)"),
    ],
)
def test_titles_name_the_air_of_rooms(rooms_c: dict[str, float], german: str) -> None:
    words = report_words("de")
    title = f"Where a moving person is noticed, on the floor, air at {air_words(20.5, rooms_c)}"
    assert words.on_drawing(title) == f"Wo ein Mensch in Bewegung bemerkt wird, auf dem Boden, Luft von {german}"
    assert words.said(f"air at {air_words(20.5, rooms_c)}") == f"Luft von {german}"
