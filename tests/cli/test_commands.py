"""The commands as a person runs them: exit codes, what goes to stdout and what to stderr, what is on disk."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from processes import LONGEST
from small_scene import SCENE

import raycover
from raycover.cli.main import main
from raycover.draw import view3d
from raycover.errors import MissingPart

CAUSES = {"none", "out-of-reach", "outside-lens", "masked", "blocked", "material-loss", "too-warm"}
HEAVY = ("numpy", "scipy", "pydantic", "matplotlib", "pyvista", "vtkmodules", "trimesh", "shapely", "PIL", "yaml")


ONE_PLANE = SCENE.replace("  - {name: desk, height: 0.75, motion: presence}\n", "").replace(
    "  - {name: people, target: person, heights: [0.3, 1.0, 1.6]}\n", ""
)


@pytest.fixture
def scene(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The small scene, alone in the current folder."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("RAYCOVER_MODELS", raising=False)
    path = Path("scene.yaml")
    path.write_text(SCENE)
    return path


@pytest.fixture
def run(command_line: Callable[..., tuple[int, str, str]]) -> Callable[..., tuple[int, str, str]]:
    return command_line


Run = Callable[..., tuple[int, str, str]]


def python(code: str, **more: Any) -> subprocess.CompletedProcess[str]:
    folder = str(Path(raycover.__file__).parents[1])
    environment = {**os.environ, "PYTHONPATH": folder}
    return subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, env=environment, timeout=LONGEST, **more
    )


# ---- help, version, start-up


def test_version(run: Run) -> None:
    assert run("--version") == (0, f"raycover {raycover.__version__}\n", "")


COMMANDS = ("map", "view", "probe", "compare", "check", "models", "new", "schema", "doctor")


@pytest.mark.parametrize("command", ["", *COMMANDS])
def test_help(command: str, run: Run) -> None:
    code, out, err = run(*([command] if command else []), "--help")
    assert (code, err) == (0, "")
    assert "Usage:" in out
    listed = set(COMMANDS) if not command else {command}
    assert all(word in out for word in listed)


def test_no_words_print_the_help(run: Run) -> None:
    code, out, err = run()
    assert code in (0, 2)  # click 8.2 changed this from 0 to 2
    assert "Usage:" in out + err


@pytest.mark.parametrize("words", [["--help"], ["--version"]])
def test_help_loads_nothing_heavy(words: list[str]) -> None:
    done = python(
        "import sys\nfrom raycover.cli.main import main\n"
        f"try:\n    main({words!r})\nexcept SystemExit as left:\n    assert not left.code\n"
        f"print('loaded:', *[name for name in {HEAVY!r} if name in sys.modules])"
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines()[-1] == "loaded:"


def test_importing_raycover_loads_nothing_heavy() -> None:
    done = python(f"import raycover, sys\nprint('loaded:', *[name for name in {HEAVY!r} if name in sys.modules])")
    assert (done.stdout, done.stderr) == ("loaded:\n", "")


def test_names_of_the_package() -> None:
    assert sorted(raycover.__all__) == ["Coverage", "InputError", "Scene", "load", "load_text", "solve"]
    assert all(getattr(raycover, name) is not None for name in raycover.__all__)
    with pytest.raises(AttributeError, match="no attribute 'slove'"):
        raycover.slove  # noqa: B018


# ---- map


def test_map_json_and_its_files(scene: Path, run: Run) -> None:
    code, out, err = run("map", str(scene), "-o", "deep/out", "--no-view", "--threads", "1", "--json")
    assert code == 0
    names = [f"{plane}.{kind}" for plane in ("desk", "floor", "people") for kind in ("png", "vti")]
    assert sorted(os.listdir("deep/out")) == sorted([*names, "summary.json"])
    figures = json.loads(Path("deep/out/summary.json").read_text(encoding="utf-8"))
    assert figures["version"] == 1
    assert json.loads(out) == figures
    assert out.count("\n") == 1
    assert "error" not in err
    for plane in ("floor", "desk", "people"):
        with Image.open(f"deep/out/{plane}.png") as picture:
            picture.load()
            assert min(picture.size) > 1000
    assert sorted(os.listdir()) == ["deep", "scene.yaml"]


def test_map_talks_on_stderr_and_never_wraps_in_a_pipe(tmp_path: Path) -> None:
    folder = tmp_path / ("a long name " * 9).strip() / ("another " * 20).strip()
    folder.mkdir(parents=True)
    (folder / "scene.yaml").write_text(ONE_PLANE)
    words = ["map", str(folder / "scene.yaml"), "-o", str(folder / "out"), "--no-view"]
    done = python(f"from raycover.cli.main import main\nmain({words!r})")
    assert (done.returncode, done.stdout) == (0, "")
    share = json.loads((folder / "out" / "summary.json").read_text(encoding="utf-8"))["planes"]["floor"]["share"]
    lines = done.stderr.splitlines()
    assert any(line.startswith(f"floor: {share:.1%} of ") for line in lines), done.stderr
    assert any(line.endswith(f"written to {folder / 'out'}") for line in lines), done.stderr
    assert "A prediction, not a site test: walk-test before hand-over. Not a safety function." in lines


def test_map_draws_the_view_too(scene: Path, run: Run) -> None:
    scene.write_text(ONE_PLANE)
    code, out, err = run("map", str(scene), "-o", "out")
    assert (code, out) == (0, "")
    assert Path("out/view.png").exists(), err
    with Image.open("out/view.png") as picture:
        picture.load()
        assert min(picture.size) > 500


def test_map_without_a_display_still_writes_the_plans(scene: Path, run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    def missing(*_: object, **__: object) -> None:
        raise MissingPart("3D pictures need EGL: install libegl1")

    monkeypatch.setitem(vars(view3d), "draw_view", missing)
    scene.write_text(ONE_PLANE)
    code, out, err = run("map", str(scene), "-o", "out")
    assert (code, out) == (0, "")
    assert "The plans are written, the 3D picture is not: 3D pictures need EGL: install libegl1" in err
    assert Path("out/floor.png").exists()
    assert not Path("out/view.png").exists()


def test_view_without_a_display_leaves_with_3(scene: Path, run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    def missing() -> None:
        raise MissingPart("a window needs a display")

    monkeypatch.setitem(vars(view3d), "require_display", missing)
    monkeypatch.setitem(vars(view3d), "open_window", lambda *_: None)
    assert run("view", str(scene)) == (3, "", "a window needs a display\n")


@pytest.mark.parametrize(("error", "code"), [(KeyboardInterrupt(), 130), (OSError(28, "No space left on device"), 2)])
def test_an_interrupted_map_leaves_the_earlier_one_whole(
    error: BaseException, code: int, scene: Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    Path("out").mkdir()
    for name in ("floor.png", "desk.png", "summary.json", "floor.vti"):
        Path("out", name).write_text(f"an earlier {name}")
    before = {path.name: path.read_bytes() for path in Path("out").iterdir()}
    from raycover.draw import plan

    draw_one = plan.draw_plan

    def draw_plan(*args: Any, **more: Any) -> None:
        if args[3] == "desk":
            raise error
        draw_one(*args, **more)

    monkeypatch.setattr(plan, "draw_plan", draw_plan)
    for folder in ("out", "new/out"):
        left, out, err = run("map", str(scene), "-o", folder, "--no-view")
        assert (left, out) == (code, "")
        assert "Traceback" not in err
    assert {path.name: path.read_bytes() for path in Path("out").iterdir()} == before
    assert sorted(os.listdir()) == ["out", "scene.yaml"]


def test_a_broken_drawing_leaves_nothing_behind(scene: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A fault of ours is shown as such, with its traceback; the folder stays as it was."""
    from raycover.draw import plan

    def draw_plan(*_: Any, **__: Any) -> None:
        raise ZeroDivisionError("ours")

    monkeypatch.setattr(plan, "draw_plan", draw_plan)
    with pytest.raises(ZeroDivisionError):
        main(["map", str(scene), "-o", "out", "--no-view"])
    assert os.listdir() == ["scene.yaml"]


# ---- probe


def test_probe_in_words(scene: Path, run: Run) -> None:
    code, out, err = run("probe", str(scene), "--at", "6,1.4,0.75")
    assert (code, err) == (0, "")
    lines = out.splitlines()
    assert lines[0].startswith('(6.00, 1.40, 0.75), in room "room": seen by ')
    assert "P" in lines[0].split("seen by ")[1].split(", ")
    assert any(line.startswith("  P (own pattern), 2.05 m away: +") and line.endswith("seen") for line in lines)
    assert any("screen (plasterboard-12.5)" in line for line in lines)


def test_probe_tells_no_more_than_helps(tmp_path: Path, run: Run) -> None:
    """What stands behind the first thing that stops a ray, and who looks elsewhere, is counted and not listed."""
    path = tmp_path / "store.yaml"
    far = "".join(
        f"  - {{name: A{k}, model: high-bay-infrared-aisle, at: [{20 + 2 * k}, 1], mounting: 8}}\n" for k in range(9)
    )
    path.write_text(
        "raycover: 1\n"
        "rooms: [{name: Hall, outline: [[0, 0], [40, 0], [40, 12], [0, 12]], height: 9, walls: none}]\n"
        "racking: [{name: R1, at: [1, 5], bays: 3, levels: 3, back_to_back: true}]\n"
        "detectors:\n  - {name: D, model: high-bay-infrared-round, at: [4, 3], mounting: 8}\n" + far
    )
    code, out, _ = run("probe", str(path), "--at", "4,8.5,0")
    lines = out.splitlines()
    assert (code, lines[0]) == (0, '(4.00, 8.50, 0.00), in room "Hall": seen by no detector')
    assert lines[1].endswith("hidden")
    assert sum("stops it" in line for line in lines) == 1
    assert any(re.fullmatch(r"    and \d+ things? more behind it", line) for line in lines)
    assert lines[-1].startswith("  and 5 more, farther from seeing it: ")
    assert len(json.loads(run("probe", str(path), "--at", "4,8.5,0", "--json")[1])["detectors"]) == 10


def test_probe_takes_feet_and_inches(scene: Path, run: Run) -> None:
    code, out, _ = run("probe", str(scene), "--at", "6 ft, 3'6\", 750 mm", "--json")
    assert code == 0
    assert json.loads(out)["point"] == [1.8288, 1.0668, 0.75]


@pytest.mark.parametrize("at", [["--at", "-1,2,0"], ["--at=-1,2,0"], ["--at", " -1, 2, 0"]])
def test_probe_takes_a_minus_sign(at: list[str], scene: Path, run: Run) -> None:
    code, out, err = run("probe", str(scene), *at, "--json")
    assert (code, err) == (0, "")
    said = json.loads(out)
    assert said["point"] == [-1, 2, 0]
    assert said["version"] == 1


def test_probe_json(scene: Path, run: Run) -> None:
    code, out, _ = run("probe", str(scene), "--at", "6,1.4,0.75", "--json")
    assert code == 0
    said = json.loads(out)
    assert said["detected"] is True
    assert [unit["name"] for unit in said["detectors"]] == ["H", "P", "M"]
    for unit in said["detectors"]:
        assert set(unit) == {
            "name", "detected", "margin_db", "distance_m", "cause", "crossings", "ways", "left_out_db",
        }  # fmt: skip
        (straight,) = unit["ways"]
        assert (straight["mirror"], straight["crossings"]) == (None, unit["crossings"])
        assert unit["cause"] in CAUSES
        assert (unit["cause"] == "none") == unit["detected"]
        assert unit["detected"] == (unit["margin_db"] is not None and unit["margin_db"] >= 0)
        for crossing in unit["crossings"]:
            assert {"object", "construction", "distance_m", "incidence_deg", "loss_db"} <= set(crossing)
            assert 0 < crossing["distance_m"] < unit["distance_m"]
            assert 0 <= crossing["incidence_deg"] <= 90
    through_screen = said["detectors"][0]["crossings"]
    assert [c["object"] for c in through_screen] == ["screen"]
    assert through_screen[0]["loss_db"] > 0
    blind = said["detectors"][2]
    assert blind["margin_db"] is None  # nothing gets through, or outside the lens: never Infinity in JSON


def test_probe_asks_for_one_motion(scene: Path, run: Run) -> None:
    def margin(motion: str) -> float | None:
        said = json.loads(run("probe", str(scene), "--at", "6.0,2.6,0", "--motion", motion, "--json")[1])
        return said["detectors"][1]["margin_db"]

    assert margin("presence") is None or margin("presence") < 0  # 1.1 m off the axis, declared to 1 m
    assert margin("tangential") >= 0
    assert margin("any") == margin("tangential")
    assert margin("radial") is None  # not declared


def test_probe_works_without_a_room(tmp_path: Path, run: Run) -> None:
    path = tmp_path / "open.yaml"
    path.write_text(
        "raycover: 1\ndetectors: [{name: D, model: wall-infrared, at: [0, 0], mounting: 2}]\n", encoding="utf-8"
    )
    code, out, _ = run("probe", str(path), "--at", "1,0,0")
    assert code == 0
    assert out.startswith("(1.00, 0.00, 0.00), outside every room: seen by D\n")
    assert run("check", str(path))[0] == 0  # sound, though there is nothing to map
    code, _, err = run("map", str(path), "-o", str(tmp_path / "out"), "--no-view")
    assert code == 2
    assert "give the scene rooms, or the plane an extent" in err


@pytest.mark.parametrize("words", [["probe", "scene.yaml", "--at", "6,1.4,0.75"], ["check", "scene.yaml", "--json"]])
def test_a_terminal_without_a_degree_sign(words: list[str], scene: Path) -> None:
    scene.write_text(SCENE.replace("title: Small", "title: Büro").replace("walls: brick-100", "walls: brick-1ØØ"))
    good = scene.with_name("good.yaml")
    good.write_text(SCENE)
    words = [word.replace("scene", "good") for word in words] if words[0] == "probe" else words
    code = f"import sys\nsys.stdout.reconfigure(encoding='ascii')\nfrom raycover.cli.main import main\nmain({words!r})"
    done = python(code, cwd=Path.cwd())
    assert "Traceback" not in done.stderr
    assert done.stdout.isascii()
    if words[0] == "check":
        assert "brick-1ØØ" in json.loads(done.stdout)["problems"][0]["message"]
    else:
        assert "? off square" in done.stdout


def test_a_pipe_that_closes_is_no_failure(scene: Path, run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    def closed(*_: Any, **__: Any) -> None:
        raise BrokenPipeError(32, "Broken pipe")

    monkeypatch.setattr("raycover.cli.checking.data", closed)
    assert run("check", str(scene), "--json")[0] == 0


# ---- check


def test_check(scene: Path, run: Run) -> None:
    code, out, err = run("check", str(scene))
    assert (code, err) == (0, "")
    assert out.startswith("scene.yaml: sound; 1 room, 3 detectors, ")


def test_check_json(scene: Path, run: Run) -> None:
    assert json.loads(run("check", str(scene), "--json")[1]) == {
        "version": 1, "raycover": raycover.__version__, "sound": True, "problems": [],
    }  # fmt: skip
    scene.write_text(SCENE.replace("walls: brick-100", "walls: brik-100").replace("ambient_c: 20", "ambient_c: 20.0"))
    code, out, err = run("check", str(scene), "--json")
    assert code == 2
    said = json.loads(out)
    assert said["sound"] is False
    (problem,) = said["problems"]
    assert (problem["file"], problem["line"], problem["column"]) == ("scene.yaml", 9, 12)
    assert (problem["severity"], problem["code"]) == ("error", "unknown-construction")
    assert problem["help"] == 'did you mean "brick-100"?'
    assert err.startswith("scene.yaml:9:12: error: ")


def test_warnings_are_told_and_change_no_exit_code(scene: Path, run: Run) -> None:
    scene.write_text(ONE_PLANE.replace("ambient_c: 20", "ambient_c: 31").replace("grid: 0.5", "grid: 0.8"))
    code, out, err = run("check", str(scene))
    assert code == 0
    assert "2 warnings" in out
    assert "scene.yaml:3:25: warning: at 31 °C people stand out little" in err
    assert "scene.yaml:5:5: warning: " in err
    assert "cells of 0.8 m" in err
    said = json.loads(run("check", str(scene), "--json")[1])
    assert said["sound"] is True
    assert [p["code"] for p in said["problems"]] == ["warm-air", "coarse-grid"]
    figures = json.loads(run("map", str(scene), "-o", "out", "--no-view", "--json")[1])
    assert [p["code"] for p in figures["warnings"]] == ["warm-air", "coarse-grid"]


# ---- new, doctor


def test_new_writes_a_scene_that_runs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, run: Run) -> None:
    monkeypatch.chdir(tmp_path)
    code, out, err = run("new")
    assert (code, out) == (0, "")
    assert "Next: raycover map scene.yaml" in err
    code, out, err = run("check", "scene.yaml")
    assert (code, err) == (0, "")  # not even a warning
    code, out, _ = run("map", "scene.yaml", "-o", "out", "--no-view", "--json")
    assert code == 0
    shares = [plane["share"] for plane in json.loads(out)["planes"].values()]
    assert all(0.2 < share < 1 for share in shares)  # something to see and something to improve


def test_new_never_overwrites(scene: Path, run: Run) -> None:
    code, out, err = run("new", "scene.yaml")
    assert (code, out) == (2, "")
    assert err.startswith("scene.yaml: error: the file is already there [file-exists]")
    assert scene.read_text() == SCENE
    assert run("new", "scene.yaml", "--force")[0] == 0
    assert scene.read_text() != SCENE
    assert sorted(os.listdir()) == ["raycover.schema.json", "scene.yaml"]


def test_new_wants_a_yaml_name_and_makes_folders(scene: Path, run: Run) -> None:
    code, _, err = run("new", "office.txt")
    assert code == 2
    assert "a scene file ends in .yaml" in err
    assert run("new", "jobs/office.yml")[0] == 0
    assert run("check", "jobs/office.yml")[0] == 0
    assert run("new", "scene.yaml/x.yaml")[0] == 2


def test_doctor(run: Run) -> None:
    code, out, err = run("doctor")
    assert (code, err) == (0, "")
    assert f"raycover {raycover.__version__} on Python" in out
    assert "3D pictures: " in out
    code, out, err = run("doctor", "--json")
    assert (code, err) == (0, "")
    said = json.loads(out)
    assert said["version"] == 1
    assert said["backend"] in ("embree", "trimesh")
    assert said["entries"]["detectors"] >= 9
    assert Path(said["catalogue"]).is_dir()
    assert {"numpy", "pyvista", "vtk"} <= set(said["libraries"])


def test_doctor_tells_of_a_broken_catalogue(tmp_path: Path, run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "materials.yaml").write_text("materials: []\n")
    monkeypatch.setenv("RAYCOVER_MODELS", str(tmp_path))
    code, out, _ = run("doctor")
    assert code == 0
    assert f"{tmp_path}/materials.yaml:1:12: error: materials" in out
