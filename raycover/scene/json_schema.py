"""The scene file as a JSON Schema (draft 2020-12), which editors complete keys and show words from.

Made from the same models that read a scene, so the two cannot drift apart. It says what a key is and may hold;
what spans several keys (just one of these, no more than that) only reading a scene tells.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from pydantic.json_schema import GenerateJsonSchema, JsonSchemaValue
from pydantic_core import core_schema

from raycover.scene.lengths import PATTERN
from raycover.scene.quantities import length_from_text
from raycover.scene.schema import Scene

DIALECT = "https://json-schema.org/draft/2020-12/schema"
#: Names this schema; nothing is fetched from it.
IDENTIFIER = "urn:raycover:scene:1"
_LENGTH_TEXT = "LengthWithUnit"
_IS_LENGTH = "x-length"
_BOUNDS = {"ge": "minimum", "gt": "exclusiveMinimum", "le": "maximum", "lt": "exclusiveMaximum"}
_UNITS = {
    "_deg": "degrees",
    "_db": "dB",
    "_mm": "millimetres",
    "_ghz": "GHz",
    "_ma": "mA",
    "_s": "s",
    "_mm2": "mm²",
    "_c": "°C",
    "_m2": "m²",
    "_hz": "Hz",
    "_pct": "per cent",
    "_mps": "m/s",
}
#: An example of each part of a scene.
EXAMPLES: dict[str, dict[str, Any]] = {
    "Room": {
        "name": "Office",
        "outline": [[0, 0], [9, 0], [9, "19 ft 8 in"], [0, "19 ft 8 in"]],
        "height": 2.8,
        "walls": "stud-wall-100",
        "openings": [{"edge": 0, "at": 1, "width": "900 mm", "height": 2.1, "fill": "door-wood-40"}],
    },
    "RoomOpening": {"edge": 0, "at": 1.2, "width": 0.9, "height": 2.1, "fill": "door-wood-40", "state": "closed"},
    "Opening": {"at": 1.2, "width": 0.9, "height": 2.1, "fill": "door-wood-40", "state": "open"},
    "Partition": {"name": "Screen", "line": [[5.5, 2], [5.5, 6]], "height": 2.8, "construction": "stud-wall-100"},
    "Solid": {"name": "Column 1", "centre": [10, 12], "size": [0.4, 0.4, 11], "material": "concrete"},
    "Racking": {"name": "R1", "at": [3, 4], "bays": 8, "levels": 5},
    "Cubicles": {"name": "WC", "at": [4.2, 4.2], "turn_deg": 180, "count": 4},
    "Desks": {"name": "Desks", "at": [1.4, 8.6], "count": 3},
    "SheetSpec": {
        "name": "Shelf",
        "corners": [[1, 5.2, 2], [2, 5.2, 2], [2, 5.8, 2], [1, 5.8, 2]],
        "construction": "chipboard-18",
    },
    "InlineConstruction": {"layers": [{"material": "chipboard", "thickness_mm": 13}, {"air_mm": 75}]},
    "DetectorSpec": {"name": "D1", "model": "ceiling-infrared-general", "at": [2.8, 3], "mounting": 2.8},
    "MaskSpec": {"from_deg": 200, "to_deg": 260},
    "ShapeSpec": {"circle": {"diameter": 8}},
    "DeclaredSpec": {"mounting": 2.5, "plane": 0, "motion": "radial", "shape": {"circle": {"diameter": 9}}},
    "PlaneSpec": {"name": "people", "target": "person", "heights": [0.3, 1.0, 1.6]},
    "Conditions": {"ambient_c": 20, "reserve_db": 3},
    "CorrectionsSpec": {"reach_db": {"microwave-omni-5.8": -1.2}, "loss_db": {"plasterboard-12.5": 2.5}},
    "Nuisance": {"name": "Heater", "kind": "heater", "at": [4, 0.2], "height": 2.2, "surface_c": 80},
    "StateSpec": {"name": "Dock doors open", "set": {"Hall/opening *": "open", "Lorry": "absent"}},
    "Change": {"centre": [12, 4]},
    "NeedSpec": {"name": "Every cubicle", "cubicles": ["WC"], "doors": "closed", "share": 0.95},
    "Route": {"name": "Arrivals", "from": "Office/opening 0", "to": "every desk"},
    "Line": {"name": "L1", "detectors": ["D*"], "supply_ma": 200, "cable": {"length": 180, "area_mm2": 1.5}},
    "Cable": {"length": 180, "area_mm2": 1.5},
    "BusDevice": {"kind": "button panel", "count": 4},
    "Zone": {"name": "Z1", "detectors": ["D1", "D2"], "luminaires": "L1 to L6", "mode": "absence", "hold_s": 900},
    "LightSensor": {"at": [3.2, 2.4]},
    "Pause": {"at": [6.2, 1.4], "seconds": 20},
}


class _Generator(GenerateJsonSchema):
    """Marks what may be a length with its unit, which pydantic cannot know."""

    schema_dialect = DIALECT

    def function_before_schema(self, schema: core_schema.BeforeValidatorFunctionSchema) -> JsonSchemaValue:
        made = super().function_before_schema(schema)
        if schema["function"]["function"] is length_from_text:
            made = {**made, _IS_LENGTH: True}
        return made


def scene_schema(names: Mapping[str, Sequence[str]] | None = None) -> dict[str, Any]:
    """The schema of the scene file.

    `names` are offered for completion and never asked for: lists under `constructions`, `materials`, `solids`
    and `detectors`.
    """
    known = names if names is not None else {}
    raw = Scene.model_json_schema(mode="validation", schema_generator=_Generator)
    definitions = {name: _definition(name, part, known) for name, part in raw["$defs"].items()}
    top = _definition("Scene", {key: value for key, value in raw.items() if key != "$defs"}, known)
    for part in (top, *definitions.values()):
        for key, field in part.get("properties", {}).items():
            part["properties"][key] = _told(field, definitions)
    definitions[_LENGTH_TEXT] = {
        "title": "Length with its unit",
        "description": "a length with its unit: 250 mm, 25 cm, 2.5 m, 12 ft 6 in, 12'6\", 6 3/4 in",
        "type": "string",
        "pattern": PATTERN,
        "examples": ["250 mm", "12 ft 6 in", "6 3/4 in"],
    }
    top.pop("description", None)
    return {
        "$schema": DIALECT,
        "$id": IDENTIFIER,
        "title": "raycover scene, version 1",
        "description": "A building with its detectors. Lengths are metres, or text with a unit.",
        **{key: value for key, value in top.items() if key != "title"},
        "$defs": {name: definitions[name] for name in sorted(definitions)},
    }


def _definition(name: str, part: dict[str, Any], names: Mapping[str, Sequence[str]]) -> dict[str, Any]:
    made = _converted(part, names)
    fields = made.get("properties")
    if isinstance(fields, dict):
        made["properties"] = {
            key: _with_words(name, key, field, names) for key, field in fields.items() if not field.get("not_built_yet")
        }
    if "description" in made:
        made["description"] = " ".join(made["description"].split())
    if name in EXAMPLES:
        made["examples"] = [EXAMPLES[name]]
    return made


def _converted(part: Any, names: Mapping[str, Sequence[str]]) -> Any:
    """A piece of schema with bounds that pydantic left in its own words, lengths and constructions put right."""
    if isinstance(part, list):
        return [_converted(item, names) for item in part]
    if not isinstance(part, dict):
        return part
    made = {
        key: {k: _converted(v, names) for k, v in value.items()} if key == "properties" else _converted(value, names)
        for key, value in part.items()
        if key != "default"
    }
    made = {_BOUNDS.get(key, key) if isinstance(value, int | float) else key: value for key, value in made.items()}
    if "default" in part:
        made["default"] = part["default"]
    if made.pop(_IS_LENGTH, False):
        number = {key: made.pop(key) for key in ("type", *_BOUNDS.values()) if key in made}
        made["anyOf"] = [number, {"$ref": f"#/$defs/{_LENGTH_TEXT}"}]
    if {"type": "string"} in made.get("anyOf", ()) and {"$ref": "#/$defs/InlineConstruction"} in made["anyOf"]:
        made["anyOf"] = [*_offered([*names.get("constructions", ()), "none"]), *made["anyOf"]]
    return made


def _offered(names: Sequence[str]) -> list[dict[str, Any]]:
    return [{"enum": list(names)}] if names else []


def _with_words(owner: str, key: str, field: dict[str, Any], names: Mapping[str, Sequence[str]]) -> dict[str, Any]:
    """A key's schema with its unit said, and names of the catalogue offered."""
    field = {k: v for k, v in field.items() if k != "title"}
    unit = "metres" if _holds_lengths(field) else next((u for end, u in _UNITS.items() if key.endswith(end)), "")
    words = str(field.get("description", ""))
    if unit and words and unit not in words:
        field["description"] = f"{words}, in {unit}"
    kind = {("DetectorSpec", "model"): "detectors", ("LayerSpec", "material"): "materials"}.get((owner, key))
    if kind is None and key.endswith("material"):
        kind = "solids"
    if kind is not None and names.get(kind):
        plain = {k: field.pop(k) for k in ("type", "anyOf") if k in field}
        field["anyOf"] = [*_offered(names[kind]), *plain.get("anyOf", [plain])]
    return field


def _holds_lengths(part: Any) -> bool:
    if isinstance(part, dict):
        return part.get("$ref") == f"#/$defs/{_LENGTH_TEXT}" or any(_holds_lengths(v) for v in part.values())
    return isinstance(part, list) and any(_holds_lengths(v) for v in part)


def _told(field: dict[str, Any], definitions: Mapping[str, Any]) -> dict[str, Any]:
    """A key's schema, described by what it holds where it has no words of its own."""
    if "description" in field:
        return field
    inner = field.get("items", field)
    references = [inner, *inner.get("anyOf", ())]
    name = next((r["$ref"].rsplit("/", 1)[-1] for r in references if "$ref" in r), "")
    words = definitions.get(name, {}).get("description", "")
    return {**field, "description": words.split(". ")[0].rstrip(".")} if words else field
