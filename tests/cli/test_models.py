"""`raycover models`: the catalogue listed, a unit shown, an entry made by options and by questions."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest
import yaml

import raycover
from raycover.catalogue import load_catalogue
from raycover.cli.main import main
from raycover.scene.devices import DetectorModel

LINE = "tangential 2.5 circle 7"
UNIT = ["--kind", "infrared", "--declared", LINE, "--source", "sheet 4, page 2", "--no-drawing"]


@dataclass
class Said:
    code: int
    out: str
    err: str


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Callable[..., Said]:
    """The command in an empty folder, with no terminal."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("RAYCOVER_MODELS", raising=False)
    monkeypatch.setattr("sys.stdin", io.StringIO(""))

    def call(*arguments: str) -> Said:
        code = 0
        try:
            main(["models", *arguments])
        except SystemExit as stop:
            code = stop.code if isinstance(stop.code, int) else 0
        captured = capsys.readouterr()
        return Said(code, captured.out, captured.err)

    return call


def files(folder: Path) -> list[str]:
    return sorted(str(p.relative_to(folder)) for p in folder.rglob("*") if p.is_file())


# --- the list ---------------------------------------------------------------------------------------------------------


def test_the_list_names_every_entry(run: Callable[..., Said]) -> None:
    said = run()
    assert said.code == 0
    for name, model in load_catalogue().detectors.items():
        (line,) = (x for x in said.out.splitlines() if x.startswith(f"{name} "))
        assert model.title in line
        assert model.kind in line
        for declared in model.declared:
            assert declared.motion in line
    assert "\x1b" not in said.out
    assert "models new" in said.err


def test_the_list_as_json(run: Callable[..., Said]) -> None:
    listed = json.loads(run("--json").out)
    assert listed["version"] == 1
    assert {d["name"] for d in listed["detectors"]} == set(load_catalogue().detectors)
    for detector in listed["detectors"]:
        file = Path(detector.pop("file"))
        assert file.is_file()
        assert DetectorModel.model_validate(detector) == load_catalogue().detectors[detector["name"]]


def test_constructions_with_their_losses(run: Callable[..., Said]) -> None:
    """One 12.5 mm board at 5.8 GHz, coherent: 0.92, 1.31, 1.88 dB at 0, 45, 60° [C from ITU-R P.2040-3/4 rows, V]."""
    listed = json.loads(run("--constructions", "--losses", "coherent", "--json").out)
    by_name = {c["name"]: c for c in listed["constructions"]}
    assert by_name["plasterboard-12.5"]["loss_db"]["5.8"] == pytest.approx([0.92, 1.31, 1.88], abs=0.0055)
    assert by_name["steel-panel"]["loss_db"]["5.8"] == [None, None, None]
    assert by_name["steel-panel"]["kind"] == "opaque"
    assert listed["losses"] == "coherent"
    said = run("--constructions")
    assert "averaged" in said.out
    (line,) = (x for x in said.out.splitlines() if x.startswith("steel-panel"))
    assert line.split()[1:3] == ["opaque", "opaque"]


def test_materials_beyond_their_range_have_no_figure(run: Callable[..., Said]) -> None:
    """Floorboard holds from 50 to 100 GHz only (ITU-R P.2040-3/4 rows [V])."""
    listed = json.loads(run("--materials", "--json").out)
    by_name = {m["name"]: m for m in listed["materials"]}
    assert by_name["floorboard"]["loss_db"] == {"5.8": None, "24.125": None}
    assert by_name["floorboard"]["valid_ghz"] == [50, 100]
    assert {s["name"] for s in listed["solids"]} >= {"concrete", "metal", "goods", "timber"}
    said = run("--materials")
    (line,) = (x for x in said.out.splitlines() if x.startswith("floorboard"))
    assert "no figure" in line
    assert "P.2040" in line


def test_losses_of_a_third_kind_are_refused(run: Callable[..., Said]) -> None:
    said = run("--constructions", "--losses", "typical")
    assert said.code == 2
    assert "averaged or coherent" in said.err


# --- a unit shown -----------------------------------------------------------------------------------------------------


def test_show_draws_and_prints(run: Callable[..., Said], tmp_path: Path) -> None:
    said = run("show", "high-bay-infrared-aisle", "-o", "out/aisle.png", "--mounting", "9 m")
    assert said.code == 0
    assert (tmp_path / "out" / "aisle.png").read_bytes().startswith(b"\x89PNG\r\n\x1a\n")
    assert files(tmp_path) == ["out/aisle.png"]
    # 20 × 3.6 m from 8 m and 28 × 4.4 m from 12 m in the entry: a quarter of the way at 9 m
    (line,) = (x for x in said.out.splitlines() if x.split()[:2] == ["9", "tangential"])
    assert "22.0 × 3.8" in line
    assert "walk-test" in said.out
    assert "no source" in said.out


def test_show_as_json_draws_only_where_asked(run: Callable[..., Said], tmp_path: Path) -> None:
    shown = json.loads(run("show", "microwave-omni-5.8", "--json", "--mounting", "5").out)
    assert files(tmp_path) == []
    assert shown["picture"] is None
    assert shown["mounting_m"] == 5
    rows = {(r["mounting_m"], r["motion"]): r for r in shown["reach"]}
    assert rows[5, "radial"]["outside_declared_heights"]
    assert rows[5, "radial"]["outside_mounting_range"]
    declared = rows[2.5, "radial"]
    assert not declared["outside_declared_heights"]
    assert declared["floor"] == {"length_m": 14, "width_m": 14, "reach_m": 7}  # the entry's own figure


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["show", "ceiling-infared-general"], 'did you mean "ceiling-infrared-general"'),
        (["show", "wall-infrared", "--mounting", "2,5"], "write 2.5 with a point"),
        (["show", "wall-infrared", "--mounting", "2500"], "write 2500 mm if these are millimetres"),
        (["show", "wall-infrared", "-o", "sheet.pdf"], "the drawing is a PNG"),
        (["show", "wall-infrared", "--scene-folder", "nowhere"], "there is no such folder"),
    ],
)
def test_what_show_refuses(run: Callable[..., Said], tmp_path: Path, arguments: list[str], words: str) -> None:
    said = run(*arguments)
    assert said.code == 2
    assert words in said.err
    assert "Traceback" not in said.err
    assert said.out == ""
    assert files(tmp_path) == []


def test_a_drawing_that_cannot_be_written(run: Callable[..., Said], tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    said = run("show", "wall-infrared", "-o", "file/sheet.png")
    assert said.code == 2
    assert "cannot write" in said.err


# --- an entry by options ----------------------------------------------------------------------------------------------


def test_new_writes_what_was_given(run: Callable[..., Said], tmp_path: Path) -> None:
    said = run(
        "new",
        "corner-unit",
        "--kind",
        "hf",
        "--frequency-ghz",
        "24125 MHz",
        "--title",
        "Corner unit, 24 GHz",
        "--declared",
        "radial 2500 mm rectangle 12 x 1000cm",
        "--declared",
        "presence 2.5 on 0.75 circle radius 1.5",
        "--declared",
        "tangential 2.5 polar 0:5,90:3.5,180:5,270:0",
        "--mounting-from",
        "2.2",
        "--mounting-to",
        "400 cm",
        "--largest-mask-share",
        "25 %",
        "--bus-current-ma",
        "8 mA",
        "--reach-behind",
        "0.3",
        "--source",
        "sheet 4: page 2",
        "--description",
        "For corners: no others.",
    )
    assert said.code == 0
    assert files(tmp_path) == ["models/detectors/corner-unit.png", "models/detectors/corner-unit.yaml"]
    path = tmp_path / "models" / "detectors" / "corner-unit.yaml"
    # PyYAML's own reader stands in for the world outside
    written = yaml.safe_load(path.read_text(encoding="utf-8"))
    source = "sheet 4: page 2"
    assert written == {
        "raycover_detector": 1,
        "name": "corner-unit",
        "title": "Corner unit, 24 GHz",
        "kind": "microwave",
        "frequency_ghz": 24.125,
        "description": "For corners: no others.",
        "source": source,
        "mounting": {"from": 2.2, "to": 4},
        "largest_mask_share": 0.25,
        "bus_current_ma": 8,
        "reach_behind": 0.3,
        "declared": [
            {
                "mounting": 2.5,
                "plane": 0,
                "motion": "radial",
                "shape": {"rectangle": {"length": 12, "width": 10}},
                "source": source,
            },
            {
                "mounting": 2.5,
                "plane": 0.75,
                "motion": "presence",
                "shape": {"circle": {"diameter": 3}},
                "source": source,
            },
            {
                "mounting": 2.5,
                "plane": 0,
                "motion": "tangential",
                "source": source,
                "shape": {"polar": [[0, 5], [90, 3.5], [180, 5], [270, 0]]},
            },
        ],
    }
    assert load_catalogue(tmp_path).detectors["corner-unit"].frequency_ghz == 24.125
    assert "model: corner-unit" in said.err
    assert said.out.splitlines() == ["models/detectors/corner-unit.yaml", "models/detectors/corner-unit.png"]


def test_an_entry_made_works_in_a_scene(run: Callable[..., Said], tmp_path: Path) -> None:
    run("new", "corner", *UNIT)
    scene = tmp_path / "scene.yaml"
    scene.write_text(
        "raycover: 1\ndetectors: [{name: D1, model: corner, at: [0, 0], mounting: 2.5}]\n"
        "planes: [{name: floor, height: 0, extent: [-5, -5, 5, 5]}]\n"
    )
    plane = raycover.solve(raycover.load(scene))["floor"]
    inside = plane.x[None, :] ** 2 + plane.y[:, None] ** 2 <= 3.5**2
    assert (plane.detected == inside).all()


def test_everything_missing_is_told_at_once(run: Callable[..., Said], tmp_path: Path) -> None:
    said = run("new")
    assert said.code == 2
    for option in ("NAME", "--kind", "--declared", "--source"):
        assert f"{option} is missing" in said.err
    said = run("new", "x", "--kind", "microwave", "--declared", "radial 2,5 circle 7")
    assert "--frequency-ghz is missing" in said.err
    assert "--source is missing" in said.err
    assert "--declared is missing" not in said.err
    assert "--declared:1:8" in said.err  # where the caret stands
    assert files(tmp_path) == []


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--declared", "radial 2.5 circle 5", "--declared", "radial 2.5 circle 6"], "already declared from 2.5 m"),
        (["--mounting-from", "3"], "--mounting-to is missing"),
        (["--mounting-from", "3", "--mounting-to", "2"], "ends below its start"),
        (["--frequency-ghz", "5.8"], "for microwave only"),
        (["--largest-mask-share", "25"], "write 25 % or 0.25"),
        (["--bus-current-ma", "lots"], "current in mA"),
        (["--title", " "], "nothing but blanks"),
        (["--title", "x" * 121], "120 is the most"),
        (["--description", "bell \x07"], "cannot be printed"),
    ],
)
def test_what_new_refuses(run: Callable[..., Said], tmp_path: Path, arguments: list[str], words: str) -> None:
    said = run("new", "corner", *UNIT, *arguments)
    assert said.code == 2
    assert words in said.err
    assert files(tmp_path) == []


@pytest.mark.parametrize("name", ["a/b", "..", " x", "", "a:b", "x" * 81, "a\nb"])
def test_names_that_files_cannot_have(run: Callable[..., Said], tmp_path: Path, name: str) -> None:
    said = run("new", name, *UNIT)
    assert said.code == 2
    assert "NAME" in said.err
    assert files(tmp_path) == []


def test_names_already_taken(run: Callable[..., Said], tmp_path: Path) -> None:
    said = run("new", "wall-infrared", *UNIT, "--force")
    assert said.code == 2
    assert "already in" in said.err
    assert run("new", "corner", *UNIT).code == 0
    before = (tmp_path / "models/detectors/corner.yaml").read_text()
    said = run("new", "corner", *UNIT, "--title", "Another")
    assert said.code == 2
    assert "--force" in said.err
    assert (tmp_path / "models/detectors/corner.yaml").read_text() == before
    assert run("new", "corner", *UNIT, "--title", "Another", "--force").code == 0
    assert load_catalogue(tmp_path).detectors["corner"].title == "Another"


def test_force_mends_an_entry_that_is_broken(run: Callable[..., Said], tmp_path: Path) -> None:
    path = tmp_path / "models" / "detectors" / "corner.yaml"
    path.parent.mkdir(parents=True)
    path.write_text("name: corner\nkind: [")
    assert run("new", "corner", *UNIT).code == 2
    assert run("new", "corner", *UNIT, "--force").code == 0
    assert load_catalogue(tmp_path).detectors["corner"].kind == "infrared"


def test_a_folder_that_cannot_be_written(run: Callable[..., Said], tmp_path: Path) -> None:
    (tmp_path / "models").write_text("a file")
    said = run("new", "corner", *UNIT)
    assert said.code == 2
    assert "cannot write" in said.err
    assert files(tmp_path) == ["models"]


def test_another_folder_is_told_how_to_use(run: Callable[..., Said], tmp_path: Path) -> None:
    said = run("new", "corner", *UNIT, "-o", "ours", "--json")
    assert json.loads(said.out)["file"] == "ours/detectors/corner.yaml"
    assert f"RAYCOVER_MODELS={tmp_path / 'ours'}" in said.err


def test_the_own_entry_is_listed_and_shown(run: Callable[..., Said]) -> None:
    run("new", "corner", *UNIT)
    assert "corner (own)" in run().out
    assert run("show", "corner", "--no-drawing").code == 0
