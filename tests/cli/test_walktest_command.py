"""`raycover walktest` and `raycover reconcile`: what they write, what they say, how they refuse."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest
from conftest import EXAMPLES
from typed import run

import raycover

SCENE = """\
raycover: 1   # a comment that stays
title: Small
grid: 0.25
doubt: {cases: 16}
rooms: [{name: Hall, outline: [[0,0],[9,0],[9,5],[0,5]], height: 3, walls: brick-100}]
partitions: [{name: Wall, line: [[5,0],[5,4]], height: 3, construction: plasterboard-12.5}]
detectors: [{name: D1, model: microwave-omni-5.8, at: [2, 2.5], mounting: 2.5}]
"""
FILES = {"walk-test.csv", "walk-test.json", "walk-test.xlsx", "walk-test.pdf", "walk-test.png", "walk-test 2.png"}


def scene(folder: Path, text: str = SCENE) -> str:
    (folder / "scene.yaml").write_text(text, encoding="utf-8")
    return str(folder / "scene.yaml")


@pytest.fixture
def undrawn(monkeypatch: pytest.MonkeyPatch) -> None:
    """No pages: they have tests of their own, and one of these draws them."""
    monkeypatch.setattr("raycover.draw.reconcile_page.draw_reconciliation", lambda *_, **__: [])
    monkeypatch.setattr("raycover.cli.walktesting._walking", lambda *_: None)


def filled(source: Path, target: Path, seen: dict[str, str]) -> str:
    rows = list(csv.DictReader(source.read_text(encoding="utf-8-sig").splitlines()))
    for row in rows:
        row["seen"] = seen.get(row["no"], "no" if float(row["x_m"]) > 2.5 else "yes")
    with target.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]), delimiter=";")
        writer.writeheader()
        writer.writerows(rows)
    return str(target)


def test_there_and_back(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A unit that reaches half as far as its sheet says: the answers say so, and the scene that comes out loads."""
    path, out = scene(tmp_path), tmp_path / "out"
    assert run("walktest", path, "-o", str(out), "--json") == 0
    figures = json.loads(capsys.readouterr().out)
    assert {file.name for file in out.iterdir()} == FILES
    assert json.loads((out / "walk-test.json").read_text(encoding="utf-8")) == figures
    rows = list(csv.DictReader((out / "walk-test.csv").read_text(encoding="utf-8-sig").splitlines()))
    assert [row["no"] for row in rows] == [str(p["no"]) for p in figures["points"]]
    assert all(row["seen"] == "" and row["code"] and row["why"] for row in rows)

    back = filled(out / "walk-test.csv", tmp_path / "back.csv", {rows[0]["no"]: ""})
    assert run("reconcile", path, back, "-o", str(out)) == 0
    said, talk = capsys.readouterr()
    assert "The answers support a correction" in said
    assert "1 row without an answer is left out." in talk
    found = json.loads((out / "reconcile.json").read_text(encoding="utf-8"))
    assert (found["version"], found["answered"], found["unanswered"]) == (1, len(rows) - 1, 1)
    reach = found["corrections"]["reach_db"]["microwave-omni-5.8"]
    assert -14 < reach < -2
    assert found["after"]["as_predicted"]["k"] > found["before"]["as_predicted"]["k"]
    text = (out / "scene-corrected.yaml").read_text(encoding="utf-8")
    assert text.startswith("raycover: 1   # a comment that stays\n")
    assert text.replace(text[text.index("# from a walk test") :], "") == SCENE
    corrected = raycover.load_text(text)
    assert corrected.corrections is not None
    assert corrected.corrections.reach_db == found["corrections"]["reach_db"]
    assert (tmp_path / "scene.yaml").read_text(encoding="utf-8") == SCENE
    assert {"reconcile.pdf", "reconcile.png"} <= {file.name for file in out.iterdir()}


@pytest.mark.usefixtures("undrawn")
def test_answers_that_fit_nothing_write_a_scene_only_when_asked(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """All of the open hall within reach says no, which a short reach explains, and what lies behind the wall yes."""
    near = [(x, y) for x in (1, 2, 3, 4) for y in (1, 2.5, 4)]
    rows = [(*at, "no") for at in near] + [(8.5, y, "yes") for y in (0.5, 1, 1.5, 2)]
    table = "\n".join(f"{k},{x},{y},{seen}" for k, (x, y, seen) in enumerate(rows, 1))
    (tmp_path / "back.csv").write_text(f"no,x_m,y_m,seen\n{table}\n", encoding="utf-8")
    asked = ("reconcile", scene(tmp_path), str(tmp_path / "back.csv"), "-o", str(tmp_path / "out"))
    assert run(*asked) == 0
    said, talk = capsys.readouterr()
    assert "points still differ after the correction." in said
    assert "do not fit one cause: look at point" in said
    assert "--anyway" in talk
    assert [file.name for file in (tmp_path / "out").iterdir()] == ["reconcile.json"]
    figures = json.loads((tmp_path / "out" / "reconcile.json").read_text(encoding="utf-8"))
    assert figures["fits"] is False
    assert figures["fit_p"] < 0.01
    assert figures["corrections"]
    assert run(*asked, "--anyway") == 0
    assert (tmp_path / "out" / "scene-corrected.yaml").is_file()


@pytest.mark.usefixtures("undrawn")
def test_answers_as_predicted_write_no_new_scene(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = scene(tmp_path)
    back = tmp_path / "back.csv"
    back.write_text("no,x_m,y_m,seen\n1,2.5,2.5,yes\n2,3,2,yes\n", encoding="utf-8")
    assert run("reconcile", path, str(back), "-o", str(tmp_path / "out")) == 0
    assert "do not support a correction" in capsys.readouterr().out
    assert not (tmp_path / "out" / "scene-corrected.yaml").exists()


@pytest.mark.parametrize(
    ("args", "code"),
    [
        (["walktest", "SCENE", "--detector", "D9"], "bad-option"),
        (["walktest", "SCENE", "--state", "nope"], "bad-option"),
        (["walktest", "SCENE", "--paper", "A0"], "bad-option"),
        (["reconcile", "SCENE", "missing.csv"], "cannot-read"),
        (["reconcile", "SCENE", "BACK"], "no-answer"),
    ],
)
def test_refusals_leave_nothing_behind(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], args: list[str], code: str
) -> None:
    (tmp_path / "back.csv").write_text("no,x_m,y_m,seen\n1,2.5,2.5,perhaps\n", encoding="utf-8")
    names = {"SCENE": scene(tmp_path), "BACK": str(tmp_path / "back.csv")}
    out = tmp_path / "out"
    assert run(*(names.get(a, a) for a in args), "-o", str(out)) == 2
    err = capsys.readouterr().err
    assert f"[{code}]" in err
    assert "Traceback" not in err
    assert not out.exists()


@pytest.mark.usefixtures("undrawn")
def test_the_example_that_came_back(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The invented table beside the washroom: its brick is thicker than drawn, and that is what the answers say."""
    place = EXAMPLES / "washroom"
    out = tmp_path / "out"
    assert run("reconcile", str(place / "scene.yaml"), str(place / "walk-test.csv"), "-o", str(out), "--json") == 0
    found = json.loads(capsys.readouterr().out)
    assert list(found["corrections"]) == ["loss_db"]
    assert found["corrections"]["loss_db"]["brick-100"] == pytest.approx(2.7, abs=0.4)
    assert found["unanswered"] == 1
    assert found["after"]["as_predicted"]["k"] == found["answered"]
    assert found["odds"] > 10


@pytest.mark.usefixtures("undrawn")
def test_a_sheet_in_german_comes_back(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The sheet is written in the language asked for, and what is filled into it is read."""
    monkeypatch.setattr("raycover.draw.walktest_page.draw_walk_test", lambda *_, **__: [])
    path, out = scene(tmp_path), tmp_path / "out"
    assert run("walktest", path, "-o", str(out), "--points", "4", "--lang", "de") == 0
    head, *rows = (out / "walk-test.csv").read_text(encoding="utf-8-sig").splitlines()
    assert head.startswith("Nr;Geschoss;Raum;Ort;x_m;y_m;z_m;von_den_Wänden;Bewegung;")
    back = tmp_path / "back.csv"
    back.write_text("\n".join([head, *(row[:-1] + "ja;" for row in rows)]), encoding="utf-8")
    capsys.readouterr()
    assert run("reconcile", path, str(back), "-o", str(tmp_path / "back"), "--lang", "de", "--json") == 0
    assert json.loads(capsys.readouterr().out)["answered"] == len(rows)
    assert run("reconcile", path, str(back), "-o", str(tmp_path / "none"), "--lang", "xx") == 2
    assert not (tmp_path / "none").exists()
