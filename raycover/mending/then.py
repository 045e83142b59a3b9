"""A need as it would be with a remedy: the scene's detectors changed, the places judged again."""

from __future__ import annotations

from collections.abc import Mapping, Set
from dataclasses import replace
from typing import Any

import numpy as np

from raycover.coverage import make_units
from raycover.mending.changes import OF_THE_MODEL
from raycover.mending.mends import Mend
from raycover.needs import (
    NeedVerdict,
    Proof,
    Situation,
    counting_units,
    figures_of,
    is_met,
    judge_need,
    nth_best,
)
from raycover.scene.devices import DetectorSpec
from raycover.scene.schema import Scene
from raycover.sites import Sites
from raycover.stays import hold_along


def changed_entry(entry: Mapping[str, Any], keys: Mapping[str, Any]) -> dict[str, Any]:
    """A detector's entry with other keys: another model leaves nothing of the one before, empty masks go."""
    gone = OF_THE_MODEL if "model" in keys else ()
    both = {**{key: value for key, value in entry.items() if key not in gone}, **keys}
    if both.get("masks") == []:
        del both["masks"]
    return both


def with_detectors(scene: Scene, mend: Mend) -> Scene:
    """The scene with a remedy's detectors changed or put in."""
    detectors = list(scene.detectors)
    for change in mend.changes:
        if change.is_new:
            detectors.append(DetectorSpec.model_validate(change.keys))
        else:
            index = next(k for k, spec in enumerate(detectors) if spec.name == change.unit)
            entry = detectors[index].model_dump(mode="json", by_alias=True, exclude_unset=True)
            detectors[index] = DetectorSpec.model_validate(changed_entry(entry, change.keys))
    return scene.changed({"detectors": detectors}, scene.state, lambda places: places)


def situation_then(situation: Situation, mend: Mend) -> Situation:
    """A situation with the remedy done."""
    scene = with_detectors(situation.scene, mend)
    return replace(situation, scene=scene, units=make_units(scene, situation.building))


def may_regroup(verdict: NeedVerdict, mend: Mend) -> bool:
    """Whether with a remedy done other units may belong to a need's places, or count on its ways, than now.

    Units belong to aisles and rooms by where they hang, to zones by their names.
    """
    need, situation = verdict.need, verdict.situation
    if any(change.is_new for change in mend.changes):
        return need.whose is not None or need.walked
    if need.zones is not None or (need.whose is None and not need.walked):
        return False
    now = {unit.name: unit.position for unit in situation.units}
    moved = [(now[c.unit], c.changed.position) for c in mend.changes if not np.array_equal(now[c.unit], c.changed.position)]
    if not need.walked or not moved:
        return bool(moved)
    homes = situation.building.rooms_at(np.concatenate(moved)).reshape(-1, 2)
    return bool((homes[:, 0] != homes[:, 1]).any())


def verdict_then(verdict: NeedVerdict, mend: Mend, situation: Situation | None = None) -> NeedVerdict:
    """The verdict on a need with a remedy done; `situation`: its own then, where that is known."""
    need = verdict.need
    then = situation_then(verdict.situation, mend) if situation is None else situation
    sites = [place.site for place in verdict.places]
    if need.routes is not None:
        sites = [replace(site, hold_s=hold_along(then.scene, then.homes, site.rooms)) for site in sites]
    elif need.whose is not None or need.walked:  # which units belong to a place may have changed
        sites = list(Sites(then.scene, then.building, then.units).of(need, None))
    return judge_need(need, sites, then, assumed=verdict.assumed)


def proof_then(proof: Proof, mend: Mend) -> Proof:
    """A proof with a remedy done: only the units that it changes are cast anew. It tells no ways, and no chances."""
    situations: dict[int, Situation] = {}
    found = []
    for verdict in proof.needs:
        key = id(verdict.situation)
        if key not in situations:
            situations[key] = situation_then(verdict.situation, mend)
        if may_regroup(verdict, mend):
            found.append(verdict_then(verdict, mend, situations[key]))
        else:
            found.append(_with_units(verdict, {change.unit for change in mend.changes}, situations[key]))
    return replace(proof, scene=with_detectors(proof.scene, mend), needs=tuple(found), n_cases=0, matrices=())


def _with_units(verdict: NeedVerdict, changed: Set[str], then: Situation) -> NeedVerdict:
    """A need judged again where only some units see otherwise."""
    need, before = verdict.need, [unit.name for unit in verdict.situation.units]
    places = []
    for place in verdict.places:
        known = {before[k]: row for k, row in zip(place.units, place.margin_db, strict=True)}
        units = counting_units(need, then.units, place.site)
        if not changed & {then.units[k].name for k in units}:
            places.append(place)
            continue
        names = [then.units[k].name for k in units]
        rows = [
            known[name] if name in known and name not in changed else then.margin_db(then.units[k], place.site)
            for k, name in zip(units, names, strict=True)
        ]
        margin = np.array(rows).reshape(-1, len(place.site))
        figures = figures_of(need, place.site, nth_best(margin, need.by, len(place.site)))
        places.append(
            replace(place, met=is_met(need, figures), figures=figures, way=None, margin_db=margin, units=units)
        )
    return replace(verdict, situation=then, places=tuple(places))
