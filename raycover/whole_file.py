"""A file that is there whole or not at all: written beside its place, then put there in one step."""

from __future__ import annotations

import os
import shutil
import tempfile
from pathlib import Path

#: What drafts are called at first; one that a killed process left behind is known by it.
DRAFT = ".raycover-"


def write_whole(path: Path, data: bytes, *, like: Path | None = None, private: bool = False) -> None:
    """Write a file so that no reader ever sees half of it; with the mode of `like` if given, else a new file's.

    `private`: readable by its owner alone. Raises OSError where the folder cannot be written; nothing is left behind
    then.
    """
    handle, draft = tempfile.mkstemp(prefix=DRAFT, suffix=".part", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
        if like is not None:
            shutil.copymode(like, draft)
        elif not private:
            mask = os.umask(0)
            os.umask(mask)
            os.chmod(draft, 0o666 & ~mask)
        os.replace(draft, path)
    except BaseException:
        Path(draft).unlink(missing_ok=True)
        raise
