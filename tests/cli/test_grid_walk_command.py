"""`walk --grid` on small scenes: files, figures, and what it refuses."""

from __future__ import annotations

import json
from functools import partial
from pathlib import Path

import numpy as np
import pytest

from raycover.cli.main import main
from raycover.draw import chance_plan

SCENE = """\
raycover: 1
title: Small room
rooms:
  - {name: Room, outline: [[0, 0], [6, 0], [6, 5], [0, 5]], height: 2.7, walls: brick-100}
detectors:
  - {name: D1, model: ceiling-infrared-general, at: [2, 2.5], mounting: 2.6}
grid: 0.5
"""


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as left:
        main(list(arguments))
    said = capsys.readouterr()
    return int(left.value.code or 0), said.out, said.err


@pytest.fixture
def path(tmp_path: Path) -> Path:
    made = tmp_path / "scene.yaml"
    made.write_text(SCENE)
    return made


def test_maps_figures_and_image_data(
    path: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    # the pictures are looked at elsewhere: small ones do here
    monkeypatch.setattr(chance_plan, "draw_chance", partial(chance_plan.draw_chance, dpi=40))
    from vtkmodules.util.numpy_support import vtk_to_numpy
    from vtkmodules.vtkIOXML import vtkXMLImageDataReader

    folder = tmp_path / "out"
    code, out, err = run(capsys, "walk", str(path), "--grid", "-o", str(folder), "--json", "--threads", "1")
    assert code == 0, err
    figures = json.loads(out)
    assert json.loads((folder / "walk-grid.json").read_text()) == figures
    names = {p.name for p in folder.iterdir()}
    keys = ("walking", "worst", "across", "toward", "seated")
    assert names == {"walk-grid.json", "floor walked.vti", *(f"floor walked, {key}.png" for key in keys)}
    assert "checked against no real one" in figures["caution"]
    floor = figures["planes"]["floor"]
    assert 0.2 < floor["chance"]["walking"] < 1
    assert floor["chance"]["worst_direction"] <= floor["chance"]["walking"] <= floor["chance"]["best_direction"]
    detector = figures["detectors"]["D1"]
    assert detector["zones"]["derived"]
    assert set(detector["motions"]) == {"tangential", "radial", "presence"}
    reader = vtkXMLImageDataReader()
    reader.SetFileName(str(folder / "floor walked.vti"))
    reader.Update()
    cells = reader.GetOutput().GetCellData()
    walking = vtk_to_numpy(cells.GetArray("chance_walking"))
    worst = vtk_to_numpy(cells.GetArray("chance_worst"))
    assert len(walking) == 12 * 10
    there = np.isfinite(walking)
    assert np.all((walking[there] >= 0) & (walking[there] <= 1))
    assert np.all(worst[there] <= walking[there] + 1e-6)


def test_words_without_a_folder(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = run(capsys, "walk", str(path), "--grid")
    assert code == 0
    assert out.startswith("floor: walking 1 m, ")
    assert "checked against no real one" in err


def test_air_beyond_the_model_at_its_line(path: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path.write_text(SCENE + "conditions: {ambient_c: 45}\n")
    folder = tmp_path / "out"
    code, _, err = run(capsys, "walk", str(path), "--grid", "-o", str(folder))
    assert code == 2
    assert "scene.yaml:8:25: error: the simulated detector holds for air of 0 to 40 °C, not 45 °C" in err
    assert not folder.exists()


def test_no_detector(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path.write_text(SCENE[: SCENE.index("detectors:")])
    code, _, err = run(capsys, "walk", str(path), "--grid")
    assert code == 2
    assert "there is no detector to notice anybody" in err


def test_a_lens_that_does_not_reach(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    pattern = (
        "pattern: {kind: infrared, declared: [{mounting: 2.6, motion: tangential, shape: {circle: {diameter: 8}}}],"
        " zones: {rings: [{off_axis_deg: 15, count: 8, width_deg: 10, height_deg: 9}]}}"
    )
    path.write_text(SCENE.replace("model: ceiling-infrared-general", pattern))
    code, _, err = run(capsys, "walk", str(path), "--grid")
    assert code == 2
    assert '"D1" cannot be simulated' in err
    assert "the zones end at 20°" in err
    assert "scene.yaml:6:" in err
