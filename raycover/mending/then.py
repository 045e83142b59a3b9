"""A need as it would be with a remedy: the scene's detectors changed, the places judged again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from raycover.coverage import make_units
from raycover.mending.changes import OF_THE_MODEL
from raycover.mending.mends import Mend
from raycover.needs import NeedVerdict, Situation, judge_need
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
    """The scene with a remedy's detector changed or put in."""
    detectors = list(scene.detectors)
    if mend.is_new:
        detectors.append(DetectorSpec.model_validate(mend.keys))
    else:
        index = next(k for k, spec in enumerate(detectors) if spec.name == mend.unit)
        entry = detectors[index].model_dump(mode="json", by_alias=True, exclude_unset=True)
        detectors[index] = DetectorSpec.model_validate(changed_entry(entry, mend.keys))
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
    if mend.is_new:
        return need.whose is not None or need.walked
    if need.zones is not None or (need.whose is None and not need.walked):
        return False
    now = next(unit for unit in situation.units if unit.name == mend.unit)
    if np.array_equal(now.position, mend.changed.position):
        return False
    if not need.walked:
        return True
    homes = situation.building.rooms_at(np.array([now.position, mend.changed.position]))
    return bool(homes[0] != homes[1])


def verdict_then(verdict: NeedVerdict, mend: Mend) -> NeedVerdict:
    """The verdict on a need with a remedy done."""
    need, situation = verdict.need, situation_then(verdict.situation, mend)
    sites = [place.site for place in verdict.places]
    if need.routes is not None:
        homes = situation.homes
        sites = [replace(site, hold_s=hold_along(situation.scene, homes, site.rooms)) for site in sites]
    elif need.whose is not None or need.walked:  # which units belong to a place may have changed
        sites = list(Sites(situation.scene, situation.building, situation.units).of(need, None))
    return judge_need(need, sites, situation, assumed=verdict.assumed)
