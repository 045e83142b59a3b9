"""The schedule: rows as the scene says, read back from CSV and XLSX; text stays text whatever it begins with."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from itertools import combinations
from pathlib import Path

import openpyxl
import pypdfium2
import pytest

import raycover
from raycover.exchange.schedule_file import COLUMNS, schedule_csv, write_schedule
from raycover.kit.schedule import make_schedule
from raycover.language import language, languages

SCENE = """\
raycover: 1
title: "=HYPERLINK(1)"
rooms:
  - {name: Store, outline: [[0, 0], [16, 0], [16, 9], [0, 9]], height: 3.5, walls: brick-100,
     openings: [{edge: 0, at: 4, width: 3, height: 1.5, sill: 1, fill: glass-6}]}
conditions: {hold_s: 600}
detectors:
  - {name: D1, model: ceiling-infrared-general, at: [7.65, 5.8], mounting: 3, address: 3, hold_s: 900, protection: IP54,
     masks: [{from_deg: 200, to_deg: 260}, {from_deg: 10, to_deg: 40, off_axis_from_deg: 30}]}
  - {name: D2, model: ceiling-infrared-general, at: [11, 1.8], mounting: 3, status: moved, note: "=1+1",
     turn_deg: -15.5}
  - {name: D3, model: microwave-omni-5.8, at: [3, 1.8], mounting: 2.5}
lines: [{name: L1, detectors: [D1, D2], supply_ma: 60}]
zones:
  - {name: Z1, detectors: [D1, D2], mode: absence, hold_s: 1200, light_sensor: {at: [5, 0.5]}, neighbours: [Z2]}
  - {name: Z2, detectors: [D2], light_sensor: {at: [5, 4], note: "@home"}}
"""


@pytest.fixture
def made() -> object:
    return make_schedule(raycover.load_text(SCENE))


def test_rows_as_the_scene_says(made) -> None:  # type: ignore[no-untyped-def]
    first, second, third = made.entries
    assert (first.room, first.line, first.address, first.hold_s, first.modes) == ("Store", "L1", 3, 900, ("absence",))
    assert (second.zones, second.hold_s, second.status) == (("Z1", "Z2"), 1200, "moved")
    assert (third.zones, third.hold_s, third.line) == ((), 600, "")
    assert made.quantities == (
        ("Ceiling infrared, general", "moved", 1),
        ("Ceiling infrared, general", "new", 1),
        ("Microwave, omnidirectional, 5.8 GHz", "new", 1),
    )
    # 0.5 m from a pane at y = 0, and 4 m from it; 1 m is common practice, no source.
    assert [s.near_glazing for s in made.sensors] == [True, False]


@pytest.mark.parametrize(("code", "comma", "masks"), [("en", ".", "30 to 180° off axis"), ("de", ",", "30 bis 180°")])
def test_csv_in_both_languages(made, code: str, comma: str, masks: str) -> None:  # type: ignore[no-untyped-def]
    words = language(code)
    rows = list(csv.reader(io.StringIO(schedule_csv(made, words)), delimiter=";" if comma == "," else ","))
    assert rows[0] == [words[key] for key in COLUMNS]
    assert rows[1][4] == f"7{comma}65"
    assert masks in rows[1][COLUMNS.index("masks")]
    assert rows[2][COLUMNS.index("turn")] == f"-15{comma}5"
    assert rows[2][COLUMNS.index("remark")] == "'=1+1"


def test_languages_say_the_same_things() -> None:
    keys = [set(language(code).texts) for code in languages()]
    assert len(keys) >= 2
    assert all(a == b for a, b in combinations(keys, 2))
    assert language("de").number(-0.0001) == "0"


def test_xlsx_read_back(made, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    write_schedule(made, language("en"), "=HYPERLINK(1)", tmp_path / "s.xlsx")
    book = openpyxl.load_workbook(tmp_path / "s.xlsx")
    sheet, numbers = book.worksheets
    assert (sheet["A1"].value, sheet["A1"].data_type) == ("=HYPERLINK(1)", "s")
    rows = list(sheet.iter_rows(min_row=5, max_row=7, values_only=True))
    assert [row[0] for row in rows] == ["D1", "D2", "D3"]
    assert rows[0][4:7] == (7.65, 5.8, 3)
    assert sheet.cell(6, len(COLUMNS)).data_type == "s"
    assert [row[2] for row in numbers.iter_rows(min_row=2, values_only=True)] == [1, 1, 1]


Run = Callable[..., tuple[int, str, str]]


def test_commands(run: Run) -> None:
    code, out, err = run("schedule", "scene.yaml", "--lang", "de", "--masks", "cut.pdf")
    assert code == 0
    assert "Melderliste" in out
    assert "near glazing" in err
    page = pypdfium2.PdfDocument("cut.pdf")[0]
    text = page.get_textpage().get_text_range()
    assert "260°" in text
    assert "Abdeckungen zum Ausschneiden" in text
    code, _, err = run("schedule", "scene.yaml", "-o", "list.ods")
    assert (code, Path("list.ods").exists()) == (2, False)
    assert "neither .csv nor .xlsx" in err
    assert run("schedule", "scene.yaml", "--lang", "xx")[0] == 2
    code, out, _ = run("bus", "scene.yaml")
    assert code == 0
    Path("scene.yaml").write_text(SCENE.replace("supply_ma: 60", "supply_ma: 5"))
    code, out, err = run("bus", "scene.yaml")
    assert code == 1
    assert "take a larger supply" in out
    assert "On no line: D3" in err
    Path("scene.yaml").write_text(SCENE.replace("lines:", "# lines:"))
    assert run("bus", "scene.yaml")[0] == 2
