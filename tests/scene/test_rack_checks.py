"""Racks that can't be as they are written: each refused with its code at its place, and what is right let pass."""

from __future__ import annotations

import pytest

import raycover
from raycover.errors import InputError, Problem

START = "racking: [{name: R, at: [1, 1], bays: 3, "


def load(*lines: str) -> raycover.Scene:
    return raycover.load_text("\n".join(["raycover: 1", *lines, ""]))


def only(*lines: str) -> Problem:
    with pytest.raises(InputError) as caught:
        load(*lines)
    (problem,) = caught.value.problems
    return problem


@pytest.mark.parametrize(
    ("rest", "code"),
    [
        ("levels: 2, beam_height: ‸1.6", "beam-too-high"),
        ("levels: 2, goods_height: ‸1.5", "load-too-high"),
        ("levels: 2, goods_height: ‸0.144", "load-too-low"),
        ("levels: 2, level_pitch: 0.4, goods: true, decks: wire", "load-too-high"),
        ("levels: 2, loads: [{level: 1, height: ‸1.5}]", "load-too-high"),
        ("levels: 2, loads: [{level: 1, height: ‸0.1}]", "load-too-low"),
        ("levels: 2, top_of_load: ‸1.7", "load-too-low"),
        ("levels: 3, frame_height: ‸3.1", "frame-too-low"),
        ("levels: 2, pallets_per_bay: ‸4", "load-too-wide"),
        ("levels: 2, bay_width: ‸0.7", "load-too-wide"),
        ("levels: 2, depth: ‸1.31", "load-off-beams"),
        ("levels: 1, depth: ‸0.15", "rack-too-shallow"),
        ("levels: 2, back_to_back: true, flue_gap: ‸0.09", "loads-collide"),
        ("levels: 2, fill: 0.5, ‸loads: [{level: 1}]", "fill-and-loads"),
        ("levels: 2, goods: false, ‸fill: 0.5", "goods-and-loads"),
        ("levels: 2, goods: false, ‸loads: [{level: 1}]", "goods-and-loads"),
        ("levels: 2, ‸seed: 4", "seed-without-fill"),
        ("levels: 2, loads: [{level: ‸3}]", "no-such-level"),
        ("levels: 2, loads: [{level: 1, bays: [1, ‸4]}]", "no-such-bay"),
        ("levels: 2, loads: [{level: 1, row: ‸rear}]", "no-such-row"),
        ("levels: 2, loads: [{level: 1, bays: [1]}, ‸{level: 1, share: 0.5}]", "loaded-twice"),
        ("levels: 2, loads: [‸{level: 1, bays: [2, 2]}]", "loaded-twice"),
        ("levels: 2, loads: [{level: 1, material: ‸snow}]", "unknown-material"),
        ("levels: 2, ‸shelf: chipboard-18", "key-not-for-kind"),
        ("levels: 2, kind: shelving, ‸decks: wire", "key-not-for-kind"),
        ("levels: 2, kind: shelving, ‸preset: reach", "key-not-for-kind"),
        ("levels: 2, kind: shelving, shelf: ‸oak", "unknown-construction"),
        ("levels: 2, kind: shelving, level_pitch: ‸0.02, goods: false", "shelf-too-thick"),
        ("levels: 2, kind: cantilever, ‸pallets_per_bay: 2", "key-not-for-kind"),
        ("levels: 2, kind: cantilever, goods_height: ‸0.9", "load-too-high"),
    ],
)
def test_what_does_not_fit(rest: str, code: str) -> None:
    line = START + rest + "}]"
    problem = only(line.replace("‸", ""))
    assert problem.code == code
    assert problem.help
    if "‸" in rest:
        assert (problem.position.line, problem.position.column) == (2, line.index("‸") + 1)


@pytest.mark.parametrize(
    "rest",
    [
        "levels: 2, depth: 1.31, decks: wire",
        "levels: 2, depth: 1.29",
        "levels: 2, depth: 1.31, goods: false",
        "levels: 1, depth: 1.31",
        "levels: 2, back_to_back: true, flue_gap: 0.1",
        "levels: 2, back_to_back: true, flue_gap: 0, goods: false",
        "levels: 2, back_to_back: true, flue_gap: 0, fill: 0",
        "levels: 2, top_of_load: 9.0",
        "levels: 2, loads: [{level: 2, height: 3.0}]",
        "levels: 2, back_to_back: true, loads: [{level: 1, row: front}, {level: 1, row: rear, share: 0.5}], seed: 3",
        "levels: 2, loads: [{level: 1, bays: [1, 2], share: 0.5}, {level: 1, bays: [3]}]",
        "levels: 2, fill: 0, seed: 2",
        "preset: reach",
        "levels: 2, kind: shelving, back_to_back: true",
        "levels: 2, kind: cantilever, back_to_back: true",
    ],
)
def test_what_fits(rest: str) -> None:
    scene = load(START + rest + "}]")
    assert not scene.warnings


def test_everything_wrong_is_told_at_once() -> None:
    with pytest.raises(InputError) as caught:
        load(START + "levels: 2, seed: 1, shelf: none, loads: [{level: 3}, {level: 1, bays: [9]}]}]")
    codes = [problem.code for problem in caught.value.problems]
    assert codes == ["seed-without-fill", "key-not-for-kind", "no-such-level", "no-such-bay"]


def test_racks_under_a_ceiling() -> None:
    """What is said of levels, loads and frames must fit; frames that nobody measured are only doubtful."""
    room = "rooms: [{name: r, outline: [[0, 0], [20, 0], [20, 9], [0, 9]], height: 5, walls: none}]"
    rack = "racking: [{{name: R, at: [1, 1], bays: 3, {}}}]"
    assert not load(room, rack.format("levels: 3")).warnings
    (warning,) = load(room, rack.format("levels: 3, base: 0.4")).warnings
    assert (warning.code, warning.severity) == ("rack-above-ceiling", "warning")
    for rest in ("levels: 4", "levels: 3, frame_height: 5.1", "levels: 3, top_of_load: 5.1",
                 "levels: 3, loads: [{level: 3, height: 1.9}]", "levels: 5, goods: false"):  # fmt: skip
        problem = only(room, rack.format(rest))
        assert problem.code == "rack-above-ceiling"
        assert '"r", which is 5 m high' in problem.message


def test_a_misspelt_preset_is_all_that_is_told() -> None:
    problem = only("racking: [{name: R, preset: reech, at: [1, 1], bays: 2}]")
    assert 'did you mean "reach"?' in problem.help


@pytest.mark.parametrize(
    ("preset", "aisle"), [("counterbalance", 3.7), ("reach", 2.7), ("very-narrow-aisle", 1.6)]
)  # [M, PHYSICS §5]
def test_aisles_too_narrow_for_the_trucks(preset: str, aisle: float) -> None:
    """The aisle counts between loads, which stand out 50 mm on either side."""
    for short, told in ((0.05, True), (-0.05, False)):
        y = 1.1 + aisle + 0.1 - short
        racks = [
            f"{{name: A, preset: {preset}, at: [9, 1.1], turn_deg: 180, bays: 2}}",
            f"{{name: B, preset: {preset}, at: [0.3, {y:.3f}], bays: 3}}",
        ]
        # A faces +y from y = 1.1, turned about its front left corner
        warnings = load(f"racking: [{', '.join(racks)}]").warnings
        assert [w.code for w in warnings] == (["aisle-too-narrow"] if told else [])
        if told:
            assert f"leaves {aisle - short:.2f} m clear" in warnings[0].message


def test_backs_of_racks_need_no_aisle() -> None:
    one = "{name: A, preset: reach, at: [0, 0], bays: 2}"
    two = "{name: B, preset: reach, at: [5.7, 2.6], turn_deg: 180, bays: 2}"
    assert not load(f"racking: [{one}, {two}]").warnings
