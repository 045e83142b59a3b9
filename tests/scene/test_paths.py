"""Files that a scene names stay within its folder and those it allows, whatever the path looks like."""

from __future__ import annotations

from pathlib import Path

import pytest

import raycover
from raycover.errors import InputError, Position, nearest_file
from raycover.scene.paths import resolve

HERE = Position("scene.yaml", 7, 9, "  file: plan.png")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    scene = tmp_path / "project" / "scene"
    (scene / "plans").mkdir(parents=True)
    (scene / "plans" / "ground.png").write_bytes(b"x")
    (tmp_path / "project" / "shared").mkdir()
    (tmp_path / "project" / "shared" / "machine.glb").write_bytes(b"x")
    (tmp_path / "secret.txt").write_bytes(b"x")
    return scene


@pytest.mark.parametrize("text", ["plans/ground.png", "./plans/../plans/ground.png"])
def test_files_below_the_scene(folder: Path, text: str) -> None:
    assert resolve(folder, (), text, HERE) == (folder / "plans" / "ground.png").resolve()
    assert resolve(folder, (), str(folder / "plans" / "ground.png"), HERE).is_file()


@pytest.mark.parametrize("allowed", ["../shared", "ABSOLUTE"])
def test_folders_that_the_scene_allows(folder: Path, allowed: str) -> None:
    where = str(folder.parent / "shared") if allowed == "ABSOLUTE" else allowed
    assert resolve(folder, [where], "../shared/machine.glb", HERE).name == "machine.glb"


def problem(folder: Path, text: str, allowed: tuple[str, ...] = ()) -> raycover.errors.Problem:
    with pytest.raises(InputError) as caught:
        resolve(folder, allowed, text, HERE)
    (found,) = caught.value.problems
    assert found.position == HERE
    assert found.help
    return found


@pytest.mark.parametrize("text", ["../shared/machine.glb", "../../secret.txt", "/etc/hostname", "plans/../../x", ".."])
def test_outside_is_refused_whether_it_exists_or_not(folder: Path, text: str) -> None:
    assert problem(folder, text).code == "outside-folder"
    assert "allow_folders" in problem(folder, text).help


def test_a_folder_whose_name_only_begins_alike_is_outside(folder: Path) -> None:
    (folder.parent / "scene-2").mkdir()
    (folder.parent / "scene-2" / "a.png").write_bytes(b"x")
    assert problem(folder, "../scene-2/a.png").code == "outside-folder"


def test_a_link_that_leads_out_is_refused(folder: Path) -> None:
    (folder / "link.txt").symlink_to(folder.parent.parent / "secret.txt")
    assert problem(folder, "link.txt").code == "outside-folder"


def test_missing_files_say_what_was_meant(folder: Path) -> None:
    assert problem(folder, "plans/grund.png").help == 'did you mean "ground.png"?'
    assert problem(folder, "plans/zzz.pdf").help == f"files in {folder / 'plans'}: ground.png"
    assert "does not exist" in problem(folder, "drawings/zzz.pdf").help
    assert problem(folder, "plans").message == '"plans" is a folder'
    assert problem(folder, "zzz").code == "missing-file"


def test_an_ending_makes_no_file_alike(folder: Path) -> None:
    """Files are alike by their names, not by their endings; of those that stand there the kind asked for is told."""
    for name in ("neg.yaml", "base.yaml", "crane.glb"):
        (folder / name).write_bytes(b"x")
    assert problem(folder, "robot.glb").help == f"files in {folder}: crane.glb"
    assert problem(folder, "cran.glb").help == 'did you mean "crane.glb"?'
    assert nearest_file("nofile.yaml", ["neg.yaml", "base.yaml"]) is None
    assert nearest_file("bas.yaml", ["base.png", "base.yaml"]) == "base.yaml"


@pytest.mark.parametrize("text", ["a\0b", "x" * 5000])
def test_texts_that_are_no_path(folder: Path, text: str) -> None:
    assert problem(folder, text).code in ("bad-path", "missing-file")


def test_a_ring_of_links(folder: Path) -> None:
    (folder / "a").symlink_to(folder / "b")
    (folder / "b").symlink_to(folder / "a")
    assert problem(folder, "a").code in ("bad-path", "missing-file")
