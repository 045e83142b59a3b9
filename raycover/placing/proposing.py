"""A layout written as a new scene: the old file's text with other detectors, the rest byte for byte."""

from __future__ import annotations

import copy
from collections.abc import Collection, Sequence
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any

from raycover.errors import InputError, Problem
from raycover.loading import load_text
from raycover.placing.layout import Layout
from raycover.scene.reading import read_text
from raycover.scene.schema import Scene
from raycover.scene.splicing import spliced

#: Lists of the scene whose entries name detectors.
_NAMING = ("lines", "zones", "needs")
#: How a scene begins that an interrupted search proposes.
_MARK = "# raycover place was interrupted; not done: "


def proposed_text(layout: Layout, text: str, path: Path) -> tuple[str, Scene, tuple[str, ...]]:
    """(text of the new scene, that scene loaded, what it no longer says of detectors that go).

    Lines, zones and needs that named those lose the names, lines and zones with nobody left go too: the new units
    are other units, whatever their tags. Raises InputError where the result would not load.
    """
    data = copy.deepcopy(read_text(text, str(path)).data)
    if not data.get("detectors", True):  # an empty list between brackets would be filled on one line
        data.pop("detectors")
        text = spliced(text, data, str(path))
    stays = {d.name for d in layout.detectors if d.name not in layout.new}
    drawn = {entry["name"]: entry for entry in data.get("detectors") or []}
    fresh = {d.name: d.model_dump(exclude_defaults=True, by_alias=True, mode="json") for d in layout.detectors}
    data["detectors"] = [drawn[d.name] if d.name in stays else fresh[d.name] for d in layout.detectors]
    notes = _forget(data, set(drawn), stays, layout)
    changed = _marked(spliced(text, data, str(path)), layout.undone)
    try:
        return changed, load_text(changed, str(path), path.parent), notes
    except InputError as error:
        first = error.problems[0]
        raise InputError([Problem(
            "cannot-propose", f"the scene with the proposed detectors would not be sound: {first.message}",
            first.position, "keep the detectors that states and the like speak of (placing: {keep: [...]}, or --keep)",
        )]) from error  # fmt: skip


def _marked(text: str, undone: Sequence[str]) -> str:
    """A text that begins by saying what an interrupted search left undone; what an earlier one said goes."""
    body = text.removeprefix("\ufeff")
    begin = text[: len(text) - len(body)]
    if body.startswith(_MARK):
        body = body.partition("\n")[2]
    if undone:
        body = _MARK + "; ".join(undone) + ("\r\n" if "\r\n" in body else "\n") + body
    return begin + body


def _forget(data: dict[str, Any], drawn: Collection[str], stays: Collection[str], layout: Layout) -> tuple[str, ...]:
    """Take the names of detectors that go out of what speaks of them; what was changed, in words.

    New units join the zones whose floor they hang over.
    """
    notes = []
    for kind in _NAMING:
        left = []
        for entry in data.get(kind) or []:
            names = entry.get("detectors")
            meant = [name for name in drawn if any(fnmatchcase(name, pattern) for pattern in names or ())]
            lost = sorted(set(meant) - set(stays))
            there = layout.zones.get(entry.get("name", ""), ()) if kind == "zones" else ()
            joining = [name for name in there if name in layout.new]
            if not lost and not joining:
                left.append(entry)
                continue
            what = f'{kind[:-1]} "{entry.get("name", "")}"'
            if lost:
                notes.append(f"{what} named {', '.join(lost)}")
            if joining:
                notes.append(f"{what} has {', '.join(joining)} now, which hang over it")
            kept = [name for name in meant if name in stays] + joining
            if kept:
                left.append({**entry, "detectors": kept})
            elif kind == "needs" and not (entry.get("never") and "set" not in entry):
                left.append({key: value for key, value in entry.items() if key != "detectors"})
        if left:
            data[kind] = left
        else:
            data.pop(kind, None)
    for zone in data.get("zones") or []:
        if zone.get("neighbours"):
            known = {one["name"] for one in data["zones"]}
            zone["neighbours"] = [name for name in zone["neighbours"] if name in known]
    return tuple(notes)
