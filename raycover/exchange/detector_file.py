"""Writing a detector's entry of the catalogue: one YAML file, each figure with its unit and source."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from raycover.catalogue import detector_files
from raycover.errors import InputError, Position, Problem
from raycover.exchange.files import write_whole
from raycover.scene.devices import DeclaredSpec, DetectorModel, ZonesSpec
from raycover.scene.reading import read_text, read_yaml
from raycover.scene.validate import validate
from raycover.scene.writing import number, quoted, word

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
        f"name: {word(model.name)}",
        f"title: {quoted(model.title)}",
        *([f"family: {word(model.family)}"] if model.family else []),
        *_prose("description", model.description),
        f"kind: {model.kind}",
    ]
    if model.kind == "dual":
        lines.append(f"combine: {model.combine}   # and, or, trigger-then-hold; as it leaves the works")
        lines += [f"trigger: {model.trigger}   # what switches on: infrared or both"] if model.trigger else []
        for part, half in zip(model.parts, (model.infrared, model.microwave), strict=True):
            lines.append(f"{part.kind}:")
            own = _prose("source", half.source) if half is not None else []
            lines += [f"  {line}" for line in (*_technology(part), *own)]
        lines += _housing(model)
    else:
        lines += _technology(model, _housing(model))
    if model.source:
        lines += _prose("source", model.source)
    return _HEADER + "\n".join(lines) + "\n"


def _housing(model: DetectorModel) -> list[str]:
    """What holds for the whole unit."""
    lines = []
    if model.mounting is not None:
        low, high = number(model.mounting.from_m), number(model.mounting.to_m)
        lines.append(f"mounting: {{from: {low}, to: {high}}}   # m, heights it is meant for")
    for key, comment in (("largest_mask_share", "share of the declared area, 0 to 1"), ("bus_current_ma", "mA")):
        if (value := getattr(model, key)) is not None:
            lines.append(f"{key}: {number(value)}   # {comment}")
    if model.sensitivity_pct is not None:
        low, high = number(model.sensitivity_pct.from_pct), number(model.sensitivity_pct.to_pct)
        lines.append(f"sensitivity_pct: {{from: {low}, to: {high}}}   # per cent of the reach, what it may be set to")
    return lines


def _technology(model: DetectorModel, housing: Sequence[str] = ()) -> list[str]:
    """What is declared of one technology; of a plain entry what holds for its `housing` in its place."""
    lines = []
    if model.frequency_ghz is not None:
        lines.append(f"frequency_ghz: {number(model.frequency_ghz)}   # GHz")
    lines.append("declared:   # lengths in m, angles in degrees; plane: height above the floor")
    lines += [f"  - {_declared(d)}" for d in model.declared]
    lines += housing
    for key, comment in (
        ("reach_behind", "share of the reach behind the mounting plane, 0 to 1"),
        ("front_to_back_db", "dB one way, of the antenna"),
    ):
        if (value := getattr(model, key)) is not None:
            lines.append(f"{key}: {number(value)}   # {comment}")
    if model.zones is not None:
        lines += _zones(model.zones)
    return lines + _radiation(model)


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
        inner = "[" + ", ".join(f"[{number(a)}, {number(r)}]" for a, r in figures) + "]"
    else:
        inner = "{" + ", ".join(f"{key}: {number(value)}" for key, value in figures.items()) + "}"
    source = f", source: {quoted(declared.source)}" if declared.source else ""
    return (
        f"{{mounting: {number(declared.mounting)}, plane: {number(declared.plane)}, motion: {declared.motion}, "
        f"shape: {{{name}: {inner}}}{source}}}"
    )


def _zones(zones: ZonesSpec) -> list[str]:
    rings = [
        f"    - {{off_axis_deg: {number(r.off_axis_deg)}, count: {r.count}, width_deg: {number(r.width_deg)}, "
        f"height_deg: {number(r.height_deg)}, offset_deg: {number(r.offset_deg)}}}"
        for r in zones.rings
    ]
    return ["zones:   # the lens, for simulated walks", f"  element: {zones.element}", f"  pulses: {zones.pulses}",
            "  rings:", *rings]  # fmt: skip


def _radiation(model: DetectorModel) -> list[str]:
    """Elevation, beams and speeds, where given."""
    lines = []
    if model.elevation is not None:
        rows = ", ".join(f"[{number(a)}, {number(share)}]" for a, share in model.elevation)
        lines.append(f"elevation: [{rows}]   # degrees off its axis (90: mounting plane), share of the reach")
    if model.beams is not None:
        lines.append(
            "beams:   # aimed beams that share the footprint; off_axis_deg: 0 straight down; width_deg: half power"
        )
        lines += [
            f"  - {{azimuth_deg: {number(b.azimuth_deg)}, off_axis_deg: {number(b.off_axis_deg)}, "
            f"width_deg: {number(b.width_deg)}}}"
            for b in model.beams
        ]
    if model.band_hz is not None:
        lines.append(f"band_hz: [{number(model.band_hz[0])}, {number(model.band_hz[1])}]   # Hz, Doppler shifts")
    if model.speed is not None:
        low, high = number(model.speed.from_mps), number(model.speed.to_mps)
        lines.append(f"speed: {{from: {low}, to: {high}}}   # m/s, radial speeds it answers to")
    return lines


def _prose(key: str, value: str) -> list[str]:
    """Long plain prose folded over lines, anything else in quotes on one line."""
    if not value:
        return []
    one_line = f"{key}: {quoted(value)}"
    if len(one_line) <= 110 or " ".join(value.split(" ")) != value or not value.isprintable() or value != value.strip():
        return [one_line]
    folded = textwrap.wrap(value, 106, break_long_words=False, break_on_hyphens=False)
    if " ".join(folded) != value:
        return [one_line]
    return [f"{key}: >-", *(f"  {line}" for line in folded)]


def typed(data: dict[str, Any]) -> DetectorModel:
    """An entry from plain values, each checked by the catalogue's own schema. Raises InputError."""
    return read_entry(json.dumps(data, ensure_ascii=False, indent=1), f"{data.get('name', 'entry')}.yaml")
