"""Zones that are larger than a need lets them be, divided: strips of even area, each with a unit that hangs over it.

A strip that none of the zone's units hangs over gets one more of the same kind in its middle. What is told is judged
with all of it done, on every need that speaks of zones.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.building.parts import RoomShape
from raycover.detectors import Unit, make_unit
from raycover.proving.hanging import HangingPlaces
from raycover.proving.mending.bench import is_too_large, with_need
from raycover.proving.mending.changes import COST
from raycover.proving.mending.losses import is_less
from raycover.proving.mending.mends import Mend
from raycover.proving.mending.then import parts_of, proof_then
from raycover.proving.needs import Figures, NeedVerdict, PlaceVerdict, Proof
from raycover.proving.trials import one_more_words
from raycover.scene.devices import DetectorSpec
from raycover.scene.unit_names import next_name
from raycover.scene.wiring import Zone
from raycover.scene.wiring_checks import members

Floats = NDArray[np.floating]
#: A zone is divided into at most so many strips, cut on whole steps of this (m).
_MOST_PARTS, _STEP_M = 8, 0.05
#: A new unit hangs at most so far (m) from the middle of its strip, looked for in such steps (m).
_FAR_M, _LOOK_M = 3.0, 0.25


def too_large(verdict: NeedVerdict) -> list[PlaceVerdict]:
    """The zones that are larger than their need lets them be."""
    return [place for place in verdict.places if not place.met and is_too_large(verdict.need, place.figures)]


def find_divisions(proof: Proof, verdict: NeedVerdict) -> list[Mend]:
    """Divisions of all zones too large, across x and across y; those that cannot be cut or hung are left out."""
    found = []
    for axis in (0, 1):
        changes = _Divider(verdict, axis).changes()
        if changes:
            found.append(_told(proof, verdict, _chained(changes)))
    return sorted(found, key=lambda mend: (*mend.rank[:3], -len(mend.also), mend.rank))


class _Divider:
    """Divides the zones of a need along one axis, 0 for x."""

    def __init__(self, verdict: NeedVerdict, axis: int) -> None:
        self.verdict, self.axis = verdict, axis
        self.situation = verdict.situation
        self.scene = self.situation.scene
        self.places = HangingPlaces(self.scene, self.situation.building)
        self.there = [(unit.name, unit.kind) for unit in self.situation.units]

    def changes(self) -> list[Mend]:
        found: list[Mend] = []
        for place in too_large(self.verdict):
            zone = next(zone for zone in self.scene.zones if zone.name == place.site.name)
            made = self._divided(zone, place)
            if not made:
                return []
            found += made
        return found

    def _divided(self, zone: Zone, place: PlaceVerdict) -> list[Mend]:
        largest = self.verdict.need.largest_area
        assert largest is not None
        floor = place.site.outline
        least = int(np.ceil(floor.area / largest - 1e-9))
        for n in range(max(least, 2), min(least + 2, _MOST_PARTS + 1)):
            cuts = _cuts(floor, self.axis, n)
            strips = [_between(floor, self.axis, low, high) for low, high in pairwise(cuts)]
            if all(0 < strip.area <= largest for strip in strips):
                return self._with_units(zone, cuts, strips)
        return []

    def _with_units(self, zone: Zone, cuts: Sequence[float], strips: Sequence[Any]) -> list[Mend]:
        own = [unit for unit in self.situation.units if unit.name in members(self.scene, zone.detectors)]
        entries, new, left = [], [], own
        for number, (strip, low, high) in enumerate(zip(strips, cuts, cuts[1:], strict=False), 1):
            names = [unit.name for unit in left if strip.covers(shapely.Point(unit.position[:2]))]
            left = [unit for unit in left if unit.name not in names]  # one over a cut is the first strip's
            if not names:
                one = self._one_more(own, strip)
                if one is None:
                    return []
                new.append(one)
                names = [one.unit]
            outline = self._outline(zone, low, high)
            if outline is None:
                return []
            entry = zone.model_dump(mode="json", exclude_unset=True, exclude={"light_sensor"})
            entries.append({**entry, "name": f"{zone.name} {number}", "detectors": names, "area": outline})
        at = ", ".join(f"{cut:g}" for cut in cuts[1:-1])
        parts = ", ".join(
            f"{entry['name']} ({strip.area:.0f} m², {' and '.join(entry['detectors'])})"
            for entry, strip in zip(entries, strips, strict=True)
        )
        words = f"divide at {'xy'[self.axis]} = {at} m into {parts}"
        divide = _change(zone.name, "divide", words, {"zones": {zone.name: entries}}, None)
        return [divide, *new]

    def _outline(self, zone: Zone, low: float, high: float) -> list[list[float]] | None:
        """The strip of a zone's own outline, or of its rooms' outer walls; None where it falls into pieces."""
        if zone.area is not None:
            whole = shapely.Polygon(zone.area)
        else:
            rooms = [room for room in self.situation.building.rooms if room.name in (zone.rooms or ())]
            whole = shapely.union_all([room.polygon for room in rooms])
        part = _between(whole, self.axis, low, high)
        if part.geom_type != "Polygon" or part.interiors:
            return None
        return [[round(x, 3), round(y, 3)] for x, y in part.exterior.coords[:-1]]

    def _one_more(self, own: Sequence[Unit], strip: Any) -> Mend | None:
        """One more unit like the nearest of a zone's own, in the middle of a strip or as near to it as it can hang."""
        middle = np.array(strip.representative_point().coords[0] if not strip.covers(strip.centroid)
                          else strip.centroid.coords[0])  # fmt: skip
        like = min(own, key=lambda unit: float(np.linalg.norm(unit.position[:2] - middle)))
        spec = next(spec for spec in self.scene.detectors if spec.name == like.name)
        room = self.places.room_of(like)
        if room is None:
            return None
        at = self._place(room, strip, middle, like)
        if at is None:
            return None
        name = next_name(self.there, like.kind)
        self.there.append((name, like.kind))
        entry = spec.model_dump(mode="json", by_alias=True, exclude_unset=True, exclude={"address", "note", "masks"})
        entry |= {"name": name, "at": at}
        made = DetectorSpec.model_validate(entry)
        unit = make_unit(
            made, self.scene.pattern_of(made), room.floor, derive=self.scene.conditions.derive_motions,
            corrected_db=self.scene.reach_correction_db(made),
        )  # fmt: skip
        label = spec.model or f"like {spec.name}"
        words = one_more_words(name, label, at, like.mounting, room.name)
        return replace(_change(name, "one more", words, entry, unit), is_new=True)

    def _place(self, room: RoomShape, strip: Any, middle: Floats, like: Unit) -> list[float] | None:
        steps = np.arange(-_FAR_M, _FAR_M + 1e-9, _LOOK_M)
        offsets = np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2)
        offsets = offsets[np.argsort(np.linalg.norm(offsets, axis=1), kind="stable")]
        spots = self.places.off_walls(room, np.round((middle + offsets) / _STEP_M) * _STEP_M)
        spots = spots[shapely.contains_xy(strip, spots[:, 0], spots[:, 1])]
        spots = spots[self.places.free(np.column_stack([spots, np.full(len(spots), like.position[2])]))]
        spots = spots[self.places.top(room, spots) >= like.mounting - 1e-6] if len(spots) else spots
        return [round(float(v), 3) for v in spots[0]] if len(spots) else None


def _cuts(floor: Any, axis: int, n: int) -> list[float]:
    """Where n strips of even area begin and end, cut on whole steps."""
    low, high = floor.bounds[axis], floor.bounds[axis + 2]
    at = np.linspace(low, high, 401)
    below = np.array([_between(floor, axis, low, float(v)).area for v in at])
    inner = np.interp(floor.area * np.arange(1, n) / n, below, at)
    return [low, *(round(float(v) / _STEP_M) * _STEP_M for v in inner), high]


def _between(outline: Any, axis: int, low: float, high: float) -> Any:
    box = list(outline.bounds)
    box[axis], box[axis + 2] = low, high
    return outline.intersection(shapely.box(*box)) if high > low else shapely.Polygon()


def _change(unit: str, kind: str, words: str, keys: dict[str, Any], changed: Unit | None) -> Mend:
    return Mend(
        unit=unit, kind=kind, words=words, keys=keys, is_new=False, mended=(), still=(), also=(), broken=(),
        tripped=(), share=0.0, gap_m=0.0, worst_db=-np.inf, cost=COST[kind], lack=0.0, changed=changed,
    )  # fmt: skip


def _chained(changes: Sequence[Mend]) -> Mend:
    """One remedy of several changes."""
    last = changes[-1]
    for change in changes[-2::-1]:
        last = replace(change, second=last)
    return last


@dataclass(frozen=True)
class _Change:
    """A place before, and those that it has become."""

    before: PlaceVerdict
    after: tuple[PlaceVerdict, ...]

    @property
    def met(self) -> bool:
        return all(place.met for place in self.after)


def _told(proof: Proof, verdict: NeedVerdict, mend: Mend) -> Mend:
    then = proof_then(proof, mend)
    parts = parts_of(mend)
    mended, still, also, broken = [], [], [], []
    tripped: list[tuple[str, float]] = []
    taken: list[tuple[str, Figures, Figures]] = []
    figures = []
    for one, other in zip(proof.needs, then.needs, strict=True):
        known = {place.site.name: place for place in other.places}
        for before in one.places:
            name = before.site.name
            change = _Change(before, tuple(known[part] for part in parts.get(name, [name])))
            label = with_need(one, before.site)
            whole = change.after[0].figures if len(change.after) == 1 else None
            if whole is not None and before.met == change.met and is_less(one.need, before.figures, whole):
                taken.append((label, before.figures, whole))
            if before.met and not change.met:
                if one.need.never:
                    tripped.append((label, max(place.figures.worst_db for place in change.after)))
                else:
                    broken.append(label)
            elif one is verdict and not before.met:
                figures += [place.figures for place in change.after]
                if change.met:
                    mended.append(name)
                else:
                    still.append((name, next(place.figures for place in change.after if not place.met)))
            elif not before.met and change.met and not one.need.never:
                also.append(label)
    return replace(
        mend,
        mended=tuple(mended),
        still=tuple(still),
        also=tuple(also),
        broken=tuple(broken),
        tripped=tuple(tripped),
        taken=tuple(taken),
        share=min(f.share for f in figures),
        gap_m=max(f.largest_gap_m for f in figures),
        worst_db=min(f.worst_db for f in figures),
        cost=sum(change.cost for change in mend.changes),
        lack=float(len(still)),
    )
