"""Remedies written into a scene's file, one after the other, each judged before the next: comments stay."""

from __future__ import annotations

import copy
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import reduce
from pathlib import Path
from typing import Any

from raycover.loading import load_text
from raycover.proving.mending.finding import find_mending
from raycover.proving.mending.mends import Mend
from raycover.proving.mending.steps import Step, at_one_unit, is_moved_too_far
from raycover.proving.mending.then import changed_entry, in_parts
from raycover.proving.mending.uniting import misses_no_more, one_for_both, pairs_of
from raycover.proving.needs import Proof, prove
from raycover.proving.remedies import Remedy, find_remedies
from raycover.proving.trials import one_more_words
from raycover.scene.reading import read_text
from raycover.scene.schema import Scene
from raycover.scene.splicing import add, put, spliced

Progress = Callable[[int, int], None]
#: So many remedies at most go into one scene.
MOST_STEPS = 12
#: A remedy that mends a part only must bring this share of what is missing into view.
_WORTH = 0.1


@dataclass(frozen=True)
class Mended:
    """A scene's text with remedies in it, and its proof."""

    text: str
    steps: tuple[Step, ...]
    proof: Proof


def mend_text(
    text: str, name: str, folder: Path | None, *, state: str | None = None, progress: Progress | None = None
) -> Mended:
    """The text of a scene with remedies spliced in until all its needs are met, or nothing tried helps any more.

    `name` stands for the file in messages, `folder` is where a scene's `models/` and files stand. A remedy is done
    where it harms nothing: one that mends a whole need, else one more unit that mends most of what is missing, else
    what keeps a unit from tripping without missing a need. In the end new units that others make needless are left
    out, and one is looked for that does for two; what is told of a unit starts from the scene as it was. Raises
    InputError as `load` and `prove` do.
    """
    steps: list[Step] = []
    source = text
    first = proof = prove(load_text(text, name, folder), state=state)
    while not proof.met and len(steps) < MOST_STEPS:
        if progress is not None:
            progress(len(steps), MOST_STEPS)
        following = _next(proof, first.scene)
        if not following:
            break
        text = _with_steps(text, following, name)
        steps += following
        proof = prove(load_text(text, name, folder), state=state)
    return _told_once(source, first, _united(source, Mended(text, tuple(steps), proof), name, folder, state), name)


def _told_once(source: str, first: Proof, mended: Mended, name: str) -> Mended:
    """The same scene by one step a unit, told against the scene as it was (`first` is its proof)."""
    if not mended.steps:
        return mended
    steps = at_one_unit(mended.steps, first.scene, first.needs[0].situation.units)
    if steps == mended.steps:
        return mended
    return replace(mended, text=_with_steps(source, steps, name), steps=steps)


def _united(source: str, mended: Mended, name: str, folder: Path | None, state: str | None) -> Mended:
    """The same with fewer new units where they miss no more; zones divided among units stay."""
    if any("zones" in step.keys for step in mended.steps):
        return mended
    new: dict[str, dict[str, Any]] = {}
    for step in mended.steps:
        if step.is_new or step.unit in new:
            new[step.unit] = changed_entry(new.get(step.unit, {}), step.keys)

    def done(steps: Sequence[Step]) -> Mended:
        text = _with_steps(source, steps, name)
        return Mended(text, tuple(steps), prove(load_text(text, name, folder), state=state))

    if len(new) < 2:
        return mended
    for unit in new:  # the first is the one that later ones may have made needless
        fewer = done([step for step in mended.steps if step.unit != unit])
        if misses_no_more(fewer.proof, mended.proof):
            return _united(source, fewer, name, folder, state)
    for pair in pairs_of(new):
        rest = done([step for step in mended.steps if step.unit not in pair])
        entry = one_for_both(rest.proof, mended.proof, *(new[unit] for unit in pair))
        if entry is None:
            continue
        words = one_more_words(pair[0], entry.get("model", "the same kind"), entry["at"], entry["mounting"])
        words += ", in place of two"
        needs = dict.fromkeys(step.need for step in mended.steps if step.unit in pair)
        one = done([*rest.steps, Step(", ".join(needs), pair[0], words, entry, True)])
        if misses_no_more(one.proof, mended.proof):
            return _united(source, one, name, folder, state)
    return mended


def _with_steps(text: str, steps: Sequence[Step], name: str) -> str:
    """A scene's text with remedies in it, one after the other."""
    return reduce(lambda done, step: with_step(done, step, name), steps, text)


def with_step(text: str, step: Step, name: str) -> str:
    """A scene's text with one remedy in it."""
    data = copy.deepcopy(read_text(text.removeprefix("\ufeff"), name).data)
    if "zones" in step.keys:
        _divide(data, step.keys["zones"])
    elif step.is_new:
        add(data, ("detectors",), dict(step.keys))
    else:
        index = next(k for k, entry in enumerate(data["detectors"]) if entry["name"] == step.unit)
        put(data, ("detectors", index), changed_entry(data["detectors"][index], step.keys))
    return spliced(text, data, name)


def _divide(data: Any, zones: Mapping[str, Sequence[Mapping[str, Any]]]) -> None:
    """Put the parts of zones in their place, in neighbours and needs, too."""
    parts = {name: [entry["name"] for entry in entries] for name, entries in zones.items()}
    kept = []
    for entry in data["zones"]:
        made = [dict(part) for part in zones.get(entry["name"], [entry])]
        kept += made
    put(data, ("zones",), kept)
    for k, entry in enumerate(kept):
        if "neighbours" in entry:
            put(data, ("zones", k, "neighbours"), in_parts(entry["neighbours"], parts))
    for k, need in enumerate(data.get("needs", [])):
        if isinstance(need.get("zones"), list):
            put(data, ("needs", k, "zones"), in_parts(need["zones"], parts))


def _next(proof: Proof, first: Scene) -> list[Step]:
    """The remedy to do next, one step or two; none where none helps, or what does moves a unit too far from `first`."""
    mendings = find_mending(proof)

    def near(steps: list[Step]) -> bool:
        return not any(is_moved_too_far(step, first) for step in steps)

    for mending in mendings:
        for mend in mending.remedies:
            if mend.mends and near(steps := _of_mend(mending.need, mend)):
                return steps
    for trouble in find_remedies(proof):
        for remedy in trouble.remedies:
            if remedy.stops and not remedy.missed and near(steps := [_of_remedy(proof, trouble.needs[0], remedy)]):
                return steps
    for mending in mendings:  # nothing mends a whole need: what brings it nearest without harm
        harmless = [m for m in mending.remedies if m.is_harmless and near(_of_mend(mending.need, m))]
        nearest = min(harmless, key=lambda m: (m.lack, m.cost), default=None)
        if nearest is not None and nearest.lack <= (1 - _WORTH) * mending.lack:
            return _of_mend(mending.need, nearest)
    return []


def _of_mend(need: str, mend: Mend) -> list[Step]:
    return [Step(need, change.unit, change.words, change.keys, change.is_new) for change in mend.changes]


def _of_remedy(proof: Proof, need: str, remedy: Remedy) -> Step:
    """Of a never-area's remedy: the masks it adds come to those that are there."""
    keys = dict(remedy.keys)
    if "masks" in keys:
        spec = next(spec for spec in proof.scene.detectors if spec.name == remedy.unit)
        there = [mask.model_dump(exclude_unset=True) for mask in spec.masks]
        keys["masks"] = [*there, *keys["masks"]]
    return Step(need, remedy.unit, remedy.words, keys, False)
