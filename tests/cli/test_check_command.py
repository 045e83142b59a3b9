"""`check`: severities, exit codes and JSON of what the building's own checks find, in every state."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from pathlib import Path

import pytest
from PIL import Image

from raycover.cli.main import main
from raycover.errors import MissingPart

SCENE = """\
raycover: 1
grid: 0.25
rooms:
  - name: Store
    outline: [[0, 0], [10, 0], [10, 8], [0, 8]]
    height: 4
    walls: brick-100
    openings: [{edge: 0, at: 1, width: 1, height: 2.1, fill: door-wood-40}]
racking: [{name: R1, at: [3, 3], bays: 1, levels: 2}]
detectors: [{name: D1, model: wide-infrared-rectangular, at: [7, 6.5], mounting: 3}]
"""
SLIT = "partitions: [{name: P, line: [[4, 0.05], [4, 2]], height: 4, construction: stud-wall-100}]\n"
Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def check(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    monkeypatch.chdir(tmp_path)

    def command(text: str, *words: str) -> tuple[int, str, str]:
        Path("scene.yaml").write_text(text)
        with pytest.raises(SystemExit) as left:
            main(["check", "scene.yaml", *words])
        out, err = capsys.readouterr()
        code = left.value.code
        return (0 if code is None else int(code)), out, err

    return command


def test_a_sound_scene(check: Run) -> None:
    code, out, err = check(SCENE)
    assert (code, err) == (0, "")
    assert out.startswith("scene.yaml: sound; 1 room, 1 detector, ")
    assert check(SCENE, "--strict")[0] == 0


def test_warnings_pass_unless_strict(check: Run) -> None:
    code, out, err = check(SCENE + SLIT)
    assert code == 0
    assert out.rstrip().endswith("1 warning")
    assert err.startswith("scene.yaml:11:31: warning: ")
    assert "[partition-slit]" in err
    code, out, strict = check(SCENE + SLIT, "--strict")
    assert (code, out) == (2, "")
    assert strict.strip() == err.strip()


def test_notes_pass_even_when_strict(check: Run) -> None:
    column = "solids: [{name: Column, centre: [4, 3.5], size: [0.5, 0.5, 2], material: concrete}]\n"
    code, out, err = check(SCENE + column, "--strict")
    assert code == 0
    assert out.rstrip().endswith("1 note")
    assert "scene.yaml:11:10: note: " in err


def test_errors_say_everything_else_too(check: Run) -> None:
    text = SCENE.replace("at: [3, 3]", "at: [9, 3]") + SLIT
    code, out, err = check(text)
    assert (code, out) == (2, "")
    assert "scene.yaml:9:26: error: " in err
    assert "[rack-through-wall]" in err
    assert "[partition-slit]" in err


def test_json(check: Run) -> None:
    code, out, _ = check(SCENE.replace("at: [3, 3]", "at: [9, 3]") + SLIT, "--json")
    said = json.loads(out)
    assert (code, said["sound"], said["version"]) == (2, False, 1)
    assert [(p["code"], p["severity"], p["line"]) for p in said["problems"]] == [
        ("rack-through-wall", "error", 9),
        ("partition-slit", "warning", 11),
    ]
    assert all(p["help"] for p in said["problems"])
    code, out, _ = check(SCENE + SLIT, "--json", "--strict")
    assert (code, json.loads(out)["sound"]) == (2, True)


def test_every_state_is_checked(check: Run) -> None:
    states = "states:\n  - name: moved\n    set: {R1: {at: [9, 3]}}\n"
    code, _, err = check(SCENE + states)
    assert code == 2
    assert 'scene.yaml:13:20: error: in state "moved": rack "R1" stands through "Store/wall 1"' in err
    code, out, _ = check(SCENE + states.replace("[9, 3]", "[5, 3]"))
    assert code == 0
    assert "2 states" in out


def test_what_a_state_cannot_build(check: Run) -> None:
    box = "solids: [{name: Box, centre: [2, 6], size: [1, 1, 4], material: metal}]\n"
    states = "states:\n  - name: moved\n    set: {Box: {centre: [7, 6.5]}}\n"
    code, out, err = check(SCENE + box + states, "--json")
    assert (code, json.loads(out)["sound"]) == (2, False)
    assert 'in state "moved": detector "D1" hangs inside "Box"' in err


def test_what_the_scene_as_drawn_has_is_told_once(check: Run) -> None:
    states = "states:\n  - {name: one, set: {R1: {goods: false}}}\n  - {name: two, conditions: {ambient_c: 25}}\n"
    _, out, err = check(SCENE + SLIT + states)
    assert err.count("[partition-slit]") == 1
    assert out.rstrip().endswith("3 states, 1 warning")


# ---- --draw


def test_draw_without_the_view(check: Run) -> None:
    code, out, err = check(SCENE, "--draw", "--no-view", "-o", "deep/out")
    assert code == 0
    assert out.startswith("scene.yaml: sound; ")
    assert "Drawn in deep/out: the building as it stands, nothing solved." in err
    assert os.listdir("deep/out") == ["building.png"]
    with Image.open("deep/out/building.png") as picture:
        assert min(picture.size) > 1000


def test_draw_in_3d(check: Run) -> None:
    code, _, err = check(SCENE, "--draw", "-o", "out")
    assert code == 0
    assert sorted(os.listdir("out")) == ["building view.png", "building.png"], err
    with Image.open("out/building view.png") as picture:
        assert picture.size == (1920, 1080)


def test_draw_where_3d_is_missing(check: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse() -> None:
        raise MissingPart("no OpenGL here")

    monkeypatch.setattr("raycover.draw.view3d.environment.load_for_pictures", refuse)
    code, _, err = check(SCENE, "--draw", "-o", "out")
    assert code == 0
    assert "The plan is written, the 3D picture is not: no OpenGL here" in err
    assert os.listdir("out") == ["building.png"]


def test_what_cannot_stand_is_drawn_all_the_same(check: Run) -> None:
    """One looks at the drawing to see what is wrong."""
    code, _, err = check(SCENE.replace("at: [3, 3]", "at: [9, 3]"), "--draw", "--no-view", "-o", "out")
    assert code == 2
    assert "[rack-through-wall]" in err
    assert os.listdir("out") == ["building.png"]


def test_what_cannot_be_built_is_not_drawn(check: Run) -> None:
    code, _, _ = check(SCENE.replace("height: 2.1", "height: 9"), "--draw", "-o", "out")
    assert code == 2
    assert os.listdir() == ["scene.yaml"]


def test_a_storey_a_plan(check: Run) -> None:
    outline = "[[0, 0], [10, 0], [10, 8], [0, 8]]"
    loft = f"  - {{name: Loft, outline: {outline}, floor: 4, height: 3, walls: brick-100}}\n"
    upper = SCENE.replace("racking:", loft + "racking:")
    for name in ("R1", "D1"):
        upper = upper.replace(f"name: {name}", f"room: Store, name: {name}")
    code, _, err = check(upper, "--draw", "--no-view", "-o", "out")
    assert code == 0, err
    assert sorted(os.listdir("out")) == ["building +0.00.png", "building +4.00.png"]
