"""The writer of scene files: whatever is put in reads back, comments stand where they belong."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import raycover
from raycover.importing.scene_text import WIDTH, write_scene
from raycover.scene.reading import read_text

ROOM = {"name": "Hall", "outline": [[0, 0], [4, 0], [4, 3], [0, 3]], "height": 2.5, "walls": "none"}

texts = st.text(max_size=30)
plain = st.recursive(
    st.booleans() | st.none() | st.integers(-(10**6), 10**6) | st.floats(-1e6, 1e6).map(lambda v: round(v, 4)) | texts,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(texts, inner, max_size=4),
    max_leaves=20,
)


@settings(max_examples=150)
@given(st.dictionaries(texts, plain, max_size=5), st.lists(st.lists(texts, max_size=3), max_size=4))
def test_anything_reads_back(parts: dict[str, object], said: list[list[str]]) -> None:
    parts.pop("raycover", None)
    places = [(), *((key,) for key in parts), *((key, 0) for key in parts), *((key, 0, "a") for key in parts)]
    text = write_scene(parts, dict(zip(places, said, strict=False)))
    assert read_text(text, "x").data == {"raycover": 1, **parts}


def test_a_scene_loads_with_its_comments() -> None:
    comments = {
        (): ["Made by hand.", "Two lines."],
        ("rooms",): "one space",
        ("rooms", 0, "height"): "guessed: no height given",
        ("solids", 1): "guessed: round in the model",
    }
    solids = [{"name": n, "centre": [1, 1], "size": [0.3, 0.3, 2], "material": "timber"} for n in ("a", "b")]
    text = write_scene({"title": "Shed: no. 1", "rooms": [ROOM], "solids": solids}, comments)
    assert raycover.load_text(text).title == "Shed: no. 1"
    lines = text.splitlines()
    assert lines[:3] == ["# Made by hand.", "# Two lines.", "raycover: 1"]
    assert lines[lines.index("rooms:") - 1] == "# one space"
    assert "    height: 2.5   # guessed: no height given" in lines
    assert any(line.startswith("  - {name: b") and line.endswith("# guessed: round in the model") for line in lines)
    assert "  - {name: a, centre: [1, 1], size: [0.3, 0.3, 2], material: timber}" in lines


def test_what_is_said_of_an_opening_stands_by_it() -> None:
    opening = {"at": 1, "width": 0.9, "height": 2.1, "fill": "door-wood-40"}
    wall = {"name": "w", "line": [[0, 0], [4, 0]], "height": 2.5, "construction": "brick-100", "openings": [opening]}
    text = write_scene({"partitions": [wall]}, {("partitions", 0, "openings", 0, "fill"): "guessed: no material"})
    assert "      - {at: 1, width: 0.9, height: 2.1, fill: door-wood-40}   # guessed: no material" in text
    assert raycover.load_text(text).partitions[0].openings[0].width == 0.9


def test_long_lines_are_broken_and_numbers_rounded() -> None:
    ring = [[10 * math.cos(i / 20 * math.pi), 10 * math.sin(i / 20 * math.pi)] for i in range(40)]
    text = write_scene({"rooms": [{**ROOM, "outline": ring}]})
    assert max(map(len, text.splitlines())) <= WIDTH
    assert "[9.8769, 1.5643]" in text
    assert "-0," not in text
    assert len(raycover.load_text(text).rooms[0].outline) == 40


@pytest.mark.parametrize("value", [math.inf, math.nan])
def test_no_number_without_end(value: float) -> None:
    with pytest.raises(ValueError, match="cannot stand"):
        write_scene({"grid": value})
