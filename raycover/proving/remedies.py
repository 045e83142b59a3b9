"""What would stop a unit from being tripped where it must not: sensitivity, mask, place, aim or model, one by one.

Each trial casts the changed unit alone. Trials are sorted out on some cells of each place; what is reported is
judged on all of them. What a change of place, mask or aim leaves over is taken away by sensitivity, which shifts
every margin alike: reach goes with its share p, so the margin with 40·log10 p.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from raycover.detectors import Unit
from raycover.proving.cases import Case, Casts
from raycover.proving.hanging import HangingPlaces
from raycover.proving.maps_lost import MapsLost
from raycover.proving.models import Subject, other_models
from raycover.proving.needs import Proof, figures_of, is_met
from raycover.proving.sensitivity import pct_for, sensitivity_keys, shift_db
from raycover.proving.trials import Trial, trials_of
from raycover.solving.coverage import Coverage
from raycover.solving.open_air import Weather

Floats = NDArray[np.floating]
Progress = Callable[[int, int], None]
#: Cells of a place that trials are sorted out on, of a never-area and of others.
_SOME_NEVER, _SOME = 240, 40
#: Of the changes that straight ways put first, so many of a kind are tried with ways by mirrors, too.
_LOOKED_AT_TWICE = 10
#: At most so many remedies are reported a unit.
_MOST = 6
#: With so many that do, those that don't stop it are left out.
_ENOUGH = 3


@dataclass(frozen=True)
class Remedy:
    """A change at one unit and what it does.

    `worst_db` is the highest margin left in its never-areas, `limit_db` what is allowed there. `missed` are the
    places of needs that it would miss and that are met now. `share_lost` is the largest loss of share of any place
    that must be seen, `lost_at` that place; `area_lost_m2` is the loss of each map of the scene, never-areas left
    out. `keys` go into the detector's entry. `changed` is the unit changed, less its sensitivity, of which `pct` is
    left; `quiet` the share of varied cases in which it is tripped from none of them, None where not asked. It is not
    `possible` where the unit allows no sensitivity so low.
    """

    unit: str
    kind: str
    words: str
    keys: dict[str, Any]
    stops: bool
    worst_db: float
    limit_db: float
    missed: tuple[str, ...]
    share_lost: float
    lost_at: str = ""
    area_lost_m2: dict[str, float] = field(default_factory=dict)
    note: str = ""
    changed: Unit | None = field(default=None, repr=False, compare=False)
    pct: float = 100.0
    quiet: float | None = None
    possible: bool = True

    @property
    def largest_area_lost(self) -> tuple[str, float]:
        """The map that loses most and how much (m²); no name where nothing is lost."""
        if not self.area_lost_m2 or max(self.area_lost_m2.values()) <= 0:
            return "", 0.0
        name = max(self.area_lost_m2, key=lambda key: self.area_lost_m2[key])
        return name, self.area_lost_m2[name]

    @property
    def rank(self) -> tuple[bool, int, float, float]:
        """Best first: stops it, misses no need, costs little inside. What another model sees more does not count."""
        lost = sum(self.area_lost_m2.values())
        lost = max(lost, 0.0) if self.kind == "model" else lost
        return not self.stops, len(self.missed), round(self.share_lost, 3), lost


@dataclass(frozen=True)
class Trouble:
    """A unit that is tripped where it must not be, and the needs that say so."""

    unit: str
    needs: tuple[str, ...]
    remedies: tuple[Remedy, ...]


def _some(case: Case) -> Case:
    """A case with a part of its cells: the highest margins of a never-area, and cells spread over all."""
    never, size = case.verdict.need.never, len(case.site)
    n = _SOME_NEVER if never else _SOME
    if case.verdict.need.routes is not None:
        return case.along()
    if size <= n:
        return case
    spread = np.linspace(0, size - 1, n // 2 if never else n).astype(int)
    top = np.argsort(-case.mine_db)[: n - len(spread)] if never else spread[:0]
    return case.only(np.unique(np.concatenate([spread, top])))


class _Tried:
    """Cases of one unit that its changes are tried on; `least_pct` as its entry has it."""

    def __init__(self, cases: Sequence[Case], least_pct: float, *, quick: bool, straight: bool = False) -> None:
        self.cases = list(cases)
        self.least_pct = least_pct
        # Of what must be seen shares are told: it is asked only where the others do not see by themselves.
        self._casts = Casts(cases, below_db=0.0, least_db=0.0, quick=quick, straight=straight)

    def some(self) -> _Tried:
        """The same on some cells, for sorting out."""
        return _Tried([_some(case) for case in self.cases], self.least_pct, quick=True)

    def sorted_out(self, trials: Sequence[Trial]) -> list[_Outcome]:
        """Trials on these cells, best first; where ways by mirrors count, those that straight ways put first."""
        if any(case.situation.weather.reflections for case in self.cases) and len(trials) > _LOOKED_AT_TWICE:
            straight = _Tried(self.cases, self.least_pct, quick=True, straight=True)
            first = sorted((straight.try_(trial) for trial in trials), key=lambda outcome: outcome.rank)
            trials = [outcome.trial for outcome in first[:_LOOKED_AT_TWICE]]
        return sorted((self.try_(trial) for trial in trials), key=lambda outcome: outcome.rank)

    def least_of(self, trial: Trial) -> float:
        """The least sensitivity [%] that a trial allows."""
        return self.least_pct if trial.least_pct is None else trial.least_pct

    def try_(self, trial: Trial) -> _Outcome:
        """Cast a changed unit and take what is left over away by sensitivity."""
        margins = self._casts.margins(trial.unit)
        excess = max(
            float(margin.max()) + case.verdict.need.reserve_db
            for case, margin in zip(self.cases, margins, strict=True)
            if case.verdict.need.never
        )
        now = trial.unit.sensitivity_pct
        pct = pct_for(excess, now, self.least_of(trial))
        if pct is None:
            return _Outcome(trial, excess, None, (), 0.0)
        shift = shift_db(pct, now)
        missed, lost, at = _inside(self.cases, [margin + shift for margin in margins])
        return _Outcome(trial, excess + shift, pct, missed, lost, at)


@dataclass(frozen=True)
class _Outcome:
    """Of one trial on some cases: the excess (dB) over what is allowed, places missed, largest loss of share."""

    trial: Trial
    excess_db: float
    pct: float | None
    missed: tuple[str, ...]
    share_lost: float
    lost_at: str = ""

    @property
    def rank(self) -> tuple[bool, int, float, float]:
        return self.pct is None, len(self.missed), round(self.share_lost, 3), -(self.pct or 0)


def find_remedies(
    proof: Proof, coverage: Coverage | None = None, progress: Progress | None = None
) -> tuple[Trouble, ...]:
    """For every unit that a never-need is missed by, what would stop it, best first.

    `coverage` is that of the scene as drawn, for what its maps would lose.
    """
    culprits = _culprits(proof)
    found = []
    for done, (index, needs) in enumerate(culprits.items()):
        if progress is not None:
            progress(done, len(culprits))
        found.append(_for_unit(proof, index, needs, coverage))
    return tuple(found)


def _culprits(proof: Proof) -> dict[int, list[str]]:
    """{unit: names of never-needs that it is tripped from}."""
    found: dict[int, list[str]] = {}
    for verdict in proof.needs:
        if not verdict.need.never:
            continue
        for place in verdict.places:
            for unit, margin in zip(place.units, place.margin_db, strict=True):
                if margin.max() > -verdict.need.reserve_db and verdict.need.name not in found.setdefault(unit, []):
                    found[unit].append(verdict.need.name)
    return {unit: needs for unit, needs in sorted(found.items()) if needs}


def _for_unit(proof: Proof, index: int, needs: Sequence[str], coverage: Coverage | None) -> Trouble:
    cases = [
        Case.of(verdict, place, index)
        for verdict in proof.needs
        for place in verdict.places
        if index in place.units
    ]  # fmt: skip
    nevers = [case for case in cases if case.verdict.need.never]
    situation = nevers[0].situation
    scene = situation.scene
    whole = _Tried(cases, scene.pattern_of(scene.detectors[index]).settings_pct[0], quick=False)
    few = whole.some()
    unit = situation.units[index]
    hot = [(case.site.points, np.tile(case.mine_db + case.verdict.need.reserve_db, len(case.site.heights)))
           for case in nevers]  # fmt: skip
    points = np.concatenate([p for p, _ in hot])
    excess = np.concatenate([e for _, e in hot])
    subject = Subject(scene, HangingPlaces(scene, situation.building), index, unit)
    # Behind glass infrared is quiet and microwave is not: of models the best of each technology is told.
    by_kind: dict[object, list[Trial]] = {}
    for trial in (*trials_of(scene, situation.building, index, unit, points, excess), *other_models(subject)):
        by_kind.setdefault((trial.kind, trial.unit.technologies if trial.kind == "model" else None), []).append(trial)
    remedies: list[Remedy] = []
    for trials in by_kind.values():
        outcomes = few.sorted_out(trials)
        alone = [o for o in outcomes if o.pct == o.trial.unit.sensitivity_pct]
        # The best by itself, the best with less sensitivity; of each kind not more.
        for outcome in dict.fromkeys(o.trial.words for o in (*alone[:1], *outcomes[:1])):
            trial = next(o.trial for o in outcomes if o.trial.words == outcome)
            remedies.append(_remedy(whole.try_(trial), whole, index))
    # What a mere change of sensitivity does as well need not be done another way, too.
    kept = _without_idle(sorted(remedies, key=lambda r: r.rank))
    stopping = [remedy for remedy in kept if remedy.stops]
    told = stopping if len(stopping) >= _ENOUGH else kept
    if coverage is not None:
        drawn = replace(situation, weather=Weather.of(proof.scene))  # the air of the maps
        maps = MapsLost(coverage, index, drawn, [case.site for case in nevers])
        told = sorted((_with_maps(remedy, maps) for remedy in told), key=lambda r: r.rank)
    return Trouble(unit.name, tuple(needs), tuple(told[:_MOST]))


def _with_maps(remedy: Remedy, maps: MapsLost) -> Remedy:
    """A remedy with what the maps lose; one that sensitivity has no room for has nothing to tell."""
    if remedy.changed is None or not remedy.possible:
        return remedy
    return replace(remedy, area_lost_m2=maps.of(remedy.changed, shift_db(remedy.pct, remedy.changed.sensitivity_pct)))


def _without_idle(remedies: Sequence[Remedy]) -> list[Remedy]:
    """Without those that leave as much to sensitivity as sensitivity alone would take, or models that do no better."""
    plain = next((r for r in remedies if r.kind == "sensitivity"), None)
    if plain is None:
        return list(remedies)

    def is_idle(remedy: Remedy) -> bool:
        if remedy.kind == "model":
            return not remedy.stops or remedy.rank[:3] > plain.rank[:3]
        return remedy.kind != "sensitivity" and plain.stops and remedy.pct <= plain.pct

    return [remedy for remedy in remedies if not is_idle(remedy)]


def _inside(cases: Sequence[Case], margins: Sequence[Floats]) -> tuple[tuple[str, ...], float, str]:
    """Places met now that these margins of the unit would miss; the largest loss of share, and where."""
    missed: list[str] = []
    lost, at = 0.0, ""
    for case, margin in zip(cases, margins, strict=True):
        need, site = case.verdict.need, case.site
        if need.never:
            continue
        before = figures_of(need, site, case.decides(case.mine_db))
        after = figures_of(need, site, case.decides(margin))
        if before.share - after.share > lost:
            lost, at = before.share - after.share, case.name
        if is_met(need, before) and not is_met(need, after):
            missed.append(case.name)
    return tuple(dict.fromkeys(missed)), lost, at


def _remedy(outcome: _Outcome, tried: _Tried, index: int) -> Remedy:
    cases = tried.cases
    trial, pct = outcome.trial, outcome.pct
    limit = min(-case.verdict.need.reserve_db for case in cases if case.verdict.need.never)
    words, keys = trial.words, dict(trial.keys)
    now = trial.unit.sensitivity_pct
    if pct is not None and pct < now:
        words = f"{words}, sensitivity {pct:g} %" if words else f"sensitivity {pct:g} %"
        spec = None if "model" in keys else cases[0].situation.scene.detectors[index]
        keys |= sensitivity_keys(spec, pct, now)
    note = trial.note
    if pct is None:
        words = words or "sensitivity"
        note = note or f"less than {tried.least_of(trial):g} % sensitivity would be needed"
    return Remedy(
        unit=trial.unit.name,
        kind=trial.kind,
        words=words,
        keys=keys,
        stops=pct is not None and not trial.refused,
        worst_db=limit + outcome.excess_db,
        limit_db=limit,
        missed=outcome.missed,
        share_lost=outcome.share_lost,
        lost_at=outcome.lost_at,
        note=note,
        changed=trial.unit,
        pct=now if pct is None else pct,
        possible=pct is not None,
    )
