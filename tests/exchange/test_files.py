"""Files appear whole or not at all."""

from __future__ import annotations

import os
import stat
from pathlib import Path
from typing import Any

import pytest

from raycover.errors import InputError
from raycover.exchange.files import whole_folder, write_whole


def names(folder: Path) -> list[str]:
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("*"))


def test_files_come_together_when_the_block_ends(tmp_path: Path) -> None:
    with whole_folder(tmp_path / "a" / "b") as draft:
        (draft / "one.txt").write_text("1")
        (draft / "two.txt").write_text("2")
        assert not (tmp_path / "a" / "b" / "one.txt").exists()
    assert names(tmp_path) == ["a", "a/b", "a/b/one.txt", "a/b/two.txt"]


def test_files_of_the_same_name_are_replaced_and_others_stay(tmp_path: Path) -> None:
    (tmp_path / "one.txt").write_text("old")
    (tmp_path / "notes.txt").write_text("mine")
    with whole_folder(tmp_path) as draft:
        (draft / "one.txt").write_text("new")
    assert {path.name: path.read_text() for path in tmp_path.iterdir()} == {"one.txt": "new", "notes.txt": "mine"}


@pytest.mark.parametrize("error", [ValueError("x"), KeyboardInterrupt()])
def test_an_error_leaves_everything_as_it_was(error: BaseException, tmp_path: Path) -> None:
    (tmp_path / "one.txt").write_text("old")

    def write(folder: Path) -> None:
        with whole_folder(folder) as draft:
            (draft / "one.txt").write_text("new")
            raise error

    with pytest.raises(type(error)):
        write(tmp_path)
    with pytest.raises(type(error)):
        write(tmp_path / "new" / "deep")
    assert names(tmp_path) == ["one.txt"]
    assert (tmp_path / "one.txt").read_text() == "old"


def test_a_folder_made_for_nothing_goes_and_one_that_was_there_stays(tmp_path: Path) -> None:
    (tmp_path / "there").mkdir()
    for folder in ("there", "there/new/newer"):
        with pytest.raises(RuntimeError), whole_folder(tmp_path / folder):
            raise RuntimeError
    assert names(tmp_path) == ["there"]


def test_an_operating_system_error_is_told_with_its_file(tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught, whole_folder(tmp_path / "out") as draft:
        raise OSError(28, "No space left on device", str(draft / "floor.vti"))
    (problem,) = caught.value.problems
    assert problem.code == "cannot-write"
    assert problem.message == "cannot write: No space left on device"
    assert problem.position.file.endswith("floor.vti")
    assert names(tmp_path) == []


def test_a_file_in_the_way_of_the_folder(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("a file")
    for folder in ("out", "out/deep"):
        with pytest.raises(InputError, match="cannot write: ") as caught, whole_folder(tmp_path / folder):
            raise AssertionError("never reached")
        assert caught.value.problems[0].position.file == str(tmp_path / folder)
    assert names(tmp_path) == ["out"]


def test_text_is_replaced_whole(tmp_path: Path) -> None:
    path = tmp_path / "new" / "scene.yaml"
    write_whole(path, "größer: 1\n")
    assert path.read_bytes() == "größer: 1\n".encode()
    umask = os.umask(0)
    os.umask(umask)
    assert stat.S_IMODE(path.stat().st_mode) == 0o666 & ~umask
    write_whole(path, "x")
    assert path.read_text() == "x"
    assert names(tmp_path) == ["new", "new/scene.yaml"]


def test_text_that_cannot_be_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "scene.yaml"
    path.write_text("old")

    def full(*_: Any) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    with pytest.raises(InputError, match="No space left on device"):
        write_whole(path, "new")
    assert names(tmp_path) == ["scene.yaml"]
    assert path.read_text() == "old"
    with pytest.raises(InputError, match="cannot write"):
        write_whole(path / "below.yaml", "new")
