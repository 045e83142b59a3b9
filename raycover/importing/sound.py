"""A scene's parts made sound: what `check` would refuse is taken out, and said so in the report."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from raycover.building.build import build
from raycover.errors import InputError, Problem
from raycover.importing.assemble import Written
from raycover.importing.imported import Report
from raycover.importing.scene_text import write_scene
from raycover.loading import load_text
from raycover.scene.reading import read_text

Loc = tuple[str | int, ...]
#: Each round takes out at least one thing; a file that needs more rounds is past mending.
_MOST_ROUNDS = 12
_LISTS = ("rooms", "partitions", "solids", "sheets")


def sound_text(written: Written, report: Report, folder: Path | None) -> str:
    """The scene's text, which loads and builds. Raises InputError where taking things out doesn't get there."""
    for _ in range(_MOST_ROUNDS):
        text = write_scene(written.scene, written.comments, written.heads)
        try:
            build(load_text(text, "scene.yaml", folder))
        except InputError as error:
            taken = _places(text, written.scene, error.problems)
            if not taken:
                raise
            written = _without(written, taken, report)
            continue
        return text
    build(load_text(text, "scene.yaml", folder))
    return text


def _places(text: str, parts: dict[str, Any], problems: tuple[Problem, ...]) -> dict[Loc, str]:
    """Items (or openings of items) that problems speak of, by the line they stand on, with what is wrong."""
    document = read_text(text, "scene.yaml")
    starts: list[tuple[int, Loc]] = []
    for kind in _LISTS:
        for index, item in enumerate(parts.get(kind, [])):
            starts.append((document.position((kind, index)).line, (kind, index)))
            for k in range(len(item.get("openings", []))):
                loc = (kind, index, "openings", k)
                starts.append((document.position(loc).line, loc))
    starts.sort()
    found: dict[Loc, str] = {}
    for problem in problems:
        before = [loc for line, loc in starts if line <= problem.position.line]
        if before:
            found[before[-1]] = f"{problem.code}: {problem.message}"
    return found


def _without(written: Written, taken: dict[Loc, str], report: Report) -> Written:
    """What was written less what is taken out, the rest numbered anew."""
    new = Written({})
    new.comments = {loc: lines for loc, lines in written.comments.items() if len(loc) < 2 or loc[0] not in _LISTS}
    scene: dict[str, Any] = {}
    for key, value in written.scene.items():
        if key not in _LISTS:
            scene[key] = value
            continue
        items: list[dict[str, Any]] = []
        head = ""
        for index, item in enumerate(value):
            head = written.heads.get((key, index), head)
            if (key, index) in taken:
                report.leave(f"what a scene does not take ({taken[key, index]})", item["name"])
                continue
            if head:
                new.heads[key, len(items)] = head
                head = ""
            here = {loc: lines for loc, lines in written.comments.items() if loc[:2] == (key, index)}
            holes: list[dict[str, Any]] = []
            for k, hole in enumerate(item.get("openings", [])):
                place = (key, index, "openings", k)
                lines = here.pop(place, None)
                if place in taken:
                    report.leave(f"openings that a scene does not take ({taken[place]})", item["name"])
                    continue
                if lines is not None:
                    new.comments[key, len(items), "openings", len(holes)] = lines
                holes.append(hole)
            new.comments |= {(key, len(items), *loc[2:]): lines for loc, lines in here.items()}
            rest = {name: inner for name, inner in item.items() if name != "openings"}
            items.append({**rest, **({"openings": holes} if holes else {})})
        if items:
            scene[key] = items
    new.scene = scene
    return new
