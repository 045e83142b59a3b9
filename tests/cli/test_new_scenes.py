"""Scenes that commands write into another folder read the files that the old one reads, and no others."""

from __future__ import annotations

from pathlib import Path

import pytest
import yaml
from PIL import Image
from typed import run

import raycover
from raycover.cli import placing
from raycover.cli.new_scenes import for_folder
from raycover.errors import InputError
from raycover.letterhead import read_logo
from raycover.scene.moving import moved_text
from raycover.underlay import read_underlay

ROOM = """rooms:
  - {name: Room, outline: [[0, 0], [4, 0], [4, 3], [0, 3]], height: 2.6, walls: steel-panel}
needs:
  - {name: floor, rooms: [Room], height: 0, share: 0.9}
placing: {models: [ceiling-infrared-general], mounting: [2.5]}
"""
SCENE = f"""raycover: 1
title: Store
project: {{logo: ../office/logo.png}}   # ours
underlay: {{file: plans/plan.png, scale: {{metres_per_pixel: 0.1}}}}
allow_folders: [../office]
{ROOM}"""


@pytest.fixture
def path(tmp_path: Path) -> Path:
    for name in ("shop/plans", "office"):
        (tmp_path / name).mkdir(parents=True)
    Image.new("RGB", (40, 30), "white").save(tmp_path / "shop" / "plans" / "plan.png")
    Image.new("RGB", (8, 8), "red").save(tmp_path / "office" / "logo.png")
    (tmp_path / "shop" / "scene.yaml").write_text(SCENE, encoding="utf-8")
    return tmp_path / "shop" / "scene.yaml"


def test_files_are_found_from_another_folder(path: Path) -> None:
    new = path.parents[1] / "out" / "deep" / "proposal.yaml"
    assert run("place", str(path), "-o", str(new)) == 0
    scene = raycover.load(new)
    assert scene.underlay is not None
    assert scene.project is not None
    assert scene.underlay.file == "../../shop/plans/plan.png"
    assert scene.project.logo == "../../office/logo.png"
    assert scene.allow_folders == ["../../office", "../../shop"]
    assert read_underlay(scene) is not None
    assert read_logo(scene) is not None
    assert "# ours" in new.read_text(encoding="utf-8")


def test_nothing_may_be_read_that_might_not_be_before(path: Path) -> None:
    new = path.parents[1] / "office"
    inside = yaml.safe_load(moved_text(SCENE, "scene.yaml", path.parent, new))
    assert inside["underlay"]["file"] == "../shop/plans/plan.png"
    assert inside["project"]["logo"] == "logo.png"
    assert inside["allow_folders"] == [".", "../shop"]
    assert moved_text(SCENE, "scene.yaml", path.parent, path.parent) == SCENE
    # In the folder above everything lies below: nothing joins.
    above = yaml.safe_load(moved_text(SCENE, "scene.yaml", path.parent, path.parents[1]))
    assert above["allow_folders"] == ["office"]
    outside = SCENE.replace("allow_folders: [../office]\n", "")
    with pytest.raises(InputError, match="lies outside the scene's folder"):
        for_folder(outside, path, new / "proposal.yaml")


MINE = (
    "raycover_detector: 1\nname: mine\ntitle: mine\nkind: infrared\nsource: test\ndeclared:\n"
    "  - {mounting: 2.5, plane: 0, motion: tangential, shape: {circle: {diameter: DIAMETER}}, source: test}\n"
)


def own_entry(folder: Path, diameter: float = 6) -> None:
    models = folder / "models" / "detectors"
    models.mkdir(parents=True)
    (models / "mine.yaml").write_text(MINE.replace("DIAMETER", str(diameter)))


@pytest.mark.parametrize("more", ["", "project: {logo: ../office/logo.png}\nallow_folders: [../office]\n"])
def test_own_models_are_found_from_another_folder(path: Path, more: str) -> None:
    own_entry(path.parent)
    path.write_text("raycover: 1\n" + more + ROOM.replace("[ceiling-infrared-general]", "[mine]"), encoding="utf-8")
    new = path.parents[1] / "out" / "proposal.yaml"
    assert run("place", str(path), "-o", str(new)) == 0
    scene = raycover.load(new)
    assert scene.model_folders == ["../shop/models"]
    assert {d.model for d in scene.detectors} == {"mine"}
    assert scene.catalogue.detectors["mine"] == raycover.load(path).catalogue.detectors["mine"]
    # From there it goes on: to a third folder, and back beside its entries.
    for place, said in (("third/new.yaml", ["../shop/models"]), ("shop/back.yaml", ["models"])):
        target = path.parents[1] / place
        assert run("place", str(new), "-o", str(target)) == 0
        assert raycover.load(target).model_folders == said


def test_own_models_that_nothing_needs_are_not_named(path: Path) -> None:
    own_entry(path.parent)
    assert "model_folders" not in for_folder(SCENE, path, path.parents[1] / "out" / "proposal.yaml")


def test_other_entries_of_the_same_names_are_refused_before_the_search(
    path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    own_entry(path.parent)
    own_entry(path.parents[1] / "out", 8)
    path.write_text(SCENE.replace("[ceiling-infrared-general]", "[mine]"), encoding="utf-8")
    monkeypatch.setattr(placing, "place", None)  # no search is begun
    new = path.parents[1] / "out" / "proposal.yaml"
    assert run("place", str(path), "-o", str(new)) == 2
    told = capsys.readouterr().err
    assert "[cannot-move]" in told
    assert 'the detector "mine" is already in' in told
    assert f"write it beside the scene, in {path.parent}" in told
    assert not new.exists()


@pytest.mark.parametrize(
    ("keys", "code"),
    [
        ("model_folders: [../office]\nallow_folders: []", "outside-folder"),
        ("model_folders: [nowhere]", "missing-folder"),
        ("model_folders: [scene.yaml]", "missing-folder"),
    ],
)
def test_folders_of_models_that_may_not_or_cannot_be_read(path: Path, keys: str, code: str) -> None:
    path.write_text(f"raycover: 1\n{keys}\n", encoding="utf-8")
    with pytest.raises(InputError) as caught:
        raycover.load(path)
    (problem,) = caught.value.problems
    assert problem.code == code
    assert problem.position.line == 2
    assert problem.help
