"""`raycover trips` as a person runs it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from raycover.cli.main import main

EXAMPLE = Path(__file__).parents[2] / "examples" / "workshop" / "scene.yaml"
SMALL = """
raycover: 1
title: Small room
rooms: [{name: Room, outline: [[0, 0], [8, 0], [8, 6], [0, 6]], height: 2.5, walls: brick-100}]
detectors: [{name: D1, model: microwave-omni-5.8, at: [2, 3], mounting: 2.5}]
planes: [{name: floor, height: 0}]
grid: 0.2
"""


def run(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as left:
        main(list(words))
    out, err = capsys.readouterr()
    return (0 if left.value.code is None else int(left.value.code)), out, err


@pytest.fixture
def small(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "scene.yaml").write_text(SMALL)
    return tmp_path / "scene.yaml"


def test_the_example_tells_its_story(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    code, out, err = run(capsys, "trips", str(EXAMPLE), "-o", str(tmp_path / "out"))
    assert code == 0
    assert "What may trip units though nobody is there" in out
    assert "through what covers it" in out  # the pipe
    assert "Yard door open" in out
    assert "steady: no signal by itself" in out
    assert "M2 and M3" in out
    assert "rule of thumb" in out.lower()
    assert "walk-test" in err
    assert "walk-test" not in out
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == ["trips.json", "trips.png"]
    with Image.open(tmp_path / "out" / "trips.png") as image:
        assert image.size == (2338, 1653)
    written: dict[str, Any] = json.loads((tmp_path / "out" / "trips.json").read_text(encoding="utf-8"))
    margins = [e["margin_db"] if e["margin_db"] is not None else -1e9 for e in written["effects"]]
    assert margins == sorted(margins, reverse=True)
    assert {e["verdict"] for e in written["effects"]} == {"trips", "may trip", "no"}
    assert all((e["remedies"] is None) == (e["verdict"] == "no") for e in written["effects"])
    assert written["version"] == 1
    assert "caution" in written


def test_json_on_stdout_and_nothing_listed(capsys: pytest.CaptureFixture[str], small: Path) -> None:
    code, out, err = run(capsys, "trips", str(small), "--json")
    assert code == 0
    assert json.loads(out)["effects"] == []
    assert "No nuisances are listed" in err
    code, out, _ = run(capsys, "trips", str(small), "-o", "out")
    assert code == 0
    assert (small.parent / "out" / "trips.png").exists()


def test_a_mask_that_is_proposed_does_what_it_says(capsys: pytest.CaptureFixture[str], small: Path) -> None:
    """The mask of the JSON, typed into the scene, stops the fan and passes `check`."""
    fan = "nuisances: [{name: Fan, kind: fan, at: [6, 3], height: 1}]\n"
    small.write_text(SMALL + fan)
    (effect,) = json.loads(run(capsys, "trips", str(small), "--json")[1])["effects"]
    assert effect["verdict"] == "trips"
    mask = effect["remedies"]["mask"]
    keys = ("from_deg", "to_deg", "off_axis_from_deg", "off_axis_to_deg")
    typed = json.dumps({key: mask[key] for key in keys})
    small.write_text(SMALL.replace("mounting: 2.5}]", f"mounting: 2.5, masks: [{typed}]}}]") + fan)
    (effect,) = json.loads(run(capsys, "trips", str(small), "--json")[1])["effects"]
    assert (effect["verdict"], effect["reason"]) == ("no", "masked")
    assert run(capsys, "check", str(small))[0] == 0


def test_a_pipe_in_no_wall_fails_check_too(capsys: pytest.CaptureFixture[str], small: Path) -> None:
    small.write_text(SMALL + "nuisances: [{name: Pipe, kind: pipe, at: [4, 3], behind: glass-6}]\n")
    for command in (["trips"], ["check"]):
        code, out, err = run(capsys, *command, str(small))
        assert (code, out) == (2, "")
        assert "scene.yaml:8:" in err
        assert "no-wall" in err


def test_states(capsys: pytest.CaptureFixture[str], small: Path) -> None:
    fan = "nuisances: [{name: Fan, kind: fan, at: [6, 3], height: 1}]\nstates: [{name: Night, set: {Fan: absent}}]\n"
    small.write_text(SMALL + fan)
    assert len(json.loads(run(capsys, "trips", str(small), "--json")[1])["effects"]) == 1
    assert json.loads(run(capsys, "trips", str(small), "--json", "--state", "Night")[1])["effects"] == []
