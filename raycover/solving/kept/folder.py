"""Where answers are kept, as the environment says it. Loads nothing heavy."""

from __future__ import annotations

import os
from functools import lru_cache
from pathlib import Path

#: Says where answers are kept: a folder, or `off`. Not set: off, but for commands.
VARIABLE = "RAYCOVER_CACHE"
OFF = "off"


def default_folder() -> Path:
    """Where the user's caches are by the platform's convention."""
    from platformdirs import user_cache_path

    return user_cache_path("raycover", appauthor=False)


def named_folder() -> Path | None:
    """The folder that the environment names, None where nothing is kept."""
    return _folder(os.environ.get(VARIABLE, OFF))


@lru_cache(maxsize=8)
def _folder(said: str) -> Path | None:
    return None if said in (OFF, "") else Path(said).expanduser().absolute()
