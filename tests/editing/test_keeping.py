"""Moved detectors go back into their file; all else stays as it was written, or the file stays as it is."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

import raycover
from raycover import whole_file
from raycover.editing import keeping
from raycover.editing.keeping import SceneFile
from raycover.editing.live import LiveCoverage
from raycover.errors import InputError
from raycover.scene.devices import DetectorSpec, MaskSpec

TEXT = """\
# A scene that somebody typed: odd   spacing and all.
raycover: 1
rooms: [{name: Hall, outline: [[0, 0], [9, 0], [9, 6], [0, 6]], height: 4, walls: brick-215}]
detectors:
  - {name: A, model: ceiling-infrared-general, at: [2.50, 2400 mm], mounting: 3}   # over the door
  - name: B            # by the window
    model: ceiling-infrared-general
    at: [6, 3]
    mounting: 3.0      # as the drawing says
    turn_deg: 90
planes: [{name: floor, height: 0}]
"""


@pytest.fixture
def file(tmp_path: Path) -> SceneFile:
    (tmp_path / "hall.yaml").write_bytes(TEXT.replace("\n", "\r\n").encode())
    return SceneFile(tmp_path / "hall.yaml")


def moved(file: SceneFile, index: int, **values: object) -> list[DetectorSpec]:
    specs = list(file.scene.detectors)
    specs[index] = specs[index].model_copy(update=values)
    return specs


def test_only_what_moved_is_written_anew(file: SceneFile) -> None:
    detectors = moved(file, 1, at=(6.25, 3.0), tilt_deg=-10.0)
    scene = file.save(detectors)
    assert scene.detectors == detectors
    after = file.path.read_bytes().decode()
    assert "\r\n" in after
    lines, before = after.split("\r\n"), TEXT.split("\n")
    assert lines[:7] == before[:7]  # 2400 mm stays in millimetres
    assert lines[7] == "    at: [6.25, 3]"
    assert lines[8:10] == before[8:10]
    assert lines[10].strip() == "tilt_deg: -10"
    assert lines[11:] == before[10:]
    assert raycover.load(file.path).detectors == detectors


def test_saving_twice_goes_on_from_the_first(file: SceneFile) -> None:
    file.save(moved(file, 0, at=(3.0, 2.0)))
    file.save(moved(file, 1, turn_deg=45.0))
    scene = raycover.load(file.path)
    assert scene.detectors[0].at == (3, 2)
    assert scene.detectors[1].turn_deg == 45


def test_a_file_that_changed_is_left_alone(file: SceneFile) -> None:
    other = file.path.read_bytes() + b"# mine\r\n"
    file.path.write_bytes(other)
    with pytest.raises(InputError, match="changed on disk since it was opened"):
        file.save(moved(file, 0, at=(3.0, 2.0)))
    assert file.path.read_bytes() == other
    file.path.unlink()
    with pytest.raises(InputError, match="cannot be read any more"):
        file.save(moved(file, 0, at=(3.0, 2.0)))
    assert not file.path.exists()


def test_a_scene_that_would_not_be_sound_is_not_written(file: SceneFile) -> None:
    before = file.path.read_bytes()
    with pytest.raises(InputError, match="which is 4 m high"):
        file.save(moved(file, 0, mounting=7.0))
    assert file.path.read_bytes() == before
    assert os.listdir(file.path.parent) == ["hall.yaml"]


@pytest.mark.parametrize("at", ["replace", "copymode", "access"])
def test_a_file_that_cannot_be_written_stays_whole(file: SceneFile, at: str, monkeypatch: pytest.MonkeyPatch) -> None:
    before = file.path.read_bytes()

    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    if at == "access":
        monkeypatch.setattr(keeping.os, "access", lambda *_: False)
    else:
        monkeypatch.setattr(whole_file.shutil if at == "copymode" else whole_file.os, at, full)
    said = "Permission denied" if at == "access" else "No space left on device"
    with pytest.raises(InputError, match=f"cannot be written: {said}"):
        file.save(moved(file, 0, at=(3.0, 2.0)))
    monkeypatch.undo()
    assert file.path.read_bytes() == before
    assert os.listdir(file.path.parent) == ["hall.yaml"]
    file.save(moved(file, 0, at=(3.0, 2.0)))  # and later it can


def test_a_link_stays_a_link_and_the_mode_stays(file: SceneFile) -> None:
    link = file.path.with_name("link.yaml")
    link.symlink_to("hall.yaml")
    file.path.chmod(0o640)
    linked = SceneFile(link)
    linked.save(moved(linked, 0, at=(3.0, 2.0)))
    assert link.is_symlink()
    assert file.path.stat().st_mode & 0o777 == 0o640
    assert raycover.load(file.path).detectors[0].at == (3, 2)


NEW = DetectorSpec(name="C", model="ceiling-infrared-general", at=(4.5, 3.0), mounting=3.0)
OWN = """
planes: [{name: floor, height: 0}]
detectors:
  # the first of all
  - {name: A, at: [1, 1], mounting: 2.5, pattern: {kind: infrared, mounting: {from: 2, to: 4},
     declared: [{mounting: 2.5, plane: 0, motion: tangential, shape: {circle: {diameter: 8}}}]}}  # made by hand
raycover: 1
"""


def test_a_new_detector_stands_behind_the_others_in_their_style(file: SceneFile) -> None:
    detectors = [*file.scene.detectors, NEW]
    assert file.save(detectors).detectors == detectors
    lines, before = file.path.read_bytes().decode().split("\r\n"), TEXT.split("\n")
    assert lines[:10] == before[:10]
    assert lines[10:14] == [
        "  - name: C", "    model: ceiling-infrared-general", "    at: [4.5, 3]", "    mounting: 3",
    ]  # fmt: skip
    assert lines[14:] == before[10:]
    file.save(detectors[:2])  # taken back
    assert file.path.read_bytes().decode() == TEXT.replace("\n", "\r\n")


def test_one_that_is_gone_takes_its_comments_along_and_leaves_none_to_the_next(file: SceneFile) -> None:
    detectors = [file.scene.detectors[1], NEW]
    assert file.save(detectors).detectors == detectors
    text = file.path.read_bytes().decode()
    assert "over the door" not in text
    assert text.index("# by the window") < text.index("# as the drawing says") < text.index("name: C")
    swapped = [file.scene.detectors[0], NEW.model_copy(update={"name": "E"})]
    file.save(swapped)
    assert raycover.load(file.path).detectors == swapped


def test_settings_and_masks_are_kept_and_taken_out_again(file: SceneFile) -> None:
    masks = [MaskSpec(from_deg=-10, to_deg=2.5), MaskSpec(from_deg=90, to_deg=120, off_axis_from_deg=40)]
    detectors = moved(file, 0, model="high-bay-infrared-aisle", sensitivity_pct=80.0, masks=masks)
    assert file.save(detectors).detectors == detectors
    said = " ".join(file.path.read_text().split())
    assert (
        "{name: A, model: high-bay-infrared-aisle, at: [2.50, 2400 mm], mounting: 3, sensitivity_pct: 80, masks: "
        "[{from_deg: -10, to_deg: 2.5}, {from_deg: 90, to_deg: 120, off_axis_from_deg: 40}]} # over the door"
    ) in said
    file.save(moved(file, 0, masks=[]))
    assert "masks" not in file.path.read_text()


def test_a_pattern_of_its_own_gives_way_to_an_entry_and_comes_back(tmp_path: Path) -> None:
    path = tmp_path / "own.yaml"
    path.write_text(OWN)
    file = SceneFile(path)
    own = file.scene.detectors[0]
    twin = own.model_copy(update={"name": "B", "at": (5.0, 1.0)})
    file.save([own.model_copy(update={"pattern": None, "model": "ceiling-infrared-general"}), twin])
    text = path.read_text()
    assert "{name: A, at: [1, 1], mounting: 2.5, model: ceiling-infrared-general}  # made by hand" in text
    assert "# the first of all" in text
    assert raycover.load(path).detectors[1] == twin
    file.save([own, twin])
    assert raycover.load(path).detectors == [own, twin]
    file.save([])
    assert path.read_text().endswith("raycover: 1\n")
    assert raycover.load(path).detectors == []
    file.save([own])
    assert raycover.load(path).detectors == [own]


def test_a_name_that_goes_leaves_its_lists_and_comes_back_by_undo(tmp_path: Path) -> None:
    path = tmp_path / "hall.yaml"
    zones = "zones:\n  - {name: Z, mode: presence, detectors: [A, B]}   # both\n"
    path.write_text(f"{TEXT}{zones}lines: [{{name: L, detectors: ['*'], supply_ma: 100}}]\n")
    file = SceneFile(path)
    live = LiveCoverage(file.scene)
    live.remove(0, unnamed=True)
    live.saved(file.save(live.design.detectors, live.design.mentions))
    after = path.read_text()
    assert "detectors: [B]}   # both\nlines: [{name: L, detectors: ['*'], supply_ma: 100}]" in after
    assert "name: A" not in after
    assert "# by the window" in after
    assert not live.changed
    live.undo()
    assert live.changed  # the file lacks both now
    live.saved(file.save(live.design.detectors, live.design.mentions))
    assert [spec.name for spec in file.scene.detectors] == ["A", "B"]
    assert file.scene.zones[0].detectors == ["A", "B"]
