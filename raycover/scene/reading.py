"""Strict YAML with a place for every value: what scene and catalogue files are read with.

Only what JSON can say, in YAML's clothes: groups of text keys, lists, text, finite numbers, true, false
and null. Tags, anchors, aliases, repeated keys and several documents are refused, all of them in one go.
The tree is built from the parser's events on a stack of its own, so no nesting can exhaust Python's.
"""

from __future__ import annotations

import codecs
import math
import os
import re
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import yaml

from raycover.errors import InputError, Position, Problem, nearest_file
from raycover.scene.scalars import plain_scalar
from raycover.scene.syntax import syntax_problem

Loc = tuple[str | int, ...]

MAX_BYTES = 32 * 1024 * 1024
MAX_DEPTH = 50
MAX_PROBLEMS = 100

_Loader: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)

_LINE_BREAK = re.compile(r"\r\n|\r|\n")
# What a YAML stream may hold (YAML 1.2.2, section 5.1, c-printable), less what parsers disagree about:
# NEL and the Unicode line separators break a line in YAML 1.1 and not in 1.2.
_FORBIDDEN = re.compile("[^\t\n\r\x20-\x7e\xa0-\u2027\u202a-\ud7ff\ue000-\ufefe\uff00-\ufffd\U00010000-\U0010ffff]")
_BYTE_ORDER_MARKS = (b"\xff\xfe", b"\xfe\xff", b"\x00\x00\xfe\xff")


class _Place:
    """Where a value stands (lines and columns from 0), with the places of what it holds."""

    __slots__ = ("column", "items", "keys", "line")

    def __init__(self, line: int, column: int) -> None:
        self.line = line
        self.column = column
        self.items: dict[str, _Place] | list[_Place] | None = None
        self.keys: dict[str, tuple[int, int]] = _NO_KEYS


_NO_KEYS: dict[str, tuple[int, int]] = {}


@dataclass(frozen=True)
class Document:
    """A file as read: `data` is plain dicts, lists and scalars; `position` says where each of them stands."""

    path: Path
    data: dict[str, Any]
    lines: tuple[str, ...] = field(repr=False)
    _root: _Place = field(repr=False)

    @property
    def name(self) -> str:
        """The file as the user named it."""
        return str(self.path)

    def position(self, loc: Iterable[str | int], *, key: bool = False) -> Position:
        """Place of the value at `loc` (keys and indices from the top), or of its key.

        Where `loc` leads nowhere, the place of the nearest parent that exists.
        """
        place = self._root
        at = (place.line, place.column)
        for part in loc:
            items = place.items
            if isinstance(items, dict) and isinstance(part, str) and part in items:
                key_at = place.keys[part]
                place = items[part]
                at = key_at if key else (place.line, place.column)
            elif isinstance(items, list) and isinstance(part, int) and 0 <= part < len(items):
                place = items[part]
                at = (place.line, place.column)
            else:
                return _position(self.name, self.lines, place.line + 1, place.column + 1)
        return _position(self.name, self.lines, at[0] + 1, at[1] + 1)

    def renamed(self, key: str, name: str) -> Document:
        """The same document with a key at the top read as another."""
        root = _Place(self._root.line, self._root.column)
        assert isinstance(self._root.items, dict)
        root.items = {name if k == key else k: place for k, place in self._root.items.items()}
        root.keys = {name if k == key else k: at for k, at in self._root.keys.items()}
        return replace(self, data={name if k == key else k: v for k, v in self.data.items()}, _root=root)


def read_yaml(path: Path, *, problems: list[Problem] | None = None) -> Document:
    """Read a YAML file of at most 32 MB, UTF-8.

    Raises InputError with every problem found. With a list in `problems`, those that leave a readable tree
    (a repeated key, an anchor, an infinity, …) are added to it instead, so that checks of the content can be
    reported along with them; the caller must then raise them.
    """
    return _read(_decode(_read_bytes(Path(path)), str(path)), Path(path), problems)


def read_text(text: str, name: str, *, problems: list[Problem] | None = None) -> Document:
    """Read YAML from `text`; `name` stands for the file in messages. Otherwise as `read_yaml`."""
    if len(text) > MAX_BYTES:
        raise InputError([_too_large(name)])
    return _read(text.removeprefix("\ufeff"), Path(name), problems)


def read_source(path: Path) -> str:
    """A file's text as it stands, line breaks and a byte order mark kept: what `splicing` writes into.

    Raises InputError as `read_yaml` for a file that cannot be opened, is too large or not UTF-8.
    """
    raw = _read_bytes(Path(path))
    text = _decode(raw, str(path))
    return "\ufeff" + text if raw.startswith(codecs.BOM_UTF8) else text


def _read(text: str, path: Path, problems: list[Problem] | None) -> Document:
    name = str(path)
    lines = tuple(_LINE_BREAK.split(text))
    refused = _forbidden_characters(lines, name)
    if refused:
        raise InputError(refused)
    builder = _Builder(name, lines)
    data, root = builder.build(text)
    if builder.broken or (builder.problems and problems is None):
        raise InputError(builder.problems)
    if problems is not None:
        problems.extend(builder.problems)
    return Document(path, data, lines, root)


def _position(name: str, lines: tuple[str, ...], line: int, column: int) -> Position:
    return Position(name, line, column, lines[line - 1] if line <= len(lines) else "")


class _Stop(Exception):
    """Nothing after this point can be read."""


_UNUSABLE = object()  # a key that was refused: the value after it is read and dropped


class _Frame:
    """An open group or list while the events go by."""

    __slots__ = ("awaits_key", "key", "place", "value")

    def __init__(self, value: dict[str, Any] | list[Any], place: _Place) -> None:
        self.value = value
        self.place = place
        self.key: Any = _UNUSABLE
        self.awaits_key = isinstance(value, dict)


class _Builder:
    """Turns the parser's events into data and places, noting what is wrong on the way."""

    def __init__(self, name: str, lines: tuple[str, ...]) -> None:
        self.name = name
        self.lines = lines
        self.problems: list[Problem] = []
        self.broken = False  # no tree worth checking came out
        self.stack: list[_Frame] = []
        self.root: tuple[Any, _Place] | None = None
        self.is_empty = False  # the one value there is was left out
        self.n_documents = 0

    def build(self, text: str) -> tuple[dict[str, Any], _Place]:
        loader = _Loader(text)
        try:
            while True:
                event = loader.get_event()
                if event is None or isinstance(event, yaml.StreamEndEvent):
                    break
                self.take(event)
        except yaml.YAMLError as error:
            self.problems.append(syntax_problem(error, self.place))
            self.broken = True
        except _Stop:
            self.broken = True
        finally:
            loader.dispose()
        if not self.broken:
            self.check_top()
        if self.broken or self.root is None:
            self.broken = True
            return {}, _Place(0, 0)
        return self.root

    def place(self, line: int, column: int) -> Position:
        return _position(self.name, self.lines, line, column)

    def report(self, code: str, message: str, at: tuple[int, int], hint: str = "") -> None:
        self.problems.append(Problem(code, message, self.place(at[0] + 1, at[1] + 1), hint))
        if len(self.problems) >= MAX_PROBLEMS:
            raise _Stop

    def stop(self, code: str, message: str, at: tuple[int, int], hint: str = "") -> None:
        self.report(code, message, at, hint)
        raise _Stop

    def take(self, event: Any) -> None:
        kind = type(event)
        if kind is yaml.ScalarEvent:
            mark = event.start_mark
            self.attach(self.scalar(event), _Place(mark.line, mark.column), event)
        elif kind is yaml.MappingStartEvent or kind is yaml.SequenceStartEvent:
            self.open(event, is_mapping=kind is yaml.MappingStartEvent)
        elif kind is yaml.MappingEndEvent or kind is yaml.SequenceEndEvent:
            self.stack.pop()
        elif kind is yaml.AliasEvent:
            at = (event.start_mark.line, event.start_mark.column)
            self.report("yaml-alias", f"the alias *{event.anchor} is not allowed", at, "write the value out")
            self.attach(None, _Place(*at), event)
        elif kind is yaml.DocumentStartEvent:
            self.n_documents += 1
            if self.n_documents > 1:
                at = (event.start_mark.line, event.start_mark.column)
                hint = "one file holds one document"
                self.stop("several-documents", "a second document begins here", at, hint)

    def check_properties(self, event: Any, at: tuple[int, int]) -> None:
        if event.anchor is not None:
            hint = "write the value out where it is needed"
            self.report("yaml-alias", f"the anchor &{event.anchor} is not allowed", at, hint)
        if event.tag is not None:
            self.report("yaml-tag", "tags (words that begin with !) are not allowed", at, "remove the tag")

    def open(self, event: Any, *, is_mapping: bool) -> None:
        at = (event.start_mark.line, event.start_mark.column)
        if event.anchor is not None or event.tag is not None:
            self.check_properties(event, at)
        if len(self.stack) >= MAX_DEPTH:
            self.stop("too-deep", f"groups and lists are nested more than {MAX_DEPTH} deep", at)
        place = _Place(*at)
        value: dict[str, Any] | list[Any]
        if is_mapping:
            value, place.items, place.keys = {}, {}, {}
        else:
            value, place.items = [], []
        self.attach(value, place, event)
        self.stack.append(_Frame(value, place))

    def scalar(self, event: Any) -> Any:
        text = event.value
        if event.anchor is not None or event.tag is not None:
            self.check_properties(event, (event.start_mark.line, event.start_mark.column))
        if event.style:  # quoted or block text; plain is "" from libyaml, None from pure Python
            return text
        value = plain_scalar(text)
        if isinstance(value, float) and not math.isfinite(value):
            at = (event.start_mark.line, event.start_mark.column)
            shown = text if len(text) <= 40 else text[:40] + "…"
            what = "is too large for a number" if any(c.isdigit() for c in text) else "is not a finite number"
            self.report("not-finite", f"{shown} {what}", at, "write a finite number")
        return value

    def attach(self, value: Any, place: _Place, event: Any) -> None:
        if not self.stack:
            self.root = (value, place)
            self.is_empty = value is None and getattr(event, "value", None) == ""
            return
        frame = self.stack[-1]
        items = frame.place.items
        if isinstance(items, list):
            frame.value.append(value)  # type: ignore[union-attr]
            items.append(place)
        elif frame.awaits_key:
            frame.awaits_key = False
            frame.key = self.key(frame, value, place, event)
        else:
            frame.awaits_key = True
            if frame.key is not _UNUSABLE:
                frame.value[frame.key] = value
                items[frame.key] = place  # type: ignore[index]

    def key(self, frame: _Frame, value: Any, place: _Place, event: Any) -> Any:
        at = (place.line, place.column)
        if type(event) is yaml.AliasEvent:
            return _UNUSABLE  # reported already
        if not isinstance(value, str):
            self.report("non-text-key", *self.non_text_key(value, at, event))
            return _UNUSABLE
        if value in frame.place.keys:
            first = frame.place.keys[value][0] + 1
            message = f'the key "{value[:60]}" is here twice; the first is on line {first}'
            self.report("duplicate-key", message, at, "keep one of them")
            return _UNUSABLE
        frame.place.keys[value] = at
        return value

    def non_text_key(self, value: Any, at: tuple[int, int], event: Any) -> tuple[str, tuple[int, int], str]:
        if isinstance(value, dict | list):
            return "a key must be text, not a group or a list", at, "put text that holds brackets in quotes"
        written = event.value or "nothing"
        before = self.lines[at[0]][: at[1]]
        split = re.search(r"([-+]?[0-9]+),$", before)
        if split and type(value) is int:
            # {mounting: 2,5} reads as the keys "mounting" and 5
            hint = f"write {split[1]}.{written} with a point"
        else:
            hint = f'put it in quotes: "{written}"' if event.value else "write a key before the colon"
        return f"a key must be text, not {written}", at, hint

    def check_top(self) -> None:
        if self.root is None or self.is_empty:
            self.broken = True
            self.report("empty-file", "the file is empty", (0, 0), "write at least one `key: value`")
            return
        value, place = self.root
        at = (place.line, place.column)
        if isinstance(value, dict):
            return
        self.broken = True
        kinds = {list: "a list", str: "text", bool: "true or false", type(None): "null"}
        what = kinds.get(type(value), "a number")
        message = f"the file must hold keys at its top level, not {what}"
        self.report("wrong-type", message, at, "begin with `key: value`")


def _forbidden_characters(lines: tuple[str, ...], name: str) -> list[Problem]:
    """The first character of each line that no YAML file may hold."""
    problems: list[Problem] = []
    for number, line in enumerate(lines, 1):
        found = _FORBIDDEN.search(line)
        if not found:
            continue
        if "\0" in line:  # one NUL says enough: there are thousands in a binary file
            position = Position(name, number, line.index("\0") + 1, line)
            hint = "is this a binary file, or text saved as UTF-16? save it as UTF-8 text"
            return [Problem("control-character", "a NUL character stands here", position, hint)]
        character = ord(found[0])
        if character in (0x85, 0x2028, 0x2029):
            what, hint = f"an unusual line break (U+{character:04X})", "end lines the ordinary way"
        else:
            what = f"a control or unusable character (U+{character:04X})"
            hint = "remove it, or write it as an escape in double quotes"
        position = Position(name, number, found.start() + 1, line)
        problems.append(Problem("control-character", f"{what} stands here", position, hint))
        if len(problems) >= MAX_PROBLEMS:
            break
    return problems


def _too_large(name: str) -> Problem:
    return Problem("too-large", f"the file is larger than {MAX_BYTES // 1024**2} MB", Position(name))


def _read_bytes(path: Path) -> bytes:
    name = str(path)
    try:
        with open(path, "rb") as file:
            raw = file.read(MAX_BYTES + 1)
    except FileNotFoundError:
        problem = Problem("missing-file", "there is no such file", Position(name), _others(path))
        raise InputError([problem]) from None
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name
        if isinstance(error, OSError) and os.path.isdir(path):
            problem = Problem("not-a-file", "this is a folder", Position(name), _others(path / path.name))
        elif isinstance(error, PermissionError):
            hint = "ask for read permission on the file"
            problem = Problem("unreadable", "you may not read this file", Position(name), hint)
        else:
            why = (error.strerror if isinstance(error, OSError) else None) or str(error)
            problem = Problem("unreadable", f"the file cannot be read: {why}", Position(name))
        raise InputError([problem]) from None
    if len(raw) > MAX_BYTES:
        raise InputError([_too_large(name)])
    return raw


def _others(path: Path) -> str:
    """What else stands in the folder of `path`: the file probably meant, or the YAML files."""
    folder = path.parent
    try:
        names = sorted(entry.name for entry in folder.iterdir() if entry.is_file())
    except OSError:
        return f"the folder {folder} cannot be opened"
    near = nearest_file(path.name, names)
    if near is not None:
        return f'did you mean "{folder / near}"?'
    yaml_names = [name for name in names if name.endswith((".yaml", ".yml"))]
    if not yaml_names:
        return f"there is no YAML file in {folder.resolve()}"
    return f"YAML files in {folder}: " + ", ".join(yaml_names[:20]) + (", …" if len(yaml_names) > 20 else "")


def _decode(raw: bytes, name: str) -> str:
    raw = raw.removeprefix(codecs.BOM_UTF8)
    if raw.startswith(_BYTE_ORDER_MARKS):
        message = "the file is UTF-16 or UTF-32 text"
        raise InputError([Problem("not-utf8", message, Position(name), "save it as UTF-8")])
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError as error:
        before = _LINE_BREAK.split(raw[: error.start].decode("utf-8"))
        binary = b"\x00" in raw
        line = "" if binary else _LINE_BREAK.split(raw.decode("utf-8", errors="replace"))[len(before) - 1]
        position = Position(name, len(before), len(before[-1]) + 1, line)
        message = "this is a binary file" if binary else f"byte 0x{raw[error.start]:02x} is not UTF-8 text"
        raise InputError([Problem("not-utf8", message, position, "save the file as UTF-8 text")]) from None
