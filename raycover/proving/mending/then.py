"""A need as it would be with a remedy: the scene's detectors changed, the places judged again."""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from raycover.detectors import Unit
from raycover.proving.mending.mends import Mend
from raycover.proving.models import OF_THE_MODEL
from raycover.proving.needs import (
    NeedVerdict,
    PlaceVerdict,
    Proof,
    Situation,
    counting_units,
    figures_of,
    is_met,
    judge_need,
    nth_best,
)
from raycover.proving.sites import Site, Sites
from raycover.proving.stays import hold_along
from raycover.scene.devices import DetectorSpec
from raycover.scene.needs import NeedSpec
from raycover.scene.schema import Scene
from raycover.scene.wiring import Zone
from raycover.solving.coverage import make_units

Floats = NDArray[np.floating]


def changed_entry(entry: Mapping[str, Any], keys: Mapping[str, Any]) -> dict[str, Any]:
    """A detector's entry with other keys: another model leaves nothing of the one before, empty masks go."""
    gone = OF_THE_MODEL if "model" in keys else ()
    both = {**{key: value for key, value in entry.items() if key not in gone}, **keys}
    if both.get("masks") == []:
        del both["masks"]
    return both


def parts_of(mend: Mend) -> dict[str, list[str]]:
    """{zone: names of its parts} of zones that a remedy divides."""
    return {
        zone: [entry["name"] for entry in entries]
        for change in mend.changes
        for zone, entries in change.keys.get("zones", {}).items()
    }


def in_parts(names: Sequence[str], parts: Mapping[str, Sequence[str]]) -> list[str]:
    """Names of zones, those divided by their parts."""
    return [part for name in names for part in parts.get(name, [name])]


def with_remedy(scene: Scene, mend: Mend) -> Scene:
    """The scene with a remedy's detectors changed or put in, its zones divided."""
    detectors, zones, parts = list(scene.detectors), list(scene.zones), parts_of(mend)
    for change in mend.changes:
        if change.kind == "divide":
            ((name, entries),) = change.keys["zones"].items()
            at = next(k for k, zone in enumerate(zones) if zone.name == name)
            zones[at : at + 1] = [Zone.model_validate(entry) for entry in entries]
        elif change.is_new:
            detectors.append(DetectorSpec.model_validate(change.keys))
        else:
            index = next(k for k, spec in enumerate(detectors) if spec.name == change.unit)
            entry = detectors[index].model_dump(mode="json", by_alias=True, exclude_unset=True)
            detectors[index] = DetectorSpec.model_validate(changed_entry(entry, change.keys))
    changes: dict[str, Any] = {"detectors": detectors}
    if parts:
        linked = [zone.model_copy(update={"neighbours": in_parts(zone.neighbours, parts)}) for zone in zones]
        changes["zones"] = linked
    return scene.changed(changes, scene.state, lambda places: places)


def need_then(need: NeedSpec, mend: Mend) -> NeedSpec:
    """A need with a remedy done: zones that it names, by their parts."""
    parts = parts_of(mend)
    if need.zones in (None, "all") or not parts:
        return need
    return need.model_copy(update={"zones": in_parts(list(need.zones or ()), parts)})


def situation_then(situation: Situation, mend: Mend) -> Situation:
    """A situation with the remedy done."""
    scene = with_remedy(situation.scene, mend)
    return replace(situation, scene=scene, units=make_units(scene, situation.building))


def may_regroup(verdict: NeedVerdict, mend: Mend) -> bool:
    """Whether with a remedy done other units may belong to a need's places, or count on its ways, than now.

    Units belong to aisles and rooms by where they hang, to zones by their names.
    """
    need, situation = verdict.need, verdict.situation
    if need.zones is not None and parts_of(mend):
        return True
    if any(change.is_new for change in mend.changes):
        return need.whose is not None or need.walked
    if need.zones is not None or (need.whose is None and not need.walked):
        return False
    now = {unit.name: unit.position for unit in situation.units}
    both = [(now[c.unit], c.changed.position) for c in mend.changes if c.unit in now and c.changed is not None]
    moved = [pair for pair in both if not np.array_equal(*pair)]
    if need.whose is not None or not need.walked or not moved:
        return bool(moved)
    homes = situation.building.rooms_at(np.concatenate(moved)).reshape(-1, 2)
    return bool((homes[:, 0] != homes[:, 1]).any())


def verdict_then(verdict: NeedVerdict, mend: Mend) -> NeedVerdict:
    """The verdict on a need with a remedy done."""
    then = situation_then(verdict.situation, mend)
    sites = _sites_then(verdict, mend, then)
    return judge_need(need_then(verdict.need, mend), sites, then, assumed=verdict.assumed)


def _sites_then(verdict: NeedVerdict, mend: Mend, then: Situation) -> list[Site]:
    """The places of a need with a remedy done: which units belong to them may have changed, and hold times."""
    need, sites = verdict.need, [place.site for place in verdict.places]
    if not may_regroup(verdict, mend):
        return sites
    if need.routes is not None:
        return [_way_then(site, then) for site in sites]
    return list(Sites(then.scene, then.building, then.units).of(need_then(need, mend), None))


def _way_then(site: Site, then: Situation) -> Site:
    assert site.rooms is not None
    hold = hold_along(then.scene, then.homes, site.rooms)
    return site if hold == site.hold_s else replace(site, hold_s=hold)


def proof_then(proof: Proof, mend: Mend) -> Proof:
    """A proof with a remedy done: only the units that it changes are cast anew. It tells no ways, and no chances."""
    situations: dict[int, Situation] = {}
    found = []
    for verdict in proof.needs:
        key = id(verdict.situation)
        if key not in situations:
            situations[key] = situation_then(verdict.situation, mend)
        found.append(judged_then(verdict, mend, situations[key]))
    return replace(proof, scene=with_remedy(proof.scene, mend), needs=tuple(found), n_cases=0, matrices=())


def judged_then(verdict: NeedVerdict, mend: Mend, then: Situation | None = None) -> NeedVerdict:
    """As `verdict_then`, without ways, casting only the units changed; `then`: the situation with it done, if known."""
    then = situation_then(verdict.situation, mend) if then is None else then
    changed = {change.unit for change in mend.changes}
    known = {place.site.name: place for place in verdict.places}
    places = [
        _place_then(verdict, known.get(site.name), site, changed, then) for site in _sites_then(verdict, mend, then)
    ]  # fmt: skip
    return replace(verdict, need=need_then(verdict.need, mend), situation=then, places=tuple(places))


def _place_then(
    verdict: NeedVerdict, place: PlaceVerdict | None, site: Site, changed: Set[str], then: Situation
) -> PlaceVerdict:
    need, now = verdict.need, verdict.situation
    known: dict[str, Floats] = {}
    if place is not None:  # else it is a part of what was one place
        known = dict(zip((now.units[k].name for k in place.units), place.margin_db, strict=True))

    def row(unit: Unit) -> Floats:
        same = unit.name in known and unit.name not in changed
        if same and site.rooms is not None:  # another unit hung in a room that had none silences those elsewhere
            same = np.array_equal(now.hears(unit, site), then.hears(unit, site))
        return known[unit.name] if same else then.margin_db(unit, site)

    units = counting_units(need, then.units, site)
    margin = np.array([row(then.units[k]) for k in units]).reshape(-1, len(site))
    figures = figures_of(need, site, nth_best(margin, need.by, len(site)))
    return PlaceVerdict(site, is_met(need, figures), figures, None, margin, units, by=need.by)
