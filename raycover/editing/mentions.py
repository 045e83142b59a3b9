"""Lists of a scene that name detectors: those of lines, zones, needs and nuisances, told apart and changed."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from raycover.listing import listed
from raycover.scene.schema import Scene

#: (list of the scene, name of the entry), and the detectors that it names, `B*` for all that begin so.
Mention = tuple[tuple[str, str], tuple[str, ...]]
_LISTS = {"lines": "line", "zones": "zone", "needs": "need", "nuisances": "nuisance"}


def mentions_in(scene: Scene) -> tuple[Mention, ...]:
    """Every list of names; needs of a ready-made set are left out, their lists stand with the set."""
    return tuple(
        ((key, item.name), tuple(item.detectors))
        for key in _LISTS
        for item in getattr(scene, key)
        if item.detectors and (key != "needs" or item.set is None)
    )


def without(mentions: tuple[Mention, ...], name: str) -> tuple[Mention, ...]:
    """The lists without a detector's own name. One that names no other stays: empty it would mean something else."""
    return tuple(
        (place, tuple(one for one in names if one != name) if set(names) - {name} else names)
        for place, names in mentions
    )


def words(mentions: tuple[Mention, ...], name: str) -> str:
    """Which entries name a detector: `line "L1" and need "Bench"`."""
    return listed([f'{_LISTS[key]} "{entry}"' for (key, entry), names in mentions if name in names])


def changed_lists(scene: Scene, mentions: tuple[Mention, ...]) -> dict[str, Any]:
    """Fields of a scene whose lists of names are others than its own; only those that differ."""
    wanted = dict(mentions)
    fields: dict[str, Any] = {}
    for key in _LISTS:
        entries = getattr(scene, key)
        put = [
            item.model_copy(update={"detectors": list(names)})
            if (names := wanted.get((key, item.name))) and item.detectors and list(names) != list(item.detectors)
            else item
            for item in entries
        ]
        if any(new is not old for new, old in zip(put, entries, strict=True)):
            fields[key] = put
    return fields


def lists_to_write(data: dict[str, Any], mentions: tuple[Mention, ...]) -> Iterator[tuple[dict[str, Any], list[str]]]:
    """(entry of a file's data, the names that it shall list) where they differ."""
    for (key, name), names in mentions:
        for entry in data.get(key) or []:
            if entry.get("name") == name and entry.get("detectors") and list(entry["detectors"]) != list(names):
                yield entry, list(names)
