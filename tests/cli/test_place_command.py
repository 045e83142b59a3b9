"""`place` from the command line: what is written and said, and what is refused."""

from __future__ import annotations

import errno
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from typed import run

import raycover
from raycover.cli import placing
from raycover.placing import bounding, searching

SCENE = """raycover: 1
title: Store
rooms:
  - {name: Room, outline: [[0, 0], [8, 0], [8, 5], [0, 5]], height: 2.6, walls: steel-panel}   # a comment
needs:
  - {name: floor, rooms: [Room], height: 0, share: 0.9}
placing: {models: [ceiling-infrared-general], mounting: [2.5]}
"""


@pytest.fixture
def path(tmp_path: Path) -> Path:
    (tmp_path / "scene.yaml").write_text(SCENE, encoding="utf-8")
    return tmp_path / "scene.yaml"


def test_writes_a_scene_that_proves(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    new = path.with_name("new.yaml")
    assert run("place", str(path), "-o", str(new)) == 0
    told = capsys.readouterr()
    assert "no layout of these candidates does it with fewer" in told.out
    assert "walk-test" in told.err
    assert "# a comment" in new.read_text()
    assert run("prove", str(new), "--json") == 0
    assert json.loads(capsys.readouterr().out)["met"]
    assert len(raycover.load(new).detectors) >= 2


def test_json(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("place", str(path), "-o", str(path.with_name("new.yaml")), "--json") == 0
    found = json.loads(capsys.readouterr().out)
    assert found["version"] == 1
    assert found["met"]
    assert found["bound"] <= found["cost"] == len(found["new"]) == found["models"]["ceiling-infrared-general"]


@pytest.mark.parametrize(
    ("more", "line", "says"),
    [
        ("placing: {models: [ceiling-infrared-genral]}", 7, 'did you mean "ceiling-infrared-general"'),
        ("placing: {prices: {wall-infrared: 12}, models: [wall-infrared, microwave-omni-24]}", 7, "no price for"),
        ("placing: {along: [lines]}", 7, "no lines are given"),
        ("placing: {keep: [Q9]}", 7, 'no detector is named "Q9"'),
        ("placing: {within: [[[0, 0], [4, 4], [4, 0], [0, 4]]]}", 7, "the area is no polygon"),
        ("placing: {pitch: 0.01}", 7, "pitch"),
        ("placing: {model: [wall-infrared]}", 7, 'did you mean "models"'),
        ("placing: {prices: {wall-infrared: -3}}", 7, "prices"),
    ],
)
def test_wrong_keys(path: Path, more: str, line: int, says: str, capsys: pytest.CaptureFixture[str]) -> None:
    path.write_text(SCENE.replace("placing: {models: [ceiling-infrared-general], mounting: [2.5]}", more))
    assert run("place", str(path), "-o", str(path.with_name("new.yaml"))) == 2
    told = capsys.readouterr().err
    assert f"scene.yaml:{line}:" in told
    assert says in told
    assert not path.with_name("new.yaml").exists()


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--models", "nonsense"], "unknown detector model"),
        (["--keep", "Q9"], 'no detector is named "Q9"'),
        (["--pitch", "0.01"], "pitch"),
        (["--seconds", "0"], "seconds"),
    ],
)
def test_wrong_options(path: Path, words: list[str], says: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("place", str(path), "-o", str(path.with_name("new.yaml")), *words) == 2
    assert says in capsys.readouterr().err


def test_never_over_what_is_there(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = path.read_text()
    assert run("place", str(path), "-o", str(path)) == 2
    assert "this is the scene itself" in capsys.readouterr().err
    other = path.with_name("other.yaml")
    other.write_text("mine")
    assert run("place", str(path), "-o", str(other)) == 2
    assert "--force" in capsys.readouterr().err
    assert (path.read_text(), other.read_text()) == (before, "mine")


def test_without_models_or_needs(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    new = path.with_name("new.yaml")
    path.write_text(SCENE.replace("placing: {models: [ceiling-infrared-general], mounting: [2.5]}", ""))
    assert run("place", str(path), "-o", str(new)) == 2
    assert "--models" in capsys.readouterr().err
    path.write_text(SCENE.replace("needs:\n  - {name: floor, rooms: [Room], height: 0, share: 0.9}\n", ""))
    assert run("place", str(path), "-o", str(new)) == 2
    assert "no needs" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("hung", "need", "says"),
    [
        ("mounting: [9]", "", "no room is 9 m high"),
        ("mounting: [2.5]", "  - {name: quiet, rooms: [Room], never: true}\n", '"quiet" forbids'),
        ("mounting: [2.5], within: [[[0, 0], [3, 0], [3, 3], [0, 3]]]", "", "all candidates together see"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_named_and_nothing_written(
    hung: str, need: str, says: str, path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path.write_text(SCENE.replace("mounting: [2.5]", hung).replace("placing:", f"{need}placing:"))
    new = path.with_name("new.yaml")
    assert run("place", str(path), "-o", str(new)) == 2
    told = capsys.readouterr()
    assert says in told.err
    assert "scene.yaml:" in told.err
    assert "Traceback" not in told.err
    assert [p.name for p in path.parent.iterdir()] == ["scene.yaml"]


def test_too_little_time_keeps_the_best_and_says_so(
    path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """As the solver answers when its time is up before it has found or proved anything."""
    real = searching.cover

    def out_of_time(*words: Any, **more: Any) -> Any:
        found = real(*words, **more)
        return None if found is None else replace(found, found=False, optimal=False, bound=0.0, chosen=found.chosen[:0])

    monkeypatch.setattr(searching, "cover", out_of_time)
    monkeypatch.setattr(bounding, "cover", out_of_time)
    new = path.with_name("new.yaml")
    assert run("place", str(path), "-o", str(new), "--seconds", "1") == 0
    told = capsys.readouterr().out
    assert "the best found" in told
    assert "no layout of these candidates does it with fewer (" not in told  # nothing was proved of that
    assert run("prove", str(new)) == 0


def test_an_interrupted_search_says_so_and_writes_nothing(
    path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupted(*_: Any, **__: Any) -> Any:
        raise KeyboardInterrupt

    monkeypatch.setattr(placing, "place", interrupted)
    assert run("place", str(path), "-o", str(path.with_name("new.yaml"))) == 130
    assert "Interrupted: nothing is written" in capsys.readouterr().err
    assert [p.name for p in path.parent.iterdir()] == ["scene.yaml"]


def test_an_interrupted_search_writes_the_best_until_then(
    path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """^C while the first choice is made: the greedy one, judged, is written; it is said that it was interrupted."""

    def interrupted(*_: Any, **__: Any) -> Any:
        raise KeyboardInterrupt

    monkeypatch.setattr(searching, "cover", interrupted)
    new = path.with_name("new.yaml")
    assert run("place", str(path), "-o", str(new)) == 130
    told = capsys.readouterr()
    assert "the best found before it was interrupted" in told.out
    assert "no layout of these candidates" not in told.out
    assert f"Interrupted: written to {new}" in told.err
    assert len(raycover.load(new).detectors) >= 2
    assert run("prove", str(new)) == 0


@pytest.mark.parametrize("again", [False, True])
def test_an_interrupted_choice_that_misses_places_is_made_whole_or_said_to_be_none(
    path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, again: bool
) -> None:
    """One unit is too few (the exact search finds two): others join it, but for another ^C, and the file says so."""

    def interrupted(*_: Any, **__: Any) -> Any:
        raise KeyboardInterrupt

    monkeypatch.setattr(searching, "cover", interrupted)
    monkeypatch.setattr(searching, "cheaper", lambda *_: np.array([0]))
    if again:
        monkeypatch.setattr(searching, "made_whole", interrupted)
    new = path.with_name("new.yaml")
    assert run("place", str(path), "-o", str(new), "--json") == 130
    told = capsys.readouterr()
    found = json.loads(told.out)
    assert "units are added to the best so far" in told.err
    assert found["interrupted"] is True
    assert found["met"] is not again
    left_off = "units for 1 place missed, left off by another ^C"
    first = new.read_text(encoding="utf-8").splitlines()[0]
    for said in (told.err, first, "; ".join(found["undone"])):
        assert "the search for fewer units" in said
        assert (left_off in said) is again
    assert run("prove", str(new)) == int(again)
    capsys.readouterr()
    monkeypatch.undo()
    whole = path.with_name("whole.yaml")
    assert run("place", str(new), "-o", str(whole)) == 0
    assert "interrupted" not in whole.read_text(encoding="utf-8")


def test_what_contradicts_is_named_and_all_else_placed_for(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Of two rooms one is to be seen and kept quiet at once: the other gets its units, exit code 1."""
    other = "  - {name: Other, outline: [[9, 0], [13, 0], [13, 5], [9, 5]], height: 2.6, walls: steel-panel}\n"
    both = "  - {name: there, rooms: [Other], height: 0, share: 0.9}\n  - {name: quiet, rooms: [Other], never: true}\n"
    path.write_text(SCENE.replace("needs:\n", f"{other}needs:\n{both}"), encoding="utf-8")
    new = path.with_name("new.yaml")
    assert run("place", str(path), "-o", str(new), "--json") == 1
    told = capsys.readouterr()
    found = json.loads(told.out)
    assert 'need "there" cannot be met' in told.err
    assert '"quiet" forbids' in told.err
    assert "scene.yaml:7:" in told.err
    assert {need["name"]: need["met"] for need in found["needs"]} == {"there": False, "quiet": True, "floor": True}
    assert len(found["lacking"]) == 1
    assert all(d.at[0] < 8 for d in raycover.load(new).detectors)


def test_a_full_disk_is_found_before_the_search_or_the_result_told_all_the_same(
    path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: Any, **__: Any) -> Any:
        raise OSError(errno.ENOSPC, "No space left on device")

    words = ["place", str(path), "-o", str(path.with_name("new.yaml"))]
    with monkeypatch.context() as patched:
        patched.setattr("os.replace", full)  # it fills while the search goes on
        assert run(*words) == 2
    told = capsys.readouterr()
    assert "No space left on device" in told.err
    assert "no layout of these candidates does it with fewer" in told.out
    assert "Written to" not in told.err
    with monkeypatch.context() as patched:
        patched.setattr("tempfile.NamedTemporaryFile", full)
        patched.setattr(placing, "place", None)  # it is not even begun
        assert run(*words) == 2
    assert "No space left on device" in capsys.readouterr().err
    assert [p.name for p in path.parent.iterdir()] == ["scene.yaml"]
