"""`load`: a scene file and the catalogue become a checked Scene, or one InputError with everything wrong."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from raycover.catalogue import load_catalogue
from raycover.detector_checks import check_detectors
from raycover.errors import InputError, Problem, did_you_mean
from raycover.need_sets import expand
from raycover.scene.checks import check_scene
from raycover.scene.opening_fit import misfits
from raycover.scene.paths import resolve_folder
from raycover.scene.reading import Document, read_text, read_yaml
from raycover.scene.salvage import Salvaged, read_or_salvage
from raycover.scene.schema import Places, Scene
from raycover.scene.stating import apply_state, state_problems
from raycover.scene.varying import Change, varied


def load(path: str | Path, *, state: str | None = None) -> Scene:
    """Read, validate and cross-check a scene file; in one of its states if `state` names one.

    Raises InputError holding every problem found, each with file, line and column. Warnings stay with the
    scene (`scene.warnings`).
    """
    path = Path(path)
    problems: list[Problem] = []
    document = read_yaml(path, problems=problems)
    scene = _finish(document, problems, path.parent)
    return scene if state is None else in_state(scene, state)


def load_text(text: str, name: str = "scene.yaml", folder: Path | None = None) -> Scene:
    """As `load`, from text; `folder` is where a `models/` of the user's own would stand."""
    problems: list[Problem] = []
    document = read_text(text, name, problems=problems)
    return _finish(document, problems, folder)


def load_changed(document: Document, data: dict[str, Any], folder: Path | None = None) -> Scene:
    """As `load`, from a document whose values have become `data`: checked as if the file said so.

    Problems stand where the values stood, those of new values at the nearest place that was written.
    """
    return _finish(replace(document, data=data), [], folder)


def _finish(document: Document, problems: list[Problem], folder: Path | None) -> Scene:
    read, wrong = read_or_salvage(document, problems)
    scene, written = (read.scene, read) if isinstance(read, Salvaged) else (read, document)
    more, missing = _model_folders(scene, written, folder)
    catalogue = load_catalogue(folder, more)
    if scene.corrections is not None:
        catalogue = catalogue.corrected(scene.corrections.loss_db)
    scene, places, of_sets = expand(scene, written, folder, more)
    scene.attach(places, catalogue, folder=folder)
    found = [*missing, *of_sets, *check_scene(scene, catalogue), *check_detectors(scene), *state_problems(scene)]
    if scene.underlay is not None:
        from raycover.underlay import check_underlay

        found += check_underlay(scene)
    if scene.project is not None:
        from raycover.letterhead import check_project

        found += check_project(scene)
    if isinstance(read, Salvaged):
        told = {problem.position for problem in wrong}
        also = [p for p in (*found, *_unbuildable(scene)) if read.keeps(p) and p.position not in told]
        raise InputError([*wrong, *also])
    errors = [p for p in found if p.severity == "error"]
    if not errors:
        errors = [p for index in range(len(scene.states)) for p in _in_state(scene, index, found)[1]]
    if errors:
        raise InputError([*errors, *_unbuildable(scene)])
    scene.attach(places, catalogue, [p for p in found if p.severity != "error"], folder)
    return scene


def _model_folders(scene: Scene, written: Places, folder: Path | None) -> tuple[list[Path], list[Problem]]:
    """Folders of the user's entries that a scene names, and what is wrong with them."""
    found: list[Path] = []
    problems: list[Problem] = []
    for index, text in enumerate(scene.model_folders):
        try:
            found.append(resolve_folder(folder, scene.allow_folders, text, written.position(("model_folders", index))))
        except InputError as error:
            problems += error.problems
    return found, problems


def _unbuildable(scene: Scene) -> list[Problem]:
    """Mesh files that are not there, openings larger than their walls: the building would say so, once it came to be
    built."""
    missing: list[Problem] = list(misfits(scene))
    for index, mesh in enumerate(scene.meshes):
        try:
            scene.file(mesh.file, "meshes", index, "file")
        except InputError as error:
            missing += error.problems
    return missing


def in_state(scene: Scene, name: str) -> Scene:
    """A loaded scene in one of its states, its own name for the drawn one included: a new Scene.

    Its warnings are those that the scene as drawn has not. Raises InputError for a name that no state has.
    """
    if scene.state != scene.state_name:
        raise ValueError("the scene is in a state already: start from the scene as loaded")
    if name not in scene.state_names:
        hint = did_you_mean(name, scene.state_names)
        raise InputError([Problem("unknown-state", f'no state is named "{name}"', scene.position("states"), hint)])
    if name == scene.state_name:
        return scene
    return _in_state(scene, scene.state_names.index(name) - 1, scene.warnings)[0]


def _in_state(scene: Scene, index: int, known: Sequence[Problem]) -> tuple[Scene, list[Problem]]:
    """The scene in a state, and what is wrong with it in that state; warnings that are not `known` stay with it."""
    changed = apply_state(scene, index)
    fresh = [p for p in (*check_scene(changed, scene.catalogue), *check_detectors(changed)) if p not in known]
    told = [told_in_state(p, changed.state) for p in fresh]
    changed.warn([p for p in told if p.severity != "error"])
    return changed, [p for p in told if p.severity == "error"]


def told_in_state(problem: Problem, state: str) -> Problem:
    """A problem with the words that it shows in a state."""
    return replace(problem, message=f'in state "{state}": {problem.message}')


def check_changed(scene: Scene, changes: Sequence[Change], detectors: Collection[str]) -> None:
    """Raises InputError with everything that changes of some detectors make wrong, each said once with its change."""
    known = {(p.code, p.position) for p in scene.warnings}
    found: dict[tuple[str, object], Problem] = {}
    for change in changes:
        changed = varied(scene, change, detectors)
        for problem in (*check_scene(changed, scene.catalogue), *check_detectors(changed)):
            key = problem.code, problem.position
            if problem.severity == "error" and key not in known:
                found.setdefault(key, replace(problem, message=f"with {change.words()}: {problem.message}"))
    if found:
        raise InputError(list(found.values()))
