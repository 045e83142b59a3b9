"""Commands on a scene with mesh files: what is said, and exit code 2 with the line for what cannot be taken."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import trimesh
from mesh_scenes import soup, write

from raycover.cli.main import main

SCENE = """\
raycover: 1
rooms:
  - {name: hall, outline: [[0, 0], [10, 0], [10, 8], [0, 8]], height: 4, walls: brick-100}
meshes:
  - {name: Press, file: press.stl, at: [5, 4], units: mm, material: metal}
detectors:
  - name: D
    at: [2, 4]
    mounting: 3
    pattern: {kind: infrared, declared: [{mounting: 3, plane: 0, motion: radial, shape: {circle: {diameter: 30}}}]}
grid: 0.5
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A scene, and beside it a press with a few faces turned, in millimetres."""
    press = soup(trimesh.creation.box((1000, 1000, 2000)).apply_translation([0, 0, 1000]))
    faces = np.array(press.faces)
    faces[:3] = faces[:3, ::-1]
    write(tmp_path, "press.stl", trimesh.Trimesh(press.vertices, faces, process=False))
    (tmp_path / "scene.yaml").write_text(SCENE)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as left:
        main(list(words))
    out, err = capsys.readouterr()
    assert "Traceback" not in err
    return int(left.value.code or 0), out, err


def test_check_warns(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = run(capsys, "check", "scene.yaml")
    assert code == 0
    assert "sound" in out
    assert "1 warning" in out
    assert "scene.yaml:5:5: warning:" in err
    assert "3 of its 12 faces turned inside out; they were turned back [mesh-turned]" in err
    code, out, _ = run(capsys, "check", "scene.yaml", "--json")
    assert [p["code"] for p in json.loads(out)["problems"]] == ["mesh-turned"]


def test_probe_and_map_name_the_mesh(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, "probe", "scene.yaml", "--at", "8,4,0.5", "--json")
    assert code == 0
    (view,) = json.loads(out)["detectors"]
    assert view["cause"] == "blocked"
    (met,) = view["crossings"]
    assert (met["object"], met["part_of"], met["construction"], met["loss_db"]) == (
        "Press/press",
        "Press",
        "metal",
        None,
    )
    code, out, err = run(capsys, "map", "scene.yaml", "-o", "out", "--no-view", "--json")
    assert code == 0
    assert "mesh-turned" in err
    found = json.loads(out)
    assert [w["code"] for w in found["warnings"]] == ["mesh-turned", "coarse-grid"][: len(found["warnings"])]
    assert "Press" in [gap["blocked_by"] for gap in found["planes"]["floor"]["gaps"]]


@pytest.mark.parametrize(
    ("old", "new", "code", "place"),
    [
        ("press.stl", "pres.stl", "missing-file", "5:25"),
        ("press.stl", "../press.stl", "outside-folder", "5:25"),
        ("units: mm", "units: m", "mesh-units", "5:55"),
        ("material: metal", "parts: [{match: x, material: metal}]", "mesh-no-material", "5:12"),
        ("at: [2, 4]\n    mounting: 3", "at: [5, 4]\n    mounting: 1", "detector-in-solid", "8:9"),
    ],
)
def test_refused(old: str, new: str, code: str, place: str, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "scene.yaml").write_text(SCENE.replace(old, new))
    (folder / "press.obj").write_text("v 0 0 0\n")
    left, out, err = run(capsys, "map", "scene.yaml", "-o", "out")
    assert (left, out) == (2, "")
    assert f"scene.yaml:{place}: error:" in err, err
    assert f"[{code}]" in err
    assert "help:" in err
    assert not (folder / "out").exists()


def test_a_damaged_file_leaves_with_2(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    whole = (folder / "press.stl").read_bytes()
    for content, said in ((whole[:300], "is cut short"), (b"", "is empty"), (b"\x00" * 50, "is no STL file")):
        (folder / "press.stl").write_bytes(content)
        left, out, err = run(capsys, "check", "scene.yaml")
        assert (left, out) == (2, "")
        assert f'"press.stl" {said}' in err


def test_floor_behind_a_mesh_cannot_be_reached(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    door = "walls: brick-100, openings: [{edge: 3, at: 3, width: 1, height: 2.1, fill: door-wood-40}]"
    text = SCENE.replace("walls: brick-100", door)
    wide = trimesh.creation.box((500, 7900, 2000)).apply_translation([0, 0, 1000])
    found = []
    for shape in (None, wide):
        if shape is not None:
            write(folder, "press.stl", shape)
        (folder / "scene.yaml").write_text(text)
        _, out, _ = run(capsys, "check", "scene.yaml", "--json")
        found.append("unreachable-floor" in [p["code"] for p in json.loads(out)["problems"]])
    assert found == [False, True]
