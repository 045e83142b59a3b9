"""A YAML file that says something else, and is otherwise the same byte for byte: comments, order and breaks stay.

    text = read_source(path)
    data = copy.deepcopy(read_text(text, str(path)).data)
    put(data, ("detectors", 3, "at"), [2.4, 1.8])          # a value, or a key that was not there
    add(data, ("detectors",), {"name": "D9", "model": "ceiling-infrared-general", "at": [6, 2], "mounting": 2.7})
    drop(data, ("detectors", 0, "tilt_deg"))
    text = spliced(text, data, str(path))

`spliced` compares what the text says with what it shall say and writes only the difference, at the places where those
values stand: a number within a list changes alone, new keys come last in their group, new entries where they stand in
their list, in the style (one line, or a key a line) of their neighbour. What comes out is read again before it is
handed back, so it says what was asked, or InputError is raised and nothing is lost.

What it cannot do: a comment that stands on the lines of a dropped value goes with it, one on a line of its own above
stays; a list in another order is written anew, without the comments inside; a value that changes its kind (a list
becomes text) is written anew. Numbers that did not change keep how they were written, others are written the shortest
way: round them first. It knows YAML, not scenes: load the result to hear whether it still makes sense.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from difflib import SequenceMatcher
from itertools import pairwise
from typing import Any

import yaml

from raycover.errors import InputError, Position, Problem
from raycover.scene.reading import Loc, read_text
from raycover.scene.writing import WIDTH, flow, word

_Loader: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
_LINE_BREAK = re.compile(r"\r\n|\r|\n")
_BOM = "\ufeff"


def spliced(text: str, data: Mapping[str, Any], name: str = "scene.yaml") -> str:
    """`text`, changed so that it says `data`: plain dicts, lists, text, numbers, true, false and null.

    A byte order mark and the kind of line break are kept. Raises InputError where `text` cannot be read as
    `reading.read_text` does, or where its way of writing leaves no place for a change.
    """
    mark, body = (_BOM, text[1:]) if text.startswith(_BOM) else ("", text)
    old = read_text(body, name).data
    if same(old, data):
        return text
    writer = _Writer(body)
    writer.change(writer.root, old, data)
    result = writer.result()
    if result is None or not _says(result, data, name):
        message = "the values cannot be written into this file as it is laid out"
        hint = "write its groups and lists the usual way: `key: value`, `- entry`, {key: value} or [value, value]"
        raise InputError([Problem("cannot-splice", message, Position(name), hint)])
    return mark + result


def put(data: Any, loc: Loc, value: Any) -> None:
    """Set the value at `loc` in a document's data; groups that are not there yet are made.

    Raises KeyError or IndexError where `loc` leads through a list entry that is not there.
    """
    for part, following in pairwise(loc):
        if isinstance(data, dict) and isinstance(following, str) and data.get(str(part)) is None:
            data[str(part)] = {}
        data = data[part]
    data[loc[-1]] = value


def add(data: Any, loc: Loc, entry: Any) -> None:
    """Add an entry to the end of the list at `loc`, which is made where there is none."""
    for part in loc[:-1]:
        data = data[part]
    if data.get(loc[-1]) is None:
        data[loc[-1]] = []
    data[loc[-1]].append(entry)


def drop(data: Any, loc: Loc) -> None:
    """Take a key away, where it is there, or a list entry."""
    parent: Any = data
    for part in loc[:-1]:
        parent = parent[part]
    if isinstance(parent, list) or loc[-1] in parent:
        del parent[loc[-1]]  # type: ignore[arg-type]


def same(one: Any, other: Any) -> bool:
    """Whether two values say the same: 1 is 1.0, but true is not 1."""
    if isinstance(one, Mapping) and isinstance(other, Mapping):
        return one.keys() == other.keys() and all(same(one[key], other[key]) for key in one)
    if _is_list(one) and _is_list(other):
        return len(one) == len(other) and all(map(same, one, other))
    return isinstance(one, bool) == isinstance(other, bool) and bool(one == other)


def _is_list(value: Any) -> bool:
    return isinstance(value, (list, tuple))


def _says(text: str, data: Mapping[str, Any], name: str) -> bool:
    try:
        return same(read_text(text, name).data, data)
    except InputError:
        return False


@dataclass
class _Node:
    """Where a value stands: `start` to `end` in the text. A group's keys and a list's entries are `items` in order."""

    start: int
    end: int
    is_flow: bool = False
    items: list[_Node] | None = None
    keys: dict[str, _Node] = field(default_factory=dict)

    @property
    def is_block(self) -> bool:
        return self.items is not None and not self.is_flow

    @property
    def names(self) -> list[str]:
        return list(self.keys)


def _node(made: Any, text: str) -> _Node:
    """A parser's node with the place where it really ends: its last line break and comments are not part of it."""
    start, end = made.start_mark.index, made.end_mark.index
    if isinstance(made, yaml.ScalarNode):
        return _Node(start, max(start, len(text[start:end].rstrip()) + start) if made.style in ("|", ">") else end)
    node = _Node(start, end, bool(made.flow_style), [])
    assert node.items is not None
    if isinstance(made, yaml.MappingNode):
        for key, value in made.value:
            node.keys[key.value] = _node(key, text)
            node.items.append(_node(value, text))
    else:
        node.items = [_node(entry, text) for entry in made.value]
    if not node.is_flow:
        node.end = node.items[-1].end
    return node


class _Writer:
    """Collects pieces of text to put in place of others, from the difference of two trees of data."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.root = _node(yaml.compose(text, Loader=_Loader), text)
        found = _LINE_BREAK.search(text)
        self.line_break = found[0] if found else "\n"
        self.pieces: list[tuple[int, int, str]] = []

    def result(self) -> str | None:
        """The text with all pieces in their places; None where two of them want the same place."""
        parts, at = [], 0
        for start, end, piece in sorted(self.pieces, key=lambda p: p[:2]):
            if start < at:
                return None
            parts += [self.text[at:start], piece]
            at = end
        return "".join([*parts, self.text[at:]])

    def change(self, node: _Node, old: Any, new: Any, key: _Node | None = None) -> None:
        """Say `new` where `node` says `old`; `key` is the node of its key, where it has one."""
        if same(old, new):
            return
        if isinstance(old, Mapping) and isinstance(new, Mapping) and (not old or old.keys() & new.keys()):
            self.change_group(node, old, new)
        elif _is_list(old) and _is_list(new) and self.change_list(node, old, new):
            return
        else:
            self.replace(node, new, key)

    def replace(self, node: _Node, new: Any, key: _Node | None) -> None:
        """Write a value anew. Behind a key it comes onto the key's line, before that line's comment."""
        if node.is_block and key is not None:
            colon = self.text.index(":", key.end) + 1
            self.pieces.append((colon, colon, f" {flow(new)}"))
            self.pieces.append((self.line_end(colon), self.line_end(node.end), ""))
            return
        if node.start < node.end:
            self.pieces.append((node.start, node.end, flow(new)))
            return
        colon = -1 if key is None else self.text.find(":", key.end, node.end + 1)
        before = self.text[max(node.start - 1, 0) : node.start]
        after = self.text[node.start : node.start + 1]
        lead = ": " if key is not None and colon < 0 else " " if before in (":", "-") else ""
        self.pieces.append((node.start, node.end, lead + flow(new) + (" " if after == "#" else "")))

    def change_group(self, node: _Node, old: Mapping[str, Any], new: Mapping[str, Any]) -> None:
        assert node.items is not None
        for (name, key), child in zip(node.keys.items(), node.items, strict=True):
            if name in new:
                self.change(child, old[name], new[name], key)
        keeps = [name in new for name in node.keys]
        spans = [(key.start, child.end) for key, child in zip(node.keys.values(), node.items, strict=True)]
        added = {name: value for name, value in new.items() if name not in old}
        if node.is_flow:
            members = [f"{word(name)}: {flow(value)}" for name, value in added.items()]
            self.change_flow(node, spans, keeps, {len(spans) - 1: members})
            return
        column = self.column(next(iter(node.keys.values())).start)
        self.drop_lines(spans, keeps)
        last = max(index for index, keep in enumerate(keeps) if keep)
        lines = [line for name, value in added.items() for line in _entry(name, value, column)]
        self.insert_lines(spans[last][1], lines)

    def change_list(self, node: _Node, old: Sequence[Any], new: Sequence[Any]) -> bool:
        """Entries changed, dropped and put in; False where the list must be written anew."""
        assert node.items is not None
        pairs, added = _aligned(old, new)
        if old and not pairs:
            return False
        spans = [(child.start, child.end) for child in node.items]
        column = self.column(node.start)
        if node.is_block:
            dashes = [self.dash(start, column) for start, _ in spans]
            if any(dash is None for dash in dashes):
                return False  # a list that begins on another list's line
            spans = [(int(dash or 0), end) for dash, (_, end) in zip(dashes, spans, strict=True)]
        for i, j in pairs.items():
            self.change(node.items[i], old[i], new[j])
        keeps = [i in pairs for i in range(len(old))]
        if node.is_flow:
            self.change_flow(node, spans, keeps, {i: [flow(new[j]) for j in js] for i, js in added.items()})
            return True
        self.drop_lines(spans, keeps)
        for i, js in added.items():
            like = node.items[max(i, 0)]
            indent = self.column(like.start) - column if like.is_block else 2
            lines = [line for j in js for line in _list_entry(new[j], column, indent, as_block=like.is_block)]
            if i < 0:
                lines[0] = lines[0].lstrip()
                joined = "".join(line + self.line_break for line in lines)
                self.pieces.append((spans[0][0], spans[0][0], joined + " " * column))
            else:
                self.insert_lines(spans[i][1], lines)
        return True

    def change_flow(
        self, node: _Node, spans: list[tuple[int, int]], keeps: list[bool], added: dict[int, list[str]]
    ) -> None:
        """Members dropped from between brackets, and put in behind the one at an index (−1: before all)."""
        if not spans:
            members = [member for found in added.values() for member in found]
            self.pieces.append((node.start + 1, node.start + 1, ", ".join(members)))
            return
        n_kept = max((i for i, keep in enumerate(keeps) if keep), default=-1) + 1
        for i, keep in enumerate(keeps[:n_kept]):
            if not keep:
                self.pieces.append((spans[i][0], spans[i + 1][0], ""))
        tail = added.get(len(spans) - 1, [])
        if n_kept < len(spans):
            self.drop_flow_tail(spans, n_kept, tail)
            tail = []
        breaks = self.breaks_between(node, spans)
        for i, members in {**added, len(spans) - 1: tail}.items():
            if i < 0:
                self.pieces.append((spans[0][0], spans[0][0], "".join(f"{member}, " for member in members)))
                continue
            at, column = spans[i][1], self.column(spans[0][0])
            width = at - self.line_start(at)
            for member in members:
                if breaks or width + len(member) + 3 > WIDTH:
                    piece, width = f",{self.line_break}{' ' * column}{member}", column + len(member)
                else:
                    piece, width = f", {member}", width + 2 + len(member)
                self.pieces.append((at, at, piece))

    def drop_flow_tail(self, spans: list[tuple[int, int]], n_kept: int, members: list[str]) -> None:
        """The members from `n_kept` on give way to others, or go along with the comma before them."""
        start, end = spans[n_kept][0], spans[-1][1]
        if not members and n_kept > 0:
            between = self.text[spans[n_kept - 1][1] : start]
            start = start if "#" in between else spans[n_kept - 1][1]  # a comment behind the comma stays
        self.pieces.append((start, end, ", ".join(members)))

    def breaks_between(self, node: _Node, spans: list[tuple[int, int]]) -> bool:
        """Whether each member stands on a line of its own."""
        before = spans[-2][1] if len(spans) > 1 else node.start
        return bool(_LINE_BREAK.search(self.text, before, spans[-1][0])) and (
            len(spans) < 3 or bool(_LINE_BREAK.search(self.text, spans[-3][1], spans[-2][0]))
        )

    def drop_lines(self, spans: list[tuple[int, int]], keeps: list[bool]) -> None:
        """Take away the lines of what is not kept, with the line break before them."""
        first = keeps.index(True)
        if first and self.text[self.line_start(spans[0][0]) : spans[0][0]].strip():
            self.pieces.append((spans[0][0], spans[first][0], ""))  # behind a dash: the next key moves up to it
        elif first:
            first = 0
        head = 0  # where the file begins, once lines are gone from there: they have no line break before them
        for (start, end), keep in list(zip(spans, keeps, strict=True))[first:]:
            if keep:
                continue
            line = self.line_start(start)
            if line == head:
                after = _LINE_BREAK.match(self.text, self.line_end(end))
                head = after.end() if after else len(self.text)
                self.pieces.append((line, head, ""))
            else:
                self.pieces.append((self.break_before(line), self.line_end(end), ""))

    def insert_lines(self, end: int, lines: Sequence[str]) -> None:
        """Put lines under the one that a value ends on."""
        at = self.line_end(end)
        self.pieces += [(at, at, self.line_break + line) for line in lines]

    def line_start(self, at: int) -> int:
        return max(self.text.rfind("\n", 0, at), self.text.rfind("\r", 0, at)) + 1

    def line_end(self, at: int) -> int:
        found = _LINE_BREAK.search(self.text, at)
        return found.start() if found else len(self.text)

    def break_before(self, line: int) -> int:
        return line - 2 if self.text[line - 2 : line] == "\r\n" else line - 1

    def column(self, at: int) -> int:
        return at - self.line_start(at)

    def dash(self, start: int, column: int) -> int | None:
        """Where the dash of a block list's entry stands, at a column; None where more than it stands there."""
        line = self.line_start(start)
        while True:
            if self.text[line : line + column].strip() == "" and self.text[line + column : line + column + 1] == "-":
                return line + column
            if line == 0 or self.text[line : line + column].strip():
                return None
            line = self.line_start(self.break_before(line))


def _aligned(old: Sequence[Any], new: Sequence[Any]) -> tuple[dict[int, int], dict[int, list[int]]]:
    """{old entry: the new one that takes its place} and {old entry: new ones that follow it} (−1: before all).

    Entries are the same that have one name, or say the same; between those, they pair up in order.
    """
    pairs: dict[int, int] = {}
    added: dict[int, list[int]] = {}
    matcher = SequenceMatcher(None, [_identity(v) for v in old], [_identity(v) for v in new], autojunk=False)
    for _, i1, i2, j1, j2 in matcher.get_opcodes():
        n = min(i2 - i1, j2 - j1)
        pairs.update(zip(range(i1, i1 + n), range(j1, j1 + n), strict=True))
        if j2 - j1 > n:
            added.setdefault(i1 + n - 1, []).extend(range(j1 + n, j2))
    return pairs, added


def _identity(value: Any) -> str:
    if isinstance(value, Mapping) and isinstance(value.get("name"), str):
        return f"name {value['name']}"
    return flow(value)


def _entry(name: str, value: Any, column: int) -> list[str]:
    """`name: value` as lines of a block; a list of groups has an entry a line."""
    head = f"{' ' * column}{word(name)}:"
    if _is_list(value) and value and all(isinstance(entry, Mapping) for entry in value):
        return [head, *(line for e in value for line in _list_entry(e, column + 2, 2, as_block=False))]
    return _wrapped(f"{head} ", value, column + 2)


def _list_entry(value: Any, column: int, indent: int, *, as_block: bool) -> list[str]:
    dash = " " * column + "-" + " " * (indent - 1)
    if not (as_block and isinstance(value, Mapping) and value):
        return _wrapped(dash, value, column + indent + 1)
    lines = [line for name, inner in value.items() for line in _entry(name, inner, column + indent)]
    return [dash + lines[0].lstrip(), *lines[1:]]


def _wrapped(lead: str, value: Any, column: int) -> list[str]:
    """A value behind what leads to it, broken between its members where the line would be long."""
    line = lead + flow(value)
    if len(line) <= WIDTH or not isinstance(value, (Mapping, list, tuple)) or not value:
        return [line]
    if isinstance(value, Mapping):
        members, (opening, closing) = [f"{word(k)}: {flow(v)}" for k, v in value.items()], "{}"
    else:
        members, (opening, closing) = [flow(v) for v in value], "[]"
    lines, line = [], lead + opening + members[0]
    for member in members[1:]:
        if len(line) + len(member) + 3 > WIDTH:
            lines.append(line + ",")
            line = " " * column + member
        else:
            line += f", {member}"
    return [*lines, line + closing]
