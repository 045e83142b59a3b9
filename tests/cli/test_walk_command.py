"""`raycover walk`: tables, files, options, errors."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import pytest

from raycover.cli.main import main
from raycover.cli.walking import hold_asked, telling
from raycover.errors import InputError

ROOMS = """\
raycover: 1
title: Small office
rooms:
  - name: Office
    outline: [[0, 0], [8, 0], [8, 6], [0, 6]]
    height: 2.8
    walls: stud-wall-100
    openings:
      - {name: Front door, edge: 0, at: 3.5, width: 0.9, height: 2.1, fill: door-wood-40}
desks:
  - {name: Desks, at: [1, 4], count: 2, seat: true}
detectors:
  - {name: D1, model: ceiling-infrared-general, at: [4, 4], mounting: 2.8}
"""
ROUTES = """\
routes:
  - {name: In, from: Front door, to: every desk, seated_s: 30}
  - {name: Across, line: [[0.5, 0.5], [7.5, 2.5]], speed: 1}
"""


def run(*args: str, code: int = 0) -> None:
    with pytest.raises(SystemExit) as left:
        main(["walk", *args])
    assert (left.value.code or 0) == code


@pytest.fixture
def office(tmp_path: Path) -> Path:
    path = tmp_path / "office.yaml"
    path.write_text(ROOMS + ROUTES, encoding="utf-8")
    return path


def test_the_table(office: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run(str(office), "--declared")
    out, err = capsys.readouterr()
    lines = out.splitlines()
    assert lines[0].split()[:3] == ["route", "m", "s"]
    assert [line.split("  ")[0] for line in lines[1:]] == ["In, Desks/seat 1", "In, Desks/seat 2", "Across"]
    assert "walk-test before hand-over" in err


def test_json_and_files(office: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run(str(office), "--declared", "--json", "-o", str(tmp_path / "out"), "--hold", "0:20")
    figures: dict[str, Any] = json.loads(capsys.readouterr().out)
    assert json.loads((tmp_path / "out" / "walk.json").read_text(encoding="utf-8")) == figures
    assert list(figures["routes"]) == ["In, Desks/seat 1", "In, Desks/seat 2", "Across"]
    one = figures["routes"]["Across"]
    # [C] √(7² + 2²) = 7.28 m at 1 m/s, in steps of 0.04 s.
    assert one["length_m"] == pytest.approx(7.2801, abs=1e-3)
    assert one["seconds"] == pytest.approx(7.2801, abs=0.041)
    assert one["detectors"]["D1"]["hold_s"] == 20
    assert figures["all"]["routes"] == 3
    assert figures["version"] == 1
    names = {path.name for path in (tmp_path / "out").iterdir()}
    assert names == {"walk.json"} | {
        f"walk-{name}.{end}" for name in ("In, Desks seat 1", "In, Desks seat 2", "Across") for end in ("png", "csv")
    }
    with (tmp_path / "out" / "walk-Across.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == round(one["seconds"] / 0.04) + 1
    assert (rows[0]["time_s"], rows[0]["x_m"], rows[0]["pose"]) == ("0.00", "0.500", "walk")
    noticed = [row["D1 noticed"] == "1" for row in rows]
    assert sum(noticed) / len(rows) == pytest.approx(one["detectors"]["D1"]["share_noticed"], abs=1e-4)
    assert all(row["D1 margin_db"] == "" or (float(row["D1 margin_db"]) >= 0) == seen
               for row, seen in zip(rows, noticed, strict=True))  # fmt: skip


def test_one_route(office: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run(str(office), "--declared", "--route", "In")
    assert len(capsys.readouterr().out.splitlines()) == 3
    run(str(office), "--declared", "--route", "In, Desks/seat 2")
    assert len(capsys.readouterr().out.splitlines()) == 2
    run(str(office), "--route", "Acros", code=2)
    assert 'did you mean "Across"?' in capsys.readouterr().err


def test_without_routes_usual_ones_are_walked(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "s.yaml").write_text(ROOMS, encoding="utf-8")
    run(str(tmp_path / "s.yaml"), "--declared")
    out, err = capsys.readouterr()
    assert "The scene has no routes: 2 usual ones are walked" in err
    assert "Office/Front door to Desks/seat 1" in out


def test_without_routes_aisles_are_walked(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Two racks that face each other across 3.2 m: one way along the middle, a little beyond both ends."""
    text = """\
raycover: 1
rooms:
  - {name: Store, outline: [[0, 0], [20, 0], [20, 9], [0, 9]], height: 7.5, walls: steel-panel,
     openings: [{edge: 0, at: 17, width: 3, height: 3.5, fill: steel-door}]}
racking:
  - {name: R1, at: [13.94, 2.1], turn_deg: 180, bays: 4, levels: 3}
  - {name: R2, at: [2.6, 5.3], bays: 4, levels: 3}
"""
    (tmp_path / "s.yaml").write_text(text, encoding="utf-8")
    run(str(tmp_path / "s.yaml"), "--json")
    (way,) = json.loads(capsys.readouterr().out)["routes"].items()
    assert way[0] == "Aisle R1 to R2"
    (x0, y0, _), (x1, y1, _) = way[1]["line"]
    assert y0 == pytest.approx(3.7)
    assert y1 == pytest.approx(3.7)
    assert abs(x1 - x0) > 11.2


@pytest.mark.parametrize(
    ("text", "seconds"), [("15:00", 900), ("0:05", 5), ("90", 90), ("90 s", 90), ("2 min", 120), ("1.5 min", 90)]
)
def test_hold_times(text: str, seconds: float) -> None:
    assert hold_asked(text) == seconds


@pytest.mark.parametrize("text", ["", "soon", "1:75", "0", "0:00", "-5", "99999:00", "1e3"])
def test_hold_times_that_are_none(text: str) -> None:
    with pytest.raises(InputError, match="--hold"):
        hold_asked(text)


def test_bad_routes_leave_nothing_behind(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    bad = ROOMS + "routes:\n  - {name: A, line: [[1, 1], [1, 9]]}\n  - {name: B, from: Back door, to: every desk}\n"
    (tmp_path / "s.yaml").write_text(bad, encoding="utf-8")
    run(str(tmp_path / "s.yaml"), "-o", str(tmp_path / "out"), code=2)
    err = capsys.readouterr().err
    assert "route-outside" in err
    assert "unknown-place" in err
    assert "Traceback" not in err
    assert not (tmp_path / "out").exists()


def test_check_tells_of_bad_routes(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    bad = ROOMS + "routes:\n  - {name: A, line: [[1, 1], [1, 9]]}\n"
    (tmp_path / "s.yaml").write_text(bad, encoding="utf-8")
    with pytest.raises(SystemExit) as left:
        main(["check", str(tmp_path / "s.yaml")])
    assert left.value.code == 2
    assert "route-outside" in capsys.readouterr().err


def test_nothing_to_walk(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "s.yaml").write_text("raycover: 1\ndetectors: []\n", encoding="utf-8")
    run(str(tmp_path / "s.yaml"), code=2)
    assert "nothing-to-walk" in capsys.readouterr().err


def test_those_that_tell_most_are_drawn(office: Path) -> None:
    import raycover
    from raycover.walking.walk import walk

    walks = walk(raycover.load(office), declared=True, hold_s=10)
    dark = {w.name: sum(b - a for a, b in (*w.light.left, *w.light.waits)) for w in walks}
    (worst,) = telling(walks, 1)
    assert dark[worst.name] == max(dark.values())
    assert [w.name for w in telling(walks, 3)] == [w.name for w in walks]


@pytest.mark.parametrize("options", [("--grid", "--route", "In"), ("--grid", "--declared"), ("--threads", "2")])
def test_options_that_do_not_go_together(office: Path, options: tuple[str, ...]) -> None:
    run(str(office), *options, code=2)


def test_what_hides_is_called_as_beside_maps_and_a_dark_way_is_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nobody is noticed in a corridor behind brick: no hold time helps there, and what hides is a wall of a room."""
    text = """raycover: 1
title: Two rooms
rooms:
  - {name: Office, outline: [[0, 0], [6, 0], [6, 4], [0, 4]], height: 2.5, walls: brick-215}
  - {name: Corridor, outline: [[0, 4], [6, 4], [6, 6], [0, 6]], height: 2.5, walls: brick-215}
detectors:
  - {name: D1, model: ceiling-infrared-general, at: [3, 3], mounting: 2.5}
routes:
  - {name: Inside, line: [[1, 3], [5, 3]]}
  - {name: Outside, line: [[1, 5], [5, 5]]}
"""
    (tmp_path / "s.yaml").write_text(text, encoding="utf-8")
    run(str(tmp_path / "s.yaml"), "--declared")
    out, err = capsys.readouterr()
    assert "hidden by a wall of Office" in out
    assert "dark whatever the hold time, as nobody is ever noticed: Outside" in err
