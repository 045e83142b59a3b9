"""Layouts judged on all cells: what a unit sees of a place is cast once, however often it is part of a layout."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from raycover.detectors import Unit
from raycover.placing.belonging import ZoneFloors
from raycover.placing.offers import Candidates
from raycover.proving.needs import PlaceVerdict, Proof, judge_need
from raycover.proving.sites import Site, Sites
from raycover.proving.situations import Situation
from raycover.rays.recall import Recall
from raycover.scene.devices import DetectorSpec
from raycover.scene.schema import Scene
from raycover.scene.unit_names import LETTER
from raycover.scene.wiring_checks import members

Floats = NDArray[np.floating]
#: So many margins are kept at once (a million take about 12 MB).
_MOST_KEPT = 30_000_000


@dataclass(frozen=True)
class Judged:
    """A layout judged: what is chosen, all detectors with it, those of every zone, and the needs.

    `order`: which of those chosen, by index, each new detector is.
    """

    chosen: Candidates
    detectors: tuple[DetectorSpec, ...]
    order: tuple[int, ...]
    zones: Mapping[str, tuple[str, ...]]
    proof: Proof

    @property
    def met(self) -> NDArray[np.bool_]:
        """(places,) in the order of the proof's."""
        return np.array([place.met for verdict in self.proof.needs for place in verdict.places])

    @property
    def cost(self) -> float:
        return float(self.chosen.cost.sum())


@dataclass(frozen=True)
class _Known:
    """Margins of units at places, those above −∞, while there is room for them."""

    margins: dict[object, tuple[NDArray[np.int32], Floats]] = field(default_factory=dict)
    n: list[int] = field(default_factory=lambda: [0])

    def keep(self, key: object, margin: Floats) -> None:
        if self.n[0] > _MOST_KEPT:
            self.margins.clear()
            self.n[0] = 0
        cells = np.flatnonzero(margin > -np.inf).astype(np.int32)
        self.margins[key] = cells, margin[cells]
        self.n[0] += len(cells)


@dataclass(frozen=True)
class _Remembering(Situation):
    """A situation that casts each unit at each of a need's places once. `keys`: what hangs where, by tag."""

    number: int
    known: _Known
    keys: Mapping[str, object]

    def margin_db(
        self, unit: Unit, site: Site, *, least_db: Floats | float = -np.inf, recall: Recall | None = None
    ) -> Floats:
        """As ever, whatever `least_db` says: what is kept answers later questions, too."""
        key = (self.number, site.name, self.keys[unit.name])
        if key not in self.known.margins:
            self.known.keep(key, super().margin_db(unit, replace(site, rooms=None), recall=recall))
        cells, found = self.known.margins[key]
        margin = np.full(len(site), -np.inf)
        margin[cells] = found
        return self.heard_db(unit, site, margin)


class Judge:
    """Judges layouts of a scene's needs; `bare` is their proof with the units that stay alone."""

    def __init__(self, scene: Scene, kept: Sequence[DetectorSpec], bare: Proof) -> None:
        self.scene, self.kept, self.bare = scene, tuple(kept), bare
        self._known = _Known()
        self._sites = [Sites(v.situation.scene, v.situation.building, v.situation.units) for v in bare.needs]

    def judge(self, chosen: Candidates, *, with_ways: bool = False) -> Judged:
        """Every detector, tagged room by room as one reads a plan, and the needs judged on all cells with them.

        `with_ways`: with the way to the spot of each place that decides, which only a reader wants.
        """
        building = self.bare.needs[0].situation.building
        order = np.lexsort((chosen.at[:, 0], -chosen.at[:, 1], chosen.room)).tolist()
        taken = {d.name for d in self.kept}
        specs: list[DetectorSpec] = []
        number = 1
        for k in order:
            while f"{LETTER}{number}" in taken:
                number += 1
            specs.append(chosen.spec(k, f"{LETTER}{number}", building))
            number += 1
        units = tuple(replace(chosen.units[k], name=spec.name) for k, spec in zip(order, specs, strict=True))
        keys: dict[str, object] = {spec.name: chosen.hung(k) for k, spec in zip(order, specs, strict=True)}
        keys |= {d.name: d.name for d in self.kept}
        zones = self._zones(units)
        verdicts = []
        for index, verdict in enumerate(self.bare.needs):
            need, old = verdict.need, verdict.situation
            there = old.scene.model_copy(update={
                "detectors": [*old.scene.detectors, *specs],
                "zones": [zone.model_copy(update={"detectors": list(zones[zone.name])})
                          for zone in old.scene.zones],
            })  # fmt: skip
            every = (*old.units, *units)
            situation = _Remembering(there, old.building, old.rays, every, old.weather, index, self._known, keys)
            sites = [one.site for one in verdict.places]
            if need.whose is not None or need.walked:
                sites = list(self._sites[index].told(there, every, sites).of(need, None))
            judged = judge_need(need, sites, situation, assumed=verdict.assumed, with_ways=with_ways)
            verdicts.append(replace(judged, places=tuple(_who_sees(place) for place in judged.places)))
        return Judged(chosen, (*self.kept, *specs), tuple(order), zones, replace(self.bare, needs=tuple(verdicts)))

    def _zones(self, units: Sequence[Unit]) -> dict[str, tuple[str, ...]]:
        """{zone: its detectors}: members that stay and, where it says its floor, new units that hang over it."""
        situation = self.bare.needs[0].situation
        floors = ZoneFloors(situation.scene, situation.building)
        kept = situation.scene.model_copy(update={"detectors": list(self.kept)})
        found = {zone.name: members(kept, zone.detectors) for zone in kept.zones}
        for zone in floors.zones:
            found[zone.name] += [units[k].name for k in np.flatnonzero(floors.over(zone, units)).tolist()]
        return {name: tuple(names) for name, names in found.items()}


def _who_sees(place: PlaceVerdict) -> PlaceVerdict:
    """A place with those units alone that have any margin there: of many in a large building few do."""
    some = np.flatnonzero(np.array([np.isfinite(margin).any() for margin in place.margin_db], bool))
    return replace(place, margin_db=place.margin_db[some], units=tuple(place.units[k] for k in some.tolist()))
