"""Rows of a sweep kept in a folder, a small file each: what was solved once is there after an interruption."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

from pydantic import TypeAdapter, ValidationError

from raycover.exchange.files import write_whole
from raycover.sweeping.rows import Figures

_FIGURES = TypeAdapter(Figures)


class KeptRows:
    """Figures by the key of their row. Files appear whole; one that is cut short or changed does not count."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def path(self, key: str) -> Path:
        """The file of a row."""
        return self.folder / f"{key[:32]}.json"

    def get(self, key: str) -> Figures | None:
        """A row's figures, or None where they are not there, not whole, or not of this row."""
        try:
            said = json.loads(self.path(key).read_text(encoding="utf-8"))
            figures = said["figures"]
            if said["key"] != key or said["sha256"] != _digest(figures):
                return None
            return _FIGURES.validate_python(figures)
        except (OSError, ValueError, KeyError, TypeError, ValidationError):
            return None

    def keep(self, key: str, figures: Figures) -> None:
        """Write a row's file. Raises InputError where it cannot be written; others stay as they are."""
        plain = _FIGURES.dump_python(figures, mode="json")
        said = {"key": key, "sha256": _digest(plain), "figures": plain}
        write_whole(self.path(key), json.dumps(said, ensure_ascii=False, allow_nan=False, indent=1) + "\n")

    def count(self) -> int:
        """How many files of rows there are, of whichever sweep."""
        return len(list(self.folder.glob("*.json"))) if self.folder.is_dir() else 0


def _digest(figures: object) -> str:
    return hashlib.sha256(json.dumps(figures, sort_keys=True).encode()).hexdigest()
