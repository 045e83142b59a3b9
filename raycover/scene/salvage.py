"""What is left of a scene file when what its schema refuses is taken out, so that the rest can be checked as well.

Somebody who made two slips hears of both at once. A slip that only follows from another must never be told: each
thing taken out makes some of what the checks say about the rest doubtful, and `Salvaged.keeps` sorts that out.
"""

from __future__ import annotations

import copy
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from pydantic import ValidationError

from raycover.errors import InputError, Position, Problem, nearest
from raycover.scene.reading import Document, Loc
from raycover.scene.schema import Scene
from raycover.scene.validate import validate

#: Said of one entry and the catalogue alone: true whatever else was taken out.
_BY_ITSELF = frozenset({
    "bad-logo", "bad-outline", "bad-path", "bad-underlay", "check-units", "missing-file", "no-such-edge", "not-for-set",
    "outside-folder", "repeated-point", "same-name", "unknown-construction", "unknown-material", "unknown-model",
    "unknown-set", "walls-count",
})  # fmt: skip
#: Said of an entry's own figures: true unless something was taken out of that very entry.
_BY_ITS_ENTRY = frozenset({
    "beam-too-high", "detector-above-ceiling", "frame-too-low", "load-off-beams", "load-too-high", "load-too-low",
    "load-too-wide", "loaded-twice", "loads-collide", "mask-too-large", "no-such-bay", "no-such-level", "no-such-row",
    "opening-outside-wall", "rack-too-shallow", "rooms-overlap", "seed-without-fill", "sensitivity-range",
    "shelf-too-thick",
})  # fmt: skip
_ROUNDS = 3


@dataclass(frozen=True)
class Salvaged:
    """A scene of what could be read. It knows where its values stood, and which problems of it are worth telling."""

    scene: Scene
    document: Document
    entries: dict[str, tuple[int, ...]]
    touched: tuple[tuple[int, int], ...]
    whole: bool

    def position(self, loc: Iterable[str | int], *, key: bool = False) -> Position:
        """Where the value at a place of the scene stood in the file."""
        at = tuple(loc)
        if len(at) > 1 and at[0] in self.entries and isinstance(at[1], int) and at[1] < len(self.entries[at[0]]):
            at = (at[0], self.entries[at[0]][at[1]], *at[2:])
        return self.document.position(at, key=key)

    def keeps(self, problem: Problem) -> bool:
        """Whether a problem of this scene is one of the file, and no consequence of what was taken out."""
        if problem.severity != "error":
            return False
        if problem.code in _BY_ITSELF:
            return True
        inside = any(first <= problem.position.line <= last for first, last in self.touched)
        if problem.code in _BY_ITS_ENTRY:
            return not inside
        return self.whole and (not inside or problem.code.startswith("unknown-"))


def respelt(document: Document) -> Document:
    """The document with keys at its top, where nobody else goes by that name, spelt as they are most likely meant."""
    known = list(Scene.model_fields)
    for key in [key for key in document.data if key not in known]:
        meant = nearest(key, known)
        if meant is not None and meant not in document.data:
            document = document.renamed(key, meant)
    return document


def salvage(document: Document) -> Salvaged | None:
    """What stays of a document that is no scene; None where nothing sound does."""
    data = copy.deepcopy(document.data)
    kept = {key: list(range(len(value))) for key, value in data.items() if isinstance(value, list)}
    touched: set[tuple[str, int | None]] = set()
    whole = True
    for turn in range(_ROUNDS):
        try:
            scene = Scene.model_validate(data)
        except ValidationError as error:
            gone: set[tuple[str, int | None]] = set()
            for fault in error.errors(include_url=False):
                entry = _entry(fault["loc"], data)
                if entry is None:
                    return None
                touched.add((entry[0], None if entry[1] is None else kept[entry[0]][entry[1]]))
                if turn or not _without(data, fault["loc"], fault["type"] == "extra_forbidden"):
                    gone.add(entry)
            whole = whole and not gone
            _take_out(data, kept, gone)
            continue
        spans = tuple(_span(document, *entry) for entry in touched)
        return Salvaged(scene, document, {key: tuple(index) for key, index in kept.items()}, spans, whole)
    return None


def _entry(loc: Loc, data: dict[str, Any]) -> tuple[str, int | None] | None:
    """The entry of a list at the top, or the key at the top, that a fault stands in; None where it has none."""
    if loc == ("raycover",) and "raycover" not in data:
        data["raycover"] = 1
        return "raycover", None
    if not loc or loc[0] not in data or loc[0] == "raycover":
        return None
    key, value = str(loc[0]), data[loc[0]]
    index = loc[1] if len(loc) > 1 else None
    if isinstance(value, list) and isinstance(index, int) and 0 <= index < len(value):
        return key, index
    return key, None


def _without(data: dict[str, Any], loc: Loc, unknown: bool) -> bool:
    """Takes out what a fault points at if it can go by itself: an unknown key, or a single value other than a name."""
    if loc == ("raycover",):
        return True
    holder: Any = data
    for part in loc[:-1]:
        known = holder if isinstance(holder, dict) else range(len(holder)) if isinstance(holder, list) else ()
        if part not in known:
            return False
        holder = holder[part]
    last = loc[-1]
    if not isinstance(holder, dict) or last not in holder or last == "name" or len(loc) < 2:
        return False
    if not unknown and isinstance(holder[last], dict | list):
        return False
    del holder[last]
    return True


def _take_out(data: dict[str, Any], kept: dict[str, list[int]], gone: set[tuple[str, int | None]]) -> None:
    for key, index in sorted(gone, key=lambda entry: -1 if entry[1] is None else entry[1], reverse=True):
        if index is None:
            data.pop(key, None)
        elif key in data:
            del data[key][index]
            del kept[key][index]


def _span(document: Document, key: str, index: int | None) -> tuple[int, int]:
    """First and last line of an entry, or of all that stands under a key at the top."""
    if index is not None:
        first, value = document.position((key, index)).line, document.data[key]
        if index + 1 < len(value):
            return first, max(first, document.position((key, index + 1)).line - 1)
    else:
        first = document.position((key,), key=True).line
    later = [line for name in document.data if (line := document.position((name,), key=True).line) > first]
    return first, max(first, min(later, default=len(document.lines) + 1) - 1)


def read_or_salvage(document: Document, problems: Sequence[Problem]) -> tuple[Scene | Salvaged, list[Problem]]:
    """The scene of a document and nothing wrong; else what stays of it, and what is wrong so far.

    `problems` are those found on reading. Raises InputError where nothing stays.
    """
    try:
        return validate(Scene, document, problems=problems), []
    except InputError as error:
        found = list(error.problems)
    if (meant := respelt(document)) is not document:
        try:
            validate(Scene, meant)
        except InputError as error:
            places = {problem.position for problem in found}
            found += [problem for problem in error.problems if problem.position not in places]
    salvaged = salvage(meant)
    if salvaged is None:
        raise InputError(found)
    # What could not be read stands in no entry: a problem on the same line is likely to follow from it.
    lines = tuple((problem.position.line, problem.position.line) for problem in problems)
    return replace(salvaged, touched=(*salvaged.touched, *lines)), found
