"""The README tells the truth: its scene runs, its commands exist, its set-up blocks stand first."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest
import yaml
from processes import LONGEST

import raycover
import raycover.loading
from raycover.scene.storage import PRESETS

README = (Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8")


def blocks(language: str) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```", README, re.MULTILINE | re.DOTALL)


def test_the_first_two_bash_blocks_set_up() -> None:
    first, second = blocks("bash")[:2]
    assert "raycover map examples/depot/scene.yaml -o pictures" in first
    assert "'.[test]'" in second
    assert "pytest" in second
    assert "clone" not in first + second


def test_nothing_of_the_readme_stands_twice() -> None:
    headings = re.findall(r"^## .*$", README, re.M)
    paragraphs = [part for part in README.split("\n\n") if len(part) > 80]
    assert len(headings) == len(set(headings))
    assert len(paragraphs) == len(set(paragraphs))


def test_the_scene_of_the_readme_runs_and_says_what_it_should() -> None:
    coverage = raycover.solve(raycover.load_text(blocks("yaml")[0]))
    assert list(coverage) == ["floor", "person"]
    assert coverage.share("person") > 0.7
    assert coverage["floor"].gaps


def test_the_pattern_of_the_readme_is_one() -> None:
    from raycover.scene.devices import PatternSpec

    text = next(block for block in blocks("yaml") if block.lstrip().startswith("pattern:"))
    PatternSpec.model_validate(yaml.safe_load(text)["pattern"])


def test_the_dual_pattern_of_the_readme_is_one() -> None:
    from raycover.scene.devices import PatternSpec

    text = next(block for block in blocks("yaml") if "kind: dual" in block)
    assert [part.kind for part in PatternSpec.model_validate(yaml.safe_load(text)).parts] == ["infrared", "microwave"]


def test_every_key_of_a_scene_is_in_the_readme() -> None:
    from raycover.scene import quantities
    from raycover.scene.schema import Scene

    reserved = {
        name
        for name, field in Scene.model_fields.items()
        if any(getattr(m, "func", None) is quantities._not_built for m in field.metadata)
    }
    missing = [name for name in Scene.model_fields if name not in reserved | {"raycover"} and f"`{name}`" not in README]
    assert "rooms" not in reserved
    assert not missing


@pytest.mark.parametrize("command", sorted(set(re.findall(r"(?:`|\$ )raycover (\w+)", README))))
def test_commands_of_the_readme_exist(command: str) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "raycover.cli.main", command, "--help"], capture_output=True, text=True, timeout=LONGEST
    )
    assert done.returncode == 0, done.stderr


def test_python_example_runs(depot) -> None:  # type: ignore[no-untyped-def]
    code = blocks("python")[0]
    assert 'raycover.load("examples/depot/scene.yaml")' in code
    assert depot.coverage.share("floor") > 0.9


def test_the_racking_of_the_readme_stands() -> None:
    text = next(block for block in blocks("yaml") if "cantilever" in block)
    scene = raycover.load_text("raycover: 1\n" + text)
    assert [rack.kind for rack in scene.racking] == ["pallet", "pallet", "shelving", "cantilever"]


def test_the_presets_of_the_readme_are_the_ones_there_are() -> None:
    for name, preset in PRESETS.items():
        row = next(line for line in README.splitlines() if line.startswith(f"| `{name}` |"))
        keys = preset.keys
        assert f"{keys['levels']} × {keys['level_pitch']:g} m, {keys['flue_gap']:g} m" in row
        assert preset.duty.split(",")[0] in row
        assert all(f"{width:g}" in row for width in preset.aisle)


def test_the_states_of_the_readme_are_read() -> None:
    text = next(block for block in blocks("yaml") if block.startswith("state_name:"))
    scene = raycover.load_text(STATES_SCENE + text)
    assert scene.state_names == ("Dock doors closed", "Dock doors open", "Summer")
    changed = raycover.loading.in_state(scene, "Dock doors open")
    assert [o.state for o in changed.rooms[0].openings] == ["open", "open"]
    assert (changed.solids[0].base, [s.name for s in changed.solids]) == (6.0, ["Crane"])
    assert changed.racking[0].goods is False
    assert [(room.name, room.ambient_c) for room in changed.rooms] == [("Hall", None), ("Freezer", 4)]


STATES_SCENE = """\
raycover: 1
rooms:
  - name: Hall
    outline: [[0, 0], [40, 0], [40, 24], [0, 24]]
    height: 11
    walls: steel-panel
    openings: [{edge: 0, at: 2, width: 4, height: 4.5}, {edge: 0, at: 8, width: 4, height: 4.5}]
  - {name: Freezer, outline: [[40, 0], [52, 0], [52, 24], [40, 24]], height: 11, walls: steel-panel, ambient_c: -20}
solids:
  - {name: Crane, centre: [6, 12], size: [4, 20, 1], base: 8, material: metal}
  - {name: Lorry, centre: [4, 4], size: [2.5, 6, 4], material: metal}
racking: [{name: R2, at: [20, 4], bays: 4, levels: 3}]
cubicles: [{name: WC, at: [10, 23], turn_deg: 180, count: 4}]
"""


def test_the_needs_of_the_readme_are_read() -> None:
    from raycover.scene.needs import NeedSpec

    text = next(block for block in blocks("yaml") if block.startswith("needs:"))
    needs = [NeedSpec.model_validate(need) for need in yaml.safe_load(text)["needs"]]
    assert [need.where for need in needs] == ["cubicles", "stairs", "area", "desks", "area", "aisles", "doors_of"]
    assert [need.never for need in needs] == [False] * 4 + [True, False, False]


def test_the_sets_of_the_readme_are_those_there_are() -> None:
    from raycover.catalogue import load_need_sets
    from raycover.scene.needs import NeedSpec

    text = next(block for block in blocks("yaml") if "{set: washroom" in block)
    sets = load_need_sets()
    for need in yaml.safe_load(text)["needs"]:
        said = NeedSpec.model_validate(need)
        assert sets[said.set].needs_at("x", said)
    assert all(name in README.lower() for name in sets)


def test_every_key_of_a_need_is_in_the_readme() -> None:
    from raycover.scene.needs import NeedSpec

    section = README[README.index("**Needs.**") : README.index("**Checks.**")]
    assert not [key for key in NeedSpec.model_fields if not re.search(rf"\b{key}\b", section)]


def test_the_mesh_of_the_readme_is_one(tmp_path: Path) -> None:
    import trimesh

    from raycover.building.build import build

    text = next(block for block in blocks("yaml") if "machine.glb" in block)
    made = trimesh.Scene()
    for name in ("body 1", "left glass", "bolt"):
        made.add_geometry(trimesh.creation.box(), node_name=name, geom_name=name)
    (tmp_path / "machine.glb").write_bytes(made.export(file_type="glb"))
    building = build(raycover.load_text("raycover: 1\n" + text, folder=tmp_path))
    assert {o.name: o.made_of.name for o in building.objects} == {"M1/body 1": "metal", "M1/left glass": "glass-6"}
    assert not building.warnings


def test_the_underlay_of_the_readme_is_one() -> None:
    from raycover.scene.received import UnderlaySpec

    text = next(block for block in blocks("yaml") if block.startswith("underlay:"))
    assert UnderlaySpec.model_validate(yaml.safe_load(text)["underlay"]).points


def test_the_routes_of_the_readme_are_some() -> None:
    from raycover.scene.routes import Route

    text = next(block for block in blocks("yaml") if "\nroutes:" in block)
    drawn, found, stairs = (Route.model_validate(route) for route in yaml.safe_load(text)["routes"])
    assert drawn.pauses[0].seconds == 20
    assert found.to == "every desk"
    assert stairs.stairs == "S1"
