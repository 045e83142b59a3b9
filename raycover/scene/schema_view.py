"""What a pydantic model expects at a place in a file, looked up in its JSON Schema.

The JSON Schema that pydantic writes for editors already holds every key, description, choice and bound under
the names used in the file, whatever the model is built from; so it is walked here, not the annotations.
A key `unit` in a field's `json_schema_extra` (in words: "metres", "dB") is shown in messages.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

from pydantic import BaseModel
from pydantic.errors import PydanticInvalidForJsonSchema, PydanticSchemaGenerationError

# Labels of union members that are not models: `function-after[check(), list[float]]`, `constrained-str`, …
_WRAPPED = re.compile(r"function-[a-z]+\[[^()]*\(\), (.*)\]", re.DOTALL)
_LABEL_KINDS = (
    ("list[", "array"),
    ("tuple[", "array"),
    ("set[", "array"),
    ("dict[", "object"),
    ("str", "string"),
    ("constrained-str", "string"),
    ("float", "number"),
    ("constrained-float", "number"),
    ("int", "integer"),
    ("constrained-int", "integer"),
    ("bool", "boolean"),
)


@dataclass(frozen=True)
class Node:
    """One thing that may stand at a place; pydantic may call it by `names` in an error's location."""

    schema: dict[str, Any]
    names: frozenset[str] = field(default=frozenset())

    @property
    def keys(self) -> dict[str, Any]:
        found = self.schema.get("properties", {})
        return found if isinstance(found, dict) else {}

    @property
    def required(self) -> list[str]:
        return list(self.schema.get("required", ()))

    @property
    def choices(self) -> list[Any]:
        if "const" in self.schema:
            return [self.schema["const"]]
        return list(self.schema.get("enum", ()))

    @property
    def unit(self) -> str:
        return str(self.schema.get("unit", ""))

    def phrase(self) -> str:
        """What to write here, in words: `a number of metres`, `a list of 2 numbers`."""
        if self.choices:
            return one_of(self.choices)
        kind = self.schema.get("type")
        unit = f" of {self.unit}" if self.unit else ""
        if kind == "number":
            return "a number" + unit
        if kind == "integer":
            return "a whole number" + unit
        if kind == "object":
            keys = self.required or list(self.keys)
            return f"a group of keys ({shortened(keys, 8)})" if keys else "a group of keys"
        if kind == "array":
            entries = self.schema.get("prefixItems")
            if isinstance(entries, list) and all(e.get("type") == "number" for e in entries):
                return f"a list of {len(entries)} numbers"
            return f"a list of {len(entries)} entries" if isinstance(entries, list) else "a list"
        others = {"string": "text", "boolean": "true or false", "null": "nothing"}
        return others.get(str(kind), "another kind of value")


def one_of(choices: Iterable[Any]) -> str:
    """`"a"`, or `one of "a", "b", "c"`."""
    shown = list(dict.fromkeys(json.dumps(choice, ensure_ascii=False, default=str) for choice in choices))
    return shown[0] if len(shown) == 1 else "one of " + shortened(shown, 30)


def shortened(words: Sequence[str], most: int) -> str:
    """`a, b, c`, with an ellipsis after the first `most`."""
    return ", ".join(words[:most]) + (", …" if len(words) > most else "")


class SchemaView:
    """The JSON Schema of a model, walked key by key; every look-up is empty where the model has none."""

    def __init__(self, model: type[BaseModel]) -> None:
        try:
            self.root: dict[str, Any] = model.model_json_schema(mode="validation")
        except (PydanticInvalidForJsonSchema, PydanticSchemaGenerationError):
            self.root = {}
        self.definitions: dict[str, Any] = self.root.get("$defs", {})

    def top(self) -> list[Node]:
        return self.alternatives(self.root)

    def alternatives(self, schema: Any, names: frozenset[str] = frozenset(), depth: int = 0) -> list[Node]:
        """`schema` with references followed and unions taken apart; null is left out."""
        if not isinstance(schema, dict) or depth > 20:
            return []
        if schema.get("type") == "object" and isinstance(schema.get("title"), str):
            names = names | {schema["title"]}
        if "$ref" in schema:
            name = str(schema["$ref"]).rsplit("/", 1)[-1]
            target = self.definitions.get(name, {})
            beside = {k: v for k, v in schema.items() if k not in ("$ref", "title")}
            return self.alternatives({**target, **beside}, names | {name}, depth + 1)
        if len(schema.get("allOf", ())) == 1:
            beside = {k: v for k, v in schema.items() if k != "allOf"}
            return self.alternatives({**schema["allOf"][0], **beside}, names, depth + 1)
        for union in ("anyOf", "oneOf"):
            if union in schema:
                tags = self.tags(schema)
                shared = {k: schema[k] for k in ("description", "unit") if k in schema}
                return [
                    node
                    for member in schema[union]
                    for node in self.alternatives(
                        {**shared, **member}, frozenset(tags.get(str(member.get("$ref")), ())), depth + 1
                    )
                ]
        if schema.get("type") == "null":
            return []
        return [Node(schema, names)]

    @staticmethod
    def tags(schema: dict[str, Any]) -> dict[str, list[str]]:
        """The tags of a discriminated union by the reference they lead to."""
        mapping = schema.get("discriminator", {}).get("mapping", {})
        found: dict[str, list[str]] = {}
        for tag, reference in mapping.items():
            found.setdefault(str(reference), []).append(str(tag))
        return found

    def step(self, nodes: list[Node], part: str | int) -> list[Node]:
        """What may stand under the key or index `part`."""
        found: list[Node] = []
        for node in nodes:
            if isinstance(part, str):
                inner = node.keys.get(part, node.schema.get("additionalProperties"))
            else:
                entries = node.schema.get("prefixItems", [])
                inner = entries[part] if 0 <= part < len(entries) else node.schema.get("items")
            found.extend(self.alternatives(inner))
        return found

    @staticmethod
    def narrow(nodes: list[Node], label: str) -> list[Node]:
        """Those of `nodes` that pydantic means by `label` in an error's location; all when none fits."""
        while wrapped := _WRAPPED.fullmatch(label):
            label = wrapped[1]
        named = [n for n in nodes if label in n.names]
        if named:
            return named
        kind = next((kind for start, kind in _LABEL_KINDS if label.startswith(start)), None)
        return [n for n in nodes if kind and n.schema.get("type") == kind] or nodes


@lru_cache(maxsize=64)
def schema_view(model: type[BaseModel]) -> SchemaView:
    return SchemaView(model)


def describe(schema: dict[str, Any]) -> str:
    """The first paragraph of a description on one line, with the unit where it isn't said."""
    text = " ".join(str(schema.get("description", "")).split("\n\n")[0].split())
    unit = str(schema.get("unit", ""))
    if unit and unit not in text:
        text = f"{text} ({unit})" if text else f"in {unit}"
    return text
