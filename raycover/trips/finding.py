"""`find_trips`: every nuisance against every unit, with what stops those that trip one."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from raycover.building.build import build
from raycover.building.parts import Building
from raycover.catalogue import Construction
from raycover.detectors import Unit, declarations_of
from raycover.physics.calibration import CannotCalibrate
from raycover.physics.lens import Zones
from raycover.physics.pattern import Mask
from raycover.rays.ray_scene import RayScene
from raycover.scene.air import air_words, own_air
from raycover.scene.devices import PatternSpec
from raycover.scene.schema import Scene
from raycover.scene.stating import with_open
from raycover.solving.coverage import Coverage, Progress, make_units, solve
from raycover.trips.interference import Interference, interferences
from raycover.trips.judging import Effect, Rules, effect, effects
from raycover.trips.moving import move_away
from raycover.trips.places import Source, place
from raycover.trips.remedies import Cost, Costs, MaskRemedy, Remedies, SensitivityRemedy, mask_over, masked, share_of
from raycover.trips.zones import zone_hits
from raycover.walking.sensing import Sensor, declared_tests, sensor_of, zones_of

#: Pitch (degrees) taken for a field too narrow for any ring of a generic lens.
_NARROW_DEG = 11.0
_Pair = tuple[Source, Construction | None, RayScene]


@dataclass(frozen=True)
class UnitMasks:
    """All masks proposed for one unit together: their share of its pattern, what the entry allows, what they cost."""

    unit: str
    masks: tuple[Mask, ...]
    nuisances: tuple[str, ...]
    share: float
    allowed: float | None
    cost: Cost | None

    @property
    def fits(self) -> bool:
        return self.allowed is None or self.share <= self.allowed + 1e-6


@dataclass(frozen=True)
class Trips:
    """What may trip falsely.

    `effects`: every pair of a nuisance and a unit that answers to such things, the worst first; `remedies`: of those
    that trip or may, in the same order; `masks`: by unit, where several are proposed; `interference`: pairs of units,
    the worst first. `coverage` is that of the scene, None where it has nothing to map. `ambient_c` is the scene's
    air (°C), `rooms_c` that of rooms with another, `source_air_c` that at the middle of each nuisance, all by name.
    """

    sources: tuple[Source, ...]
    units: tuple[Unit, ...]
    effects: tuple[Effect, ...]
    remedies: tuple[Remedies, ...]
    masks: tuple[UnitMasks, ...]
    interference: tuple[Interference, ...]
    coverage: Coverage | None
    ambient_c: float
    reserve_db: float
    rooms_c: dict[str, float]
    source_air_c: dict[str, float]

    @property
    def air(self) -> str:
        """The air in words, that of rooms which have their own included."""
        return air_words(self.ambient_c, self.rooms_c)

    @property
    def flagged(self) -> tuple[Interference, ...]:
        return tuple(pair for pair in self.interference if pair.flagged)


def find_trips(
    scene: Scene,
    *,
    building: Building | None = None,
    rays: RayScene | None = None,
    threads: int | None = None,
    progress: Progress | None = None,
) -> Trips:
    """Judge a scene's nuisances, find what stops them, and flag units that disturb each other.

    The scene is solved only where something trips, for what masks and less reach cost. Raises InputError where a
    nuisance leaves open where it stands.
    """
    building = build(scene) if building is None else building
    rays = RayScene(building) if rays is None else rays
    units = make_units(scene, building)
    patterns = [scene.pattern_of(detector) for detector in scene.detectors]
    rules = Rules.of(scene, _pitches(units, patterns))
    sources = place(scene, building)
    pairs = _with_their_doors(scene, sources, rays)
    found = _with_zones(effects(pairs, units, rules), pairs, units, patterns, rules)
    found.sort(key=lambda e: -e.margin_db)
    worth = [e for e in found if e.verdict != "no"]
    coverage = None
    if worth and (scene.rooms or "planes" in scene.model_fields_set):
        coverage = solve(scene, building=building, rays=rays, threads=threads, progress=progress)
    costs = None if coverage is None else Costs(coverage, rules.people)
    index = {unit.name: i for i, unit in enumerate(units)}
    case = _Case(units, patterns, rules, costs, building, {pair[0].spec.name: pair for pair in pairs}, found)
    remedies = [_remedies(e, case) for e in worth]
    return Trips(
        sources=sources,
        units=units,
        effects=tuple(found),
        remedies=tuple(remedies),
        masks=_together(remedies, index, units, patterns, costs),
        interference=tuple(interferences(units, rays, rules.people)),
        coverage=coverage,
        ambient_c=scene.conditions.ambient_c,
        reserve_db=scene.conditions.reserve_db,
        rooms_c=own_air(scene),
        source_air_c={
            source.spec.name: float(rules.people.ambient_at(source.points.mean(axis=0, keepdims=True))[0])
            for source in sources
        },
    )


def _pitches(units: Sequence[Unit], patterns: Sequence[PatternSpec]) -> dict[str, float]:
    """Pitch (degrees) of a pair of zones of each infrared unit's or half's lens, its own or a generic one."""
    firsts = [(unit.parts[0], pattern.parts[0]) for unit, pattern in zip(units, patterns, strict=True)]
    lenses = {unit.name: _lens(unit, pattern) for unit, pattern in firsts if unit.kind == "infrared"}
    return {name: lens.pitch_deg if lens.rings else _NARROW_DEG for name, lens in lenses.items()}


def _lens(unit: Unit, pattern: PatternSpec) -> Zones:
    return zones_of(pattern, declared_tests(declarations_of(pattern), unit.mounting))[0]


def _with_zones(
    found: Sequence[Effect],
    pairs: Sequence[_Pair],
    units: Sequence[Unit],
    patterns: Sequence[PatternSpec],
    rules: Rules,
) -> list[Effect]:
    """The effects, those of hot things within an infrared unit's lens and sight with the zones that fall on them."""
    by_name = {pair[0].spec.name: pair for pair in pairs}
    of_unit = {u.name: (u.parts[0], pattern.parts[0]) for u, pattern in zip(units, patterns, strict=True)}
    sensors: dict[str, Sensor | None] = {}
    result = []
    for one in found:
        source, _, rays = by_name[one.nuisance]
        if one.technology == "infrared" and math.isfinite(one.person_db) and not source.spec.default.person:
            if one.unit not in sensors:
                try:
                    lens = _lens(*of_unit[one.unit])
                    sensors[one.unit] = sensor_of(*of_unit[one.unit]) if lens.rings else None
                except CannotCalibrate:  # no threshold, no second opinion: the declared footprint still holds
                    sensors[one.unit] = None
            sensor = sensors[one.unit]
            if sensor is not None:
                (air_c,) = rules.people.ambient_at(np.array([one.at])).tolist()
                one = replace(one, zones=zone_hits(sensor, source, rays, air_c))
        result.append(one)
    return result


def _with_their_doors(scene: Scene, sources: Sequence[Source], rays: RayScene) -> list[_Pair]:
    """Each nuisance with its cover, and the building as it stands while that nuisance is there."""
    made: dict[tuple[str, ...], RayScene] = {(): rays}
    pairs = []
    for source in sources:
        doors = tuple(sorted(source.spec.opens))
        if doors not in made:
            made[doors] = RayScene(build(with_open(scene, doors)), rays.backend)
        cover = None if source.spec.behind is None else scene.catalogue.construction(source.spec.behind)
        pairs.append((source, cover, made[doors]))
    return pairs


@dataclass(frozen=True)
class _Case:
    """What remedies are worked out with."""

    units: Sequence[Unit]
    patterns: Sequence[PatternSpec]
    rules: Rules
    costs: Costs | None
    building: Building
    pairs: dict[str, _Pair]
    effects: Sequence[Effect]

    def judge(self, nuisance: str) -> Callable[[Unit], Effect]:
        source, cover, rays = self.pairs[nuisance]
        return lambda unit: effect(source, unit, rays, self.rules, cover)


def _remedies(found: Effect, case: _Case) -> Remedies:
    index = next(i for i, unit in enumerate(case.units) if unit.name == found.unit)
    unit, pattern, reserve = case.units[index], case.patterns[index], case.rules.reserve_db
    again = case.judge(found.nuisance)
    cost_of = None if case.costs is None else partial(case.costs.of, index)
    over = mask_over(unit, found.points[found.margins_db >= -reserve])
    changed = masked(unit, [over])
    left = again(changed)
    by_db = found.margin_db + reserve
    # a hair below the reserve, in whole per cent: margins go with 40·log10 of the reach
    percent = math.ceil(100 * 10 ** (-by_db / 40) - 1e-9) - 1
    lower_db = -40 * math.log10(max(percent, 1) / 100)
    others = [(e, case.judge(e.nuisance)) for e in case.effects if e.unit == unit.name and e is not found]
    return Remedies(
        effect=found,
        mask=MaskRemedy(
            mask=over,
            share=share_of(changed, pattern),
            allowed=pattern.largest_mask_share,
            margin_db=left.margin_db,
            closes=left.verdict == "no",
            cost=None if cost_of is None else cost_of(changed),
        ),
        sensitivity=SensitivityRemedy(percent, None if case.costs is None else case.costs.lowered(index, lower_db)),
        move=move_away(unit, again, others, case.building, case.rules, cost_of),
        keep_m=found.distance_m * 10 ** (by_db / 40),
    )


def _together(
    remedies: Sequence[Remedies],
    index: dict[str, int],
    units: Sequence[Unit],
    patterns: Sequence[PatternSpec],
    costs: Costs | None,
) -> tuple[UnitMasks, ...]:
    """For each unit that several nuisances trip: all their masks at once."""
    found = []
    for name in dict.fromkeys(r.effect.unit for r in remedies):
        mine = [r for r in remedies if r.effect.unit == name]
        if len(mine) < 2:
            continue
        i = index[name]
        masks = tuple(dict.fromkeys(r.mask.mask for r in mine))
        changed = masked(units[i], masks)
        cost = None if costs is None else costs.of(i, changed)
        nuisances = tuple(r.effect.nuisance for r in mine)
        allowed = patterns[i].largest_mask_share
        found.append(UnitMasks(name, masks, nuisances, share_of(changed, patterns[i]), allowed, cost))
    return tuple(found)
