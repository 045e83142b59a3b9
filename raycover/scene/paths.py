"""Files that a scene names: only those within its own folder and the folders it allows.

A scene that somebody sends must not make this program read whatever lies elsewhere on the disk. Links are
followed before the place is judged.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from raycover.errors import InputError, Position, Problem, nearest_file


def resolve(scene_folder: Path | None, allowed: Sequence[str], text: str, position: Position) -> Path:
    """The file that `text` names, relative to the scene's folder unless absolute.

    `allowed` are further folders (relative to the scene's, or absolute) in which it may lie. Raises InputError
    at `position` for a place outside all of them, and for a file that is missing or a folder.
    """
    path, kind = _allowed(scene_folder, allowed, text, position)
    if kind == "file":
        return path
    what = f'"{text}" is a folder' if kind == "folder" else f'there is no file "{text}"'
    raise InputError([Problem("missing-file", what, position, _others(path))])


def resolve_folder(scene_folder: Path | None, allowed: Sequence[str], text: str, position: Position) -> Path:
    """As `resolve`, for a folder."""
    path, kind = _allowed(scene_folder, allowed, text, position)
    if kind == "folder":
        return path
    what = f'"{text}" is a file' if kind == "file" else f'there is no folder "{text}"'
    raise InputError([Problem("missing-folder", what, position, "name a folder, relative to the scene's")])


def _allowed(scene_folder: Path | None, allowed: Sequence[str], text: str, position: Position) -> tuple[Path, str]:
    """A place that a scene may name, and whether it is a file, a folder or nothing."""
    base = (Path.cwd() if scene_folder is None else scene_folder).resolve()
    try:
        path = (base / text).resolve()
        folders = [base, *((base / folder).resolve() for folder in allowed)]
        within = any(path.is_relative_to(folder) for folder in folders)
        kind = "file" if path.is_file() else "folder" if path.exists() else "nothing"
    except (OSError, ValueError, RuntimeError) as error:  # a NUL, a name too long, a ring of links
        hint = "write a file's name relative to the scene's folder"
        raise InputError([Problem("bad-path", f'"{text}" is no path: {error}', position, hint)]) from None
    if not within:
        raise InputError(
            [
                Problem(
                    "outside-folder",
                    f'"{text}" lies outside the scene\'s folder',
                    position,
                    "copy it beside the scene, or name its folder in allow_folders: [...]",
                )
            ]
        )
    return path, kind


def _others(path: Path) -> str:
    """What was probably meant: a file of a like name, or what else stands there."""
    folder = path if path.is_dir() else path.parent
    try:
        names = sorted(entry.name for entry in folder.iterdir() if entry.is_file() and not entry.name.startswith("."))
    except OSError:
        return f"the folder {folder} does not exist"
    near = nearest_file(path.name, names)
    if near is not None:
        return f'did you mean "{near}"?'
    alike = [name for name in names if name.endswith(path.suffix)] if path.suffix else []
    names = alike or names
    return (
        f"files in {folder}: " + ", ".join(names[:20]) + (", …" if len(names) > 20 else "")
        if names
        else (f"the folder {folder} holds no file")
    )
