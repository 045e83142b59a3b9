"""Slips of different sorts are told together, and none is told that only follows from another."""

from __future__ import annotations

from pathlib import Path

import pytest

from raycover.errors import InputError
from raycover.loading import load_text

EXAMPLES = Path(__file__).parents[2] / "examples"
STORE = """\
raycover: 1
rooms:
  - name: Hall
    outline: [[0, 0], [30, 0], [30, 12], [0, 12]]
    height: 9
    walls: steel-panel
racking:
  - {name: R1, at: [2, 2], bays: 4, levels: 3, fill: 0.5, seed: 3}
  - {name: R2, at: [2, 6], bays: 4, levels: 3}
detectors:
  - {name: D1, model: high-bay-infrared-aisle, at: [6, 4.5], mounting: 8}
  - {name: D2, model: high-bay-infrared-round, at: [24, 6], mounting: 8}
planes: [{name: floor, height: 0}]
needs:
  - {name: Aisle, aisles: [R1/R2], plane: floor}
  - {name: End, area: [[20, 2], [28, 2], [28, 8]], detectors: [D2]}
states: [{name: Empty, set: {R1: {goods: false}}}]
"""


def codes(*slips: tuple[str, str]) -> list[str]:
    """Codes of what is said of the store with some words replaced, in the order of the file."""
    text = STORE
    for old, new in slips:
        assert old in text
        text = text.replace(old, new, 1)
    with pytest.raises(InputError) as found:
        load_text(text)
    assert all(problem.position.line for problem in found.value.problems)
    return [problem.code for problem in found.value.problems]


@pytest.mark.parametrize(
    ("slips", "said"),
    [
        ([("mounting: 8}", "mount: 8}"), ("steel-panel", "steal-panel")],
         ["unknown-construction", "unknown-key"]),
        ([("bays: 4, levels: 3}", "bays: 4, levls: 3}"), ("infrared-round", "infrared-rund")],
         ["unknown-key", "unknown-model"]),
        ([("detectors:", "detektors:"), ("model: high-bay-infrared-aisle", "modle: high-bay-infrared-aisle")],
         ["unknown-key", "unknown-key"]),
        ([("mounting: 8}", "mounting: 10}"), ("fill: 0.5", "fill: 50")], ["out-of-range", "detector-above-ceiling"]),
        ([("plane: floor", "plane: flor, motion: across")], ["unknown-plane", "not-allowed"]),
        ([("needs:", "underlay: {file: no.png, scale: {metres_per_pixel: 1}}\nneeds:"), ("height: 9", "height: 9 f")],
         ["not-a-length", "missing-file"]),
    ],
)  # fmt: skip
def test_slips_of_several_sorts_are_told_at_once(slips: list[tuple[str, str]], said: list[str]) -> None:
    assert sorted(codes(*slips)) == sorted(said)


@pytest.mark.parametrize(
    ("slip", "said"),
    [
        (("fill: 0.5", "fill: 50"), "out-of-range"),  # a seed with nothing to draw
        (("name: R2, at: [2, 6]", "name: R2, at: [2]"), "wrong-length"),  # an aisle without its rack
        (("[30, 12], [0, 12]]", "[30, 12], 0]"), "wrong-type"),  # detectors and areas outside every room
        (("name: D2,", "name: 7,"), "wrong-type"),  # a need's detector
        (("planes: [{name: floor, height: 0}]", "planes: [{name: floor, height: low}]"), "not-a-length"),  # its plane
        (("bays: 4, levels: 3, fill", "bays: many, levels: 3, fill"), "wrong-type"),  # a state's rack
        (("mounting: 8}", "mounting: -8}"), "out-of-range"),
        (
            ("[30, 0], [30, 12], [0, 12]", "[30, 12], [0, 12], [30, 0]"),
            "bad-outline",
        ),  # a need's area
    ],
)
def test_what_only_follows_is_not_told(slip: tuple[str, str], said: str) -> None:
    assert codes(slip) == [said]


def test_wrong_sets_and_names_are_told_together() -> None:
    needs = ("  - {name: Aisle, aisles: [R1/R2]", "  - {set: aisle stre}\n  - {name: Aisle, aisles: [R1/R7]")
    assert codes(needs) == ["unknown-set", "unknown-rack"]


@pytest.mark.parametrize("example", ["depot", "washroom"])
def test_one_misspelt_key_is_one_slip(example: str) -> None:
    """Every line of an example in turn gets its last key misspelt: all that is said stands on that line or above it."""
    path = EXAMPLES / example / "scene.yaml"
    lines = path.read_text(encoding="utf-8").splitlines()
    told: set[str] = set()
    for number, line in enumerate(lines[1:], 2):
        head, colon, tail = line.split("#")[0].rpartition(":")
        word = head.rstrip().rsplit(" ", 1)[-1].strip("{-")
        if not colon or word in told or not word.isidentifier():
            continue
        told.add(word)
        changed = [*lines]
        changed[number - 1] = f"{head}zz:{tail}"
        try:
            load_text("\n".join(changed), folder=path.parent)
        except InputError as error:
            known = {"unknown-key", "missing-key"}
            beyond = [p.frame() for p in error.problems if p.position.line > number and p.code not in known]
            assert not beyond, (line, beyond)


@pytest.mark.parametrize(
    ("slip", "help_"),
    [
        (("fill: 0.5", "fill: 50"), "50 % is written 0.5"),
        (("fill: 0.5", "fill: 50 %"), "0.5 as a share"),
        (("fill: 0.5", 'fill: "0,5"'), "write 0.5 with a point"),
        (("raycover: 1", "raycover: 1\nconditions: {ambient_c: -20 °C}"), "write -20 without its unit"),
    ],
)
def test_a_number_that_is_none_is_told_as_it_should_be(slip: tuple[str, str], help_: str) -> None:
    with pytest.raises(InputError) as found:
        load_text(STORE.replace(*slip))
    assert [help_ in problem.help for problem in found.value.problems] == [True]
