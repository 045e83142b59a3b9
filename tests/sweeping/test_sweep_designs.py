"""What is typed after --set, where it leads, and which combinations come of it."""

from __future__ import annotations

import math
from typing import Any

import pytest
from small_scenes import detector, pattern, scene

from raycover.errors import InputError
from raycover.scene.schema import Scene
from raycover.sweeping import designs
from raycover.sweeping.targets import Change, changed, clashes, find
from raycover.sweeping.values import Factor, parse

DATA: dict[str, Any] = {
    "rooms": [
        {
            "name": "Hall",
            "outline": [[0, 0], [8, 0], [8, 6], [0, 6]],
            "height": 4,
            "walls": "brick-100",
            "openings": [
                {"edge": 0, "at": 1, "width": 1, "height": 2, "fill": "glass-6"},
                {"edge": 2, "at": 1, "width": 1, "height": 2, "fill": "glass-6", "name": "hatch"},
            ],
        }
    ],
    "racking": [{"name": "R1", "at": [2, 3], "bays": 1, "levels": 1, "goods": False}],
    "detectors": [
        detector((2, 2), 3, pattern({"circle": {"diameter": 4}}, mounting=3), "D1"),
        detector((6, 2), 3, pattern({"circle": {"diameter": 4}}, mounting=3), "D2"),
    ],
}


@pytest.fixture(scope="module")
def hall() -> Scene:
    return scene(**DATA)


@pytest.mark.parametrize(
    ("text", "values"),
    [
        ("grid=0.5,1", (0.5, 1)),
        ("detectors/*/mounting=6:7:0.5", (6, 6.5, 7)),
        ("detectors/*/tilt_deg=-20:20:20, 5", (-20, 0, 20, 5)),
        ("conditions/ambient_c=20,20,30", (20, 30)),  # each once
        ("cubicles/WC/doors=open, closed, [open, closed], {ajar_deg: 40}",
         ("open", "closed", ["open", "closed"], {"ajar_deg": 40})),
        ("racking/R1=as drawn,absent", ("as drawn", "absent")),
        ("racking/R1/goods=true,false", (True, False)),
    ],
)  # fmt: skip
def test_values_are_those_of_a_scene_file(text: str, values: tuple[Any, ...]) -> None:
    assert parse(text, spans=False).values == values


@pytest.mark.parametrize(
    ("listed", "pointed"),
    [("2,5:2,7:0.1", "2.5:2.7:0.1"), ("2,5:2.7:0.1", "2.5:2.7:0.1"), ("6,5:8:1", "6.5:8:1"), ("0,05", "0.05"),
     ("2,5:3,5", "2.5:3.5")],
)  # fmt: skip
def test_a_decimal_comma_is_refused_where_it_can_be_nothing_else(listed: str, pointed: str) -> None:
    with pytest.raises(InputError) as error:
        parse(f"detectors/D1/mounting={listed}", spans=True)
    assert "decimal comma" in str(error.value)
    assert f"write {pointed}" in str(error.value)


def test_two_values_that_look_like_one_are_told() -> None:
    pair = parse("grid=3,5", spans=False)
    assert pair.values == (3, 5)
    assert pair.doubt == "--set grid: 3 and 5, two values; 3.5 is written with a point"
    for text in ("grid=3, 5", "grid=0.5,1", "conditions/ambient_c=20,30", "grid=3,4,5"):
        assert parse(text, spans=False).doubt is None


@pytest.mark.parametrize(
    ("path", "locs"),
    [
        ("grid", [("grid",)]),
        ("conditions/ambient_c", [("conditions", "ambient_c")]),  # not in the file: made
        ("detectors/D*/mounting", [("detectors", 0, "mounting"), ("detectors", 1, "mounting")]),
        ("detectors/D2/at/0", [("detectors", 1, "at", 0)]),
        ("rooms/Hall/openings/0/fill", [("rooms", 0, "openings", 0, "fill")]),
        ("openings/Hall/opening 0/state", [("rooms", 0, "openings", 0, "state")]),
        ("openings/hatch/state", [("rooms", 0, "openings", 1, "state")]),
        ("openings/Hall/opening */state",
         [("rooms", 0, "openings", 0, "state"), ("rooms", 0, "openings", 1, "state")]),
    ],
)  # fmt: skip
def test_paths_lead_to_places(hall: Scene, path: str, locs: list[tuple[Any, ...]]) -> None:
    assert list(find(Factor(path, path, (1,)), hall, DATA).locs) == locs


@pytest.mark.parametrize(
    ("text", "told", "help_"),
    [
        ("detector/D1/mounting=3", 'a scene has no key "detector"', 'did you mean "detectors"?'),
        ("detectors/E1/mounting=3", 'no entry of detectors is named "E1"', "known: D1, D2"),
        ("detectors/D1/mountign=3", 'detectors/D1 has no key "mountign"', 'did you mean "mounting"?'),
        ("openings/hatsh/state=open", 'no opening is named "hatsh"', 'did you mean "hatch"?'),
        ("openings/hatch/stat=open", 'an opening has no "stat"', 'did you mean "state"?'),
        ("stairs/S1/width=1", "stairs is not in the file", "only what stands there"),
        ("grid/x=1", "grid has nothing inside it", "grid=VALUES"),
        ("racking/R1=3", "a whole entry cannot be 3", "as drawn, absent"),
        ("state=docks open", "a state cannot be docks open", "as drawn"),
        ("detectors/D1/mounting", "is not PATH=VALUES", "--set"),
        ("detectors/D1/mounting=", "gives no value", "--set"),
        ("detectors/D1/mounting=6:8", "has no step", "--latin"),
        ("detectors/D1/mounting=8:6:1", "runs nowhere", "FROM:TO:STEP"),
        ("detectors/D1/mounting=0:100:0.01", "more than 200 values", "coarser"),
        ("detectors/D1/mounting=[1", "detectors/D1/mounting=[1", ""),
    ],
)
def test_what_leads_nowhere_is_said_with_what_was_typed(hall: Scene, text: str, told: str, help_: str) -> None:
    with pytest.raises(InputError) as raised:
        find(parse(text, spans=False), hall, DATA)
    (problem,) = raised.value.problems
    assert told in problem.message
    assert help_ in problem.help
    assert problem.position.file.startswith("--set")


def test_two_factors_never_set_one_thing(hall: Scene) -> None:
    factors = [parse("detectors/*/mounting=3,4", spans=False), parse("detectors/D1/mounting=2", spans=False)]
    with pytest.raises(InputError, match="set the same thing"):
        clashes(factors, [find(factor, hall, DATA) for factor in factors])


def test_changes_leave_the_document_and_take_the_place_of_what_says_otherwise() -> None:
    made = changed(
        DATA,
        [
            Change(("racking", 0, "fill"), 0.5),
            Change(("detectors", 0, "model"), "ceiling-infrared-general"),
            Change(("detectors", 1), "absent", takes_away=True),
            Change(("conditions", "ambient_c"), 25),
        ],
    )
    assert made["racking"][0]["fill"] == 0.5
    assert "goods" not in made["racking"][0]
    assert "pattern" not in made["detectors"][0]
    assert [d["name"] for d in made["detectors"]] == ["D1"]
    assert made["conditions"] == {"ambient_c": 25}
    assert "conditions" not in DATA
    assert "pattern" in DATA["detectors"][0]


def test_all_combinations_the_last_changing_first() -> None:
    factors = [Factor("", "a", (1, 2)), Factor("", "b", ("x", "y", "z"))]
    assert designs.every(factors) == [(1, "x"), (1, "y"), (1, "z"), (2, "x"), (2, "y"), (2, "z")]
    assert designs.every([]) == [()]


def test_a_latin_hypercube_has_each_stratum_once() -> None:
    """The definition: McKay, Beckman, Conover (1979), section 2.3. Of a list each value comes equally often."""
    n = 24
    factors = [
        Factor("", "a", (), (6.0, 14.0)),
        Factor("", "b", (), (0.0, 0.01)),
        Factor("", "c", ("x", "y", "z")),
        Factor("", "d", (1, 2, 3, 4, 5)),
    ]
    rows = designs.latin(factors, n, 7)
    for k, factor in enumerate(factors[:2]):
        assert factor.span is not None
        low, high = factor.span
        strata = [math.floor((row[k] - low) / (high - low) * n) for row in rows]
        assert sorted(strata) == list(range(n))
    assert sorted(row[2] for row in rows) == ["x"] * 8 + ["y"] * 8 + ["z"] * 8
    counts = [[row[3] for row in rows].count(v) for v in (1, 2, 3, 4, 5)]
    assert set(counts) <= {4, 5}
    assert rows == designs.latin(factors, n, 7)
    assert rows != designs.latin(factors, n, 8)


def test_too_many_combinations_are_refused_with_the_limit() -> None:
    factors = [Factor("", "a", tuple(range(100))), Factor("", "b", tuple(range(30)))]
    with pytest.raises(InputError, match="6000 combinations of 2 scenes are more than 5000"):
        designs.every(factors, 2)
    with pytest.raises(InputError, match="6000 combinations are more than 5000"):
        designs.latin(factors, 6000, 0)
