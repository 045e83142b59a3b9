"""One pydantic error as one plain sentence: a code, a place in the file, what is wrong and what to do."""

from __future__ import annotations

import re
from typing import Any, get_args

from pydantic_core.core_schema import ErrorType

from raycover.errors import Position, Problem, did_you_mean, nearest
from raycover.scene.quantities import CHECK_UNITS, LARGEST_M
from raycover.scene.reading import Document, Loc
from raycover.scene.schema_view import SchemaView, describe, one_of, shortened
from raycover.scene.union_errors import Fault, is_wrong_kind

_PYDANTIC_KINDS = frozenset(get_args(ErrorType))
_BOUNDS = {
    "greater_than": ("gt", "more than"),
    "greater_than_equal": ("ge", "at least"),
    "less_than": ("lt", "less than"),
    "less_than_equal": ("le", "at most"),
    "multiple_of": ("multiple_of", "a multiple of"),
}
_LENGTHS = {
    "too_short": ("min_length", "at least", "entry", "entries"),
    "too_long": ("max_length", "at most", "entry", "entries"),
    "string_too_short": ("min_length", "at least", "character", "characters"),
    "string_too_long": ("max_length", "at most", "character", "characters"),
}
# What a value of the wrong kind should have been, by the start of pydantic's error type.
_KINDS = (
    ("float", "number", "a number"),
    ("decimal", "number", "a number"),
    ("int", "integer", "a whole number"),
    ("bool", "boolean", "true or false"),
    ("string", "string", "text"),
    ("list", "array", "a list"),
    ("tuple", "array", "a list"),
    ("set", "array", "a list"),
    ("iterable", "array", "a list"),
    ("dict", "object", "a group of keys"),
    ("mapping", "object", "a group of keys"),
    ("model", "object", "a group of keys"),
    ("dataclass", "object", "a group of keys"),
    ("none", "null", "nothing"),
)
_DECIMAL_COMMA = re.compile(r"\s*([-+]?[0-9]*),([0-9]+)\s*")
#: Digits on both sides of a comma without a space: in a list of numbers most likely a decimal comma.
_TIGHT_COMMA = re.compile(r"(?<![0-9.,])([0-9]+),([0-9]+)(?![0-9.])")
_GROUPED_DIGITS = re.compile(r"[-+]?[0-9][0-9_]*(?:\.[0-9]+)?")
_WITH_UNIT = re.compile(r"\s*([-+]?[0-9]+(?:[.,][0-9]+)?)\s*[a-zA-Z°%]+\s*")


class Wording:
    """Puts faults found in the part of `document` at `at` into words."""

    def __init__(self, document: Document, at: Loc, view: SchemaView) -> None:
        self.document = document
        self.at = at
        self.view = view

    def problems(self, faults: list[Fault]) -> list[Problem]:
        """One problem a fault, without repeats.

        An unknown key that is a misspelt required one is one mistake, not two: the missing key is left out.
        """
        meant = {(f.group, self.meant_key(f)) for f in faults if f.kind == "extra_forbidden"}
        lacking = {(f.path, f.loc_end) for f in faults if f.kind == "missing"}
        found = []
        for fault in faults:
            if fault.kind == "extra_forbidden":
                must = (fault.group, self.meant_key(fault)) in lacking
                found.append(self.unknown_key(fault, must_be_given=must))
            elif fault.kind != "missing" or (fault.path, fault.loc_end) not in meant:
                found.append(self.problem(fault))
        return list(dict.fromkeys(found))

    def problem(self, fault: Fault) -> Problem:
        kind = fault.kind
        if kind == "missing":
            return self.missing(fault)
        if kind in _BOUNDS:
            return self.out_of_range(fault)
        if kind in _LENGTHS:
            return self.wrong_length(fault)
        if kind in ("literal_error", "enum"):
            return self.expects(fault, [fault])
        if kind == "union":
            return self.expects(fault, list(fault.merged))
        if kind in ("union_tag_invalid", "union_tag_not_found"):
            return self.wrong_tag(fault)
        if kind in ("value_error", "assertion_error") or kind not in _PYDANTIC_KINDS:
            return self.custom(fault)
        if kind == "finite_number":
            return self.make("not-finite", f"{self.subject(fault.path)} must be a finite number", fault)
        if is_wrong_kind(kind):
            return self.expects(fault, [fault])
        code = "not-allowed" if kind.endswith("pattern_mismatch") else "invalid-value"
        message = f"{self.subject(fault.path)}: {_lower(fault.message)}"
        return self.make(code, message, fault, self.meaning(fault))

    def make(self, code: str, message: str, fault: Fault, hint: str = "") -> Problem:
        return Problem(code, message, self.position(fault.path, key=fault.is_key), hint)

    def position(self, path: Loc, *, key: bool = False) -> Position:
        return self.document.position((*self.at, *path), key=key)

    # ---- saying which thing is meant

    def subject(self, path: Loc) -> str:
        """`mounting in detectors[1] ("P")`."""
        segments: list[tuple[str, Any]] = []
        value: Any = self.document.data
        for part in (*self.at, *path):
            value = value[part]
            if isinstance(part, int) and segments:
                segments[-1] = (f"{segments[-1][0]}[{part}]", value)
            else:
                segments.append((str(part), value))
        said = [word + _name(value) for word, value in reversed(segments)]
        return " in ".join(said) or "the file"

    def within(self, path: Loc) -> str:
        return f"in {self.subject(path)}" if (*self.at, *path) else "at the top level"

    def meaning(self, fault: Fault) -> str:
        """What the key at fault is for."""
        for node in fault.nodes:
            text = describe(node.schema)
            if text:
                key = fault.path[-1] if fault.path else None
                return f"{key}: {text}" if isinstance(key, str) else text
        return ""

    # ---- the kinds of error

    def meant_key(self, fault: Fault) -> str | None:
        """The key that an unknown one is near, of those its group has not got."""
        return nearest(str(fault.loc_end), self.absent_keys(fault))

    def absent_keys(self, fault: Fault) -> list[str]:
        present = self.value(fault.group)
        return [k for k in fault.known_keys() if not (isinstance(present, dict) and k in present)]

    def homes(self, fault: Fault, key: str) -> list[str]:
        """The groups of keys beside an unknown key that have it: what was meant for `project:`, say."""
        return [
            name
            for parent in fault.parents
            for name, schema in parent.keys.items()
            if not schema.get("not_built_yet") and any(key in node.keys for node in self.view.alternatives(schema))
        ]

    def unknown_key(self, fault: Fault, *, must_be_given: bool) -> Problem:
        key = str(fault.loc_end)
        absent = self.absent_keys(fault)
        homes = [] if (*self.at, *fault.group) or nearest(key, absent) else self.homes(fault, key)
        if homes:
            hint = "it stands within a group: write " + " or ".join(f"{home}: {{{key}: …}}" for home in homes)
        else:
            hint = did_you_mean(key, absent)
        if must_be_given:
            hint += " it must be given"
        return self.make("unknown-key", f"unknown key {_quoted(key)} {self.within(fault.group)}", fault, hint)

    def missing(self, fault: Fault) -> Problem:
        key = fault.loc_end
        if isinstance(key, int):  # a list of fixed length, too short
            wanted = fault.nodes[0].phrase() if fault.nodes else "more entries"
            got = _shown(self.value(fault.path))
            message = f"{self.subject(fault.path)} expects {wanted}, got {got}"
            return self.make("wrong-length", message, fault, self.meaning(fault))
        hint = ""
        for node in fault.nodes:
            if key in node.keys:
                inner = next(iter(self.view.alternatives(node.keys[str(key)])), None)
                # the field's own words come before those of the class that it holds
                text = describe({**(inner.schema if inner else {}), **node.keys[str(key)]})
                hint = f"{key}: {text}" if text else f"write {inner.phrase()}" if inner else ""
                break
        message = f"missing key {_quoted(str(key))} {self.within(fault.path)}"
        return self.make("missing-key", message, fault, hint)

    def out_of_range(self, fault: Fault) -> Problem:
        name, words = _BOUNDS[fault.kind]
        unit = next((f" {node.unit}" for node in fault.nodes if node.unit), "")
        bound = _number(fault.context.get(name))
        message = f"{self.subject(fault.path)} must be {words} {bound}{unit}, got {_number(fault.value)}"
        hint = CHECK_UNITS if abs(fault.context.get(name) or 0) == LARGEST_M else self.meaning(fault)
        if (
            name == "le"
            and fault.context.get(name) == 1
            and isinstance(fault.value, int | float)
            and fault.value <= 100
        ):
            hint = f"{hint}; {_number(fault.value)} % is written {_number(fault.value / 100)}".removeprefix("; ")
        return self.make("out-of-range", message, fault, hint)

    def wrong_length(self, fault: Fault) -> Problem:
        name, words, one, several = _LENGTHS[fault.kind]
        bound = fault.context.get(name)
        actual = fault.context.get("actual_length")
        if actual is None:
            actual = len(fault.value) if hasattr(fault.value, "__len__") else "another number"
        things = one if bound == 1 else several
        message = f"{self.subject(fault.path)} must have {words} {bound} {things}, has {actual}"
        hint = self.meaning(fault)
        entries = fault.value if isinstance(fault.value, list) else []
        if entries and len(entries) == 2 * (bound or 0) and all(type(e) is int for e in entries):
            hint = f"if {entries[0]},{entries[1]} is one number, write {entries[0]}.{entries[1]} with a point"
        elif fault.kind == "too_long" and entries and all(isinstance(e, int | float) for e in entries):
            place = self.position(fault.path)
            comma = _TIGHT_COMMA.search(place.text[max(place.column - 1, 0) :].partition("]")[0])
            if comma:
                point = f"if {comma[1]},{comma[2]} is one number, write {comma[1]}.{comma[2]} with a point"
                hint = f"{point}; {hint}" if hint else point
            elif (fault.path[:1], fault.path[2:]) == (("detectors",), ("at",)) and len(entries) == 3:
                x, y, z = map(_number, entries)
                hint = f"a detector's height is not in at, it is mounting: write at: [{x}, {y}], mounting: {z}"
        return self.make("wrong-length", message, fault, hint)

    def wrong_tag(self, fault: Fault) -> Problem:
        key = str(fault.context.get("discriminator", "")).strip("'")
        tags = re.findall(r"'((?:[^'\\]|\\.)*)'", str(fault.context.get("expected_tags", "")))
        for node in () if tags else fault.nodes:
            tags.extend(c for n in self.view.alternatives(node.keys.get(key)) for c in n.choices)
        value = self.value(fault.path)
        if isinstance(value, dict) and key in value:
            path: Loc = (*fault.path, key)
            message = f"{self.subject(path)} must be {one_of(tags)}, got {_shown(value[key])}"
            hint = did_you_mean(str(value[key]), tags) if nearest(str(value[key]), tags) else ""
            return Problem("not-allowed", message, self.position(path), hint)
        if not isinstance(value, dict):
            message = f"{self.subject(fault.path)} expects a group of keys, got {_shown(value)}"
            return self.make("wrong-type", message, fault, self.meaning(fault))
        if fault.kind == "union_tag_not_found" and not key.endswith("()"):
            message = f"missing key {_quoted(key)} {self.within(fault.path)}"
            return self.make("missing-key", message, fault, f"{key}: {one_of(tags)}" if tags else "")
        return self.make("not-allowed", f"{self.subject(fault.path)}: {_lower(fault.message)}", fault)

    def custom(self, fault: Fault) -> Problem:
        own = fault.kind not in _PYDANTIC_KINDS
        code = fault.kind.replace("_", "-") if own else "invalid-value"
        cause = fault.context.get("error")
        text = str(cause) if isinstance(cause, Exception) and str(cause) else fault.message
        deeper = fault.context.get("at")
        path = (*fault.path, *deeper) if isinstance(deeper, list | tuple) else fault.path
        try:
            self.value(path)
        except (LookupError, TypeError):
            path = fault.path
        position = self.position(path, key=fault.is_key or fault.context.get("key") is True)
        joint = " " if text.startswith(("expects ", "must ", "needs ")) else ": "
        message = f"{self.subject(path)}{joint}{text}" if (*self.at, *path) else text
        return Problem(code, message, position, str(fault.context.get("help", "")))

    def expects(self, fault: Fault, refusals: list[Fault]) -> Problem:
        """A value that is none of what the schema allows here."""
        phrases: list[str] = []
        choices: list[Any] = []
        for refusal in refusals:
            if refusal.kind in ("literal_error", "enum"):
                choices.extend(_choices(refusal))
            else:
                phrases.append(_phrase(refusal))
        # Choices of the right kind make it a wrong word; else it is a wrong kind of value.
        is_word = bool(choices) and any(type(c) is type(fault.value) for c in choices)
        if choices:
            phrases.append(one_of(choices))
        hint = ""
        if is_word and isinstance(fault.value, str):
            words = [c for c in choices if isinstance(c, str)]
            hint = did_you_mean(fault.value, words) if nearest(fault.value, words) else ""
        hint = hint or _advice(fault.value, phrases) or self.meaning(refusals[0])
        wanted = " or ".join(dict.fromkeys(phrases))
        message = f"{self.subject(fault.path)} expects {wanted}, got {_shown(fault.value)}"
        return self.make("not-allowed" if is_word else "wrong-type", message, fault, hint)

    def value(self, path: Loc) -> Any:
        found: Any = self.document.data
        for part in (*self.at, *path):
            found = found[part]
        return found


def _phrase(fault: Fault) -> str:
    for start, json_type, words in _KINDS:
        if fault.kind.startswith(start):
            fitting = [n for n in fault.nodes if n.schema.get("type") == json_type and not n.choices]
            phrases = {n.phrase() for n in fitting}
            return phrases.pop() if len(phrases) == 1 else words
    return _lower(fault.message.removeprefix("Input should be "))


def _choices(fault: Fault) -> list[Any]:
    found = [choice for node in fault.nodes for choice in node.choices]
    if found:
        return found
    return re.findall(r"'((?:[^'\\]|\\.)*)'", str(fault.context.get("expected", "")))


def _advice(value: Any, phrases: list[str]) -> str:
    """What probably happened, judged by the value and by what was wanted."""
    wants_number = any("number" in p and not p.startswith("a list") for p in phrases)
    if isinstance(value, str) and wants_number:
        comma = _DECIMAL_COMMA.fullmatch(value)
        if comma:
            whole = comma[1] if comma[1].strip("+-") else comma[1] + "0"
            return f"write {whole}.{comma[2]} with a point"
        if _GROUPED_DIGITS.fullmatch(value):
            plain = value.replace("_", "")
            return f"write {plain}" if plain != value else f"write {plain} without quotes"
        unit = _WITH_UNIT.fullmatch(value)
        if unit:
            wanted = next(p for p in phrases if "number" in p)
            return f"write {wanted} without its unit"
    if "true or false" in phrases and (isinstance(value, str) or value in (0, 1)):
        return "write true or false"
    if isinstance(value, int | float) and any(p.startswith("a list") for p in phrases):
        return f"write [{_number(value)}], a list even if it holds one"
    if isinstance(value, dict) and value and phrases == ["a list"]:
        return "write a list: each entry on a line of its own that begins with a dash, - {…}"
    if phrases == ["text"] and isinstance(value, int | float):
        return "put it in quotes"
    if value is None:
        return "write a value here"
    return ""


def _name(value: Any) -> str:
    name = value.get("name") if isinstance(value, dict) else None
    return f" ({_quoted(name)})" if isinstance(name, str) and name else ""


def _quoted(text: str) -> str:
    shown = "".join(c if c.isprintable() else "·" for c in text)
    return f'"{shown[:60]}…"' if len(shown) > 60 else f'"{shown}"'


def _shown(value: Any) -> str:
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return f"the number {_number(value)}"
    if isinstance(value, str):
        return f"text {_quoted(value)}"
    if isinstance(value, list | tuple):
        return f"a list of {len(value)}" if value else "an empty list"
    if isinstance(value, dict):
        keys = [_quoted(str(key))[1:-1] for key in list(value)]
        return f"a group of keys ({shortened(keys, 5)})" if keys else "an empty group"
    return f"a {type(value).__name__}"


def _number(value: Any) -> str:
    if isinstance(value, float):
        return f"{value:.12g}"
    shown = str(value)
    return shown if len(shown) <= 40 else shown[:40] + "…"


def _lower(message: str) -> str:
    return message[:1].lower() + message[1:]
