"""What a scene may say of nuisances: defaults by kind, everything wrong at once with its line, states."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from small_scenes import detector, pattern, scene

import raycover
from raycover.errors import InputError, Problem
from raycover.loading import in_state
from raycover.scene.nuisance_kinds import KINDS
from raycover.scene.nuisances import Nuisance

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
ROOM = {"name": "Room", "outline": [[0, 0], [10, 0], [10, 8], [0, 8]], "height": 3, "walls": "brick-215"}


def wrong(text: str) -> tuple[Problem, ...]:
    with pytest.raises(InputError) as error:
        raycover.load_text("raycover: 1\nnuisances:\n" + text)
    return error.value.problems


def warnings(*listed: Any, **parts: Any) -> list[str]:
    return [p.code for p in scene(rooms=[ROOM], nuisances=list(listed), **parts).warnings]


def test_everything_wrong_at_once_with_its_line() -> None:
    problems = wrong(
        "  - {name: A, kind: fann, at: [1, 1]}\n"
        "  - {name: B, kind: fan}\n"
        "  - {name: C, kind: fan, at: [1, 1], line: [[0, 0], [1, 1]]}\n"
        "  - {name: D, kind: heater, at: [1, 1], surface_c: 80, above_ambient_k: 60}\n"
        "  - {name: E, kind: heater, at: [1, 1], steady: true, flicker_hz: 3}\n"
        "  - {name: F, kind: fan, at: [1, 1], speed_mps: [6, 0]}\n"
        "  - {name: G, kind: fan, at: [1, 1], size: [0, 0, 1]}\n"
        "  - {name: H, kind: fan, line: [[1, 1], [2, 2]], behind: glass-6}\n"
        "  - {name: I, kind: fan, at: [1, 1], colour: red}\n"
    )
    assert [(p.position.line, p.code) for p in problems] == [
        (3, "not-allowed"), (4, "one-place"), (5, "one-place"), (6, "one-temperature"), (7, "one-change"),
        (8, "speed-range"), (9, "no-size"), (10, "behind-and-line"), (11, "unknown-key"),
    ]  # fmt: skip
    assert 'did you mean "fan"?' in problems[0].help


def test_names_that_mean_nothing_are_refused() -> None:
    problems = wrong(
        "  - {name: A, kind: fan, at: [1, 1], opens: [Dor], detectors: [Unit2], room: Rom, behind: glas-6}\n"
        "  - {name: A, kind: fan, at: [1, 1]}\n"
        "rooms: [{name: Room, outline: [[0, 0], [4, 0], [4, 4], [0, 4]], height: 3, walls: brick-100,"
        " openings: [{name: Door, edge: 0, at: 1, width: 1, height: 2}]}]\n"
        "detectors: [{name: Unit1, model: ceiling-infrared-general, at: [1, 1], mounting: 3}]\n"
    )
    assert {p.code: p.help for p in problems} == {
        "unknown-door": 'did you mean "Door"?',
        "unknown-detector": 'did you mean "Unit1"?',
        "unknown-room": 'did you mean "Room"?',
        "unknown-construction": 'did you mean "glass-6"?',
        "same-name": "rename one of the two",
    }


def test_what_can_hardly_be_is_warned_of() -> None:
    fan = {"name": "F", "kind": "fan", "at": [5, 4]}
    assert warnings(fan) == []
    assert warnings({**fan, "at": [50, 4]}) == ["nuisance-outside"]
    # Inside a wall of the room it is at most so far outside of its outline; farther away, or in no wall, it is outside.
    pipe = {"name": "P", "kind": "pipe", "behind": "plasterboard-12.5"}
    assert warnings({**pipe, "at": [5, -0.1]}) == []
    assert warnings({**pipe, "at": [5, -0.1], "room": "Room"}) == []
    assert warnings({**pipe, "at": [5, -0.5]}) == ["nuisance-outside"]
    assert warnings({"name": "P", "kind": "pipe", "at": [5, -0.1]}) == ["nuisance-outside"]
    upstairs = {**ROOM, "floor": 3}
    found = scene(rooms=[upstairs], nuisances=[{**pipe, "at": [5, -0.1]}]).warnings
    assert [p.code for p in found] == ["nuisance-floor"]
    assert "the room's floor is at 3 m" in found[0].message
    assert not scene(rooms=[upstairs], nuisances=[{**pipe, "at": [5, -0.1], "room": "Room"}]).warnings
    assert warnings({**fan, "height": 8}) == ["nuisance-above-ceiling"]
    assert warnings({**fan, "moves": "never"}) == ["no-nuisance"]
    assert warnings({"name": "V", "kind": "vehicle", "at": [50, 4]}) == []
    assert warnings({"name": "V", "kind": "vehicle", "line": [[50, 4], [50, 9]]}) == []


def test_a_kind_fills_in_what_is_left_out_and_the_scene_wins() -> None:
    plain = Nuisance.model_validate({"name": "H", "kind": "heater", "at": [0, 0]})
    assert (plain.surface_at(20), plain.heat, plain.echo_m2, plain.motion) == (80, (20.0, None), None, "never")
    own = Nuisance.model_validate(
        {"name": "H", "kind": "heater", "at": [0, 0], "surface_c": 55, "flicker_hz": 2, "cross_section_m2": 0.2}
    )
    assert (own.surface_at(20), own.heat, own.echo_m2) == (55, (None, 2), 0.2)
    assert Nuisance.model_validate({"name": "S", "kind": "sunlit-patch", "at": [0, 0], "size": [2, 1]}).extent == (
        2,
        1,
        0,
    )


def test_the_readme_lists_every_kind_with_its_figures() -> None:
    for name, kind in KINDS.items():
        row = next(line for line in README.splitlines() if line.startswith(f"| `{name}` |"))
        cells = [cell.strip() for cell in row.strip("|").split("|")]
        assert cells[1] == " × ".join(f"{v:g}" for v in kind.size if v) + f", {kind.height:g}"
        assert cells[2] == ("–" if kind.cross_section_m2 is None else f"{kind.cross_section_m2:g}")
        low, high = kind.speed_mps or (0, 0)
        assert cells[3] == ("–" if kind.speed_mps is None else f"{low:g}" if low == high else f"{low:g} to {high:g}")
        heat = "–" if kind.above_ambient_k is None else f"+{kind.above_ambient_k:g} K"
        heat += "" if kind.change_s is None else f", within {kind.change_s:g} s"
        heat += "" if kind.flicker_hz is None else f", flickers {kind.flicker_hz:g} Hz"
        assert re.sub(r"a person's", "–", cells[4]) == heat


def test_each_default_says_where_it_comes_from() -> None:
    assert all(re.search(r"ours|\[M\]|\[2nd\]", kind.source) for kind in KINDS.values())


def test_a_state_takes_a_nuisance_away() -> None:
    made = scene(
        rooms=[ROOM], nuisances=[{"name": "Fan", "kind": "fan", "at": [5, 4]}],
        detectors=[detector((4, 4), 3, pattern({"circle": {"diameter": 8}}, mounting=3))],
        states=[{"name": "Night", "set": {"Fan": "absent"}}],
    )  # fmt: skip
    assert in_state(made, "Night").nuisances == []
