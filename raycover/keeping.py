"""A scene file kept up with its detectors: their new places go into it, all else stays byte for byte."""

from __future__ import annotations

import copy
import os
from collections.abc import Sequence
from pathlib import Path

from raycover.errors import InputError, Position, Problem
from raycover.loading import load, load_text
from raycover.scene.devices import DetectorSpec
from raycover.scene.reading import read_text
from raycover.scene.schema import Scene
from raycover.scene.splicing import put, spliced
from raycover.whole_file import write_whole

#: What of a detector is kept.
KEYS = ("at", "mounting", "turn_deg", "tilt_deg")


class SceneFile:
    """A scene file as it was when it was read, so that what somebody else writes meanwhile is never lost."""

    def __init__(self, path: Path) -> None:
        """Reads and loads; raises InputError with everything wrong."""
        self.path = path
        # Before it is loaded: what is written in between counts as a change.
        self._content = path.read_bytes() if path.is_file() else b""
        self.scene = load(path)

    def save(self, detectors: Sequence[DetectorSpec]) -> Scene:
        """Write the detectors' places, heights, turns and tilts into the file; the scene as it then reads.

        The file is there whole, or as it was. Raises InputError where it has changed since it was read, cannot be
        written, or would no longer be sound.
        """
        self._unchanged()
        text = self._content.decode("utf-8")
        data = copy.deepcopy(read_text(text, str(self.path)).data)
        for index, (old, new) in enumerate(zip(self.scene.detectors, detectors, strict=True)):
            for key in KEYS:
                value = getattr(new, key)
                if value != getattr(old, key):
                    put(data, ("detectors", index, key), list(value) if key == "at" else value)
        text = spliced(text, data, str(self.path))
        scene = load_text(text, str(self.path), self.path.parent)
        self._unchanged()
        content = text.encode("utf-8")
        self._write(content)
        self.scene, self._content = scene, content
        return scene

    def _unchanged(self) -> None:
        try:
            now = self.path.read_bytes()
        except OSError as error:
            raise self._refused("cannot-read", f"it cannot be read any more: {error.strerror or error}") from None
        if now != self._content:
            raise self._refused("changed-meanwhile", "the file has changed on disk since it was opened")

    def _write(self, content: bytes) -> None:
        # A link stays a link: what it points to is written.
        target = Path(os.path.realpath(self.path))
        try:
            if not os.access(target, os.W_OK):
                raise PermissionError(13, "Permission denied")
            write_whole(target, content, like=target)
        except OSError as error:
            raise self._refused("cannot-write", f"it cannot be written: {error.strerror or error}") from None

    def _refused(self, code: str, why: str) -> InputError:
        hint = "nothing is lost: note the new places, open the file again and enter them"
        return InputError([Problem(code, f"not saved, {why}", Position(str(self.path)), hint)])
