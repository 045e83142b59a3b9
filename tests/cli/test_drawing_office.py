"""`import` of drawings, `export`, `map --pdf`: as a person runs them."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import ezdxf
import pypdfium2
import pytest

SCENE = """
raycover: 1
title: Small room
rooms: [{name: Room, outline: [[0, 0], [8, 0], [8, 6], [0, 6]], height: 3, walls: brick-100}]
detectors: [{name: D1, model: ceiling-infrared-general, at: [2, 3], mounting: 3}]
planes: [{name: floor, height: 0}]
"""
Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(command_line: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    """Runs a command in an empty folder: (exit code, stdout, stderr)."""
    monkeypatch.chdir(tmp_path)
    Path("scene.yaml").write_text(SCENE)
    document = ezdxf.new()
    document.header["$INSUNITS"] = 4
    document.modelspace().add_lwpolyline(
        [(0, 0), (6000, 0), (6000, 4000), (0, 4000)], close=True, dxfattribs={"layer": "Umrisse"}
    )
    document.saveas("plan.dxf")

    return command_line


def test_import_a_drawing_check_and_map_it(run: Run) -> None:
    code, out, err = run("import", "plan.dxf", "-o", "made.yaml", "--height", "3.1", "--walls", "brick-100")
    assert (code, out) == (0, "")
    assert "mapped: 1 rooms" in err
    assert "only layer with outlines" in err
    text = Path("made.yaml").read_text(encoding="utf-8")
    assert "height: 3.1, walls: brick-100" in text
    assert run("check", "made.yaml")[0] == 0
    assert run("map", "made.yaml", "-o", "out", "--no-view")[0] == 0
    code, _, err = run("import", "plan.dxf", "-o", "made.yaml")
    assert code == 2
    assert "--force" in err


def test_import_as_json(run: Run) -> None:
    code, out, _ = run("import", "plan.dxf", "-o", "made.yaml", "--json")
    assert code == 0
    assert json.loads(out)["mapped"]["rooms"] == 1


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("plan.dxf", "--rooms", "nothing"), "Umrisse: 1 outlines, the largest 24 m²"),
        (("plan.dxf", "--units", "km"), "unknown units"),
        (("plan.dxf", "--units", "m"), "check units"),
        (("plan.dxf", "--walls", "jelly"), 'unknown construction "jelly"'),
        (("plan.dxf", "--height", "0"), "--height"),
        (("gone.dxf",), "cannot read"),
        (("plan.dwg",), "save it as DXF"),
        (("house.ifc", "--units", "mm"), "do not suit"),
    ],
)
def test_imports_that_are_refused(words: tuple[str, ...], said: str, run: Run) -> None:
    code, out, err = run("import", *words, "-o", "made.yaml")
    assert (code, out) == (2, "")
    assert said in err
    assert not Path("made.yaml").exists()


def test_export(run: Run) -> None:
    code, out, err = run("export", "scene.yaml", "-o", "deep/coverage.dxf")
    assert (code, out) == (0, "")
    assert "walk-test" in err
    assert not ezdxf.readfile("deep/coverage.dxf").audit().errors
    assert run("export", "scene.yaml", "-o", "deep/coverage.dxf")[0] == 2
    assert run("export", "scene.yaml", "-o", "deep/coverage.dxf", "--force")[0] == 0
    code, _, err = run("export", "scene.yaml", "-o", "coverage.pdf")
    assert code == 2
    assert "coverage.dxf" in err


def test_map_to_pdf(run: Run) -> None:
    assert run("map", "scene.yaml", "-o", "out", "--no-view", "--pdf", "a3", "--scale", "1:50")[0] == 0
    with pypdfium2.PdfDocument("out/floor.pdf") as document:
        assert [round(v / 72 * 25.4) for v in document[0].get_size()] == [420, 297]
        assert "1 : 50" in document[0].get_textpage().get_text_bounded()
    assert run("map", "scene.yaml", "-o", "auto", "--no-view", "--pdf", "A4", "--scale", "auto")[0] == 0
    assert Path("auto/floor.pdf").exists()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--pdf", "A9"), 'unknown paper "A9"'),
        (("--scale", "50"), "a scale needs paper"),
        (("--pdf", "A4", "--scale", "half"), "whole number or auto"),
        (("--pdf", "A4", "--scale", "20"), "write --scale 50"),
    ],
)
def test_paper_and_scales_that_are_refused(words: tuple[str, ...], said: str, run: Run) -> None:
    code, out, err = run("map", "scene.yaml", "-o", "out", "--no-view", *words)
    assert (code, out) == (2, "")
    assert said in err
    assert not Path("out").exists()


def test_a_scene_whose_underlay_is_wrong(run: Run) -> None:
    Path("scene.yaml").write_text(SCENE + "underlay: {file: gone.png, scale: {metres_per_pixel: 0.01}}\n")
    code, _, err = run("check", "scene.yaml")
    assert code == 2
    assert "scene.yaml:7:18" in err
