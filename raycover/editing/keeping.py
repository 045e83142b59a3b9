"""A scene file kept up with its detectors: what changed at them goes into it, all else stays byte for byte."""

from __future__ import annotations

import copy
import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from raycover.editing.mentions import Mention, lists_to_write
from raycover.errors import InputError, Position, Problem
from raycover.loading import load, load_text
from raycover.scene.devices import DetectorSpec
from raycover.scene.reading import read_text
from raycover.scene.schema import Scene
from raycover.scene.splicing import drop, put, spliced
from raycover.whole_file import write_whole

#: What keys of a detector are where a file does not say; None for those that it must.
_USUAL = {
    key: None if field.is_required() else field.get_default(call_default_factory=True)
    for key, field in DetectorSpec.model_fields.items()
}


class SceneFile:
    """A scene file as it was when it was read, so that what somebody else writes meanwhile is never lost."""

    def __init__(self, path: Path) -> None:
        """Reads and loads; raises InputError with everything wrong."""
        self.path = path
        # Before it is loaded: what is written in between counts as a change.
        self._content = path.read_bytes() if path.is_file() else b""
        self.scene = load(path)

    def save(self, detectors: Sequence[DetectorSpec], mentions: tuple[Mention, ...] = ()) -> Scene:
        """Write the detectors into the file, known again by name: what changed at them, new ones, those gone.

        `mentions` are lists of their names that may have changed, too.

        The scene as it then reads is returned. The file is there whole, or as it was. Raises InputError where it has
        changed since it was read, cannot be written, or would no longer be sound.
        """
        self._unchanged()
        text = self._content.decode("utf-8")
        for wanted in self._steps(detectors):
            data = copy.deepcopy(read_text(text, str(self.path)).data)
            put(data, ("detectors",), self._entries(data.get("detectors") or [], wanted))
            if not wanted:
                drop(data, ("detectors",))
            for entry, names in lists_to_write(data, mentions):
                put(entry, ("detectors",), names)
            text = spliced(text, data, str(self.path))
        scene = load_text(text, str(self.path), self.path.parent)
        self._unchanged()
        content = text.encode("utf-8")
        self._write(content)
        self.scene, self._content = scene, content
        return scene

    def _steps(self, detectors: Sequence[DetectorSpec]) -> list[Sequence[DetectorSpec]]:
        """Those that stay first: what is new must not come onto the lines, and the comments, of one that is gone."""
        known = {spec.name for spec in self.scene.detectors}
        staying = [spec for spec in detectors if spec.name in known]
        return [staying, detectors] if staying and len(staying) < len(detectors) else [detectors]

    def _entries(self, entries: list[dict[str, Any]], detectors: Sequence[DetectorSpec]) -> list[dict[str, Any]]:
        """The file's entries of detectors, as they now are and in their order."""
        known = {spec.name: spec for spec in self.scene.detectors}
        written = {entry["name"]: entry for entry in entries}
        found = []
        for spec in detectors:
            entry = written.get(spec.name, {"name": spec.name})
            before = known[spec.name] if spec.name in written else spec.model_copy(update=_USUAL)
            for key in DetectorSpec.model_fields:
                value = getattr(spec, key)
                if value == getattr(before, key):
                    continue
                if value in (None, [], ""):
                    drop(entry, (key,))
                else:
                    put(entry, (key,), _plain(value))
            found.append(entry)
        return found

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


def _plain(value: Any) -> Any:
    """A key's value as a file says it."""
    if hasattr(value, "model_dump"):
        return value.model_dump(mode="json", by_alias=True, exclude_unset=True)
    if isinstance(value, (list, tuple)):
        return [_plain(entry) for entry in value]
    return value
