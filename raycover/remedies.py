"""What would stop a unit from being tripped where it must not: sensitivity, mask, place or aim, tried one by one.

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

from raycover.coverage import Coverage
from raycover.detectors import Unit
from raycover.kept.answers import cast
from raycover.needs import NeedVerdict, PlaceVerdict, Proof, Situation, figures_of, is_met
from raycover.sensitivity import LEAST_PCT, pct_for, sensitivity_keys, shift_db
from raycover.sites import Site
from raycover.trials import Trial, trials_of

Floats = NDArray[np.floating]
Progress = Callable[[int, int], None]
#: Cells of a place that trials are sorted out on, of a never-area and of others.
_SOME_NEVER, _SOME = 240, 40
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
    left; `quiet` the share of varied cases in which it is tripped from none of them, None where not asked.
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

    @property
    def largest_area_lost(self) -> tuple[str, float]:
        """The map that loses most and how much (m²); no name where nothing is lost."""
        if not self.area_lost_m2 or max(self.area_lost_m2.values()) <= 0:
            return "", 0.0
        name = max(self.area_lost_m2, key=lambda key: self.area_lost_m2[key])
        return name, self.area_lost_m2[name]

    @property
    def rank(self) -> tuple[bool, int, float, float]:
        """Best first: stops it, misses no need, costs little inside."""
        return not self.stops, len(self.missed), round(self.share_lost, 3), sum(self.area_lost_m2.values())


@dataclass(frozen=True)
class Trouble:
    """A unit that is tripped where it must not be, and the needs that say so."""

    unit: str
    needs: tuple[str, ...]
    remedies: tuple[Remedy, ...]


@dataclass(frozen=True)
class _Case:
    """A place that a unit counts for: what the other units see there is `others_db` (n,)."""

    verdict: NeedVerdict
    place: PlaceVerdict
    site: Site
    others_db: Floats
    mine_db: Floats
    least_pct: float = LEAST_PCT

    @property
    def situation(self) -> Situation:
        return self.verdict.situation

    def some(self, n: int) -> _Case:
        """The same with about n of its cells: the highest margins of a never-area, and cells spread over all."""
        if len(self.site) <= n:
            return self
        spread = np.linspace(0, len(self.site) - 1, n // 2 if self.verdict.need.never else n).astype(int)
        top = np.argsort(-self.mine_db)[: n - len(spread)] if self.verdict.need.never else spread[:0]
        chosen = np.unique(np.concatenate([spread, top]))
        return replace(
            self, site=self.site.some(chosen), others_db=self.others_db[chosen], mine_db=self.mine_db[chosen]
        )


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
    cases = [case for verdict in proof.needs for case in _cases(verdict, index)]
    few = [case.some(_SOME_NEVER if case.verdict.need.never else _SOME) for case in cases]
    nevers = [case for case in cases if case.verdict.need.never]
    situation = nevers[0].situation
    unit = situation.units[index]
    hot = [(case.site.points, np.tile(case.mine_db + case.verdict.need.reserve_db, len(case.site.heights)))
           for case in nevers]  # fmt: skip
    points = np.concatenate([p for p, _ in hot])
    excess = np.concatenate([e for _, e in hot])
    by_kind: dict[str, list[_Outcome]] = {}
    for trial in trials_of(situation.scene, situation.building, index, unit, points, excess):
        by_kind.setdefault(trial.kind, []).append(_try(trial, few))
    remedies: list[Remedy] = []
    for outcomes in by_kind.values():
        outcomes.sort(key=lambda outcome: outcome.rank)
        alone = [o for o in outcomes if o.pct == unit.sensitivity_pct]
        # The best by itself, the best with less sensitivity; of each kind not more.
        for outcome in dict.fromkeys(o.trial.words for o in (*alone[:1], *outcomes[:1])):
            trial = next(o.trial for o in outcomes if o.trial.words == outcome)
            remedies.append(_remedy(_try(trial, cases), cases, index, coverage))
    # What a mere change of sensitivity does as well need not be done another way, too.
    kept = _without_idle(sorted(remedies, key=lambda r: r.rank))
    stopping = [remedy for remedy in kept if remedy.stops]
    return Trouble(unit.name, tuple(needs), tuple((stopping if len(stopping) >= _ENOUGH else kept)[:_MOST]))


def _without_idle(remedies: Sequence[Remedy]) -> list[Remedy]:
    """Without those that leave as much to sensitivity as sensitivity alone would take."""
    plain = next((r.pct if r.stops else 0.0 for r in remedies if r.kind == "sensitivity"), None)
    return [r for r in remedies if r.kind == "sensitivity" or plain is None
            or r.pct > plain]  # fmt: skip


def _cases(verdict: NeedVerdict, index: int) -> list[_Case]:
    found = []
    scene = verdict.situation.scene
    least = scene.pattern_of(scene.detectors[index]).settings_pct[0]
    for place in verdict.places:
        if index not in place.units:
            continue
        row = place.units.index(index)
        rest = np.delete(place.margin_db, row, axis=0)
        others = rest.max(axis=0) if len(rest) else np.full(len(place.site), -np.inf)
        found.append(_Case(verdict, place, place.site, others, place.margin_db[row], least))
    return found


def _try(trial: Trial, cases: Sequence[_Case]) -> _Outcome:
    """Cast a changed unit on some places and take what is left over away by sensitivity."""
    margins = [case.situation.margin_db(trial.unit, case.site) for case in cases]
    excess = max(
        float(margin.max()) + case.verdict.need.reserve_db
        for case, margin in zip(cases, margins, strict=True)
        if case.verdict.need.never
    )
    now = trial.unit.sensitivity_pct
    pct = pct_for(excess, now, cases[0].least_pct)
    if pct is None:
        return _Outcome(trial, excess, None, (), 0.0)
    shift = shift_db(pct, now)
    missed, lost, at = _inside(cases, [margin + shift for margin in margins])
    return _Outcome(trial, excess + shift, pct, missed, lost, at)


def _inside(cases: Sequence[_Case], margins: Sequence[Floats]) -> tuple[tuple[str, ...], float, str]:
    """Places met now that these margins of the unit would miss; the largest loss of share, and where."""
    missed: list[str] = []
    lost, at = 0.0, ""
    for case, margin in zip(cases, margins, strict=True):
        need, site = case.verdict.need, case.site
        if need.never:
            continue
        before = figures_of(need, site, np.maximum(case.others_db, case.mine_db))
        after = figures_of(need, site, np.maximum(case.others_db, margin))
        if before.share - after.share > lost:
            lost, at = before.share - after.share, _name(case)
        if is_met(need, before) and not is_met(need, after):
            missed.append(_name(case))
    return tuple(dict.fromkeys(missed)), lost, at


def _name(case: _Case) -> str:
    """A place by its label, or by its whole name where the building has several stairs."""
    return case.site.label if len(case.situation.building.stairs) < 2 else case.site.name


def _remedy(outcome: _Outcome, cases: Sequence[_Case], index: int, coverage: Coverage | None) -> Remedy:
    trial, pct = outcome.trial, outcome.pct
    limit = min(-case.verdict.need.reserve_db for case in cases if case.verdict.need.never)
    words, keys = trial.words, dict(trial.keys)
    now = trial.unit.sensitivity_pct
    if pct is not None and pct < now:
        words = f"{words}, sensitivity {pct:g} %" if words else f"sensitivity {pct:g} %"
        keys |= sensitivity_keys(cases[0].situation.scene.detectors[index], pct, now)
    note = trial.note
    if pct is None:
        words = words or "sensitivity"
        note = note or f"less than {cases[0].least_pct:g} % sensitivity would be needed"
    shift = 0.0 if pct is None else shift_db(pct, now)
    lost = {} if coverage is None or pct is None else _areas_lost(coverage, index, trial.unit, shift, cases)
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
        area_lost_m2=lost,
        note=note,
        changed=trial.unit,
        pct=now if pct is None else pct,
    )


def _areas_lost(
    coverage: Coverage, index: int, changed: Unit, shift: float, cases: Sequence[_Case]
) -> dict[str, float]:
    """{map: detected area (m²) lost}, outside the never-areas."""
    lost = {}
    nevers = [case.site for case in cases if case.verdict.need.never]
    for name, plane in coverage.items():
        surface = plane.surface
        after = np.full(surface.shape, -np.inf, np.float32)
        weather = cases[0].situation.weather
        for k, patch in enumerate(plane.patches):
            if k == index:
                patch = cast(changed, surface, coverage.rays, weather)
            if patch is not None:
                view = after[patch.window]
                np.maximum(view, patch.margin_db + np.float32(shift if k == index else 0.0), out=view)
        counts = surface.inside.copy()
        for site in nevers:
            if surface.stairs is None and site.surface is not None and site.surface.stairs is None:
                counts &= ~_over(site, surface)
        gone = counts & plane.detected & (after < 0)
        gained = counts & ~plane.detected & (after >= 0)
        lost[name] = float(surface.area[gone].sum() - surface.area[gained].sum())
    return lost


def _over(site: Site, surface: Any) -> NDArray[np.bool_]:
    """(ny, nx): cells of a map that lie in a place of the same storey."""
    import shapely

    if site.storey is not None and surface.storey is not None and site.storey != surface.storey:
        return np.zeros(surface.shape, bool)
    x, y = np.meshgrid(surface.x, surface.y)
    return np.asarray(shapely.contains_xy(site.outline, x, y))
