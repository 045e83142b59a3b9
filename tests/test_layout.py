"""The code keeps its shape: one home for each outside library, modules that stay small, a top level as agreed."""

from __future__ import annotations

import ast
import statistics
import subprocess
from functools import cache
from pathlib import Path

import pytest
from processes import LONGEST

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "raycover"

#: Libraries that only some places may know, so that another could take their part.
HOMES = {
    "pyvista": ("draw/view3d/",),
    "vtkmodules": ("draw/view3d/", "exchange/image_data.py", "exchange/surface_data.py", "exchange/walk_maps.py"),
    "embreex": ("rays/tracers.py",),
    "trimesh": ("rays/tracers.py", "building/mesh_files.py"),
    "typer": ("cli/",),
    "rich": ("cli/",),
    "matplotlib": ("draw/",),
    "yaml": ("scene/",),
    "mapbox_earcut": ("building/mesh.py",),
    "ifcopenshell": ("importing/",),
    "ezdxf": ("importing/", "draw/dxf.py"),
    "pptx": ("exchange/slides.py",),
    "pypdfium2": ("underlay.py",),
    "distributed": ("sweeping/cluster.py",),
    "numba": ("physics/fused.py",),
    "jinja2": ("report/html.py",),
    "typst": ("report/pdf.py",),
    "fontTools": ("report/html.py",),
}


@cache
def imports(path: Path) -> frozenset[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            found.add(node.module.split(".")[0])
    return frozenset(found)


@pytest.mark.parametrize("library", HOMES)
def test_one_home(library: str) -> None:
    users = [p.relative_to(PACKAGE).as_posix() for p in PACKAGE.rglob("*.py") if library in imports(p)]
    assert users, f"nothing uses {library} any more: take it out of this list"
    assert all(user.startswith(HOMES[library]) for user in users), users


def test_modules_stay_small() -> None:
    lengths = {p: len(p.read_text(encoding="utf-8").splitlines()) for p in PACKAGE.rglob("*.py")}
    assert statistics.median(lengths.values()) <= 200
    assert not {str(p): n for p, n in lengths.items() if n > 600}


def test_top_level() -> None:
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, timeout=LONGEST)
    if listed.returncode or not listed.stdout:
        pytest.skip("not a git checkout")
    top = {line.split("/")[0] for line in listed.stdout.splitlines()}
    agreed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "raycover", "models", "tests", "examples", "LICENSE"}
    assert {name for name in top if not name.startswith(".")} == agreed
