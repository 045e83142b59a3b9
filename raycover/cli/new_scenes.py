"""A new scene file that a command writes: where it may be written, and the files it names seen from there."""

from __future__ import annotations

from pathlib import Path

from raycover.errors import InputError, Position, Problem
from raycover.loading import load_text
from raycover.scene.moving import moved_text
from raycover.scene.reading import read_source
from raycover.scene.schema import Scene


def check_target(path: Path, target: Path, *, force: bool) -> None:
    """Refuse a file that is not a scene's, that is there already, or from where the scene cannot be read.

    The scene itself is never overwritten. Called before anything is worked out that takes long.
    """
    if target.suffix not in (".yaml", ".yml"):
        raise _refused("not-yaml", "a scene file ends in .yaml", target, f"write {target.name}.yaml")
    if target.exists() and target.resolve() == path.resolve():
        raise _refused("same-file", "this is the scene itself", target, "give the new scene another name")
    if target.exists() and not force:
        raise _refused(
            "file-exists", "the file is already there", target, "choose another name, or write over it with --force"
        )
    for_folder(read_source(path), path, target)


def for_folder(text: str, path: Path, target: Path) -> str:
    """A scene's text as it is written to `target`: it reads the files that it reads from `path`.

    `models/` beside the scene is named in it where the scene needs that. Raises InputError where names would still mean
    something else: a `models/` beside `target` has entries of the same names.
    """
    old, new = path.absolute().parent, target.absolute().parent
    if new.resolve() == old.resolve():
        return text
    before = load_text(text.removeprefix("\ufeff"), str(path), path.parent)
    hint = f"write it beside the scene, in {old}"
    refused = InputError([])
    for models in (False, True) if (old / "models").is_dir() else (False,):
        try:
            moved = moved_text(text, str(target), old, new, models=models)
            after = load_text(moved.removeprefix("\ufeff"), str(target), target.parent)
        except InputError as error:
            found = Problem("cannot-move", "the scene cannot be read from this folder", Position(str(target)), hint)
            refused = InputError([found, *error.problems])
            continue
        if _meant(before) == _meant(after):
            return moved
        what = "names of the scene mean something else in this folder, by a models/ beside it or the scene"
        refused = _refused("cannot-move", what, target, hint)
    raise refused


def _meant(scene: Scene) -> tuple[object, ...]:
    """What a scene's names stand for."""
    offered = scene.placing.models or () if scene.placing is not None else ()
    models = {d.model for d in scene.detectors if d.model is not None} | set(offered)
    entries = [scene.catalogue.detectors[name] for name in sorted(models)]
    return entries, scene.needs, scene.constructions_used()


def _refused(code: str, message: str, path: Path, hint: str) -> InputError:
    return InputError([Problem(code, message, Position(str(path)), hint)])
