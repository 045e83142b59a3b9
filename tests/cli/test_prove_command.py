"""`raycover prove`: exit codes, what it prints and writes."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typed import run

SCENE = """\
raycover: 1
title: Small
grid: 0.2
rooms: [{name: Hall, outline: [[0,0],[8,0],[8,6],[0,6]], height: 3, walls: plasterboard-12.5}]
cubicles: [{name: WC, at: [5, 6], turn_deg: 180, count: 2, doors: open}]
detectors: [{name: D1, model: microwave-omni-5.8, at: [4, 3], mounting: 2.5}]
doubt: {cases: 16}
"""
MET = SCENE + "needs: [{name: Middle, area: [[3,2],[5,2],[5,4],[3,4]], share: 0.9}]\n"
MISSED = MET[:-2] + ", {name: Street, area: [[9,2],[10,2],[10,4],[9,4]], never: true}]\n"


def scene(folder: Path, text: str) -> str:
    (folder / "scene.yaml").write_text(text, encoding="utf-8")
    return str(folder / "scene.yaml")


def test_exit_0_where_all_is_met(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("prove", scene(tmp_path, MET)) == 0
    out, err = capsys.readouterr()
    assert "1 of 1 need met" in out
    assert "Middle: met in ≥ 95 % of varied cases" in out
    assert "walk-test" in err
    assert "assumed" not in err


def test_exit_1_where_one_is_missed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "out"
    assert run("prove", scene(tmp_path, MISSED), "-o", str(folder), "--json") == 1
    out, _ = capsys.readouterr()
    found = json.loads(out)
    assert json.loads((folder / "proof.json").read_text(encoding="utf-8")) == found
    assert {path.name for path in folder.iterdir()} == {"proof.json", "proof.png", "proof.pdf"}
    assert (found["version"], found["met"], found["assumed"]) == (1, False, False)
    middle, street = found["needs"]
    assert (middle["met"], middle["verdict"]) == (True, "met in ≥ 95 % of varied cases")
    assert (street["met"], street["verdict"], street["asked"]) == (False, "not met", {"clear_db": 3.0})
    worst = street["places"][0]["worst"]
    assert worst["detector"] == "D1"
    assert worst["path"] == "through plasterboard Hall/wall 1, 0.9 dB"
    assert worst["crossings"][0]["construction"] == "plasterboard-12.5"
    assert 0 <= street["places"][0]["probability"] < 0.5
    (tried,) = found["remedies"]
    assert (tried["detector"], tried["needs"]) == ("D1", ["Street"])
    assert tried["tried"][0]["stops"]
    left = [remedy["margin_db"] for remedy in tried["tried"] if remedy["stops"]]
    assert all(margin is None or margin <= -3 for margin in left)  # null: nothing gets there any more
    assert any(margin is not None for margin in left)
    assert 0 < tried["tried"][0]["quiet"] <= 1


def test_exit_2_where_the_input_is_wrong(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "out"
    bad = MET.replace("share: 0.9", "share: 0.9, plane: flor")
    assert run("prove", scene(tmp_path, bad), "-o", str(folder)) == 2
    _, err = capsys.readouterr()
    assert "scene.yaml:8:" in err
    assert 'unknown plane "flor"' in err
    assert not folder.exists()
    assert run("prove", scene(tmp_path, MET), "--state", "summer") == 2
    assert 'no state is named "summer"' in capsys.readouterr().err


def test_needs_are_made_where_none_are_typed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("prove", scene(tmp_path, SCENE), "--json") in (0, 1)
    out, err = capsys.readouterr()
    found = json.loads(out)
    assert found["assumed"]
    assert [(need["name"], need["doors"]) for need in found["needs"]] == [("Every cubicle", "closed")]
    assert "assumed" in err
    bare = SCENE.replace(SCENE.splitlines()[4] + "\n", "")
    assert run("prove", scene(tmp_path, bare)) == 2
    assert "no-needs" in capsys.readouterr().err


def test_a_place_that_a_state_takes_away(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = (
        SCENE + "states: [{name: empty, set: {WC: absent}}]\nneeds: [{name: Cubicles, cubicles: [WC], state: empty}]\n"
    )
    assert run("prove", scene(tmp_path, text)) == 2
    err = capsys.readouterr().err
    assert "place-missing" in err
    assert ":9:" in err
