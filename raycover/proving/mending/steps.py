"""Remedies done to a scene, one line a unit: what it ends with, in words that start from the scene as it was."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from raycover.detectors import Unit
from raycover.proving.mending.changes import MOST_MOVED_M
from raycover.proving.mending.then import changed_entry
from raycover.proving.models import OF_THE_MODEL
from raycover.proving.trials import height_words, move_words, one_more_words
from raycover.scene.devices import DetectorSpec
from raycover.scene.schema import Scene
from raycover.signs import minus

#: Keys that are told by what they end with, and in which words.
_TOLD = {"turn_deg": "turn to {:g}°", "tilt_deg": "tilt to {:+g}°", "sensitivity_pct": "sensitivity {:g} %"}
_SAME = 1e-6


@dataclass(frozen=True)
class Step:
    """A remedy done: the need it is for, the unit, what was changed, the keys of its entry."""

    need: str
    unit: str
    words: str
    keys: dict[str, Any]
    is_new: bool


def keys_of(steps: Sequence[Step]) -> dict[str, Any]:
    """What steps at one unit put into its entry in the end: the later over the earlier."""
    both: dict[str, Any] = {}
    for step in steps:
        gone = OF_THE_MODEL if "model" in step.keys else ()
        both = {**{key: value for key, value in both.items() if key not in gone}, **step.keys}
    return both


def at_one_unit(steps: Sequence[Step], scene: Scene, units: Sequence[Unit]) -> tuple[Step, ...]:
    """Steps that leave the same scene, one a unit: what a later one overrides is gone, what changes nothing, too.

    `scene` and `units` are those before all of them. Zones that are divided stay as they are.
    """
    by_unit: dict[object, list[Step]] = {}
    for k, step in enumerate(steps):
        by_unit.setdefault(k if "zones" in step.keys else step.unit, []).append(step)
    specs = {spec.name: spec for spec in scene.detectors}
    there = {unit.name: unit for unit in units}
    found: list[Step] = []
    for mine in by_unit.values():
        first = mine[0]
        if len(mine) == 1:
            found.append(first)
        elif first.is_new:
            found.append(_new(mine))
        else:
            found += _changed(mine, specs[first.unit], there.get(first.unit))
    return tuple(found)


def is_moved_too_far(step: Step, scene: Scene) -> bool:
    """Whether a step puts a unit of the scene farther from where that has it than a unit is moved."""
    spec = next((spec for spec in scene.detectors if spec.name == step.unit), None)
    if spec is None or step.is_new or "at" not in step.keys:
        return False
    return math.dist(spec.at, step.keys["at"]) > MOST_MOVED_M + _SAME


def _needs(steps: Sequence[Step]) -> str:
    return ", ".join(dict.fromkeys(step.need for step in steps))


def _new(steps: Sequence[Step]) -> Step:
    """A new unit that later steps changed."""
    entry: dict[str, Any] = {}
    for step in steps:
        entry = changed_entry(entry, step.keys)
    kind = entry.get("model", "the same kind")
    words = one_more_words(entry["name"], kind, entry["at"], entry.get("mounting"), entry.get("room", ""))
    told = (
        minus(text.format(entry[key])) if key != "turn_deg" else f"turned to {entry[key]:g}°"
        for key, text in _TOLD.items() if entry.get(key) is not None
    )  # fmt: skip
    return replace(steps[0], need=_needs(steps), words=", ".join([words, *told]), keys=entry)


def _changed(steps: Sequence[Step], spec: DetectorSpec, unit: Unit | None) -> Iterator[Step]:
    """A unit of the scene that several steps changed: one, or none where they leave it as it was."""
    was = spec.model_dump(mode="json", by_alias=True, exclude_none=True)
    mounting = unit.mounting if unit is not None else was.get("mounting")
    if mounting is not None:
        was["mounting"] = mounting
    keys = {key: value for key, value in keys_of(steps).items() if not _is_same(value, was.get(key))}
    if "model" in keys:  # what goes with the model is gone from the entry: it is said again though it is the same
        keys |= {key: value for key, value in keys_of(steps).items() if key in OF_THE_MODEL}
    if keys:
        words = ", ".join(_words(keys, was, steps))
        yield replace(steps[-1], need=_needs(steps), words=words, keys=keys)


def _is_same(one: Any, other: Any) -> bool:
    if isinstance(one, (int, float)) and isinstance(other, (int, float)):
        return abs(one - other) <= _SAME
    if isinstance(one, (list, tuple)) and isinstance(other, (list, tuple)):
        return len(one) == len(other) and all(_is_same(a, b) for a, b in zip(one, other, strict=True))
    if isinstance(one, Mapping) and isinstance(other, Mapping):
        return one.keys() == other.keys() and all(_is_same(one[key], other[key]) for key in one)
    return bool(one == other)


def _words(keys: Mapping[str, Any], was: Mapping[str, Any], steps: Sequence[Step]) -> Iterator[str]:
    """What an entry's keys change, against what it `was`."""
    if "model" in keys:
        yield f"model {keys['model']}"
    if "at" in keys:
        yield move_words(math.dist(was["at"], keys["at"]), keys["at"])
    if "mounting" in keys:
        yield height_words(keys["mounting"], was.get("mounting", keys["mounting"]))
    for key, text in _TOLD.items():
        if keys.get(key) is not None:
            yield minus(text.format(keys[key]))
    if "masks" in keys:
        yield "; ".join(dict.fromkeys(step.words for step in steps if "masks" in step.keys))
