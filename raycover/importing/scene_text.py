"""A scene as a readable, commented YAML file: what the importers write and people edit afterwards.

    text = write_scene(
        {"title": "House", "rooms": [{"name": "Hall", "outline": [[0, 0], [4, 0], [4, 3]], "height": 2.5,
                                      "walls": "none"}]},
        {(): ["Made from house.ifc."], ("rooms",): "1 space", ("rooms", 0, "height"): "guessed: no height given"},
    )

`parts` holds the keys of the scene in the order they shall stand, with plain values (text, numbers, true and
false, lists, dicts); `raycover: 1` comes first of itself. `comments` says what to write about a value, by its
place: `()` at the head of the file, `("rooms",)` over a section, `("rooms", 0)` over or behind an item,
`("rooms", 0, "height")` behind a value. `heads` are lines over
items, where a new storey or layer begins. Items that fit stand on one line; the rest one key a line.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from raycover.scene import writing
from raycover.scene.writing import WIDTH, word

Loc = tuple[str | int, ...]
Comments = Mapping[Loc, str | Sequence[str]]

#: Decimals of a number: lengths to a tenth of a millimetre.
DECIMALS = 4


def write_scene(
    parts: Mapping[str, Any], comments: Comments | None = None, heads: Mapping[Loc, str] | None = None
) -> str:
    """The scene as YAML. Numbers are rounded to DECIMALS; whatever stands in a text or comment, it reads back.

    Raises TypeError for a value that is not plain, ValueError for a number that is not finite.
    """
    notes = _Notes(comments or {})
    lines = [f"# {line}".rstrip() for line in notes.at(())]
    lines.append("raycover: 1")
    for key, value in parts.items():
        if key == "raycover":
            continue
        if _is_groups(value):
            lines += ["", *(f"# {line}" for line in notes.at((key,))), f"{word(key)}:"]
            for index, item in enumerate(value):
                if heads and (key, index) in heads:
                    lines.append(f"  # {_plain(heads[key, index])}")
                lines += _item(item, (key, index), notes)
        else:
            lines += _entry(key, value, (key,), notes, "")
    return "\n".join(lines) + "\n"


class _Notes:
    """Comments by place, as lines that no stray character of a foreign file can break out of."""

    def __init__(self, comments: Comments) -> None:
        self._at: dict[Loc, list[str]] = {}
        self._inside: dict[Loc, list[str]] = {}
        for loc, text in comments.items():
            given = [text] if isinstance(text, str) else text
            lines = [_plain(line) for line in given]
            self._at.setdefault(loc, []).extend(lines)
            for length in range(1, len(loc)):
                self._inside.setdefault(loc[:length], []).extend(lines)

    def at(self, loc: Loc) -> list[str]:
        """What is said of the very value at a place."""
        return self._at.get(loc, [])

    def inside(self, loc: Loc) -> list[str]:
        """What is said of the values inside the one at a place."""
        return self._inside.get(loc, [])


def _plain(line: str) -> str:
    return "".join(c if c.isprintable() else " " for c in line)


def flow(value: Any) -> str:
    """A value on one line."""
    return writing.flow(value, DECIMALS)


def _item(item: Mapping[str, Any], loc: Loc, notes: _Notes) -> Iterator[str]:
    """A group in a list of the scene: on one line where that is short and nothing inside is spoken of."""
    own = notes.at(loc)
    grouped = any(_is_groups(value) for value in item.values())
    one_line = f"  - {flow(item)}"
    if not item or (not notes.inside(loc) and not grouped and len(one_line) <= WIDTH):
        yield from _with_comment(one_line, own, "  ")
        return
    yield from (f"  # {line}" for line in own)
    lead = "  - "
    for key, value in item.items():
        first, *rest = _entry(key, value, (*loc, key), notes, "    ")
        if lead.strip() and first.lstrip().startswith("#"):  # comments of the first key go over the item
            above = [line for line in (first, *rest) if line.lstrip().startswith("#")]
            yield from (f"  {line.lstrip()}" for line in above)
            first, *rest = [line for line in (first, *rest) if not line.lstrip().startswith("#")]
        yield lead + first[4:]
        yield from rest
        lead = "    "


def _entry(key: str, value: Any, loc: Loc, notes: _Notes, indent: str) -> list[str]:
    """`key: value` on a line, or over several where it is long or a list of groups."""
    own = notes.at(loc)
    head = f"{indent}{word(key)}:"
    if _is_groups(value):
        lines = list(_with_comment(head, own, indent))
        for index, item in enumerate(value):
            place = (*loc, index)
            said = [*notes.at(place), *notes.inside(place)]
            lines += _with_comment(f"{indent}  - {flow(item)}", said, f"{indent}  ")
        return lines
    line = f"{head} {flow(value)}"
    if len(line) <= WIDTH or not isinstance(value, (list, tuple)):
        return list(_with_comment(line, own, indent))
    return [*(f"{indent}# {said}" for said in own), *_wrapped(head, value, indent)]


def _wrapped(head: str, value: Sequence[Any], indent: str) -> Iterator[str]:
    """A long list over several lines, broken between its members."""
    members = [flow(item) for item in value]
    line = f"{head} [{members[0]}"
    for member in members[1:]:
        if len(line) + len(member) + 3 > WIDTH:
            yield line + ","
            line = f"{indent}  {member}"
        else:
            line += f", {member}"
    yield line + "]"


def _with_comment(line: str, comment: Sequence[str], indent: str) -> Iterator[str]:
    """A comment behind a line where it fits there, else over it."""
    behind = f"{line}   # {comment[0]}" if len(comment) == 1 else line
    if len(behind) <= WIDTH + 20:
        if len(comment) > 1:
            yield from (f"{indent}# {said}" for said in comment)
        yield behind
    else:
        yield from (f"{indent}# {said}" for said in comment)
        yield line


def _is_groups(value: Any) -> bool:
    return isinstance(value, (list, tuple)) and bool(value) and all(isinstance(item, Mapping) for item in value)
