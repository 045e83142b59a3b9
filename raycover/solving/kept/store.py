"""Arrays in a folder, a file each, by the digest of everything they depend on.

A file is there whole or not at all, and carries its own key and checksum: one that is torn, changed or of another
format is as good as none, and is replaced. Nothing in a file is ever run: it holds numbers alone. Any number of
processes may read, write and throw away at once. What cannot be written is done without.
"""

from __future__ import annotations

import atexit
import hashlib
import json
import math
import os
import struct
import threading
import time
from collections.abc import Iterator, Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from raycover.solving.kept.folder import named_folder
from raycover.whole_file import DRAFT, write_whole

Arrays = Mapping[str, NDArray[Any]]
#: A folder is kept below this (bytes); the least recently used goes first, down to a share of it.
LIMIT, _LEFT = 500_000_000, 0.8
#: Files of this format: its number stands in the folder's name and in each file.
_FORMAT = 1
_MAGIC = b"raycover kept %d\n" % _FORMAT
_ENDING = ".kept"
#: A file takes whole blocks of this size (bytes) on a disk.
_BLOCK = 4096
#: Used again within this (s), a file need not be marked again; a draft older than that was left behind.
_RECENT = 3600.0
#: So much (bytes) is written before it is told to the others.
_TELL = 8_000_000
_KINDS = frozenset("bifu")
#: Where more than one in so many of an array is −inf, only which they are is written down.
_SPARSE = 16


class Store:
    """A folder of kept arrays. `trouble` says why nothing more is written to it, None where all is well."""

    def __init__(self, folder: Path, limit: int = LIMIT) -> None:
        self.folder = folder
        self.limit = limit
        self.trouble: str | None = None
        self._root = folder / f"v{_FORMAT}"
        self._written = 0
        self._lock = threading.Lock()

    def path(self, key: bytes) -> Path:
        """The file of a key (32 bytes)."""
        name = key.hex()
        return self._root / name[:2] / f"{name[2:]}{_ENDING}"

    def get(self, key: bytes) -> dict[str, NDArray[Any]] | None:
        """What was kept under a key, arrays of the caller's own; None where it is not there, not whole, or foreign."""
        path = self.path(key)
        try:
            with open(path, "rb") as file:
                about = os.fstat(file.fileno())
                content = bytearray(about.st_size)
                if file.readinto(content) != len(content):
                    return None
            found = _unpacked(key, content)
            if found is not None and time.time() - about.st_mtime > _RECENT:
                os.utime(path)
            return found
        except OSError:
            return None

    def put(self, key: bytes, arrays: Arrays) -> None:
        """Keep arrays of numbers under a key. Where they cannot be written nothing happens but a note in `trouble`."""
        if self.trouble is not None:
            return
        content, path = _packed(key, arrays), self.path(key)
        try:
            try:
                write_whole(path, content, private=True)
            except FileNotFoundError:
                self._make(path.parent)
                write_whole(path, content, private=True)
        except OSError as error:
            self.trouble = error.strerror or str(error)
            return
        with self._lock:
            self._written += _blocks(len(content))
            enough = self._written >= _TELL
        if enough:
            self.tell()

    def tell(self) -> None:
        """Add what was written to the folder's account, and throw away what is too much."""
        with self._lock:
            written, self._written = self._written, 0
        if not written:
            return
        try:
            flags = os.O_WRONLY | os.O_APPEND | os.O_CREAT
            with os.fdopen(os.open(self._account, flags, 0o600), "ab") as file:
                file.write(b"%d\n" % written)
            if self._accounted() > self.limit:
                self.tidy()
        except OSError as error:
            self.trouble = error.strerror or str(error)

    def tidy(self) -> None:
        """Throw away what was used longest ago until the folder is well below its limit; count it anew.

        Safe while others read and write: what they miss they work out again.
        """
        files = sorted(self._files(), key=lambda entry: entry[1])
        total = sum(size for _, _, size in files)
        for path, _, size in files:
            if total <= self.limit * _LEFT:
                break
            _remove(path)
            total -= size
        for draft in self._root.glob(f"*/{DRAFT}*"):
            if _age(draft) > _RECENT:
                _remove(draft)
        write_whole(self._account, b"%d\n" % total, private=True)

    def size(self) -> tuple[int, int]:
        """How many answers are kept, and how much room they take (bytes)."""
        sizes = [size for _, _, size in self._files()]
        return len(sizes), sum(sizes)

    def empty(self) -> None:
        """Throw everything away; other files in the folder stay."""
        for path, _, _ in list(self._files()):
            _remove(path)
        for other in (*self._root.glob(f"*/{DRAFT}*"), self._account, self._root / _TAG):
            _remove(other)
        for folder in (*self._root.glob("[0-9a-f][0-9a-f]"), self._root):
            try:
                folder.rmdir()
            except OSError:
                continue

    @property
    def _account(self) -> Path:
        return self._root / "written"

    def _accounted(self) -> float:
        try:
            return sum(map(int, self._account.read_bytes().split()))
        except ValueError:  # damaged: count anew
            return float("inf")

    def _files(self) -> Iterator[tuple[Path, float, int]]:
        """Every file with when it was used last and the room that it takes."""
        for path in self._root.glob(f"[0-9a-f][0-9a-f]/*{_ENDING}"):
            try:
                about = path.stat()
            except OSError:
                continue
            yield path, about.st_mtime, _blocks(about.st_size)

    def _make(self, folder: Path) -> None:
        if not self._root.is_dir():
            self._root.mkdir(mode=0o700, parents=True, exist_ok=True)
            write_whole(self._root / _TAG, _TAG_TEXT, private=True)
        folder.mkdir(mode=0o700, exist_ok=True)


#: Tells programs that make backups to pass a folder by (bford.info/cachedir).
_TAG = "CACHEDIR.TAG"
_TAG_TEXT = b"Signature: 8a477f597d28d172789f06886806bc55\n# What raycover worked out before; may be deleted.\n"


def active() -> Store | None:
    """The store in the folder that the environment names, None where nothing is kept."""
    folder = named_folder()
    return None if folder is None else _store(folder)


@lru_cache(maxsize=8)
def _store(folder: Path) -> Store:
    store = Store(folder)
    atexit.register(store.tell)
    return store


def _packed(key: bytes, arrays: Arrays) -> bytes:
    listed: dict[str, tuple[Any, ...]] = {}
    body: list[bytes] = []
    for name, array in arrays.items():
        gone = np.isneginf(array) if array.dtype.kind == "f" else np.zeros(0, bool)
        sparse = gone.sum() * _SPARSE > gone.size  # most of a margin is where nothing is seen
        listed[name] = array.dtype.str, array.shape, bool(sparse)
        body += [np.packbits(gone).tobytes(), array[~gone].tobytes()] if sparse else [array.tobytes()]
    head = json.dumps(listed).encode()
    content = b"".join([struct.pack("<I", len(head)), head, *body])
    return _MAGIC + key + _checksum(content) + content


def _unpacked(key: bytes, content: bytearray) -> dict[str, NDArray[Any]] | None:
    start = len(_MAGIC) + len(key)
    view = memoryview(content)
    if content[:start] != _MAGIC + key or content[start : start + 16] != _checksum(view[start + 16 :]):
        return None
    place = start + 20
    (length,) = struct.unpack_from("<I", content, start + 16)
    found: dict[str, NDArray[Any]] = {}

    def take(dtype: np.dtype[Any], n: int) -> NDArray[Any]:
        nonlocal place
        array = np.frombuffer(content, dtype, n, place) if n else np.empty(0, dtype)
        place += n * dtype.itemsize
        return array if array.flags.aligned else array.copy()

    try:
        listed = json.loads(content[place : place + length])
        place += length
        for name, (kind, shape, sparse) in listed.items():
            dtype, n = np.dtype(kind), math.prod(shape)
            if dtype.kind not in _KINDS:
                return None
            if sparse:
                there = ~np.unpackbits(take(np.dtype(np.uint8), -(-n // 8)), count=n).view(bool)
                array = np.full(n, -np.inf, dtype)
                array[there] = take(dtype, int(there.sum()))
            else:
                array = take(dtype, n)
            found[name] = array.reshape(shape)
    except (ValueError, TypeError, AttributeError):
        return None
    return found if place == len(content) else None


def _checksum(content: bytes | memoryview) -> bytes:
    return hashlib.blake2b(content, digest_size=16).digest()


def _blocks(size: int) -> int:
    return -(-size // _BLOCK) * _BLOCK


def _age(path: Path) -> float:
    try:
        return time.time() - path.stat().st_mtime
    except OSError:
        return 0.0


def _remove(path: Path) -> None:
    try:
        path.unlink()
    except OSError:  # somebody else did, or reads it just now
        return
