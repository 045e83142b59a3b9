"""`export` of models and pages, as a person runs it: what is written, what is refused and why."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

SCENE = """
raycover: 1
title: Small room
rooms: [{name: Room, outline: [[0, 0], [8, 0], [8, 6], [0, 6]], height: 3, walls: brick-100}]
detectors: [{name: D1, model: ceiling-infrared-general, at: [2, 3], mounting: 3}]
planes: [{name: floor, height: 0}, {name: desk, height: 0.75}]
"""
Run = Callable[..., tuple[int, str, str]]


def test_a_model_and_a_page(run: Run) -> None:
    code, out, err = run(
        "export", "scene.yaml", "-o", "made/room.glb", "--plane", "desk", "--cut", "1.2", "--lobes", "all"
    )
    assert (code, out) == (0, "")
    assert 'plane "desk"' in err
    assert "walk-test" in err
    assert Path("made/room.glb").read_bytes()[:4] == b"glTF"
    code, _, err = run("export", "scene.yaml", "-o", "room.html", "--cut", "0.8")
    assert code == 0
    assert "without a network" in err
    assert '"cut":0.8' in Path("room.html").read_text(encoding="utf-8")
    code, _, err = run("export", "scene.yaml", "-o", "room.html")
    assert code == 2
    assert "--force" in err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("room.obj",), ".glb (a model)"),
        (("room.glb", "--plane", "dest"), 'did you mean "desk"'),
        (("room.glb", "--cut", "0"), "--cut"),
        (("room.glb", "--cut", "nan"), "--cut"),
        (("room.glb", "--lobes", "some"), "--lobes"),
        (("room.dxf", "--cut", "1"), "no meaning for .dxf"),
        (("room.html", "--lobes", "all"), "no meaning for .html"),
        (("scene.yaml/room.glb",), "cannot write"),
    ],
)
def test_what_is_refused(words: tuple[str, ...], said: str, run: Run) -> None:
    code, out, err = run("export", "scene.yaml", "-o", *words)
    assert (code, out) == (2, "")
    assert said in err
    assert "Traceback" not in err
    assert sorted(p.name for p in Path().iterdir()) == ["scene.yaml"]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--route", "nowhere"), "no routes"),
        (("--after", "gone.yaml"), "gone.yaml"),
        (("--after", "other.yaml"), "no plane of one name"),
        (("--state", "summer"), "no state is named"),
        (("--after", "walked.yaml", "--route", "away"), 'did you mean "Way"'),
    ],
)
def test_slides_that_are_refused(words: tuple[str, ...], said: str, run: Run) -> None:
    Path("walked.yaml").write_text(SCENE + "routes: [{name: Way, line: [[1, 1], [7, 1]]}]\n")
    Path("other.yaml").write_text(SCENE.replace("name: floor", "name: ground").replace("name: desk", "name: table"))
    code, out, err = run(
        "slides", "scene.yaml", "-o", "slides", "--no-film" if "--route" not in words else "--film", *words
    )
    assert (code, out) == (2, "")
    assert said in err
    assert not Path("slides").exists()


@pytest.mark.parametrize("words", [("--date", "1 May 2027"), ("--html-only",), ("--json",)])
def test_a_report_in_slides_takes_no_options_of_pages(words: tuple[str, ...], run: Run) -> None:
    code, _, err = run("report", "scene.yaml", "-o", "slides", "--slides", *words)
    assert code == 2
    assert "has no meaning with --slides" in err
    assert not Path("slides").exists()
