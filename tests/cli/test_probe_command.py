"""`probe` asks as a plane of the scene does, or by single options, and says what it took."""

from __future__ import annotations

import json
from collections.abc import Callable
from math import log10

import numpy as np
import pytest

import raycover
from raycover.asking.probe import probe
from raycover.cli.main import main

Run = Callable[..., tuple[int, str, str]]
SCENE = """\
raycover: 1
title: Bodies
rooms: [{name: Hall, outline: [[0, 0], [10, 0], [10, 8], [0, 8]], height: 3, walls: brick-100}]
detectors:
  - {name: D1, model: ceiling-dual, at: [2, 3], mounting: 2.8}
  - {name: M1, model: microwave-omni-5.8, at: [6, 3], mounting: 2.8}
planes:
  - {name: floor, height: 0}
  - {name: desk, height: 0.75, motion: presence, body: breathing}
  - {name: people, target: person, heights: [0.3, 1.6], target_m2: 0.1}
grid: 0.5
"""


def asked(run: Run, *words: str) -> dict:
    code, out, err = run("probe", "scene.yaml", *words, "--json")
    assert (code, err) == (0, "")
    return json.loads(out)


@pytest.mark.parametrize("plane", ["floor", "desk", "people"])
def test_a_plane_by_name_gives_the_margins_of_its_map(plane: str, run: Run) -> None:
    whole = raycover.solve(raycover.load_text(SCENE), threads=1)[plane]
    for row, column in ((3, 5), (8, 9), (12, 16)):
        x, y = float(whole.x[column]), float(whole.y[row])
        said = asked(run, "--at", f"{x},{y}", "--plane", plane)
        units = [unit["margin_db"] for unit in said["detectors"]]
        for margin, patch in zip(units, whole.patches, strict=True):
            rows, columns = patch.window
            if margin is not None and margin > -9 and rows.start <= row < rows.stop:
                assert margin == pytest.approx(
                    float(patch.margin_db[row - rows.start, column - columns.start]), abs=1e-3
                )
        assert sum(unit["detected"] for unit in said["detectors"]) == whole.count[row, column]


def test_a_body_by_itself(run: Run) -> None:
    """The radar equation: a cross section a tenth of another's lowers the margin by 10 dB. A declaration of walking is
    of 0.73 m² (its source stands in `physics/microwave`), so a seated person's 0.03 m² cost 10 log(0.73/0.03)."""
    at = ("--at", "5,4,0.75", "--motion", "tangential")
    plain, seated, same, less = (
        asked(run, *at, *more)["detectors"][1]["margin_db"]
        for more in ((), ("--body", "seated"), ("--target-m2", "0.03"), ("--target-m2", "0.003"))
    )
    assert seated - plain == pytest.approx(-10 * log10(0.73 / 0.03), abs=1e-6)
    assert same == seated
    assert less - same == pytest.approx(-10, abs=1e-6)


def test_what_was_taken_is_said(run: Run) -> None:
    said = run("probe", "scene.yaml", "--at", "5,4", "--plane", "desk")[1].splitlines()[1]
    assert said == '  taken: plane "desk", 0.75 m over the floor, presence motion, breathing, 0.003 m² to microwave'
    said = run("probe", "scene.yaml", "--at", "5,4,1", "--plane", "desk", "--motion", "any", "--body", "seated")[1]
    assert said.splitlines()[1] == '  taken: plane "desk", any motion, seated, 0.03 m² to microwave'
    assert "taken" not in run("probe", "scene.yaml", "--at", "5,4,1")[1]
    whole = asked(run, "--at", "5,4", "--plane", "people")
    assert {key: whole[key] for key in ("plane", "motion", "body", "target_m2", "heights_m")} == {
        "plane": "people", "motion": "any", "body": None, "target_m2": 0.1, "heights_m": [0.3, 1.6],
    }  # fmt: skip


@pytest.mark.parametrize(
    ("words", "wrong", "help_"),
    [
        (["--at", "5,4"], "expects three numbers X,Y,Z, got", "X,Y needs --plane"),
        (["--at", "5,4", "--plane", "dsk"], 'no plane is named "dsk"', 'did you mean "desk"?'),
        (["--at", "5,4,1", "--body", "sated"], 'unknown body "sated"', 'did you mean "seated"?'),
        (["--at", "5,4,1", "--target-m2", "0"], "over 0 and up to 1000 m²", "0.73 for a walker"),
        (["--at", "5,4,1", "--target-m2", "nan"], "over 0 and up to 1000 m²", "0.73 for a walker"),
        (["--at", "5,4,1", "--target-m2", "1", "--body", "seated"], "in two ways", "keep one"),
    ],
)
def test_what_cannot_be_asked(words: list[str], wrong: str, help_: str, run: Run) -> None:
    code, out, err = run("probe", "scene.yaml", *words)
    assert (code, out) == (2, "")
    assert wrong in err
    assert help_ in err


def test_where_rooms_lie_above_one_another_a_height_is_asked_for(
    tmp_path_factory: pytest.TempPathFactory, run: Run, capsys: pytest.CaptureFixture[str]
) -> None:
    over = "{name: Loft, outline: [[0, 0], [10, 0], [10, 8], [0, 8]], floor: 3, height: 3, walls: none}]\n"
    path = tmp_path_factory.mktemp("stacked") / "scene.yaml"
    path.write_text(SCENE.replace("walls: brick-100}]\n", "walls: brick-100}, " + over))
    with pytest.raises(SystemExit) as left:
        main(["probe", str(path), "--at", "5,4", "--plane", "desk"])
    assert left.value.code == 2
    assert "floors at 0, 3 m" in capsys.readouterr().err


SLABS = """\
raycover: 1
title: Slabs
storeys: [{name: low, floor: 0}, {name: high, floor: 3}]
rooms:
  - {name: Under, outline: [[0, 0], [6, 0], [6, 6], [0, 6]], height: 3, walls: brick-100, ceiling: concrete-150}
  - {name: Over, outline: [[0, 0], [6, 0], [6, 6], [0, 6]], floor: 3, height: 3, walls: brick-100}
stairs: [{name: Steps, room: Under, kind: straight, at: [4.5, 0.5], rise: 3, width: 1,
  risers: 17, going: 0.27}]
detectors: [{name: M1, model: microwave-omni-5.8, room: Under, at: [2, 3], mounting: 2.6}]
planes: [{name: floor, height: 0}]
grid: 0.5
"""


def test_somebody_on_a_slab_is_seen_through_it() -> None:
    """At z = 3 m over a unit that hangs under that slab: on a floor, though the room below reaches up to there too.
    The same on each step of a stair: its map and the point agree."""
    scene = raycover.load_text(SLABS)
    coverage = raycover.solve(scene, threads=1)
    over, steps = (next(plane for name, plane in coverage.items() if word in name) for word in ("high", "Steps"))
    column = int(np.abs(over.x - 2).argmin())
    row = int(np.abs(over.y - 3).argmin())
    (view,) = probe(scene, (float(over.x[column]), float(over.y[row]), 3.0))
    assert view.margin_db == pytest.approx(float(over.margin_db[row, column]), abs=0.01)
    assert "Under/ceiling" in {crossing.object for crossing in view.crossings}
    rows, columns = np.nonzero(steps.surface.inside)
    for k in range(0, len(rows), 7):
        x, y, z = steps.surface.points(rows[k : k + 1], columns[k : k + 1], 0.0)[0].tolist()
        (view,) = probe(scene, (x, y, z))
        assert view.margin_db == pytest.approx(float(steps.margin_db[rows[k], columns[k]]), abs=0.01)
