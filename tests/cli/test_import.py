"""`raycover import`: files by their ending, exit codes, what it says and where, nothing overwritten or half written."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

import raycover
from raycover.cli import importing
from raycover.cli.main import app, main
from raycover.errors import InputError, MissingPart
from raycover.importing import separately
from raycover.importing.imported import Imported, Report

SCENE = "raycover: 1\ntitle: made\n"


@pytest.fixture
def any_ifc(monkeypatch: pytest.MonkeyPatch) -> None:
    """An importer that needs no library."""

    def made(path: Path, folder: Path, step: object) -> Imported:
        report = Report()
        report.map("rooms", 2)
        report.guess("doors", "D1")
        report.leave("IfcChair", "Chair")
        return Imported(SCENE, report)

    monkeypatch.setitem(importing.IMPORTERS, ".ifc", made)


def run(capsys: pytest.CaptureFixture[str], *args: str | Path) -> tuple[int, str, str]:
    code = 0
    try:
        main([str(arg) for arg in args])
    except SystemExit as left:
        code = int(left.code or 0)
    out, err = capsys.readouterr()
    return code, out, err


@pytest.mark.usefixtures("any_ifc")
def test_report_on_stderr_and_json_on_stdout(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = run(capsys, "import", tmp_path / "a.IFC", "-o", tmp_path / "new" / "scene.yaml", "--json")
    assert code == 0
    assert (tmp_path / "new" / "scene.yaml").read_text() == SCENE
    said = json.loads(out)
    assert (said["mapped"], said["guessed"], said["left_out"]) == (
        {"rooms": 2}, {"doors": ["D1"]}, {"IfcChair": ["Chair"]},
    )  # fmt: skip
    assert "mapped: 2 rooms" in err
    assert "left out: IfcChair (1): Chair" in err
    code, out, err = run(capsys, "import", tmp_path / "a.ifc", "-o", tmp_path / "b.yaml")
    assert (code, out) == (0, "")
    assert "guessed: doors (1): D1" in err


@pytest.mark.usefixtures("any_ifc")
def test_never_over_a_file_that_is_there(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    target = tmp_path / "scene.yaml"
    target.write_text("mine")
    code, _, err = run(capsys, "import", tmp_path / "a.ifc", "-o", target)
    assert code == 2
    assert "--force" in err
    assert target.read_text() == "mine"
    assert run(capsys, "import", tmp_path / "a.ifc", "-o", target, "--force")[0] == 0
    assert target.read_text() == SCENE
    assert [p.name for p in tmp_path.iterdir()] == ["scene.yaml"]


@pytest.mark.parametrize(
    ("file", "output", "words"),
    [
        ("a.txt", "s.yaml", 'ending in ".txt"'),
        ("plan", "s.yaml", "cannot be imported"),
        ("a.ifczip", "s.yaml", "unpack it"),
        ("a.ifcXML", "s.yaml", "plain .ifc"),
        ("a.ifc", "s.txt", "ends in .yaml"),
        ("a.ifc", "s.yaml", "No such file"),
    ],
)
def test_what_cannot_be_imported(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], file: str, output: str, words: str
) -> None:
    pytest.importorskip("ifcopenshell", reason="the extra ifc is not installed")
    code, out, err = run(capsys, "import", tmp_path / file, "-o", tmp_path / output)
    assert (code, out) == (2, "")
    assert words in err
    assert "Traceback" not in err
    assert not list(tmp_path.iterdir())


def test_a_crash_of_the_kernel_is_a_message(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The reading process ends by a signal: as a segmentation fault ends it, and as the system does without memory."""
    for ending, words in ((signal.SIGSEGV, "crashed the geometry kernel (SIGSEGV)"), (signal.SIGKILL, "memory")):
        code = f"import os; os.kill(os.getpid(), {int(ending)})"
        monkeypatch.setattr(separately.subprocess, "Popen", _popen(code))
        with pytest.raises(InputError) as caught:
            separately.import_ifc_separately(tmp_path / "x.ifc")
        assert words in str(caught.value)
    # A mistake of ours is no fault of the file: it keeps its traceback.
    monkeypatch.setattr(separately.subprocess, "Popen", _popen("1 / 0"))
    with pytest.raises(RuntimeError, match="ZeroDivisionError"):
        separately.import_ifc_separately(tmp_path / "x.ifc")


@pytest.mark.parametrize(
    ("said", "patience_s", "words"),
    [("", 0.6, "0.01 minutes: some body"), ("3 9", 3.0, "0.05 minutes after 3 of 9 elements")],
)
def test_a_kernel_that_gets_nowhere_is_given_up(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, said: str, patience_s: float, words: str
) -> None:
    code = f"import time; print('{separately._MARK} {said}', flush=True); time.sleep(60)"
    monkeypatch.setattr(separately.subprocess, "Popen", _popen(code))
    monkeypatch.setattr(separately, "PATIENCE_S", patience_s)
    with pytest.raises(InputError) as caught:
        separately.import_ifc_separately(tmp_path / "x.ifc")
    assert f"reading it got nowhere for {words}" in str(caught.value)


POPEN = subprocess.Popen


def _popen(code: str) -> object:
    return lambda command, **keywords: POPEN([sys.executable, "-c", code, *command[3:]], **keywords)


def test_without_the_extra_it_leaves_with_3(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "sitecustomize.py").write_text("import sys\nsys.modules['ifcopenshell'] = None\n")
    (tmp_path / "a.ifc").write_text("x")
    monkeypatch.syspath_prepend(str(tmp_path))
    code, _, err = run(capsys, "import", tmp_path / "a.ifc", "-o", tmp_path / "s.yaml")
    assert code == MissingPart.exit_code == 3
    assert "pip install 'raycover[ifc]'" in err


def test_from_file_to_scene(tmp_path: Path) -> None:
    pytest.importorskip("ifcopenshell", reason="the extra ifc is not installed")
    house = Path(__file__).parents[2] / "examples" / "imported-house" / "house.ifc"
    done = CliRunner().invoke(app, ["import", str(house), "-o", str(tmp_path / "s.yaml")])
    assert done.exit_code == 0, done.output
    assert raycover.load(tmp_path / "s.yaml").rooms
