"""The cache of answers as commands use it, and `raycover cache`: its size, and emptying it.

Asked before every command: nothing heavy is imported here.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path


def use(said: str | None) -> None:
    """Keep answers where `--cache` says, else RAYCOVER_CACHE, else in the user's cache folder.

    It stands in the environment, where the processes of a sweep find it.
    """
    from raycover.errors import option_error
    from raycover.solving.kept.folder import OFF, VARIABLE, default_folder

    if said is not None and not said.strip():
        raise option_error("--cache", "expects a folder, or off", "write --cache DIR, or --cache off")
    if said is not None and said != OFF:
        folder = Path(said).expanduser().absolute()
        there = next(path for path in (folder, *folder.parents) if path.exists())
        if not there.is_dir():
            raise option_error("--cache", f'"{there.name}" is a file', "write --cache DIR, or --cache off")
        said = str(folder)
    if said is not None:
        os.environ[VARIABLE] = said
    elif not os.environ.get(VARIABLE):
        os.environ[VARIABLE] = str(default_folder())


def say_trouble() -> None:
    """Say once that answers could not be kept, where that is so."""
    known = sys.modules.get("raycover.solving.kept.store")
    store = None if known is None else known.active()
    if store is not None and store.trouble is not None:
        from raycover.cli.printing import talk

        talk(f"Nothing was kept for the next run in {store.folder}: {store.trouble} (--cache DIR names another folder)")


def cache_command(*, empty: bool, as_json: bool) -> None:
    """Say where answers are kept and how much room they take; with `empty`, throw them away first."""
    from raycover.cli.printing import data, talk
    from raycover.exchange.summary import stamp
    from raycover.solving.kept.store import LIMIT, active

    store = active()
    if store is not None and empty:
        store.empty()
    n_answers, size = (0, 0) if store is None else store.size()
    if as_json:
        where = None if store is None else str(store.folder)
        data({**stamp(), "folder": where, "answers": n_answers, "bytes": size, "limit_bytes": LIMIT})
    elif store is None:
        talk("Nothing is kept: the cache is off.")
    else:
        print(f"{store.folder}: {n_answers:,} answers, {size / 1e6:.1f} MB of at most {LIMIT / 1e6:.0f} MB")
