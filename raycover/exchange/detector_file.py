"""Writing a detector's entry of the catalogue: one YAML file, each figure with its unit and source."""

from __future__ import annotations

import json
import re
import textwrap
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from raycover.catalogue import detector_files
from raycover.errors import InputError, Position, Problem
from raycover.exchange.files import write_whole
from raycover.scene.devices import DeclaredSpec, DetectorModel
from raycover.scene.reading import read_text, read_yaml
from raycover.scene.scalars import plain_scalar
from raycover.scene.validate import validate

_PLAIN = re.compile(r"[A-Za-z][A-Za-z0-9._-]*(?: [A-Za-z0-9._-]+)*")
_HEADER = """\
# tangential: walking across the line of sight; radial: walking toward the unit; presence: small movements of a
# seated person (terms of IEC 63180). Azimuth 0 is the long side, or straight ahead; azimuths run anticlockwise.
"""


def entry_path(folder: Path, name: str) -> Path:
    """The file of the entry `name` in a folder of models."""
    return folder / "detectors" / f"{name}.yaml"


def entry_text(model: DetectorModel) -> str:
    """The entry as YAML that reads back equal: fixed order, units in comments, no key that was not given."""
    lines = [
        "raycover_detector: 1",
        f"name: {_text(model.name)}",
        f"title: {_quoted(model.title)}",
        *([f"family: {_text(model.family)}"] if model.family else []),
        *_prose("description", model.description),
        f"kind: {model.kind}",
    ]
    if model.frequency_ghz is not None:
        lines.append(f"frequency_ghz: {_number(model.frequency_ghz)}   # GHz")
    lines.append("declared:   # lengths in m, angles in degrees; plane: height above the floor")
    lines += [f"  - {_declared(d)}" for d in model.declared]
    if model.mounting is not None:
        low, high = _number(model.mounting.from_m), _number(model.mounting.to_m)
        lines.append(f"mounting: {{from: {low}, to: {high}}}   # m, heights it is meant for")
    for key, comment in (
        ("largest_mask_share", "share of the declared area, 0 to 1"),
        ("bus_current_ma", "mA"),
        ("reach_behind", "share of the reach behind the mounting plane, 0 to 1"),
    ):
        if (value := getattr(model, key)) is not None:
            lines.append(f"{key}: {_number(value)}   # {comment}")
    if model.source:
        lines += _prose("source", model.source)
    return _HEADER + "\n".join(lines) + "\n"


def read_entry(text: str, name: str) -> DetectorModel:
    """An entry from its text; `name` stands for the file in messages. Raises InputError."""
    problems: list[Problem] = []
    document = read_text(text, name, problems=problems)
    return validate(DetectorModel, document, problems=problems)


def holder_of(name: str, folders: Iterable[Path]) -> Path | None:
    """The file in `folders` of models that already holds a detector `name`; unreadable files are passed over."""
    for folder in folders:
        for path in detector_files(folder):
            try:
                if read_yaml(path, problems=[]).data.get("name") == name:
                    return path
            except InputError:
                continue
    return None


def write_entry(model: DetectorModel, folder: Path, *, taken_in: Iterable[Path] = (), force: bool = False) -> Path:
    """Write `folder`/detectors/NAME.yaml, whole or not at all, and return its path.

    `taken_in`: folders of models in which the name may not stand yet. With `force` the very same file may be
    replaced, never a name that another file holds. Raises InputError.
    """
    path = entry_path(folder, model.name)
    check_free(model.name, folder, taken_in=taken_in, force=force)
    text = entry_text(model)
    if read_entry(text, str(path)) != model:
        raise AssertionError(f"the entry {model.name!r} does not read back as it was")
    write_whole(path, text)
    return path


def check_free(name: str, folder: Path, *, taken_in: Iterable[Path] = (), force: bool = False) -> None:
    """Raise InputError where the name, or the file it would go to, is taken."""
    path = entry_path(folder, name)
    holder = holder_of(name, [*taken_in, folder])
    if holder is not None and holder.resolve() != path.resolve():
        message = f'the detector "{name}" is already in {holder}'
        raise InputError([Problem("name-taken", message, Position("NAME"), "choose another name")])
    if path.exists() and not force:
        hint = "choose another name, or replace it with --force"
        raise InputError([Problem("file-exists", "this entry is there already", Position(str(path)), hint)])


def _declared(declared: DeclaredSpec) -> str:
    ((name, figures),) = declared.shape.model_dump(exclude_unset=True).items()
    if name == "polar":
        inner = "[" + ", ".join(f"[{_number(a)}, {_number(r)}]" for a, r in figures) + "]"
    else:
        inner = "{" + ", ".join(f"{key}: {_number(value)}" for key, value in figures.items()) + "}"
    source = f", source: {_quoted(declared.source)}" if declared.source else ""
    return (
        f"{{mounting: {_number(declared.mounting)}, plane: {_number(declared.plane)}, motion: {declared.motion}, "
        f"shape: {{{name}: {inner}}}{source}}}"
    )


def _number(value: float) -> str:
    """The shortest text that reads back as the very same number."""
    text = repr(float(value))
    return text[:-2] if text.endswith(".0") else text


def _text(value: str) -> str:
    return value if _PLAIN.fullmatch(value) and plain_scalar(value) == value else _quoted(value)


def _quoted(value: str) -> str:
    """Double-quoted YAML: JSON's escapes, and those for all that is not printable."""
    escaped = (json.dumps(c, ensure_ascii=not c.isprintable())[1:-1] for c in value)
    return '"' + "".join(escaped) + '"'


def _prose(key: str, value: str) -> list[str]:
    """Long plain prose folded over lines, anything else in quotes on one line."""
    if not value:
        return []
    one_line = f"{key}: {_quoted(value)}"
    if len(one_line) <= 110 or " ".join(value.split(" ")) != value or not value.isprintable() or value != value.strip():
        return [one_line]
    folded = textwrap.wrap(value, 106, break_long_words=False, break_on_hyphens=False)
    if " ".join(folded) != value:
        return [one_line]
    return [f"{key}: >-", *(f"  {line}" for line in folded)]


def typed(data: dict[str, Any]) -> DetectorModel:
    """An entry from plain values, each checked by the catalogue's own schema. Raises InputError."""
    return read_entry(json.dumps(data, ensure_ascii=False, indent=1), f"{data.get('name', 'entry')}.yaml")
