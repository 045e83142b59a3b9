"""Bad input through the command line: exit 2, every mistake at its place, no traceback, nothing left on disk."""

from __future__ import annotations

import os
import random
import re
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest
from processes import LONGEST
from small_scene import SCENE

import raycover
from raycover.building.build import build
from raycover.cli.main import main
from raycover.draw import view3d
from raycover.errors import InputError

CULPRIT = "‸"  # stands just before the character that the caret must point at


@dataclass(frozen=True)
class Case:
    """A text of the scene to replace by another, with each culprit marked; what must be said, in this order."""

    name: str
    old: str
    new: str
    code: str
    said: tuple[str, ...]

    def text(self) -> str:
        assert SCENE.count(self.old) >= 1, self.old
        return SCENE.replace(self.old, self.new, 1)


def case(name: str, old: str, new: str, code: str, *said: str) -> Case:
    return Case(name, old, new, code, said)


MOUNTING = "mounting: 2.8\n"
CIRCLE = "{circle: {diameter: 9}}"
FLOOR = "{name: floor, height: 0.0}"
DESK = "{name: desk, height: 0.75, motion: presence}"
END = "grid: 0.5\n"
CASES = (
    case("wrong type", "height: 3\n", "height: ‸high\n", "not-a-length", "a length in metres", 'text "high"'),
    case("wrong group", "at: [2, 3]", "at: ‸{x: 2}", "wrong-type", "a list of 2 numbers"),
    case("wrong list", "at: [2, 3]", "at: ‸[2, 3, 4]", "wrong-length", "at most 2 entries, has 3"),
    case("group for list", "desks:\n  - {", "desks:\n    ‸{", "wrong-type", "desks", "expects a list"),
    case("unknown key", MOUNTING, "‸mountng: 2.8\n", "unknown-key", '"mountng"', 'did you mean "mounting"?'),
    case("unknown top key", END, "‸gird: 0.5\n", "unknown-key", "at the top level", 'did you mean "grid"?'),
    case("unknown deep key", "{edge: 0,", "{edge: 0, ‸sil: 1,", "unknown-key", '"sil" in openings[0]', '"sill"?'),
    case("missing key", "  - {name: R1, at: [0.4, 4.2],", "  - ‸{name: R1,", "missing-key",
         '"at" in racking[0] ("R1")'),
    case("radius", CIRCLE, "{circle: ‸{‸radius: 4.5}}", "missing-key", '"diameter"', "twice the radius", '"radius"'),
    case("duplicate key", MOUNTING, MOUNTING + "    ‸mounting: 2.9\n", "duplicate-key", "twice", "line 48"),
    case("not a number", MOUNTING, "mounting: ‸.nan\n", "not-finite", ".nan is not a finite number"),
    case("infinite", MOUNTING, "mounting: ‸-.inf\n", "not-finite", "-.inf is not a finite number"),
    case("overflowing", MOUNTING, "mounting: ‸1e999\n", "not-finite", "1e999 is too large"),
    case("negative height", "height: 3\n", "height: ‸-3\n", "out-of-range", "more than 0, got -3"),
    case("negative mounting", MOUNTING, "mounting: ‸-2.8\n", "out-of-range", "more than 0, got -2.8"),
    case("negative grid", END, "grid: ‸-0.5\n", "out-of-range", "at least 0.005, got -0.5"),
    case("negative plane", FLOOR, "{name: floor, height: ‸-1}", "plane-below-floor", "below the floor"),
    case("millimetres as metres", MOUNTING, "mounting: ‸28000\n", "out-of-range", "at most 20000, got 28000"),
    case(
        "self-crossing outline", "outline: [[0, 0], [8, 0], [8, 6], [0, 6]]",
        "outline: ‸[[0, 0], [8, 6], [8, 0], [0, 6]]", "bad-outline", "crosses itself at (4, 3)", "in order",
    ),
    case("no area", "outline: [[0, 0], [8, 0], [8, 6], [0, 6]]", "outline: ‸[[0, 0], [8, 0], [4, 0]]", "bad-outline",
         "no area"),
    case("closed outline", "outline: [[0, 0], [8, 0], [8, 6], [0, 6]]",
         "outline: ‸[[0, 0], [8, 0], [8, 6], [0, 6], [0, 0]]", "repeated-point", "closes by itself"),
    case("outside every room", "at: [2, 3]", "at: ‸[12, 3]", "detector-outside", '"H" at (12, 3)',
         "outside every room"),
    case("above the ceiling", MOUNTING, "mounting: ‸3.4\n", "detector-above-ceiling", '"P" is mounted at 3.4 m',
         "which is 3 m high"),
    case("inside a column", "at: [6, 1.5]", "at: ‸[6, 3]", "detector-in-solid", 'hangs inside "column"'),
    case("unknown model", "model: ceiling-infrared-general", "model: ‸ceiling-infrard-general", "unknown-model",
         '"ceiling-infrard-general"', 'did you mean "ceiling-infrared-general"?'),
    case("unknown construction", "walls: brick-100", "walls: ‸brick-1OO", "unknown-construction",
         '"brick-1OO"', 'did you mean "brick-100"?'),
    case("unknown fill", "fill: glass-6", "fill: ‸glas-6", "unknown-construction", 'did you mean "glass-6"?'),
    case("unknown material", "material: concrete}", "material: ‸concret}", "unknown-material", '"concrete"?'),
    case("unknown layer", "material: chipboard", "material: ‸chip board", "unknown-material", '"chipboard"?'),
    case("unknown far away", "walls: brick-100", "walls: ‸wattle", "unknown-construction",
         "known: acrylic-5, blind-foil, blind-roller"),
    case("same name", "name: P\n", "name: ‸H\n", "same-name", '"H" is used twice among the detectors', "line 33"),
    case("planes of one name", FLOOR + "\n  - {name: desk", "{name: desk, height: 0.0}\n  - {name: ‸desk", "same-name",
         '"desk" is used twice'),
    case("planes that differ by case", DESK, "{name: ‸Floor, height: 0.75}", "same-name", '"Floor"',
         "only by capitals"),
    case("too fine a grid", SCENE, SCENE.replace("[8, 0], [8, 6], [0, 6]", "[1900, 0], [1900, 1800], [0, 1800]")
         .replace("grid: 0.5", "grid: ‸0.1"), "too-many-cells", "million cells", "50 million are the most",
         "make grid at least"),
    case("tag", "title: Small", "title: ‸!!python/object/apply:os.system ['true']", "yaml-tag", "not allowed"),
    case("own tag", "title: Small", "title: ‸!include other.yaml", "yaml-tag", "remove the tag"),
    case("alias", "title: Small", "title: ‸&a Small\nrevision: ‸*a", "yaml-alias", "the anchor &a", "the alias *a"),
    case("mask too large", "masks: [{from_deg: 350, to_deg: 20}]", "masks: ‸[{from_deg: 350, to_deg: 120}]",
         "mask-too-large", '"H": its masks take 36.1%', "25% is the most"),
    case("masks too large together", "masks: [{from_deg: 350, to_deg: 20}]",
         "masks: ‸[{from_deg: 350, to_deg: 20}, {from_deg: 10, to_deg: 85}]", "mask-too-large", "26.4%"),
    case("mask loss on infrared", MOUNTING, MOUNTING + "    masks: [{from_deg: 0, to_deg: 20, loss_db: ‸3}]\n",
         "mask-loss", "an infrared mask is always total"),
    case("empty mask", "{from_deg: 350, to_deg: 20}", "‸{from_deg: 20, to_deg: 20}", "empty-mask", "covers nothing"),
    case("model and pattern", MOUNTING, MOUNTING + "    ‸model: wall-infrared\n", "one-pattern", "not both"),
    case("neither", "{name: M, model: ceiling-infrared-general,", "‸{name: M,", "one-pattern",
         'detectors[2] ("M") needs a model or a pattern', "raycover models lists them"),
    case("a camera without a place", END, f"{END}cameras:\n  - ‸{{name: C}}\n", "one-way", "azimuth_deg is missing"),
    case("more reflections", "reflections: 0", "reflections: ‸2", "out-of-range", "at most 1, got 2"),
    case("losses", "losses: averaged", "losses: ‸avaraged", "not-allowed", 'did you mean "averaged"?'),
    case("microwave without frequency", "pattern:\n      kind: microwave\n      frequency_ghz: 5.8\n",
         "pattern:\n      ‸kind: microwave\n", "missing-key", "needs frequency_ghz"),
    case("infrared with frequency", "kind: infrared\n", "kind: infrared\n      ‸frequency_ghz: 5.8\n",
         "not-for-infrared", "for microwave patterns only"),
    case("infrared with reach behind", "kind: infrared\n", "kind: infrared\n      ‸reach_behind: 0\n",
         "not-for-infrared", "for microwave patterns only"),
    case("declared plane above the unit", "{mounting: 2.5, plane: 0,", "{mounting: 2.5, plane: ‸2.5,",
         "plane-above-unit", "not below the mounting height"),
    case("declared twice", "{mounting: 2.8, plane: 0, motion: presence",
         "‸{mounting: 2.8, plane: 0, motion: tangential",
         "declared-twice", "tangential is declared twice at a mounting height of 2.8 m"),
    case("mounting range", "{from: 2, to: 4}", "‸{from: 4, to: 2}", "range-order", "ends below its start"),
    case("polar out of order", CIRCLE, "{polar: [[0, 4], [180, 3], ‸[90, 3]]}", "polar-order", "must rise"),
    case("polar spike", CIRCLE, "{polar: [[0, 0], ‸[1e-9, 5], [2e-9, 0]]}", "polar-order", "0.01 or more apart"),
    case("polar past a turn", CIRCLE, "{polar: [[0, 4], [180, 3], ‸[360, 3]]}", "polar-order", "within one turn"),
    case("polar nowhere", CIRCLE, "{polar: ‸[[0, 0], [90, 0], [180, 0]]}", "polar-empty", "reaches nowhere"),
    case("footprint of no width", "width: 3}", "width: ‸1e-9}", "out-of-range", "at least 0.05, got 1e-09"),
    case("two shapes", CIRCLE, "‸{circle: {diameter: 9}, sector: {reach: 3, spread_deg: 90}}", "one-shape",
         "just one of"),
    case("no such shape", CIRCLE, "{‸circel: {diameter: 9}}", "unknown-key", 'did you mean "circle"?'),
    case("decimal comma", MOUNTING, "mounting: ‸2,8\n", "decimal-comma", "write 2.8 with a point"),
    case("decimal comma in braces", "height: 0.75,", "height: 0,‸75,", "non-text-key", "write 0.75 with a point"),
    case("decimal comma and unit", MOUNTING, "mounting: ‸2,8 m\n", "decimal-comma", "write 2.8 m with a point"),
    case("decimal comma of an angle", "turn_deg: 10", "turn_deg: ‸1,5", "wrong-type", 'got text "1,5"', "a point"),
    case("decimetres", MOUNTING, "mounting: ‸28 dm\n", "not-a-length", '"28 dm"', "2500 mm"),
    case("inches that are feet", MOUNTING, "mounting: ‸9 ft 14 in\n", "not-a-length", "twelve inches"),
    case("feet", MOUNTING, "mounting: ‸9 furlongs\n", "not-a-length", '"9 furlongs"'),
    case("boolean length", MOUNTING, "mounting: ‸true\n", "wrong-type", "expects a number, got true"),
    case("boolean coordinate", "at: [2, 3]", "at: [‸false, 3]", "wrong-type", "at[0]", "got false"),
    case("boolean angle", "turn_deg: 10", "turn_deg: ‸true", "wrong-type", "expects a number, got true"),
    case("boolean version", "raycover: 1", "raycover: ‸true", "wrong-type", "expects a number, got true"),
    case("later version", "raycover: 1", "raycover: ‸2", "not-allowed", "expects 1, got the number 2"),
    case("version as text", "raycover: 1", 'raycover: ‸"1"', "wrong-type", 'expects 1, got text "1"'),
    case("no version", "raycover: 1\ntitle", "‸title", "missing-key", '"raycover" at the top level'),
    case("number for a name", "name: H\n", "name: ‸7\n", "wrong-type", "expects text", "put it in quotes"),
    case("empty name", "name: H\n", 'name: ‸""\n', "bad-name", "a name is empty"),
    case("plane named view", FLOOR, "{name: ‸view, height: 0.0}", "taken-name", "another file that map writes"),
    case("plane named summary", FLOOR, "{name: ‸Summary, height: 0.0}", "taken-name", "another file that map writes"),
    case("plane with a slash", FLOOR, "{name: ‸up/down, height: 0.0}", "bad-name", "file names cannot hold"),
    case("plane climbing out", FLOOR, "{name: ‸.., height: 0.0}", "bad-name", "file names cannot hold"),
    case("plane without height", FLOOR, "‸{name: floor}", "plane-height", "needs one height"),
    case("person with a height", "heights: [0.3, 1.0, 1.6]}", "‸height: 1}", "plane-height",
         "has heights, not a height"),
    case("plane above every ceiling", FLOOR, "{name: floor, height: ‸4}", "plane-above-ceiling", "above every ceiling"),
    case("misspelt motion", "0.75, motion: presence", "0.75, motion: ‸presense", "not-allowed", '"presence"?'),
    case("empty extent", FLOOR, "{name: floor, height: 0, extent: ‸[1, 0, 1, 4]}", "empty-extent",
         "the extent is empty"),
    case("no plane", SCENE[SCENE.index("planes:") :], "planes: ‸[]\n", "wrong-length", "at least 1 entry"),
    case("too few walls", "walls: brick-100", "walls: ‸[brick-100, none, none]", "walls-count", "4 edges but 3 walls"),
    case("unknown wall in a list", "walls: brick-100", "walls: [brick-100, none, ‸brik-215, none]",
         "unknown-construction", 'did you mean "brick-215"?'),
    case("no such edge", "{edge: 0,", "{edge: ‸4,", "no-such-edge", "has edges 0 to 3, not 4"),
    case("opening past its wall", "openings: [{edge: 0, at: 1,", "openings: [‸{edge: 0, at: 7.5,",
         "opening-outside-wall",
         "from 7.5 to 8.5 m along a wall 8 m long"),
    case("doors", "doors: [open, closed]", "doors: ‸[open, open, open]", "doors-count", "2 cubicles but 3 door states"),
    case("door word", "state: closed", "state: ‸shut", "not-allowed", 'one of "closed", "open"', '"shut"'),
    case("door word in a list", "doors: [open, closed]", "doors: [open, ‸close]", "not-allowed",
         'did you mean "closed"?'),
    case("frequency beyond the materials", "frequency_ghz: 5.8", "frequency_ghz: ‸150", "frequency-outside-material",
         "at 150 GHz there is no figure for", "brick (1 to 40 GHz)"),
    case("bent sheet", "corners: [[1, 5.2, 2],", "corners: ‸[[1, 5.2, 2.4],", "bad-sheet", "off one plane"),
    case("tab", "    at: [2, 3]", "‸\tat: [2, 3]", "yaml-syntax", "a tab stands where YAML wants spaces"),
    case("open bracket", "walls: brick-100\n    ceiling", "walls: [brick-100\n    ceiling‸", "yaml-syntax",
         "] is missing"),
    case(
        "several, all at once and in order",
        SCENE,
        SCENE.replace("walls: brick-100", "walls: ‸3")
        .replace("at: [6, 1.5]", "att: [6, 1.5]")
        .replace("att:", "‸att:")
        .replace("tilt_deg: 0", "tilt_deg: ‸north")
        .replace("grid: 0.5", "grid: ‸-1"),
        "wrong-type",
        "walls in rooms[0]", 'unknown key "att"', 'did you mean "at"?', "tilt_deg in detectors[2]", "grid must be",
    ),
    case(
        "several of different checks",
        SCENE,
        SCENE.replace("walls: brick-100", "walls: ‸brick-101")
        .replace("material: concrete}", "material: ‸concret}")
        .replace("masks: [{from_deg: 350", "masks: ‸[{from_deg: 200")
        .replace("openings: [{edge: 0, at: 1,", "openings: [‸{edge: 0, at: 7.5,")
        .replace("at: [6, 1.5]", "at: ‸[16, 1.5]"),
        "unknown-construction",
        '"brick-101"', "along a wall 8 m long", '"concret"', "its masks take 50.0%", "outside every room",
    ),
    case(
        "a door too wide beside a slip of the schema",
        SCENE,
        SCENE.replace("[{edge: 0, at: 1,", "[‸{edge: 0, at: 7.5,").replace("grid: 0.5", "grid: ‸-1"),
        "opening-outside-wall",
        "along a wall 8 m long", "grid must be",
    ),
)  # fmt: skip
HEAD = re.compile(r"^(?P<file>.+?\.yaml):(?P<line>\d+):(?P<column>\d+): error: .*\[(?P<code>[a-z-]+)\]$", re.MULTILINE)


def split(text: str) -> tuple[str, list[tuple[int, int]]]:
    """The text without marks, and where they stood: lines and columns from 1."""
    places = []
    for number, line in enumerate(text.split("\n"), 1):
        for n_before, found in enumerate(re.finditer(CULPRIT, line)):
            places.append((number, found.start() + 1 - n_before))
    return text.replace(CULPRIT, ""), places


def refused(words: list[str], capsys: pytest.CaptureFixture[str]) -> str:
    """What a command that must fail with exit code 2 says on stderr; nothing may go to stdout."""
    with pytest.raises(SystemExit) as left:
        main(words)
    out, err = capsys.readouterr()
    assert left.value.code == 2, err
    assert out == ""
    assert "Traceback" not in err
    return err


def carets_point_at_their_places(err: str, lines: list[str]) -> None:
    """Under every framed line there is a caret, and the text above it is that of the place named."""
    rows = err.split("\n")
    for index, row in enumerate(rows):
        head = HEAD.match(row)
        if head is None:
            continue
        number, column = int(head["line"]), int(head["column"])
        assert rows[index + 1].lstrip().startswith(f"{number} | "), rows[index + 1]
        at = rows[index + 2].index("^")
        pointed = rows[index + 1][at : at + 12]
        source = lines[number - 1].replace("\t", " ")
        assert pointed.rstrip("…") == source[column - 1 : column - 1 + 12][: len(pointed.rstrip("…"))]


@pytest.mark.parametrize("bad", CASES, ids=lambda c: c.name)
def test_bad_scene(
    bad: Case, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    text, places = split(bad.text())
    monkeypatch.chdir(tmp_path)
    Path("bad.yaml").write_text(text, encoding="utf-8")
    err = refused(["map", "bad.yaml", "-o", "out/deep"], capsys)
    heads = list(HEAD.finditer(err))
    assert [(int(h["line"]), int(h["column"])) for h in heads] == places, err
    assert {h["file"] for h in heads} == {"bad.yaml"}
    assert heads[0]["code"] == bad.code
    found = -1
    for words in bad.said:
        found = err.find(words, found + 1)
        assert found >= 0, f"{words!r} is not said, or too early:\n{err}"
    carets_point_at_their_places(err, text.split("\n"))
    assert os.listdir() == ["bad.yaml"]


@pytest.mark.parametrize("command", ["check", "probe", "view"])
def test_every_command_refuses_alike(
    command: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("bad.yaml").write_text(SCENE.replace("walls: brick-100", "wals: brick-100"))
    more = ["--at", "1,1,1"] if command == "probe" else []
    if command == "view":  # the window's own demands come first: take them as met
        monkeypatch.setitem(vars(view3d), "require_display", lambda: None)
        monkeypatch.setitem(vars(view3d), "open_window", lambda *_: None)
    err = refused([command, "bad.yaml", *more], capsys)
    assert err.startswith('bad.yaml:9:5: error: unknown key "wals" in rooms[0] ("room") [unknown-key]\n')
    assert 'did you mean "walls"? it must be given' in err


@pytest.mark.parametrize(
    ("text", "said"),
    [("", "the file is empty"), ("# no\n\n", "the file is empty"), ("- a\n", "not a list"), ("hello\n", "not text")],
)
def test_nothing_to_read(
    text: str, said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("bad.yaml").write_text(text)
    err = refused(["map", "bad.yaml"], capsys)
    assert err.startswith("bad.yaml:1:1: error: ")
    assert said in err
    assert os.listdir() == ["bad.yaml"]


def test_alias_bomb(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.chdir(tmp_path)
    levels = [f"l{n}: &l{n} [{', '.join([f'*l{n - 1}'] * 9)}]" for n in range(1, 40)]
    Path("bomb.yaml").write_text("l0: &l0 [x, x, x]\n" + "\n".join(levels) + "\n")
    err = refused(["check", "bomb.yaml"], capsys)
    assert "bomb.yaml:1:5: error: the anchor &l0 is not allowed [yaml-alias]" in err
    assert len(err) < 100_000


# ---- files and folders


def test_no_such_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.chdir(tmp_path)
    Path("depot.yaml").write_text(SCENE)
    err = refused(["map", "depo.yaml"], capsys)
    assert err == 'depo.yaml: error: there is no such file [missing-file]\n  help: did you mean "depot.yaml"?\n'
    assert os.listdir() == ["depot.yaml"]


def test_a_folder_for_a_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "scene.yaml").write_text(SCENE)
    err = refused(["check", str(tmp_path)], capsys)
    assert "this is a folder" in err
    assert "scene.yaml" in err


def test_unreadable_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """Root may read anything: the refusal is put in where the file is opened."""
    path = tmp_path / "locked.yaml"
    path.write_text(SCENE)

    def locked(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied", str(path))

    monkeypatch.setattr("builtins.open", locked)
    err = refused(["check", str(path)], capsys)
    assert err.startswith(f"{path}: error: you may not read this file [unreadable]")


@pytest.mark.skipif(not Path("/proc/self/mem").exists(), reason="no /proc here")
def test_a_file_that_fails_on_reading(capsys: pytest.CaptureFixture[str]) -> None:
    err = refused(["check", "/proc/self/mem"], capsys)
    assert err.startswith("/proc/self/mem: error: the file cannot be read: ")


def test_latin_1_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.chdir(tmp_path)
    Path("scene.yaml").write_bytes(SCENE.replace("Small", "Büro").encode("latin-1"))
    assert "scene.yaml:2:" in refused(["check", "scene.yaml"], capsys)


@pytest.mark.parametrize("folder", ["taken/out", "taken"])
def test_a_folder_that_cannot_be_made(
    folder: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("scene.yaml").write_text(SCENE)
    Path("taken").write_text("a file stands where the folder should be")
    err = refused(["map", "scene.yaml", "-o", folder, "--no-view"], capsys)
    assert err.startswith(f"{folder}: error: cannot write: ")
    assert "choose another place with -o" in err
    assert sorted(os.listdir()) == ["scene.yaml", "taken"]


@pytest.mark.skipif(not Path("/proc/1").exists(), reason="no /proc here")
def test_a_folder_that_cannot_be_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("scene.yaml").write_text(SCENE)
    err = refused(["map", "scene.yaml", "-o", "/proc/raycover/out", "--no-view"], capsys)
    assert err.startswith("/proc/raycover/out: error: cannot write: ")
    assert os.listdir() == ["scene.yaml"]


# ---- options


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["probe", "s.yaml", "--at", "6,1.4"], 'expects three numbers X,Y,Z, got "6,1.4"'),
        (["probe", "s.yaml", "--at", "6;1;0"], "write --at 6.2,1.4,0.75"),
        (["probe", "s.yaml", "--at=1,2,inf"], "expects finite numbers"),
        (["probe", "s.yaml", "--at", "nan,0,0"], "expects finite numbers"),
        (["probe", "s.yaml", "--at", "1,1,1", "--motion", "radail"], 'did you mean "radial"?'),
        (["probe", "s.yaml"], "Missing option '--at'"),
        (["map"], "Missing argument 'SCENE'"),
        (["map", "s.yaml", "--threads", "0"], "--threads"),
        (["map", "s.yaml", "--outptu", "x"], "--outp"),
        (["mpa", "s.yaml"], "No such command 'mpa'"),
    ],
)
def test_bad_options(
    words: list[str], said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("s.yaml").write_text(SCENE)
    assert said in refused(words, capsys)
    assert os.listdir() == ["s.yaml"]


# ---- through a real command line


def real(*words: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    """The command in a process of its own, stdout and stderr piped."""
    folder = str(Path(raycover.__file__).parents[1])
    environment = {**os.environ, "PYTHONPATH": folder, "COLUMNS": "60"}
    environment.pop("RAYCOVER_MODELS", None)
    command = [sys.executable, "-m", "raycover.cli.main", *words]
    return subprocess.run(
        command, capture_output=True, text=True, cwd=cwd, env=environment, check=False, timeout=LONGEST
    )


def test_a_message_is_never_wrapped_in_a_pipe(tmp_path: Path) -> None:
    folder = tmp_path / ("a folder with a long name " * 4).strip() / ("and another one " * 6).strip()
    folder.mkdir(parents=True)
    path = folder / "bad.yaml"
    path.write_text(SCENE.replace("walls: brick-100", "walls: brick-1O0"))
    done = real("map", str(path), "-o", str(folder / "out"), cwd=tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.splitlines() == [
        f'{path}:9:12: error: unknown construction "brick-1O0" [unknown-construction]',
        "  9 |     walls: brick-1O0",
        "    |            ^",
        '  help: did you mean "brick-100"?',
    ]
    assert os.listdir(folder) == ["bad.yaml"]


def test_several_mistakes_for_real(tmp_path: Path) -> None:
    text = SCENE.replace("height: 3\n", "height: 3,5\n", 1).replace("name: P\n", "name: P\n    mountings: 2\n")
    (tmp_path / "bad.yaml").write_text(text)
    done = real("check", "bad.yaml", cwd=tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    assert [(h["line"], h["code"]) for h in HEAD.finditer(done.stderr)] == [
        ("8", "decimal-comma"),
        ("47", "unknown-key"),
    ]
    assert "Traceback" not in done.stderr


# ---- a user's own catalogue


def catalogue(folder: Path, **files: str) -> None:
    for name, text in files.items():
        path = folder / "models" / (name.replace("__", "/") + ".yaml")
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)


ENTRY = """\
raycover_detector: 1
name: {name}
title: Mine
kind: infrared
declared:
  - {{mounting: 2.5, motion: radial, shape: {{circle: {{diameter: 5}}}}}}
"""


def test_errors_in_a_catalogue_are_placed_in_its_files(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("scene.yaml").write_text(SCENE)
    catalogue(
        tmp_path,
        materials="materials:\n  felt: {a: 1.5, b: 0, c: 0.01, d: 0, valid_ghz: [10, 1], source: guess}\n",
        constructions="constructions:\n  mine: {opaque: true, open_to_both: true, source: x}\n  two: {opaque: true}\n",
        detectors__wrong=ENTRY.format(name="mine").replace("title", "titel"),
        detectors__zero=ENTRY.format(name="zero").replace("2.5", "0"),
    )
    err = refused(["map", "scene.yaml", "-o", "out"], capsys)
    folder = tmp_path / "models"
    assert [(h["file"], h["line"], h["column"], h["code"]) for h in HEAD.finditer(err)] == [
        (f"{folder}/constructions.yaml", "2", "9", "one-loss"),
        (f"{folder}/constructions.yaml", "3", "8", "missing-key"),
        (f"{folder}/detectors/wrong.yaml", "3", "1", "unknown-key"),
        (f"{folder}/detectors/zero.yaml", "6", "16", "out-of-range"),
        (f"{folder}/materials.yaml", "2", "50", "range-order"),
    ]
    assert 'did you mean "title"?' in err
    assert sorted(os.listdir()) == ["models", "scene.yaml"]


def test_names_that_are_taken(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("scene.yaml").write_text(SCENE)
    catalogue(
        tmp_path,
        materials="materials:\n  brick: {a: 3, b: 0, c: 0.1, d: 0, valid_ghz: [1, 10], source: mine}\n",
        constructions="constructions:\n  brick-100: {opaque: true, source: mine}\n",
        detectors__a=ENTRY.format(name="wall-infrared"),
        detectors__b=ENTRY.format(name="twin"),
        detectors__c=ENTRY.format(name="twin").replace("diameter: 5", "diameter: 6"),
    )
    err = refused(["check", "scene.yaml"], capsys)
    folder = tmp_path / "models"
    assert [(h["file"], h["line"], h["column"], h["code"]) for h in HEAD.finditer(err)] == [
        (f"{folder}/constructions.yaml", "2", "3", "name-taken"),
        (f"{folder}/detectors/a.yaml", "2", "1", "name-taken"),
        (f"{folder}/detectors/c.yaml", "2", "1", "name-taken"),
        (f"{folder}/materials.yaml", "2", "3", "name-taken"),
    ]
    assert f'the detector "twin" is already in {folder}/detectors/b.yaml' in err


# ---- whatever is typed

WILD = (
    "0", "-1", "1e9", "1e-9", ".nan", "true", "null", "x", '""', "[]", "{}", "[1, 2]", "2,5", "250 mm", "none", "7.25",
    "20000", "360", "5.8", "open", "!t a", "&a 1", "*a", "'", '"', ":", "- ", "#", "\t", "{a: 1}", "ü", "1_0",
)  # fmt: skip
WORD = re.compile(r"[\w.-]+")
NUMBER = re.compile(r"(?<![\w.-])-?\d+(\.\d+)?(?![\w.])")


def spoilt(rng: random.Random) -> str:
    """The scene with one to three accidents: a value changed, a line gone, twice or moved, a character off."""
    text = SCENE
    for _ in range(rng.choice((1, 1, 2, 3))):
        lines = text.splitlines(keepends=True)
        at = rng.randrange(len(lines))
        accident = rng.randrange(10)
        if accident <= 2:
            words = list(WORD.finditer(text))
            word = rng.choice(words)
            other = rng.choice(words)[0] if accident == 2 else rng.choice(WILD)
            text = text[: word.start()] + other + text[word.end() :]
        elif accident == 3:
            text = "".join(lines[:at] + lines[at + 1 :])
        elif accident == 4:
            text = "".join([*lines[:at], lines[rng.randrange(len(lines))], *lines[at:]])
        elif accident == 5:
            at = rng.randrange(len(text))
            text = text[:at] + rng.choice(("", *"{}[],:-#' \n1.")) + text[at + 1 :]
        elif accident == 6:
            return text[: rng.randrange(len(text))]
        else:
            number = rng.choice(list(NUMBER.finditer(text)))
            other = f"{float(number[0]) * rng.choice((0.1, 0.5, 0.9, 1.1, 2, 3, 10, -1)):.3g}"
            text = text[: number.start()] + other + text[number.end() :]
    return text


@pytest.mark.parametrize("block", range(10))
def test_a_spoilt_scene_is_solved_or_refused(block: int) -> None:
    """300 accidents: a coverage or an InputError with places, nothing else (warnings count as errors)."""
    n_solved = n_placed = 0
    for seed in range(30 * block, 30 * block + 30):
        text = spoilt(random.Random(seed))
        try:
            scene = raycover.load_text(text)
            building = build(scene)
            span = float((building.bounds[1] - building.bounds[0]).max())
            extents = [abs(v) for p in scene.planes if p.extent is not None for v in p.extent]
            coarse = scene.model_copy(update={"grid": max(0.5, span / 40, *(v / 20 for v in extents))})
            coverage = raycover.solve(coarse, building=building, threads=1)
            for plane in coverage.values():
                assert 0 <= plane.share <= 1 + 1e-9
                assert len(plane.gaps) == plane.gap.max(initial=0)
            n_solved += 1
        except InputError as error:
            n_placed += all(p.message and p.position.line and p.code for p in error.problems)
        except Exception as error:
            raise AssertionError(f"accident {seed} ends in {error!r}:\n{text}") from error
    assert n_solved + n_placed == 30
    assert n_solved > 0
    assert n_placed > 0
