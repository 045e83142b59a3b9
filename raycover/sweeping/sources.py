"""A scene as content: its text, the user's catalogue, the mesh files it needs. Solved alike on any machine."""

from __future__ import annotations

import hashlib
import json
import shutil
import threading
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from contextvars import ContextVar
from dataclasses import dataclass
from functools import cached_property, lru_cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any
from urllib.parse import unquote

import raycover
from raycover.catalogue import own_folders, packaged_folder
from raycover.errors import InputError, Position
from raycover.scene.paths import resolve, resolve_folder
from raycover.scene.reading import Document, read_source, read_text

#: Parts of a scene that name files and that no figure depends on.
UNUSED = ("underlay", "project")
#: Parts that name folders: what is needed of them goes along.
_FOLDERS = ("allow_folders", "model_folders")


@dataclass(frozen=True)
class Source:
    """One scene: `name` in messages, its text, and files by their place in a folder to be made.

    `catalogues` are the folders of the user's models in there, in the order they are read; `moved` says where a
    mesh file went that lay elsewhere than in the scene's own folder.
    """

    name: str
    text: str
    files: Mapping[str, bytes]
    catalogues: tuple[str, ...]
    moved: Mapping[str, str]

    @cached_property
    def digest(self) -> str:
        """Of everything in it but the text, which the rows' own data stands for."""
        parts = [self.catalogues, sorted(self.moved.items())]
        listed = [(name, hashlib.sha256(content).hexdigest()) for name, content in sorted(self.files.items())]
        return hashlib.sha256(json.dumps([*parts, listed]).encode()).hexdigest()

    @cached_property
    def document(self) -> Document:
        """The text as read."""
        return read_text(self.text, self.name)

    def settled(self, data: dict[str, Any]) -> dict[str, Any]:
        """A document's data as a row solves it: mesh files where the source has them, nothing that needs others."""
        kept = {key: value for key, value in data.items() if key not in (*UNUSED, *_FOLDERS)}
        if self.moved and isinstance(kept.get("meshes"), list):
            kept["meshes"] = [
                {**mesh, "file": self.moved.get(mesh["file"], mesh["file"])} if "file" in mesh else mesh
                for mesh in kept["meshes"]
            ]
        return kept


def read(path: Path, variants: Sequence[Mapping[str, Any]]) -> Source:
    """The source of a scene file; `variants` is what its document will say, for the files and folders named there.

    Raises InputError for files that cannot be read.
    """
    text = read_source(path)
    files: dict[str, bytes] = {}
    catalogues = []
    for index, folder in enumerate(own_folders(path.parent, _named_folders(path, variants))):
        catalogues.append(f"catalogue{index}")
        for found in sorted(p for p in folder.rglob("*") if p.suffix in (".yaml", ".yml") and p.is_file()):
            files[f"catalogue{index}/{found.relative_to(folder).as_posix()}"] = found.read_bytes()
    moved: dict[str, str] = {}
    said = {
        (str(mesh["file"]), tuple(data.get("allow_folders") or ()))
        for data in variants
        for mesh in data.get("meshes") or ()
        if isinstance(mesh, Mapping) and "file" in mesh
    }
    for file, allowed in sorted(said):
        _take(path, file, allowed, files, moved)
    return Source(str(path), text, files, tuple(catalogues), moved)


def _named_folders(path: Path, variants: Sequence[Mapping[str, Any]]) -> list[Path]:
    """Folders of the user's models that a scene names; one that cannot be read is left to the row that wants it."""
    found: list[Path] = []
    for data in variants:
        for folder in data.get("model_folders") or ():
            with suppress(InputError):
                allowed = tuple(data.get("allow_folders") or ())
                found.append(resolve_folder(path.parent, allowed, str(folder), Position(str(path))))
    return list(dict.fromkeys(found))


def _take(path: Path, file: str, allowed: Sequence[str], files: dict[str, bytes], moved: dict[str, str]) -> None:
    """Add a mesh file and the buffers that it names; one that cannot be found is left to the row that wants it."""
    try:
        found = resolve(path.parent, allowed, file, Position(str(path)))
    except InputError:
        return
    base = path.parent.resolve()
    if found.is_relative_to(base):
        place = found.relative_to(base).as_posix()
    else:
        place = f"elsewhere/{hashlib.sha256(str(found.parent).encode()).hexdigest()[:12]}/{found.name}"
    if place != file:
        moved[file] = place
    try:
        content = found.read_bytes()
        files[f"scene/{place}"] = content
        for buffer in _buffers(content) if found.suffix.lower() == ".gltf" else ():
            beside = found.parent / buffer
            if beside.is_file() and beside.resolve().is_relative_to(base if place == file else found.parent):
                files[f"scene/{(Path(place).parent / buffer).as_posix()}"] = beside.read_bytes()
    except OSError:
        return


def _buffers(content: bytes) -> list[str]:
    """Files beside a glTF that it reads."""
    try:
        listed = json.loads(content)["buffers"]
        return [unquote(buffer["uri"]) for buffer in listed if not str(buffer.get("uri", "data:")).startswith("data:")]
    except (ValueError, KeyError, TypeError, AttributeError):
        return []


#: Where sources lie unpacked, by their digests.
_PLACES: dict[str, Path] = {}
#: What this process made of it: removed when it ends.
_MADE: list[TemporaryDirectory[str]] = []
_LOCK = threading.Lock()
#: Where they are made; None: the system's folder for temporary files.
_WITHIN: ContextVar[Path | None] = ContextVar("within", default=None)


def unpacked(source: Source) -> tuple[Path, tuple[Path, ...]]:
    """The scene's folder and those of its catalogue: where `lying` said, else made once a process and gone with it."""
    with _LOCK:
        root = _PLACES.get(source.digest)
        if root is None or not root.is_dir():
            made = TemporaryDirectory(prefix="raycover-", dir=_WITHIN.get())
            _MADE.append(made)
            root = _PLACES[source.digest] = Path(made.name)
            for name, content in {**source.files, "scene/.here": b""}.items():
                target = root / name
                target.parent.mkdir(parents=True, exist_ok=True)
                target.write_bytes(content)
            for name in source.catalogues:
                (root / name).mkdir(exist_ok=True)
    return root / "scene", tuple(root / name for name in source.catalogues)


def places_of(sources: Sequence[Source]) -> dict[str, Path]:
    """Where sources lie unpacked here, by digest: for processes begun here, which may be ended before they tidy up."""
    return {source.digest: unpacked(source)[0].parent for source in sources}


@contextmanager
def unpacking_in(folder: Path) -> Iterator[None]:
    """Sources are unpacked in a folder that somebody else removes."""
    before = _WITHIN.set(folder)
    try:
        yield
    finally:
        _WITHIN.reset(before)


def lying(places: Mapping[str, Path]) -> None:
    """In a process begun by another: sources lie unpacked there, by their digests."""
    with _LOCK:
        _PLACES.update(places)


def removed_for_good(places: Mapping[str, Path]) -> None:
    """In a process about to end: its folders and what it made in their stead are gone, nothing is unpacked any more.

    Another that ends as well may have removed a folder first, and a row begun here since have made it anew.
    """
    _LOCK.acquire()
    for place in (*places.values(), *(Path(made.name) for made in _MADE)):
        shutil.rmtree(place, ignore_errors=True)


@lru_cache(maxsize=1)
def stamp() -> str:
    """This raycover: its version and the content of the catalogue that it brings."""
    content = hashlib.sha256()
    folder = packaged_folder()
    for path in sorted(folder.rglob("*.y*ml")):
        content.update(path.relative_to(folder).as_posix().encode() + b"\0" + path.read_bytes())
    return f"{raycover.__version__} {content.hexdigest()[:16]}"
