"""The code that answers hang on is in their keys."""

from __future__ import annotations

import shutil
import tomllib
from pathlib import Path

import pytest

import raycover
from raycover.solving.kept import digests

ROOT = Path(raycover.__file__).parent


def test_code_that_is_no_part_of_a_key_lies_above_whatever_casts() -> None:
    """The layers of pyproject.toml, which the gate holds: what is left out of a key cannot be imported below."""
    told = tomllib.loads((ROOT.parent / "pyproject.toml").read_text())["tool"]["importlinter"]["contracts"][0]["layers"]
    layers = [[name.strip().removeprefix("raycover.") for name in layer.split("|")] for layer in told]
    place = {name: depth for depth, layer in enumerate(layers) for name in layer}
    assert all(place[name] < place["solving"] for name in digests.APART)
    assert all(place[name] < place["proving"] for name in digests.APART)


@pytest.mark.parametrize(
    "name", ["solving/casting.py", "physics/slab/fields.py", "walking/people.py", "building/parts.py"]
)
def test_another_byte_of_code_is_another_key(name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = digests.physics()
    shutil.copytree(ROOT, tmp_path / "raycover", ignore=shutil.ignore_patterns("*.pyc", "*.js", "models"))
    monkeypatch.setattr(raycover, "__file__", str(tmp_path / "raycover" / "__init__.py"))
    digests.physics.cache_clear()
    assert digests.physics() == before
    for changed, other in (("draw/plan.py", False), (name, True)):
        with (tmp_path / "raycover" / changed).open("a") as file:
            file.write("#")
        digests.physics.cache_clear()
        assert (digests.physics() != before) is other
    monkeypatch.undo()
    digests.physics.cache_clear()


def test_another_version_of_a_library_is_another_key(monkeypatch: pytest.MonkeyPatch) -> None:
    before = digests.physics()
    monkeypatch.setattr(digests, "_version", lambda _: "9.9")
    digests.physics.cache_clear()
    assert digests.physics() != before
    monkeypatch.undo()
    digests.physics.cache_clear()
    assert digests.physics() == before
