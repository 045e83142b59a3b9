"""Finding the place in the file that a pydantic error means, and one error where a union gave several.

The location of a pydantic error mixes keys and indices of the data with labels of union members (a class
name, a tag, `constrained-str`, …), which are not in the file.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import Enum
from itertools import islice
from typing import Any

from raycover.scene.reading import Loc
from raycover.scene.schema_view import Node, SchemaView


class Step(Enum):
    """What a part of an error's location is."""

    DATA = "a key or index that is in the file"
    ADDED = "a key or index of the model's that a validator put in"
    LABEL = "a member of a union"


@dataclass(frozen=True)
class Fault:
    """One error of pydantic's: `path` leads to it in the data, `nodes` are what the schema allows there."""

    kind: str
    message: str
    context: dict[str, Any]
    value: Any
    path: Loc
    steps: tuple[tuple[Step, str | int], ...]
    nodes: tuple[Node, ...] = field(default=(), compare=False)
    parents: tuple[Node, ...] = field(default=(), compare=False)  # what the schema allows one level up
    loc_end: str | int | None = None
    is_key: bool = False
    merged: tuple[Fault, ...] = ()

    @property
    def group(self) -> Loc:
        """For an unknown key: the path of the group it stands in."""
        return self.path[:-1] if self.is_key and self.path else self.path

    def known_keys(self) -> list[str]:
        """For an unknown key: the keys that its group may have."""
        found: dict[str, None] = {}
        for node in self.parents:
            found.update((key, None) for key, schema in node.keys.items() if not schema.get("not_built_yet"))
        return list(found)


# Errors that say "not this kind of value at all", as against "the right kind, but wrong".
_WRONG_KIND_SUFFIXES = ("_type", "_parsing", "is_instance_of", "none_required", "int_from_float")
_WRONG_CHOICE = ("literal_error", "enum", "union_tag_invalid", "union_tag_not_found")


def is_wrong_kind(kind: str) -> bool:
    return kind.endswith(_WRONG_KIND_SUFFIXES)


def align(details: Any, data: Any, view: SchemaView) -> Fault:
    """The fault for one entry of `ValidationError.errors()` on `data`."""
    kind, value = str(details["type"]), details["input"]
    loc: tuple[str | int, ...] = tuple(details["loc"])
    is_key = bool(loc) and loc[-1] == "[key]"
    loc = loc[:-1] if is_key else loc
    loc_end = loc[-1] if loc else None
    walked = loc[:-1] if kind == "missing" and loc else loc
    # The place is sure where it holds the very object the error is about; else as deep as the data goes.
    readings = list(islice(_readings(walked, data, view.top(), view), 64))
    steps, _, path = next((r for r in readings if r[1] is value and not is_key), readings[0])
    nodes, parents = view.top(), view.top()
    for step, part in steps:
        if step is Step.LABEL:
            nodes = view.narrow(nodes, str(part))
        else:
            parents, nodes = nodes, view.step(nodes, part)
    return Fault(
        kind=kind,
        message=str(details["msg"]),
        context=dict(details.get("ctx", {})),
        value=value,
        path=path,
        steps=steps,
        nodes=tuple(nodes),
        parents=tuple(parents),
        loc_end=loc_end,
        is_key=is_key or (kind == "extra_forbidden" and steps[-1][0] is Step.DATA),
    )


def _readings(
    loc: Loc, data: Any, nodes: list[Node], view: SchemaView
) -> Iterator[tuple[tuple[tuple[Step, str | int], ...], Any, Loc]]:
    """The ways to read `loc` against `data`, the likeliest first: steps, the value reached, its path."""
    if not loc:
        yield (), data, ()
        return
    part, rest = loc[0], loc[1:]
    if (isinstance(data, dict) and isinstance(part, str) and part in data) or (
        isinstance(data, list) and isinstance(part, int) and 0 <= part < len(data)
    ):
        for steps, end, path in _readings(rest, data[part], view.step(nodes, part), view):  # type: ignore[index]
            yield ((Step.DATA, part), *steps), end, (part, *path)
    if isinstance(part, int) or any(part in node.keys for node in nodes):
        for steps, end, path in _readings(rest, data, view.step(nodes, part), view):
            yield ((Step.ADDED, part), *steps), end, path
    if isinstance(part, str):
        for steps, end, path in _readings(rest, data, view.narrow(nodes, part), view):
            yield ((Step.LABEL, part), *steps), end, path


def collapse(faults: list[Fault], depth: int = 0) -> list[Fault]:
    """`faults` with the errors of each union's members brought down to those of the member that was meant."""
    out: list[Fault] = []
    inside: dict[str | int, list[Fault]] = {}
    members: dict[str | int, list[Fault]] = {}
    for fault in faults:
        if len(fault.steps) == depth:
            out.append(fault)
        else:
            step, part = fault.steps[depth]
            (members if step is Step.LABEL else inside).setdefault(part, []).append(fault)
    for group in inside.values():
        out.extend(collapse(group, depth + 1))
    if members:
        out.extend(_meant([collapse(group, depth + 1) for group in members.values()], depth + 1))
    return out


def _meant(members: list[list[Fault]], depth: int) -> list[Fault]:
    if len(members) == 1:
        return members[0]
    near_misses = [m for m in members if not _refuses(m, depth)]
    if near_misses:
        return min(near_misses, key=lambda m: (sum(f.kind in _WRONG_CHOICE for f in m), len(m)))
    refusals = tuple(part for m in members for f in m for part in (f.merged or (f,)))
    first = refusals[0]
    return [
        Fault(
            kind="union",
            message=first.message,
            context={},
            value=first.value,
            path=first.path,
            steps=first.steps[: depth - 1],
            loc_end=first.loc_end,
            merged=refusals,
        )
    ]


def _refuses(member: list[Fault], depth: int) -> bool:
    """Whether a union's member turns the whole value down, rather than something in it."""
    if len(member) != 1 or len(member[0].steps) > depth:
        return False
    kind = member[0].kind
    return kind == "union" or is_wrong_kind(kind) or kind in _WRONG_CHOICE
