"""Where a path leads in a document: keys and names to places in its data, and new values put there.

`detectors/D*/mounting`: a list, the name of an entry (`*` stands for any letters, as in states), a key; or a group and
its key (`conditions/ambient_c`), or a key at the top (`grid`). An entry without a name goes by its number from 0, as do
numbers of a list (`detectors/D1/at/0`). `openings/NAME/KEY` is an opening by the names that states know it by. A path
that ends at an entry takes it away: `racking/R1=as drawn,absent`. `state` is the scene's state.
"""

from __future__ import annotations

import copy
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from raycover.errors import did_you_mean
from raycover.scene.reading import Loc
from raycover.scene.schema import Scene
from raycover.scene.schema_view import Node, SchemaView, schema_view
from raycover.scene.splicing import drop, put
from raycover.scene.stating import LOADS, means, targets
from raycover.sweeping.values import AS_DRAWN, Factor, shown, wrong

STATE, OPENINGS, ABSENT = "state", "openings", "absent"


@dataclass(frozen=True)
class Change:
    """A new value for what stands at a place of a document; `absent` for an entry of a list takes it away."""

    loc: Loc
    value: Any
    takes_away: bool = False


@dataclass(frozen=True)
class Place:
    """Where one factor goes in one scene: places of values, or of whole entries; none for the state."""

    locs: tuple[Loc, ...]
    entries: bool = False

    def changes(self, value: Any) -> tuple[Change, ...]:
        """What a value of the factor changes; nothing where it stays as drawn."""
        if value == AS_DRAWN:
            return ()
        return tuple(Change(loc, value, self.entries) for loc in self.locs)


def find(factor: Factor, scene: Scene, data: Mapping[str, Any]) -> Place:
    """Where a factor goes in a scene, whose document says `data`. Raises InputError where that is nowhere."""
    if factor.path == STATE:
        _check_values(factor, [*scene.state_names, AS_DRAWN], "state")
        return Place(())
    parts = factor.path.split("/")
    if parts[0] == OPENINGS:
        return Place(tuple((*loc, parts[-1]) for loc in _openings(factor, scene, parts)))
    found = _Search(factor, schema_view(Scene)).walk(parts, data)
    entries = {isinstance(loc[-1], int) and isinstance(_at(data, loc), Mapping) for loc in found}
    if entries == {True}:
        _check_values(factor, [AS_DRAWN, ABSENT], "whole entry")
        return Place(tuple(found), entries=True)
    return Place(tuple(found))


def _check_values(factor: Factor, allowed: Sequence[str], what: str) -> None:
    if factor.span is not None:
        raise wrong(f'"{factor.text}": a {what} takes no range', f"{factor.path} takes {', '.join(allowed)}")
    for value in factor.values:
        if value not in allowed:
            help_ = f"{factor.path} takes {', '.join(allowed)}"
            if what == "whole entry":
                help_ += f", {factor.path}/KEY one of its values"
            raise wrong(f'"{factor.text}": a {what} cannot be {shown(value)}', help_)


def _openings(factor: Factor, scene: Scene, parts: Sequence[str]) -> list[Loc]:
    """Openings by the names that states know: they may hold a slash, so the last part alone is the key."""
    known = [target for target in targets(scene) if target.kind == "openings"]
    name = "/".join(parts[1:-1])
    found = dict.fromkeys(t.loc for t in known if means(name, t.name))
    if not found:
        help_ = did_you_mean(name, sorted({t.name for t in known})) or "the scene has no opening"
        raise wrong(f'"{factor.text}": no opening is named "{name}"', help_)
    keys = sorted(set().union(*(type(t.item).model_fields for t in known if t.loc in found)))
    if parts[-1] not in keys:
        raise wrong(f'"{factor.text}": an opening has no "{parts[-1]}"', did_you_mean(parts[-1], keys))
    return list(found)


class _Search:
    """Follows a path through data and, where the file says nothing, through the model of scenes."""

    def __init__(self, factor: Factor, view: SchemaView) -> None:
        self.factor = factor
        self.view = view

    def walk(self, parts: Sequence[str], data: Any) -> list[Loc]:
        return self._step((), parts, data, self.view.top())

    def _step(self, loc: Loc, rest: Sequence[str], value: Any, nodes: list[Node]) -> list[Loc]:
        if not rest:
            return [loc]
        part, rest = rest[0], rest[1:]
        if isinstance(value, list):
            return [
                found
                for index in self._entries(loc, part, value)
                for found in self._step((*loc, index), rest, value[index], self.view.step(nodes, index))
            ]
        groups = [n for n in nodes if n.schema.get("type") == "object"]
        open_ended = any(n.schema.get("additionalProperties") for n in groups)
        keys = list(dict.fromkeys(key for node in groups for key in node.keys))
        where = "/".join(map(str, self.factor.path.split("/")[: len(loc)])) or "a scene"
        holds = any(n.schema.get("type") == "array" for n in nodes)
        if value is None and holds and not groups:
            raise self._wrong(f"{where} is not in the file", "only what stands there can be varied")
        if not groups or (value is not None and not isinstance(value, Mapping)):
            raise self._wrong(f"{where} has nothing inside it to set", f"{where}=VALUES sets it")
        if part not in keys and not open_ended:
            known = keys if loc else [*keys, STATE, OPENINGS]
            raise self._wrong(f'{where} has no key "{part}"', did_you_mean(part, sorted(known)))
        inner = None if value is None else value.get(part)
        return self._step((*loc, part), rest, inner, self.view.step(groups, part))

    def _entries(self, loc: Loc, part: str, entries: Sequence[Any]) -> list[int]:
        """Indices of the entries that a part of the path means: by name, else by number."""
        names = [entry.get("name") if isinstance(entry, Mapping) else None for entry in entries]
        found = [k for k, name in enumerate(names) if isinstance(name, str) and means(part, name)]
        if part == "*":
            found = list(range(len(entries)))
        elif not found and part.isascii() and part.isdigit() and int(part) < len(entries):
            found = [int(part)]
        if not found:
            known = [name for name in names if isinstance(name, str)]
            counted = f"its entries have the numbers 0 to {len(entries) - 1}" if entries else "the list is empty"
            help_ = did_you_mean(part, known) if known else counted
            raise self._wrong(f'no entry of {"/".join(map(str, loc))} is named "{part}"', help_)
        return found

    def _wrong(self, message: str, help_: str) -> Exception:
        return wrong(f'"{self.factor.text}": {message}', help_)


def clashes(factors: Sequence[Factor], places: Sequence[Place]) -> None:
    """Raises InputError where two factors set the same value, or one takes away what another sets."""
    taken: dict[Loc, Factor] = {}
    for factor, place in zip(factors, places, strict=True):
        for loc in place.locs:
            near = next((taken[old] for old in taken if old[: len(loc)] == loc or loc[: len(old)] == old), None)
            if near is not None and near is not factor:
                raise wrong(f'"{near.text}" and "{factor.text}" set the same thing', "keep one of the two")
        taken |= dict.fromkeys(place.locs, factor)


def changed(data: Mapping[str, Any], changes: Iterable[Change]) -> dict[str, Any]:
    """A copy of a document's data with changes; what a rack is said to hold takes the place of what else says so."""
    fresh: dict[str, Any] = copy.deepcopy(dict(data))
    gone: list[Loc] = []
    said = {change.loc for change in changes}
    for change in changes:
        if change.takes_away:
            gone.append(change.loc)
            continue
        put(fresh, change.loc, copy.deepcopy(change.value))
        for other in _replaced(change.loc):
            if other not in said:
                drop(fresh, other)
    for loc in sorted(gone, key=lambda at: at[-1], reverse=True):
        drop(fresh, loc)
    return fresh


def _replaced(loc: Loc) -> list[Loc]:
    """Keys that a new value takes the place of: a rack's other words for its loads, a detector's own pattern."""
    group: set[str] = set()
    if len(loc) == 3 and loc[0] == "racking" and loc[2] in LOADS - {"seed"}:
        group = LOADS - {"seed"}
    if len(loc) == 3 and loc[0] == "detectors" and loc[2] in ("model", "pattern"):
        group = {"model", "pattern"}
    return [(*loc[:2], key) for key in sorted(group - {str(loc[-1])})]


def _at(data: Any, loc: Loc) -> Any:
    for part in loc:
        if isinstance(data, list) and isinstance(part, int):
            data = data[part]
        else:
            data = data.get(part) if isinstance(data, Mapping) else None
    return data
