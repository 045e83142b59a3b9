"""`raycover models --material`: the sheet drawn, its figures as text and JSON, and what is refused."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from raycover.cli.main import main

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    """The command in an empty folder."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("RAYCOVER_MODELS", raising=False)

    def call(*arguments: str) -> tuple[int, str, str]:
        code = 0
        try:
            main(["models", *arguments])
        except SystemExit as stop:
            code = stop.code if isinstance(stop.code, int) else 0
        captured = capsys.readouterr()
        return code, captured.out, captured.err

    return call


def files(folder: Path) -> list[str]:
    return sorted(str(p.relative_to(folder)) for p in folder.rglob("*") if p.is_file())


def test_a_construction_drawn_and_told(run: Run, tmp_path: Path) -> None:
    """One 12.5 mm board at 5.8 GHz, coherent: 0.92, 1.31, 1.88 dB at 0, 45, 60° [C from ITU-R P.2040-3/4 rows, V]."""
    code, out, _ = run("--material", "plasterboard-12.5")
    assert code == 0
    assert files(tmp_path) == ["plasterboard-12.5.png"]
    rows = {line.split()[0]: line.split() for line in out.splitlines() if line.split()[:1] in (["0"], ["45"], ["60"])}
    assert set(rows) == {"0", "45", "60"}
    assert "P.2040" in out
    assert "walk-test" in out


def test_as_json_draws_only_where_asked(run: Run, tmp_path: Path) -> None:
    shown = json.loads(run("--material", "plasterboard-12.5", "--json")[1])
    assert files(tmp_path) == []
    assert shown["picture"] is None
    assert shown["layers"] == [{"material": "plasterboard", "thickness_m": 0.0125}]
    low, _ = shown["losses"]
    coherent = {row["incidence_deg"]: row["coherent_db"] for row in low["angles"]}
    assert [coherent[a] for a in (0, 45, 60)] == pytest.approx([0.92, 1.31, 1.88], abs=0.0055)
    for row in low["angles"]:
        assert row["reach_share"] == pytest.approx(10 ** (-row["averaged_db"] / 20), abs=1e-5)
        assert row["mirrored_share"] + 10 ** (-row["averaged_db"] / 10) <= 1 + 1e-4
    shown = json.loads(run("--material", "steel-panel", "--json", "-o", "out/steel.svg")[1])
    assert files(tmp_path) == ["out/steel.svg"]
    assert shown["losses"][0]["angles"][0]["averaged_db"] is None
    assert shown["losses"][0]["angles"][0]["mirrored_share"] == 1


def test_frequencies_of_ones_own(run: Run) -> None:
    arguments = ("--material", "glass", "--json", "--frequency-ghz", "10", "--frequency-ghz", "24125 MHz")
    shown = json.loads(run(*arguments)[1])
    assert [band["frequency_ghz"] for band in shown["losses"]] == [10, 24.125]
    assert shown["kind"] == "material"


def test_solids_have_a_loss_a_metre(run: Run, tmp_path: Path) -> None:
    code, out, _ = run("--material", "goods")
    assert code == 0
    assert "dB/m" in out
    assert files(tmp_path) == []
    shown = json.loads(run("--material", "metal goods", "--json")[1])
    assert shown["losses"][0]["loss_db_per_m"] is None
    assert shown["opaque"]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--material", "plasterbord-12.5"], 'did you mean "plasterboard-12.5"'),
        (["--material", "Floorboard"], 'did you mean "floorboard"'),
        (["--material", "brick-100", "--frequency-ghz", "60"], "no figure for brick (1 to 40 GHz)"),
        (["--material", "coated-glazing", "--frequency-ghz", "60"], "coated-glazing (measured 6.75 to 16.95 GHz)"),
        (["--material", "timber", "--frequency-ghz", "200"], "no figure for wood (0.001 to 100 GHz)"),
        (["--material", "glass-6", "--frequency-ghz", "-5"], "a frequency of -5 GHz"),
        (["--material", "glass-6", "--frequency-ghz", "fast"], "a frequency"),
        (["--material", "glass-6", *["--frequency-ghz", "5"] * 5], "four at the most"),
        (["--material", "glass-6", "-o", "sheet.doc"], "PNG, SVG or PDF"),
        (["--material", "goods", "-o", "sheet.png"], "no sheet to draw"),
        (["--frequency-ghz", "5"], "--frequency-ghz needs --material"),
        (["-o", "list.png"], "--output needs --material"),
    ],
)
def test_what_is_refused(run: Run, tmp_path: Path, arguments: list[str], words: str) -> None:
    code, out, err = run(*arguments)
    assert code == 2
    assert words in err
    assert "Traceback" not in err
    assert out == ""
    assert files(tmp_path) == []


def test_a_drawing_that_cannot_be_written(run: Run, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    code, _, err = run("--material", "steel-panel", "-o", "file/sheet.png")
    assert code == 2
    assert "cannot write" in err
