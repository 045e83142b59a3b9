"""The README tells the truth: its scene runs, its commands exist, its set-up blocks stand first."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest
import yaml

import raycover
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


def test_the_scene_of_the_readme_runs_and_says_what_it_should() -> None:
    coverage = raycover.solve(raycover.load_text(blocks("yaml")[0]))
    assert list(coverage) == ["floor", "person"]
    assert coverage.share("person") > 0.7
    assert coverage["floor"].gaps


def test_the_pattern_of_the_readme_is_one() -> None:
    from raycover.scene.devices import PatternSpec

    PatternSpec.model_validate(yaml.safe_load(blocks("yaml")[1])["pattern"])


def test_every_key_of_a_scene_is_in_the_readme() -> None:
    from raycover.scene import quantities
    from raycover.scene.schema import Scene

    reserved = {
        name
        for name, field in Scene.model_fields.items()
        if any(getattr(m, "func", None) is quantities._not_built for m in field.metadata)
    }
    missing = [name for name in Scene.model_fields if name not in reserved | {"raycover"} and f"`{name}`" not in README]
    assert "needs" in reserved
    assert "rooms" not in reserved
    assert not missing


@pytest.mark.parametrize("command", sorted(set(re.findall(r"(?:`|\$ )raycover (\w+)", README))))
def test_commands_of_the_readme_exist(command: str) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "raycover.cli.main", command, "--help"], capture_output=True, text=True
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


def test_the_underlay_of_the_readme_is_one() -> None:
    from raycover.scene.received import UnderlaySpec

    text = next(block for block in blocks("yaml") if block.startswith("underlay:"))
    assert UnderlaySpec.model_validate(yaml.safe_load(text)["underlay"]).points
