"""The cache as a user meets it: what commands say and write is the same with it and without."""

from __future__ import annotations

import errno
import json
import re
from pathlib import Path
from typing import Any

import pytest
from typed import run

import raycover
from raycover.solving.kept import answers
from raycover.solving.kept import store as stores
from raycover.solving.kept.folder import VARIABLE

SCENE = """\
raycover: 1
title: Small store
rooms: [{name: Store, outline: [[0, 0], [8, 0], [8, 6], [0, 6]], height: 4, walls: brick-215}]
partitions: [{name: Screen, line: [[4, 0], [4, 4]], height: 3, construction: plasterboard-12.5}]
detectors:
  - {name: D1, model: ceiling-infrared-general, at: [2, 3], mounting: 3}
  - {name: D2, model: microwave-omni-5.8, at: [6, 3], mounting: 3}
planes: [{name: floor, height: 0}]
needs: [{name: store, rooms: [Store], share: 0.5}]
grid: 0.2
"""


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a scene, in which everything is kept that is asked for."""
    (tmp_path / "scene.yaml").write_text(SCENE)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv(VARIABLE, "off")  # put back after the test, whatever the command sets
    monkeypatch.setattr(answers, "_FEWEST", 0)
    return tmp_path


def mapped(place: Path, output: str, *before: str) -> dict[str, bytes]:
    """Every file that `map` writes, but for how long it took."""
    assert run(*before, "map", "scene.yaml", "--no-view", "-o", output, "--threads", "1") == 0
    return {
        path.name: re.sub(rb'"seconds": [0-9.e-]+', b"", path.read_bytes())
        for path in sorted((place / output).iterdir())
    }


def test_files_are_the_same_with_and_without(
    place: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    fresh = mapped(place, "fresh")
    monkeypatch.setenv(VARIABLE, str(place / "kept"))
    for plane in raycover.solve(raycover.load("scene.yaml")).values():
        assert plane.gaps is not None

    def refused(*_: Any) -> Any:
        raise AssertionError("cast again")

    monkeypatch.setattr(answers, "cast_anew", refused)
    assert mapped(place, "again", "--cache", "kept") == fresh
    capsys.readouterr()
    assert run("--cache", "kept", "cache", "--json") == 0
    said = json.loads(capsys.readouterr().out)
    assert said["folder"] == str(place / "kept")
    assert said["answers"] > 0
    assert 0 < said["bytes"] < said["limit_bytes"]


def test_verdicts_are_the_same_with_and_without(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    said = []
    for cache in ("off", "kept", "kept"):
        assert run("--cache", cache, "prove", "scene.yaml", "--json") == 0
        said.append(capsys.readouterr().out)
    assert said[0] == said[1] == said[2] != ""


def test_size_and_emptying(place: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(VARIABLE, str(place / "mine"))
    raycover.solve(raycover.load("scene.yaml"))
    assert run("cache") == 0
    assert re.fullmatch(rf"{place}/mine: \d+ answers, 0\.\d MB of at most 500 MB\n", capsys.readouterr().out)
    assert run("cache", "--empty") == 0
    assert capsys.readouterr().out == f"{place}/mine: 0 answers, 0.0 MB of at most 500 MB\n"
    assert run("--cache", "off", "cache") == 0
    assert "off" in capsys.readouterr().err


def test_the_users_cache_folder_is_the_one_of_the_platform(
    place: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv(VARIABLE)
    monkeypatch.setenv("XDG_CACHE_HOME", str(place / "caches"))
    assert run("cache", "--json") == 0
    assert json.loads(capsys.readouterr().out)["folder"] == str(stores.active().folder)  # type: ignore[union-attr]
    assert not (place / "caches").exists()  # asking makes nothing


@pytest.mark.parametrize("said", ["scene.yaml", "", "scene.yaml/below"])
def test_what_is_no_folder_is_said(said: str, place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("--cache", said, "map", "scene.yaml", "-o", "out") == 2
    assert "--cache" in capsys.readouterr().err
    assert not (place / "out").exists()


def test_a_full_disk_is_said_once_and_the_map_is_there(
    place: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: Any, **__: Any) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(stores, "write_whole", full)
    assert set(mapped(place, "out", "--cache", "full kept")) >= {"floor.png", "summary.json"}
    assert capsys.readouterr().err.count("No space left on device") == 1


def test_a_folder_that_cannot_be_made_is_said(
    place: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(VARIABLE, str(place / "scene.yaml" / "kept"))
    assert run("prove", "scene.yaml") == 0
    assert capsys.readouterr().err.count("Nothing was kept") == 1
