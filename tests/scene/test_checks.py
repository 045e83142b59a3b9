"""Checks across objects: what is refused, what is only doubtful, and what is right although it looks odd."""

from __future__ import annotations

import re

import pytest

import raycover
from raycover.errors import InputError, Problem
from raycover.scene.checks import MOST_CELLS

ROOM = "{name: r, outline: [[0, 0], [6, 0], [6, 4], [0, 4]], height: 3, walls: brick-100}"


def load(*lines: str, rooms: str = ROOM) -> raycover.Scene:
    return raycover.load_text("\n".join(["raycover: 1", f"rooms: [{rooms}]", *lines, ""]))


def problems(*lines: str, rooms: str = ROOM) -> tuple[Problem, ...]:
    with pytest.raises(InputError) as caught:
        load(*lines, rooms=rooms)
    return caught.value.problems


def only(*lines: str, rooms: str = ROOM) -> Problem:
    (problem,) = problems(*lines, rooms=rooms)
    return problem


def room(outline: str, name: str = "s", more: str = "") -> str:
    return f"{{name: {name}, outline: {outline}, height: 3, walls: none{more}}}"


# ---- names


@pytest.mark.parametrize(
    ("kind", "item"),
    [
        ("partitions", "{name: x, line: [[1, 1], [2, 1]], height: 1, construction: glass-6}"),
        ("solids", "{name: x, centre: [1, 1], size: [1, 1, 1], material: metal}"),
        ("racking", "{name: x, at: [1, 1], bays: 1, levels: 1}"),
        ("cubicles", "{name: x, at: [1, 1], count: 1}"),
        ("desks", "{name: x, at: [1, 1]}"),
        ("sheets", "{name: x, corners: [[1, 1, 1], [2, 1, 1], [2, 2, 1]], construction: glass-6}"),
        ("detectors", "{name: x, model: wall-infrared, at: [1, 1], mounting: 2}"),
        ("planes", "{name: x, height: 0}"),
    ],
)
def test_the_same_name_twice(kind: str, item: str) -> None:
    problem = only(f"{kind}:", f"  - {item}", f"  - {item}")
    assert (problem.code, problem.position.line, problem.position.column) == ("same-name", 5, 12)
    assert f"among the {kind} (first on line 4)" in problem.message


def test_one_name_for_things_of_two_kinds() -> None:
    load("solids: [{name: r, centre: [1, 1], size: [1, 1, 1], material: metal}]", "planes: [{name: r, height: 0}]")


def test_capitals_matter_but_for_planes() -> None:
    unit = "model: wall-infrared, at: [1, 1], mounting: 2"
    load(f"detectors: [{{name: d1, {unit}}}, {{name: D1, {unit}}}]")
    assert "only by capitals" in only("planes: [{name: Desk, height: 0}, {name: desk, height: 1}]").message


# ---- outlines


@pytest.mark.parametrize(
    ("outline", "code", "words"),
    [
        ("[[0, 0], [4, 4], [4, 0], [0, 4]]", "bad-outline", "crosses itself at (2, 2)"),
        ("[[0, 0], [4, 0], [2, 0]]", "bad-outline", "has no area"),
        ("[[0, 0], [4, 0], [4, 0], [4, 4]]", "repeated-point", "repeats a point"),
        ("[[0, 0], [4, 0], [4, 4], [0, 0]]", "repeated-point", "repeats a point"),
        ("[[0, 0], [4, 0], [4, 4], [4, 2], [8, 2], [8, 6], [4, 6], [4, 4], [0, 4]]", "bad-outline", "crosses itself"),
    ],
)
def test_bad_outlines(outline: str, code: str, words: str) -> None:
    problem = only(rooms=room(outline))
    assert problem.code == code
    assert words in problem.message


@pytest.mark.parametrize(
    "outline",
    [
        "[[0, 0], [4, 0], [2, 3]]",
        "[[0, 0], [0, 4], [4, 4], [4, 0]]",
        "[[0, 0], [4, 0], [4, 2], [2, 2], [2, 4], [0, 4]]",
    ],
    ids=["triangle", "clockwise", "L"],
)
def test_good_outlines(outline: str) -> None:
    assert len(load(rooms=room(outline)).rooms) == 1


def test_rooms_that_overlap() -> None:
    beside = room("[[6, 0], [9, 0], [9, 4], [6, 4]]")
    load(rooms=f"{ROOM}, {beside}")
    above = room("[[0, 0], [6, 0], [6, 4], [0, 4]]", more=", floor: 3")
    load(rooms=f"{ROOM}, {above}")
    problem = only(rooms=f"{ROOM}, {room('[[5, 0], [9, 0], [9, 4], [5, 4]]')}")
    assert problem.code == "rooms-overlap"
    assert 'rooms "r" and "s" overlap by 4 m²' in problem.message


# ---- fittings


@pytest.mark.parametrize(
    ("line", "code"),
    [
        ("cubicles: [{name: C, at: [1, 1], count: 1, width: 0.6, door_width: ‸0.6}]", "door-too-wide"),
        ("cubicles: [{name: C, at: [1, 1], count: 1, floor_gap: ‸2}]", "no-panel"),
        ("cubicles: [{name: C, at: [1, 1], count: 3, doors: ‸[open]}]", "doors-count"),
        ("racking: [{name: R, at: [1, 1], bays: 1, levels: 1, beam_height: ‸1.6}]", "beam-too-high"),
        ("racking: [{name: R, at: [1, 1], bays: 1, levels: 1, goods_height: ‸1.5}]", "load-too-high"),
        ("partitions: [{name: P, line: ‸[[1, 1], [1, 1]], height: 1, construction: glass-6}]", "repeated-point"),
    ],
)
def test_fittings_that_do_not_fit(line: str, code: str) -> None:
    problem = only(line.replace("‸", ""))
    assert (problem.code, problem.position.line, problem.position.column) == (code, 3, line.index("‸") + 1)


def test_a_rack_without_goods_needs_no_room_for_them() -> None:
    load("racking: [{name: R, at: [1, 1], bays: 1, levels: 2, level_pitch: 0.3, goods: false}]")
    assert only("racking: [{name: R, at: [1, 1], bays: 1, levels: 2, level_pitch: 0.3}]").code == "load-too-high"


# ---- references


@pytest.mark.parametrize(
    ("line", "column", "message", "hint"),
    [
        ("partitions: [{name: P, line: [[1, 1], [2, 1]], height: 1, construction: glas-6}]", 73,
         'unknown construction "glas-6"', 'did you mean "glass-6"?'),
        ("partitions: [{name: P, line: [[1, 1], [2, 1]], height: 1, construction: {layers: [{air_mm: 5}, "
         "{material: glas, thickness_mm: 4}]}}]", 107, 'unknown material "glas"', 'did you mean "glass"?'),
        ("cubicles: [{name: C, at: [1, 1], count: 1, panel: laminate-12}]", 51,
         'unknown construction "laminate-12"', 'did you mean "laminate-13"?'),
        ("cubicles: [{name: C, at: [1, 1], count: 1, door: door}]", 50, 'unknown construction "door"', "known: "),
        ("desks: [{name: T, at: [1, 1], top: oak}]", 36, 'unknown construction "oak"', "known: "),
        ("solids: [{name: S, centre: [1, 1], size: [1, 1, 1], material: wood}]", 63,
         'unknown material "wood"', 'did you mean "goods"?'),
        ("racking: [{name: R, at: [1, 1], bays: 1, levels: 1, goods_material: snow}]", 69,
         'unknown material "snow"', "known: cartons, ceramic, concrete, foodstuff, goods, liquid"),
        ("detectors: [{name: D, model: Wall-Infrared, at: [1, 1], mounting: 2}]", 30,
         'unknown model "Wall-Infrared"', 'did you mean "wall-infrared"?'),
    ],
)  # fmt: skip
def test_unknown_names(line: str, column: int, message: str, hint: str) -> None:
    problem = only(line)
    assert (problem.position.line, problem.position.column) == (3, column)
    assert problem.message == message
    assert problem.help.startswith(hint)


def test_none_is_a_construction_and_nothing_else_is() -> None:
    load("cubicles: [{name: C, at: [1, 1], count: 1, door: none}]")
    assert only("partitions: [{name: P, line: [[1, 1], [2, 1]], height: 1, construction: nothing}]").code == (
        "unknown-construction"
    )


# ---- places


@pytest.mark.parametrize(
    ("at", "mounting", "code"),
    [
        ("[7, 2]", "2", "detector-outside"),
        ("[-0.01, 2]", "2", "detector-outside"),
        ("[2, 2]", "3.01", "detector-above-ceiling"),
        ("[6, 2]", "3", ""),
        ("[0, 0]", "2", ""),
    ],
    ids=["outside", "just outside", "above", "on the wall at the ceiling", "in the corner"],
)
def test_places_of_detectors(at: str, mounting: str, code: str) -> None:
    line = f"detectors: [{{name: D, model: microwave-omni-5.8, at: {at}, mounting: {mounting}}}]"
    if code:
        assert only(line).code == code
    else:
        load(line)


def test_a_detector_may_hang_in_the_higher_of_two_rooms() -> None:
    high = "{name: s, outline: [[6, 0], [9, 0], [9, 4], [6, 4]], height: 8, walls: none}"
    load("detectors: [{name: D, model: high-bay-infrared-round, at: [6, 2], mounting: 7}]", rooms=f"{ROOM}, {high}")


# ---- planes and grids


def test_the_advice_on_a_grid_that_is_too_fine_is_enough() -> None:
    wide = room("[[0, 0], [977, 0], [977, 613], [0, 613]]")
    planes = "planes: [{name: p, target: person}, {name: q, height: 0}]"
    for grid in ("0.005", "0.0123", "0.1"):
        problem = only(planes, f"grid: {grid}", rooms=wide)
        assert problem.code == "too-many-cells"
        advised = re.search(r"make grid at least ([\d.]+) m", problem.help)
        assert advised is not None
        assert float(advised[1]) > float(grid)
        load(planes, f"grid: {advised[1]}", rooms=wide)  # only read: 50 million cells are not solved here
    assert MOST_CELLS == 50_000_000


def test_cells_are_counted_over_all_planes_and_in_extents() -> None:
    plane = "{{name: p{n}, height: 1, extent: [0, 0, 2000, 100]}}"
    for n_planes, refused in ((15, False), (16, True)):
        planes = ", ".join(plane.format(n=n) for n in range(n_planes))
        if refused:
            assert only(f"planes: [{planes}]").code == "too-many-cells"  # 16 × 8000 × 400 = 51.2 million
        else:
            load(f"planes: [{planes}]")


def test_planes_below_the_floor_and_above_every_ceiling() -> None:
    assert only("planes: [{name: p, height: -0.1}]").code == "plane-below-floor"
    assert only("planes: [{name: p, target: person, heights: [0.3, -1]}]").code == "plane-below-floor"
    assert only("planes: [{name: p, height: 3.1}]").code == "plane-above-ceiling"
    load("planes: [{name: p, height: -2, extent: [0, 0, 1, 1]}]")  # a yard below z = 0
    load("planes: [{name: p, height: 3}]")


# ---- what is doubtful only


def test_warm_and_cold_air_are_warnings_for_infrared() -> None:
    def codes(model: str, ambient: float) -> list[str]:
        scene = load(
            f"conditions: {{ambient_c: {ambient}}}",
            f"detectors: [{{name: D, model: {model}, at: [2, 2], mounting: 2.5}}]",
        )
        return [problem.code for problem in scene.warnings]

    assert codes("ceiling-infrared-general", 30) == ["warm-air"]
    assert codes("ceiling-infrared-general", 20) == []
    assert codes("ceiling-infrared-general", -20) == ["cold-air"]
    assert codes("microwave-omni-5.8", -20) == []
    assert codes("microwave-omni-5.8", 30) == []


def test_everything_in_one_go_and_in_the_order_of_the_file() -> None:
    found = problems(
        "solids: [{name: a, centre: [1, 1], size: [1, 1, 1], material: lead}]",
        "detectors:",
        "  - {name: D, model: wal-infrared, at: [2, 2], mounting: 2}",
        "  - {name: E, model: ceiling-infrared-general, at: [9, 2], mounting: 2, masks: [{from_deg: 0, to_deg: 180}]}",
        "  - {name: E, model: wall-infrared, at: [2, 2], mounting: 4}",
        "planes: [{name: p, height: 9}]",
        rooms=ROOM.replace("brick-100", "[glass-6, glas-6]"),
    )
    assert [(p.code, p.position.line) for p in found] == [
        ("walls-count", 2),
        ("unknown-construction", 2),
        ("unknown-material", 3),
        ("unknown-model", 5),
        ("detector-outside", 6),
        ("mask-too-large", 6),
        ("same-name", 7),
        ("detector-above-ceiling", 7),
        ("plane-above-ceiling", 8),
    ]


# ---- units


@pytest.mark.parametrize(
    ("outline", "height"),
    [("[[0, 0], [12000, 0], [12000, 8000], [0, 8000]]", 3), ("[[0, 0], [12, 0], [12, 8], [0, 8]]", 2800)],
)
def test_millimetres_typed_for_metres(outline: str, height: float) -> None:
    found = problems("grid: 10", rooms=f"{{name: hall, outline: {outline}, height: {height}, walls: none}}")
    (problem,) = [p for p in found if p.code == "check-units"]
    assert "check the units" in problem.help
    assert '"hall" would be' in problem.message


@pytest.mark.parametrize(
    ("line", "said"),
    [
        (
            "partitions: [{name: P, line: [[1, 0], [1, 4]], height: 1400, construction: brick-100}]",
            '"P" would be 1,400',
        ),
        ("desks: [{name: Row, at: [1, 1], height: 74}]", '"Row" would be 74 m'),
        ("desks: [{name: Row, at: [1, 1], size: [1600, 800]}]", 'size of "Row" would be 1,600 m'),
        ("stairs: [{name: S, kind: straight, at: [1, 1], rise: 170}]", 'rise of "S" would be 170 m'),
    ],
)
def test_things_in_millimetres_or_centimetres(line: str, said: str) -> None:
    (problem,) = [p for p in problems(line) if p.code == "check-units"]
    assert said in problem.message


def test_how_to_write_what_was_meant() -> None:
    unit = "detectors: [{name: D, model: microwave-omni-5.8, at: [1, 2,5], mounting: 2.5}]"
    advice = "if 2,5 is one number, write 2.5 with a point; at: place [x, y]; how high it hangs is mounting"
    assert only(unit).help == advice
    assert only("planes: [{name: p, target: person, heights: 0.3}]").help.startswith("write [0.3], a list")
    assert only("needs: [{name: N, rooms: [r], share: 95}]").help.endswith("95 % is written 0.95")
    assert only("desks: [{name: Row, at: [1, 1], seat: ja}]").help == "write true or false"


def test_a_coordinate_beyond_any_building_asks_for_its_units() -> None:
    (problem,) = problems(rooms=room("[[0, 0], [40000, 0], [0, 3]]"))
    assert (problem.code, "check the units" in problem.help) == ("out-of-range", True)


# ---- slips of who types by hand


def test_a_key_that_stands_within_a_group() -> None:
    problem = only("language: de")
    assert (problem.code, problem.position.line) == ("unknown-key", 3)
    assert problem.help == "it stands within a group: write project: {language: …}"
    assert only("ambient_c: 22").help == "it stands within a group: write conditions: {ambient_c: …}"
    # a slip of the pen comes first, and in a group nothing changes
    assert only("titel: x").help == 'did you mean "title"?'
    assert "within a group" not in only("project: {ambient_c: 22}").help


def test_no_room_is_so_high_as_what_may_be_placed() -> None:
    """25 m for 2.5 m, in a room of 3 m; a ridge counts, not the eaves."""
    problem = only("placing: {models: [ceiling-infrared-general], mounting: [2.5, 25]}")
    assert (problem.code, problem.position.line) == ("mounting-above-ceiling", 3)
    assert problem.message == 'no room is 25 m high: the highest, "r", is 3 m'
    assert problem.position.text[problem.position.column - 1 :].startswith("25]")
    load("placing: {models: [ceiling-infrared-general], mounting: [2.5, 3]}")
    load("placing: {models: [high-bay-infrared-round], mounting: [25]}", rooms="")


def test_two_detectors_at_the_very_same_place() -> None:
    def twins(second: str) -> list[Problem]:
        unit = "model: ceiling-infrared-general, at: [2, 2], mounting: 2.5"
        found = load(f"detectors: [{{name: A, {unit}}},", f"  {{name: B, {second}}}]").warnings
        return [p for p in found if p.code == "same-place"]

    (problem,) = twins("model: microwave-omni-5.8, at: [2, 2], mounting: 2.5")
    assert (problem.severity, problem.position.line) == ("warning", 4)
    assert problem.message == 'detector "B" hangs at the very place of "A"'
    for second in (
        "at: [2.1, 2], mounting: 2.5",
        "at: [2, 2], mounting: 2.4",
        "at: [2, 2], mounting: 2.5, turn_deg: 180",
    ):
        assert not twins(f"model: microwave-omni-5.8, {second}")
