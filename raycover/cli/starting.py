"""Commands before there is a scene: new, doctor."""

from __future__ import annotations

import importlib.metadata
import json
import platform
from pathlib import Path
from typing import Any

from raycover.cli.printing import data, talk
from raycover.errors import InputError, MissingPart, Position, Problem, RaycoverError
from raycover.exchange.files import write_whole
from raycover.exchange.summary import stamp
from raycover.scene.json_schema import IDENTIFIER, scene_schema

#: What the starter's first line names, for editors; `new` writes it beside the scene.
SCHEMA_FILE = "raycover.schema.json"
STARTER = (
    f"# yaml-language-server: $schema={SCHEMA_FILE}\n"
    + """\
# A starter scene: one office with a partition, a desk row and two detectors. Lengths in metres.
# `raycover check` says what is wrong with it, `raycover map` draws it, `raycover view` opens a window.
raycover: 1
title: Starter office
conditions: {ambient_c: 20, reserve_db: 3}
grid: 0.1

rooms:
  - name: Office
    outline: [[0, 0], [9, 0], [9, 6], [0, 6]]     # corners at wall centre lines, in order
    height: 2.8
    walls: plasterboard-12.5                      # a name of the catalogue, none, or one an edge
    openings:
      - {edge: 0, at: 1.0, width: 0.9, height: 2.1, fill: door-wood-40, state: closed}
      - {edge: 2, at: 2.0, width: 5.0, height: 1.3, sill: 0.9, fill: double-glazing-6-16-6}

partitions:
  - name: Screen
    line: [[5.5, 2.0], [5.5, 6.0]]
    height: 2.8
    construction: stud-wall-100

desks:
  - {name: Desks, at: [1.2, 3.6], count: 2}

detectors:
  - {name: D1, model: ceiling-infrared-general, at: [2.8, 3.0], mounting: 2.8}
  - {name: D2, model: ceiling-infrared-general, at: [7.2, 3.6], mounting: 2.8}

planes:
  - {name: floor, height: 0}
  - {name: desk, height: 0.75, motion: presence}  # small movements of a seated person
"""
)


#: Libraries whose versions `doctor` shows, the optional ones last.
_SHOWN = (
    "numpy", "scipy", "trimesh", "shapely", "pyvista", "vtk", "matplotlib", "embreex", "ezdxf", "pypdfium2",
    "ifcopenshell", "python-pptx", "jinja2", "typst",
)  # fmt: skip


def new_scene(path: Path, *, force: bool) -> None:
    """Write the starter scene; never over a file that is there, unless forced."""
    if path.suffix not in (".yaml", ".yml"):
        raise InputError(
            [Problem("not-yaml", "a scene file ends in .yaml", Position(str(path)), f"name it {path.name}.yaml")]
        )
    if path.exists() and not force:
        hint = "choose another name, or overwrite it with --force"
        raise InputError([Problem("file-exists", "the file is already there", Position(str(path)), hint)])
    write_whole(path, STARTER)
    schema = path.with_name(SCHEMA_FILE)
    if not schema.exists() or IDENTIFIER in schema.read_text(encoding="utf-8", errors="replace"):
        write_whole(schema, schema_text())
    talk(f"Written {path}, and {schema.name} for editors. Next: raycover map {path} -o pictures")


def write_schema(output: Path | None) -> None:
    """Write the JSON Schema of scene files to a file, or print it."""
    if output is None:
        print(schema_text(), end="")
        return
    write_whole(output, schema_text())
    talk(f"Written {output}. A scene beside it may begin: # yaml-language-server: $schema={output.name}")


def schema_text() -> str:
    """The JSON Schema with the names of the catalogue to complete."""
    from raycover.catalogue import load_catalogue

    catalogue = load_catalogue()
    names = {kind: sorted(getattr(catalogue, kind)) for kind in ("constructions", "materials", "solids", "detectors")}
    # In ASCII, so that it reads alike whatever the terminal or editor takes files for.
    return json.dumps(scene_schema(names), indent=1) + "\n"


def doctor(*, as_json: bool) -> None:
    """Versions, ray tracer, catalogue, and whether 3D pictures can be drawn."""
    from raycover.catalogue import load_catalogue, packaged_folder
    from raycover.draw.view3d import display_report
    from raycover.rays.tracers import SLOW_WARNING, default_backend

    found: dict[str, Any] = {**stamp(), "python": platform.python_version(), "machine": platform.machine()}
    found["libraries"] = {name: importlib.metadata.version(name) for name in _SHOWN if _installed(name)}
    found["backend"] = default_backend()
    found["catalogue"] = str(packaged_folder())
    try:
        catalogue = load_catalogue()
        found["entries"] = {
            "detectors": len(catalogue.detectors),
            "constructions": len(catalogue.constructions),
            "materials": len(catalogue.materials),
        }
    except RaycoverError as error:
        found["entries"] = {}
        found["catalogue_problem"] = str(error)
    try:
        found["pictures_3d"] = display_report()
    except MissingPart as error:
        found["pictures_3d"] = f"missing: {error}"
    if as_json:
        data(found)
        return
    print(f"raycover {found['raycover']} on Python {found['python']}, {found['machine']}")
    print("libraries: " + ", ".join(f"{k} {v}" for k, v in found["libraries"].items()))
    print(f"rays: {found['backend']}" + ("" if found["backend"] == "embree" else f" ({SLOW_WARNING})"))
    counted = ", ".join(f"{n} {kind}" for kind, n in found["entries"].items())
    print(f"catalogue: {found['catalogue']}" + (f" ({counted})" if counted else ""))
    if "catalogue_problem" in found:
        print(found["catalogue_problem"])
    print(f"3D pictures: {found['pictures_3d']}")


def _installed(name: str) -> bool:
    try:
        importlib.metadata.version(name)
    except importlib.metadata.PackageNotFoundError:
        return False
    return True
