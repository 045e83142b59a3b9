"""Files that appear whole or not at all."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from raycover import whole_file
from raycover.errors import InputError, Position, Problem


def _cannot(path: Path, error: OSError) -> InputError:
    reason = error.strerror or str(error)
    return InputError(
        [Problem("cannot-write", f"cannot write: {reason}", Position(str(path)), "choose another place with -o")]
    )


@contextmanager
def whole_folder(folder: Path) -> Iterator[Path]:
    """A folder to write files in; they move into `folder` together when the block ends without an error.

    Raises InputError where the folder cannot be made or written.
    """
    made = [p for p in (folder, *folder.parents) if not p.exists()]
    try:
        folder.mkdir(parents=True, exist_ok=True)
        draft = Path(tempfile.mkdtemp(prefix=".raycover-", dir=folder))
    except OSError as error:
        _remove_empty(made)
        raise _cannot(folder, error) from error
    try:
        yield draft
        for path in sorted(draft.iterdir()):
            os.replace(path, folder / path.name)
    except OSError as error:
        raise _cannot(Path(error.filename or folder), error) from error
    finally:
        shutil.rmtree(draft, ignore_errors=True)
        _remove_empty(made)


def _remove_empty(made: list[Path]) -> None:
    """Take away folders made for nothing, the deepest first."""
    for path in made:
        try:
            path.rmdir()
        except OSError:
            return


def check_writable(folder: Path) -> None:
    """Raises InputError where no file could be written into a folder, before anything is worked out for it."""
    there = next(place for place in (folder.absolute(), *folder.absolute().parents) if place.exists())
    try:
        with tempfile.NamedTemporaryFile(prefix=".raycover-", dir=there) as draft:
            draft.write(b"\0")
    except OSError as error:
        raise _cannot(folder, error) from error


@contextmanager
def writing(path: Path) -> Iterator[None]:
    """Makes the folder of a file that the block writes. Raises InputError where either cannot be written."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        yield
    except OSError as error:
        raise _cannot(path, error) from error


def write_whole(path: Path, text: str) -> None:
    """Write a text file so that it is there whole or not at all. Raises InputError where it cannot."""
    write_bytes_whole(path, text.encode("utf-8"))


def write_bytes_whole(path: Path, content: bytes) -> None:
    """As `write_whole`, for any content."""
    with writing(path):
        whole_file.write_whole(path, content)
