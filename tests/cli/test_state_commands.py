"""States on the command line: which files come out, what the summary says, and `compare`."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

SCENE = """\
raycover: 1
title: Store
grid: 0.25
rooms:
  - {name: Store, outline: [[0, 0], [6, 0], [6, 4], [0, 4]], height: 3, walls: steel-panel}
  - name: Lobby
    outline: [[6, 0], [9, 0], [9, 4], [6, 4]]
    height: 3
    walls: steel-panel
    openings: [{name: Door, edge: 3, at: 1.5, width: 1, height: 2.1, fill: steel-door}]
detectors: [{name: D1, model: ceiling-infrared-general, at: [3.5, 2], mounting: 3}]
planes: [{name: floor, height: 0}]
state_name: shut
states:
  - {name: door open, set: {Door: open}}
  - {name: summer, conditions: {ambient_c: 31}}
"""
Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def scene(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    Path("scene.yaml").write_text(SCENE)
    return Path("scene.yaml")


@pytest.fixture
def run(command_line: Run) -> Run:
    return command_line


def summary(folder: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((Path(folder) / "summary.json").read_text(encoding="utf-8"))
    return found


def test_map_of_all_states(scene: Path, run: Run) -> None:
    code, _, err = run("map", "scene.yaml", "-o", "out", "--no-view", "--all-states")
    assert code == 0
    names = [f"floor{state}.{kind}" for state in ("", ", door open", ", summer") for kind in ("png", "vti")]
    assert sorted(os.listdir("out")) == sorted([*names, "summary.json"])
    said = summary("out")
    assert said["state"] == "shut"
    assert list(said["states"]) == ["shut", "door open", "summer"]
    assert said["planes"] == said["states"]["shut"]["planes"]
    shares = {name: state["planes"]["floor"]["rooms"]["Lobby"]["share"] for name, state in said["states"].items()}
    assert shares["shut"] == 0
    assert shares["door open"] > 0.05
    assert said["states"]["summer"]["conditions"]["ambient_c"] == 31
    assert "floor, door open: " in err
    assert 'in state "summer"' in err


def test_the_state_drawn_keeps_its_names_and_figures(scene: Path, run: Run) -> None:
    run("map", "scene.yaml", "-o", "out", "--no-view")
    with_states = summary("out")
    assert sorted(os.listdir("out")) == ["floor.png", "floor.vti", "summary.json"]
    Path("plain.yaml").write_text(SCENE[: SCENE.index("state_name")])
    run("map", "plain.yaml", "-o", "plain", "--no-view")
    plain = summary("plain")
    assert "states" not in plain
    assert {**plain, "seconds": 0} == {k: v for k, v in {**with_states, "seconds": 0}.items() if k in plain}


@pytest.mark.parametrize(("words", "files"), [
    (["--state", "door open"], ["floor, door open"]),
    (["--state", "door open", "--state", "shut"], ["floor", "floor, door open"]),
    (["--state", "shut"], ["floor"]),
])  # fmt: skip
def test_states_by_name(words: list[str], files: list[str], scene: Path, run: Run) -> None:
    code, out, _ = run("map", "scene.yaml", "-o", "out", "--no-view", "--json", *words)
    assert code == 0
    assert sorted(n for n in os.listdir("out") if n.endswith(".png")) == sorted(f"{f}.png" for f in files)
    said = json.loads(out)
    assert said == summary("out")
    assert said["planes"] == said["states"][said["state"]]["planes"]
    assert said["state"] == ("door open" if len(files) == 1 and "shut" not in words else "shut")


def test_probe_in_a_state(scene: Path, run: Run) -> None:
    at = ["--at", "6.3,2,0.5", "--json"]
    shut, opened = (json.loads(run("probe", "scene.yaml", *at, *w)[1]) for w in ([], ["--state", "door open"]))
    assert shut["detectors"][0]["cause"] == "blocked"
    assert shut["detectors"][0]["crossings"][0]["object"] == "Lobby/Door"
    assert opened["detectors"][0]["cause"] != "blocked"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["map", "scene.yaml", "--state", "door opn"], 'did you mean "door open"?'),
        (["probe", "scene.yaml", "--at", "1,1,1", "--state", "night"], 'no state is named "night"'),
        (["compare", "scene.yaml"], 'states: "shut", "door open", "summer"'),
        (["compare", "scene.yaml", "--states", "shut", "opn"], 'no state is named "opn"'),
        (["compare", "scene.yaml", "--states", "shut", "shut"], "compared with itself"),
        (["compare", "scene.yaml", "other.yaml", "--states", "shut", "summer"], "two files are compared as drawn"),
        (["compare", "scene.yaml", "other.yaml"], "there is no such file"),
        (["compare", "scene.yaml", "--states", "shut"], "--states"),
    ],
)
def test_mistakes(words: list[str], said: str, scene: Path, run: Run) -> None:
    code, out, err = run(*words)
    assert (code, out) == (2, "")
    assert said in err
    assert "Traceback" not in err
    assert os.listdir() == ["scene.yaml"]


# ---- compare


def test_compare_two_states(scene: Path, run: Run) -> None:
    code, out, err = run("compare", "scene.yaml", "--states", "shut", "door open", "-o", "out")
    assert code == 0
    assert sorted(os.listdir("out")) == ["comparison.json", "floor, shut to door open.png"]
    said = json.loads(Path("out/comparison.json").read_text(encoding="utf-8"))
    plane = said["planes"]["floor"]
    assert plane["gained_m2"] > 0.5
    assert plane["lost_m2"] == 0
    assert plane["after"]["share"] > plane["before"]["share"]
    lines = out.splitlines()
    assert lines[0] == "shut → door open"
    assert any(line.startswith("floor") and f"{100 * plane['share_change']:+.1f}" in line for line in lines)
    assert any(line.startswith("D1") for line in lines)
    assert "walk-test" in err
    with Image.open("out/floor, shut to door open.png") as picture:
        assert min(picture.size) > 1000


def test_compare_needs_no_states_where_there_are_two(scene: Path, run: Run) -> None:
    scene.write_text(SCENE[: SCENE.index("  - {name: summer")])
    code, out, _ = run("compare", "scene.yaml", "-o", "out", "--json")
    assert code == 0
    said = json.loads(out)
    assert (said["before"]["label"], said["after"]["label"]) == ("shut", "door open")
    assert said == json.loads(Path("out/comparison.json").read_text(encoding="utf-8"))


def test_compare_tells_the_air_where_it_differs(scene: Path, run: Run) -> None:
    said = SCENE.replace("  - {name: summer,", "  - {name: cool, set: {Lobby: {ambient_c: 4}}}\n  - {name: summer,")
    scene.write_text(said, encoding="utf-8")
    code, out, err = run("compare", "scene.yaml", "--states", "shut", "cool", "-o", "out")
    assert code == 0, err
    assert out.startswith("Air: 20 °C → 20 °C (Lobby 4 °C)\n")
    figures = json.loads((Path("out") / "comparison.json").read_text(encoding="utf-8"))
    assert "rooms_c" not in figures["before"]["conditions"]
    assert figures["after"]["conditions"]["rooms_c"] == {"Lobby": 4}


def test_a_sweep_of_a_states_air(scene: Path, run: Run) -> None:
    scene.write_text(SCENE + "  - {name: cool, set: {Lobby: {ambient_c: 4}, Store: {ambient_c: 33}}}\n")
    words = ("--set", "states/cool/set/Store/ambient_c=20,34", "--set", "state=cool", "--processes", "1", "--json")
    code, out, err = run("sweep", "scene.yaml", *words)
    assert code == 0, err
    warm, hot = (row["planes"]["floor"]["share"] for row in json.loads(out)["rows"])
    assert warm > hot + 0.3


def test_what_differs_in_words(scene: Path) -> None:
    import raycover
    from raycover.cli.comparing import _what_changes
    from raycover.loading import in_state
    from raycover.report.words import report_words

    more = SCENE + '  - {name: cool, set: {"L*": {ambient_c: -4.5}, Door: open}, conditions: {ambient_c: 4}}\n'
    drawn = raycover.load_text(more)
    said = _what_changes(drawn, in_state(drawn, "cool"), ("shut", "cool"))
    assert said == ["L*: air at −4.5 °C", "Door: open", "air at 4 °C"]
    german = report_words("de").on_drawing
    assert [german(text) for text in said] == ["L*: Luft von −4,5 °C", "Door: offen", "Luft von 4 °C"]
    other = raycover.load_text(SCENE.replace("title: Store", "conditions: {ambient_c: 26}\ntitle: Store"))
    assert _what_changes(drawn, other, ("a", "b")) == ["a: air at 20 °C", "b: air at 26 °C"]
    assert _what_changes(drawn, drawn, ("a", "b")) == []


def test_compare_two_files(scene: Path, run: Run) -> None:
    Path("moved.yaml").write_text(SCENE.replace("at: [3.5, 2], mounting", "at: [7.5, 2], mounting").replace("D1", "D9"))
    code, out, _ = run("compare", "scene.yaml", "moved.yaml", "-o", "out", "--json")
    assert code == 0
    said = json.loads(out)
    assert (said["before"]["label"], said["after"]["label"]) == ("scene", "moved")
    assert said["detectors"]["D1"]["floor"]["after"] is None
    assert said["detectors"]["D9"]["floor"]["before"] is None
    assert said["planes"]["floor"]["lost_m2"] > 1
    assert os.path.exists("out/floor, scene to moved.png")


def test_compare_two_buildings_that_have_nothing_in_common(scene: Path, run: Run) -> None:
    code, _, err = run("compare", "scene.yaml", "--states", "shut", "door open", "-o", "out")
    assert code == 0
    assert "Warning" not in err
    hall = (
        "raycover: 1\nrooms: [{name: Far, outline: [[50, 0], [58, 0], [58, 5], [50, 5]], height: 3, walls: none}]\n"
        "detectors: [{name: D1, model: microwave-omni-5.8, at: [54, 2], mounting: 2.5}]\n"
        "planes: [{name: floor, height: 0}]\n"
    )
    Path("other.yaml").write_text(hall)
    code, out, err = run("compare", "scene.yaml", "other.yaml", "-o", "out", "--json")
    assert code == 0
    (said,) = json.loads(out)["warnings"]
    assert 'plane "floor": only 0.0 m² lie in both' in said
    assert "and 40.0 m² in other" in said
    assert f"Warning: {said}" in err
    Path("higher.yaml").write_text(SCENE.replace("{name: floor, height: 0}", "{name: floor, height: 1}"))
    code, out, _ = run("compare", "scene.yaml", "higher.yaml", "-o", "out", "--json")
    assert code == 0
    assert json.loads(out)["warnings"] == ['plane "floor" lies at 0 m in scene and at 1 m in higher']


def test_compare_files_of_one_name(scene: Path, run: Run) -> None:
    for folder in ("old", "new"):
        Path(folder).mkdir()
        Path(folder, "scene.yaml").write_text(SCENE)
    code, out, _ = run("compare", "old/scene.yaml", "new/scene.yaml", "-o", "out", "--json")
    assert code == 0
    assert (json.loads(out)["before"]["label"], json.loads(out)["after"]["label"]) == ("old", "new")


def test_compare_files_that_share_no_plane(scene: Path, run: Run) -> None:
    Path("b.yaml").write_text(SCENE.replace("name: floor", "name: desk"))
    code, out, err = run("compare", "scene.yaml", "b.yaml", "-o", "out")
    assert (code, out) == (2, "")
    assert "no plane has the same name in both (floor; desk)" in err
    assert sorted(os.listdir()) == ["b.yaml", "scene.yaml"]
