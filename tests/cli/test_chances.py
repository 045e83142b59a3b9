"""`map --chances` as a person runs it: what is written, what is said, and bad input."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest
import pyvista
from PIL import Image
from typed import run

from raycover.solving.doubt import MISS_RATE

SCENE = """
raycover: 1
title: Store
grid: 0.25
conditions: {reflections: 1}
doubt: {cases: 16}
rooms: [{name: Store, outline: [[0, 0], [6, 0], [6, 4], [0, 4]], height: 3, walls: brick-100}]
detectors: [{name: M1, model: microwave-omni-5.8, at: [2, 2], mounting: 2.9}]
planes: [{name: floor, height: 0}]
states: [{name: warm, conditions: {ambient_c: 30}}]
"""


def test_maps_data_and_figures(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("scene.yaml").write_text(SCENE)
    words = ("map", "scene.yaml", "-o", "out", "--no-view", "--chances", "--all-states", "--threads", "1")
    assert run(*words) == 0
    err = capsys.readouterr().err
    names = {f"floor{state}{kind}" for state in ("", ", warm") for kind in (".png", ".vti", " probability.png")}
    assert set(os.listdir("out")) == {*names, "summary.json"}
    with Image.open("out/floor probability.png") as picture:
        picture.load()
        assert min(picture.size) > 1000
    array = pyvista.read("out/floor.vti").cell_data["probability"]
    figures = json.loads(Path("out/summary.json").read_text(encoding="utf-8"))
    chances = figures["planes"]["floor"]["chances"]
    area = 0.25**2 * 24 / 24
    assert chances["expected_share"] == pytest.approx(float(array.sum()) * area / 24, abs=1e-6)
    assert 0 < chances["firm_share"] <= chances["expected_share"] + 0.05
    assert chances["rooms"]["Store"]["expected_share"] == pytest.approx(chances["expected_share"])
    assert figures["doubt"]["cases"] == 16
    assert figures["doubt"]["miss_rate"]["share"] == MISS_RATE.share
    assert figures["doubt"]["sources"]["cross_section_db"]["status"] == "2nd"
    assert figures["states"]["warm"]["planes"]["floor"]["chances"]["firm_share"] == chances["firm_share"]
    assert f"floor, in 16 varied cases: {chances['firm_share']:.1%} seen in at least 95 % of them" in err
    assert "missed the truth at 7.1% of 1,000 points" in err
    first = Path("out/floor probability.png").read_bytes(), Path("out/floor.vti").read_bytes()
    assert run(*words) == 0
    assert first == (Path("out/floor probability.png").read_bytes(), Path("out/floor.vti").read_bytes())


def test_straight_ways_say_that_they_are(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("scene.yaml").write_text(SCENE.replace("reflections: 1", "reflections: 0"))
    assert run("map", "scene.yaml", "-o", "out", "--no-view", "--chances") == 0
    assert "straight ways only" in capsys.readouterr().err


def test_a_stair_has_its_sheet_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    hall = """
rooms: [{name: Hall, outline: [[0, 0], [4, 0], [4, 6], [0, 6]], height: 6, walls: brick-100}]
stairs: [{name: S1, at: [1, 1], rise: 2.1}]
"""
    Path("scene.yaml").write_text(
        SCENE.replace(SCENE[SCENE.index("rooms:") : SCENE.index("detectors:")], hall.lstrip()).split("states:")[0]
    )
    assert run("map", "scene.yaml", "-o", "out", "--no-view", "--chances") == 0
    assert "floor S1 probability.png" in os.listdir("out")
    assert "probability" in pyvista.read("out/floor S1.vtp").cell_data


def test_bad_doubt_leaves_nothing_behind(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("scene.yaml").write_text(SCENE.replace("cases: 16", "cases: 17"))
    assert run("map", "scene.yaml", "-o", "out", "--no-view", "--chances") == 2
    err = capsys.readouterr().err
    assert "scene.yaml:6:" in err
    assert "power of two" in err
    assert not Path("out").exists()
