"""A scene's text for another folder: the files that it names are the same ones, seen from there."""

from __future__ import annotations

import copy
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from raycover.scene.reading import read_text
from raycover.scene.splicing import spliced


def moved_text(text: str, name: str, old: Path, new: Path, *, models: bool = False) -> str:
    """The text of a scene that stands in folder `old`, so that it reads the same files from folder `new`.

    Relative names of files and folders are written anew, and `old` joins `allow_folders`: what a file names in turn is
    found too, and but for `new` nothing may be read that might not be before. In the same folder, and where no file is
    named, the text stays as it is. `models`: `models/` in `old` joins `model_folders`. `name` stands for the file in
    messages. Raises InputError as `spliced` does.
    """
    old, new = old.resolve(), new.resolve()
    if old == new:
        return text
    data = copy.deepcopy(read_text(text.removeprefix("\ufeff"), name).data)
    named = [(owner, key, (old / owner[key]).resolve()) for owner, key in _files(data)]
    mine = [*(data.get("model_folders") or []), *(["models"] if models else [])]
    own = [(said, (old / said).resolve()) for said in dict.fromkeys(mine)]
    if not named and not own:
        return text
    folders = [(said, (old / said).resolve()) for said in data.get("allow_folders") or []]
    for owner, key, file in named:
        owner[key] = _seen_from(new, file, owner[key])
    if not any(old.is_relative_to(there) for there in (new, *(there for _, there in folders))):
        folders.append((".", old))
    for key, listed in (("allow_folders", folders), ("model_folders", own)):
        if listed:
            data[key] = [_seen_from(new, there, said) for said, there in listed]
    return spliced(text, data, name)


def _files(data: Any) -> Iterator[tuple[Any, str]]:
    """Where a scene's data name a file: the group and its key."""
    for mesh in data.get("meshes") or []:
        yield mesh, "file"
    for group, key in (("underlay", "file"), ("project", "logo")):
        if (data.get(group) or {}).get(key) is not None:
            yield data[group], key


def _seen_from(folder: Path, place: Path, said: str) -> str:
    """A place by its way from a folder, as schedules are sent about together; absolute ones stay absolute."""
    if Path(said).is_absolute():
        return said
    try:
        return Path(os.path.relpath(place, folder)).as_posix()
    except ValueError:  # another drive
        return place.as_posix()
