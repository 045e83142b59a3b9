"""`load`: a scene file and the catalogue become a checked Scene, or one InputError with everything wrong."""

from __future__ import annotations

from pathlib import Path

from raycover.catalogue import load_catalogue
from raycover.detectors import check_detectors
from raycover.errors import InputError, Problem
from raycover.scene.checks import check_scene
from raycover.scene.reading import Document, read_text, read_yaml
from raycover.scene.schema import Scene
from raycover.scene.validate import validate


def load(path: str | Path) -> Scene:
    """Read, validate and cross-check a scene file.

    Raises InputError holding every problem found, each with file, line and column. Warnings stay with the
    scene (`scene.warnings`).
    """
    path = Path(path)
    problems: list[Problem] = []
    document = read_yaml(path, problems=problems)
    return _finish(document, problems, path.parent)


def load_text(text: str, name: str = "scene.yaml", folder: Path | None = None) -> Scene:
    """As `load`, from text; `folder` is where a `models/` of the user's own would stand."""
    problems: list[Problem] = []
    document = read_text(text, name, problems=problems)
    return _finish(document, problems, folder)


def _finish(document: Document, problems: list[Problem], folder: Path | None) -> Scene:
    scene: Scene = validate(Scene, document, problems=problems)
    catalogue = load_catalogue(folder)
    scene.attach(document, catalogue, folder=folder)
    found = [*check_scene(scene, catalogue), *check_detectors(scene)]
    errors = [p for p in found if p.severity == "error"]
    if errors:
        raise InputError(errors)
    scene.attach(document, catalogue, [p for p in found if p.severity != "error"], folder)
    return scene
