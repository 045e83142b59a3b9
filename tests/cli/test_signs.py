"""A negative figure has one sign wherever it is printed, and no terminal fails over it or loses it."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from processes import LONGEST

import raycover
from raycover.signs import signed

Run = Callable[..., tuple[int, str, str]]
SCENE = """\
raycover: 1
title: Signs
rooms:
  - {name: Hall, outline: [[-8, -6], [0, -6], [0, 0], [-8, 0]], height: 3, walls: brick-215,
     openings: [{name: Way in, edge: 0, at: 3.5, width: 1, height: 2.1, fill: door-wood-40, state: open}]}
partitions: [{name: Screen, line: [[-4, -4], [-4, 0]], height: 3, construction: plasterboard-12.5}]
detectors:
  - {name: D1, model: ceiling-infrared-general, at: [-6, -3], mounting: 2.8}
  - {name: M1, model: microwave-omni-5.8, at: [-7, -5], mounting: 2.5, sensitivity_pct: 40}
solids: [{name: Box, centre: [-7, -1], size: [0.5, 0.5, 1], material: timber}]
planes: [{name: floor, height: 0}]
grid: 0.5
states: [{name: Cleared, set: {Screen: absent, Box: {centre: [-7, -2]}}}]
"""
#: A hyphen before a figure that is no part of a name.
HYPHEN = re.compile(r"(?:^|[\s(])-\d")


@pytest.mark.parametrize(
    ("value", "form", "words"),
    [(6, "g", "+6"), (-3, "g", "−3"), (0.0, "g", "0"), (-0.04, ".1f", "0.0"), (-1.25, ".1f", "−1.2")],
)
def test_figures_with_a_sign_are_written_alike(value: float, form: str, words: str) -> None:
    assert signed(value, form) == words


@pytest.mark.parametrize(
    ("words", "sign"),
    [
        (["probe", "scene.yaml", "--at=-6,-3,0"], "(−6.00, −3.00, 0.00)"),
        (["probe", "scene.yaml", "--at=−2,−5,0"], "−"),
        (["map", "scene.yaml", "--no-view", "-o", "out"], "largest gap"),
        (["compare", "scene.yaml", "--states", "Cleared", "as drawn", "-o", "out"], "−"),
    ],
)
def test_the_same_minus_everywhere(words: list[str], sign: str, run: Run) -> None:
    code, out, err = run(*words)
    assert code == 0, err
    assert sign in out + err
    assert not HYPHEN.search(out + err), out + err


def test_a_margin_below_nought(run: Run) -> None:
    """Printed with a minus; in JSON it is a number."""
    at = "--at=-2.2,-4.8,0"
    margin = json.loads(run("probe", "scene.yaml", at, "--json")[1])["detectors"][1]["margin_db"]
    assert margin is not None
    assert margin < 0
    assert f"−{-margin:.1f} dB" in run("probe", "scene.yaml", at)[1]


@pytest.mark.parametrize("encoding", ["ascii", "latin-1"])
def test_a_terminal_without_the_sign_shows_a_hyphen_not_a_question_mark(encoding: str, tmp_path: Path) -> None:
    (tmp_path / "scene.yaml").write_text(SCENE)
    environment = {**os.environ, "PYTHONIOENCODING": encoding, "PYTHONPATH": str(Path(raycover.__file__).parents[1])}
    done = subprocess.run(
        [sys.executable, "-m", "raycover.cli.main", "probe", "scene.yaml", "--at=-6,-3,0"],
        capture_output=True, env=environment, check=False, cwd=tmp_path, timeout=LONGEST,
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (0, b"")
    assert done.stdout.decode(encoding).startswith("(-6.00, -3.00, 0.00), in room")
