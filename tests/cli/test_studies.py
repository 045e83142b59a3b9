"""`heat` and `sweep` on the command line: files, figures, and options that make no sense."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable
from pathlib import Path

import pytest

from raycover.errors import InputError
from raycover.ranges import numbers, values_words

SCENE = """\
raycover: 1
title: Hall
grid: 0.25
rooms: [{name: Hall, outline: [[0, 0], [12, 0], [12, 10], [0, 10]], height: 9, walls: steel-panel}]
racking: [{name: R1, at: [2, 5], bays: 2, levels: 2}]
detectors: [{name: D1, model: high-bay-infrared-round, at: [6, 3], mounting: 8}]
planes: [{name: floor, height: 0}]
"""
Run = Callable[..., tuple[int, str, str]]


def test_heat_writes_sheet_and_figures(run: Run) -> None:
    code, out, err = run("heat", "scene.yaml", "--ambient", "20,30", "-o", "out", "--json")
    assert code == 0
    assert "From 28 °C up" in err
    figures = json.loads(out)
    assert figures == json.loads(Path("out/heat.json").read_text())
    cool, warm = (t["planes"]["floor"]["share"] for t in figures["temperatures"])
    assert warm < cool
    assert Path("out/heat.png").stat().st_size > 10_000


def test_sweep_writes_table_and_sheets(run: Run) -> None:
    code, out, _ = run("sweep", "scene.yaml", "--mounting", "5:8:1.5", "--share", "0.5", "-o", "out")
    assert code == 0
    assert "mounting 6.5 m" in out
    assert "What the racking takes away" in out
    rows = list(csv.DictReader(Path("out/sweep.csv").read_text().splitlines()))
    assert [row["mounting_m"] for row in rows] == ["5", "6.5", "8"]
    assert sorted(p.name for p in Path("out").iterdir()) == [
        "sweep plans.png", "sweep racking.png", "sweep.csv", "sweep.json", "sweep.png",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("heat", "scene.yaml", "--ambient", "60"), "-30 to 50 °C is allowed"),
        (("heat", "scene.yaml", "--ambient", "warm"), 'expects numbers, got "warm"'),
        (("sweep", "scene.yaml"), "nothing to vary"),
        (("sweep", "scene.yaml", "--mounting", "8:6:1"), "runs nowhere"),
        (("sweep", "scene.yaml", "--mounting", "6:8"), "FROM:TO:STEP"),
        (("sweep", "scene.yaml", "--mounting", "6,5:8:1"), "write 6.5:8:1 with a point"),
        (("sweep", "scene.yaml", "--mounting", "0:100:0.01"), "more than 200 values"),
        (("sweep", "scene.yaml", "--mounting", "7:9.5:0.5"), "with mounting 9.5 m"),
        (("sweep", "scene.yaml", "--detector", "D2", "--tilt", "5"), 'no detector is named "D2"'),
        (("sweep", "scene.yaml", "--mounting", "3:8:0.1", "--tilt", "0:20:1"), "more than 400"),
    ],
)
def test_what_makes_no_sense_is_said(run: Run, words: tuple[str, ...], told: str) -> None:
    code, out, err = run(*words, "-o", "out")
    assert (code, out) == (2, "")
    assert told in err
    assert "Traceback" not in err
    assert not Path("out").exists()


def test_loads_drawn_with_a_seed_and_needs_of_aisles_stop_no_sweep(run: Run) -> None:
    """What the racking takes away is asked with full places, bare frames and none, whatever the file says."""
    rows = "{name: R1, at: [2, 2], bays: 2, levels: 2, fill: 0.5, seed: 7}, {name: R2, at: [2, 6], bays: 2, levels: 2}"
    text = SCENE.replace("{name: R1, at: [2, 5], bays: 2, levels: 2}", rows)
    text += "needs: [{name: Aisles, aisles: all, plane: floor}]\ncameras: [{name: C, azimuth_deg: 20, plane: floor}]\n"
    Path("scene.yaml").write_text(text)
    code, out, err = run("sweep", "scene.yaml", "--mounting", "7:8:1", "-o", "out")
    assert (code, "error" in err) == (0, False)
    assert "What the racking takes away" in out


def test_a_list_that_may_be_a_decimal_comma() -> None:
    """A number before a range that begins no higher is asked about; a list that rises, or has a space, is taken."""
    for text in ("6,5:8:1", "4,6,5:8:1", "12,0:14:1"):
        with pytest.raises(InputError, match="decimal comma"):
            numbers("--mounting", text, 0, 100, "m")
    assert numbers("--mounting", "6, 5:8:1", 0, 100, "m") == [6, 5, 7, 8]
    assert numbers("--mounting", "4,6:8:1", 0, 100, "m") == [4, 6, 7, 8]
    assert numbers("--mounting", "6.5,5:8:1", 0, 100, "m") == [6.5, 5, 6, 7, 8]
    assert values_words("--mounting", "4,6:8:1", [4, 6, 7, 8]) == "--mounting: 4, 6, 7, 8"
    assert values_words("--mounting", "6:8:1", [6, 7, 8]) is None
