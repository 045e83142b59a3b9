"""What would mend a need whose places are missed: changes sorted out on some cells, the best judged on all."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from raycover.building.parts import RoomShape
from raycover.detectors import Unit
from raycover.proving.cases import Case, name_of
from raycover.proving.hanging import ROUND_M, HangingPlaces
from raycover.proving.mending.adding import Adder
from raycover.proving.mending.bench import (
    Bench,
    Outcome,
    best_of,
    cases_of,
    is_too_large,
    lack_of,
    with_need,
    worst_walk,
)
from raycover.proving.mending.changes import COST, changes_of, rehung, shifted, turned
from raycover.proving.mending.dividing import find_divisions, too_large
from raycover.proving.mending.losses import misses_no_more_of
from raycover.proving.mending.mends import Mend, Mending
from raycover.proving.mending.one_by_one import one_by_one
from raycover.proving.mending.pairs import MOST_FIRSTS, find_pairs
from raycover.proving.mending.then import judged_then, may_regroup
from raycover.proving.models import Subject
from raycover.proving.needs import NeedVerdict, PlaceVerdict, Proof
from raycover.proving.sensitivity import sensitivity_keys, shift_db
from raycover.proving.trials import Trial
from raycover.scene.devices import DetectorSpec
from raycover.solving.casting import potential_db

Floats = NDArray[np.floating]
Progress = Callable[[int, int], None]
#: Units looked at for each need, those nearest to seeing what is missed; rooms that one more is tried in.
_MOST_UNITS, _MOST_ROOMS = 4, 3
#: So many of each kind of change at a unit are judged on all cells; so many remedies are reported a need.
_FINALISTS, _MOST = 3, 6
#: Of the changes that straight ways put first, so many of a kind are tried with ways by mirrors, too.
_LOOKED_AT_TWICE = 8
#: With so many that mend it, those that do not are left out; with one, so many of those are told.
_ENOUGH, _PARTIAL = 3, 2
#: One that mends no place must take at least this share of what is missing away.
_WORTH_TELLING = 0.05
#: Of a place looked at by itself at least this share of what is missing of it.
_WORTH_ALONE = 0.1
#: Units looked at for what may do the rest after another change; what some cells may lack of it (see `Outcome`).
_FEW_UNITS, _NEARLY = 2, 0.02
#: Changes that some cells put so much behind the best of their kind are not judged on all.
_BEHIND = 0.3


def find_mending(proof: Proof, progress: Progress | None = None) -> tuple[Mending, ...]:
    """For every need with a place that is missed, what would mend it, best first."""
    missed = [verdict for verdict in proof.needs if missed_of(verdict)]
    each = _MOST_UNITS + 1 + MOST_FIRSTS
    counter = _Counter(progress, len(missed) * each)
    found = []
    for number, verdict in enumerate(missed):
        counter.at(number * each)
        found.append(_mending(proof, verdict, counter))
    return *found, *(_dividing(proof, verdict) for verdict in proof.needs if too_large(verdict))


def _dividing(proof: Proof, verdict: NeedVerdict) -> Mending:
    """What would mend a need whose zones are too large."""
    names = tuple(place.site.name for place in too_large(verdict))
    told = find_divisions(proof, verdict)
    return Mending(verdict.need.name, names, tuple(told), len(told), float(len(names)))


def _mending(proof: Proof, verdict: NeedVerdict, counter: _Counter) -> Mending:
    """What would mend one need: single changes, or where none of them does two."""
    search = _Search(proof, verdict, counter)
    singles = search.run()
    n_tried, lack = search.n_tried, search.lack_now
    told = [mend for mend in _reported(singles, lack) if search.holds(mend)]
    if not any(mend.mends for mend in told):

        def rest(then: Proof, need: NeedVerdict) -> list[Mend]:
            nonlocal n_tried
            counter.step()
            second = _Search(then, need, counter, light=True)
            found = second.run() if second.missed else []
            n_tried += second.n_tried
            return found

        told = _reported([*find_pairs(proof, verdict, singles, rest), *told], lack)
    left: list[str] = []
    if len(search.missed) > 1 and not any(mend.mends for mend in told):

        def alone(place: PlaceVerdict) -> list[Mend]:
            nonlocal n_tried
            one = _Search(proof, verdict, counter, place=place)
            found = one.run()
            n_tried += one.n_tried
            helping = [m for m in found if one.lack_after(m) < (1 - _WORTH_ALONE) * one.lack_now and one.holds(m)]
            return sorted(helping, key=lambda m: (*((0.0, m.cost) if one.does(m) else (one.lack_after(m), 0)), m.rank))

        each, left = one_by_one(verdict, search.missed, told, alone)
        told = sorted([*told, *each], key=lambda m: (m.harm, len(m.still), m.cost, m.lack))
    names = tuple(name_of(search.situation, place.site) for place in search.missed)
    return Mending(verdict.need.name, names, tuple(told), n_tried, lack, tuple(left))


def missed_of(verdict: NeedVerdict) -> list[PlaceVerdict]:
    """Places of a need that are missed and that units could mend: no never-area and no place too large."""
    need = verdict.need
    return [p for p in verdict.places if not (need.never or p.met or is_too_large(need, p.figures))]


class _Counter:
    def __init__(self, progress: Progress | None, total: int) -> None:
        self._progress, self._total, self._done = progress, total, 0

    def at(self, done: int) -> None:
        self._done = done
        if self._progress is not None:
            self._progress(done, self._total)

    def step(self) -> None:
        self.at(min(self._done + 1, self._total))


@dataclass(frozen=True)
class Worth:
    """Which changes are worth judging on all cells, by what some cells say of them and of the unit as it is (`now`).

    `whole`: only those that seem to mend all of it.
    """

    now: Outcome
    whole: bool = False

    def judging(self, tried: Sequence[tuple[Outcome, Trial]]) -> list[tuple[Outcome, Trial]]:
        """The first few of those sorted out, none that hardly helps, none that is clearly behind the first."""
        if self.whole:
            return [pair for pair in tried if pair[0].lack <= _NEARLY and not pair[0].harm][:_FINALISTS]
        helping = [
            pair for pair in tried
            if len(pair[0].mended) > 0 or pair[0].lack < (1 - _WORTH_TELLING / 2) * self.now.lack
        ]  # fmt: skip
        if not helping:
            return []
        first = helping[0][0]
        limit = first.lack + max(_BEHIND * first.lack, 0.02)
        near = [pair for pair in helping if pair[0].harm <= first.harm + 1 and pair[0].lack <= limit]
        return near[:_FINALISTS]


class _Search:
    """Everything tried for one need, or for one `place` of it, at few units.

    `light`: what may do the rest after another change, few units and models.
    """

    def __init__(
        self, proof: Proof, verdict: NeedVerdict, counter: _Counter, *, light: bool = False,
        place: PlaceVerdict | None = None,
    ) -> None:  # fmt: skip
        self.proof, self.verdict, self.counter, self.light, self.place = proof, verdict, counter, light, place
        self.situation = verdict.situation
        self.places = HangingPlaces(self.situation.scene, self.situation.building)
        self.missed = missed_of(verdict) if place is None else [place]
        self.n_tried = 0

    def run(self) -> list[Mend]:
        """Single changes, each judged on all cells."""
        remedies: list[Mend] = []
        for index in self._units():
            remedies += self._at_unit(index)
            if not self.light:
                self.counter.step()
        if self.place is not None and any(self.does(mend) for mend in remedies):
            return remedies
        new = self._one_more()
        if not self._is_narrow and not any(mend.mends and mend.cost <= COST["move"] for mend in remedies):
            remedies += self._hung_there(new)
        return [*remedies, *new]

    def _hung_there(self, new: Sequence[Mend]) -> list[Mend]:
        """Units hung where one more of their kind would do: perhaps one hangs in the wrong place."""
        found = []
        for index in self._units():
            subject = Subject(self.situation.scene, self.places, index, self.situation.units[index])
            there = [rehung(subject, one.keys, one.changed) for one in new if one.changed is not None]
            trials = [trial for trial in there if trial is not None]
            if trials:
                bench = self._bench(subject)
                self.n_tried += len(trials)
                found += [self._mend(trial, bench) for trial in trials[:1]]
        return found

    def does(self, mend: Mend) -> bool:
        """Whether a change does what is searched for: mends the one place, or all, and harms nothing."""
        if self.place is None:
            return mend.mends
        return mend.is_harmless and name_of(self.situation, self.place.site) in mend.mended

    @property
    def lack_now(self) -> float:
        """What is missing of the places searched for."""
        return sum(lack_of(self.verdict.need, place.figures) for place in self.missed)

    def lack_after(self, mend: Mend) -> float:
        """The same with a change done; infinite where it harms something."""
        still = dict(mend.still)
        names = [name_of(self.situation, place.site) for place in self.missed]
        left = sum(lack_of(self.verdict.need, still[name]) for name in names if name in still)
        return left if mend.is_harmless else np.inf

    def _bench(self, subject: Subject) -> Bench:
        return Bench(cases_of(self.proof, subject.unit.name), self.verdict, subject.pattern.settings_pct[0])

    def holds(self, mend: Mend) -> bool:
        """Whether a remedy does what it says where it may change which units belong to an aisle, or count on a way."""
        if may_regroup(self.verdict, mend) and len(missed_of(judged_then(self.verdict, mend))) != len(mend.still):
            return False
        others = [v for v in self.proof.needs if v is not self.verdict and may_regroup(v, mend)]
        return not mend.is_harmless or all(misses_no_more_of(judged_then(v, mend), v) for v in others)

    def _gap_points(self) -> Floats:
        """Points that are missed, the middle height of each cell."""
        found = []
        for place in self.missed:
            ground = place.site.ground[place.best_db < 0]
            found.append((ground if len(ground) else place.site.ground) + [0, 0, float(np.median(place.site.heights))])
        return np.concatenate(found)

    @property
    def _is_narrow(self) -> bool:
        return self.light or self.place is not None

    def _units(self) -> list[int]:
        """Units that count, nearest to seeing what is missed first."""
        points = self._gap_points()
        some = points[:: max(len(points) // 200, 1)]
        counting = sorted({k for place in self.missed for k in place.units})
        building, units = self.situation.building, self.situation.units
        rooms = building.rooms_at(some)
        homes = building.rooms_at(np.array([units[k].position for k in counting]).reshape(-1, 3))
        near = {
            k: 20.0 * float(np.mean((rooms == home) & (home >= 0)))
            + float(np.clip(potential_db(units[k], some, "any"), -40.0, 10.0).mean())
            for k, home in zip(counting, homes, strict=True)
        }
        return sorted(counting, key=lambda k: -near[k])[: _FEW_UNITS if self._is_narrow else _MOST_UNITS]

    def _at_unit(self, index: int) -> list[Mend]:
        unit = self.situation.units[index]
        scene = self.situation.scene
        subject = Subject(scene, self.places, index, unit)
        high = subject.pattern.settings_pct[1]
        bench = self._bench(subject)
        few = bench.few(self.place)
        worth = Worth(few.try_unit(unit), whole=self.light)
        by_kind: dict[str, list[Trial]] = {}
        for trial in changes_of(subject, coarse=self.light):
            by_kind.setdefault(trial.kind, []).append(trial)
        found = []
        for kind, trials in by_kind.items():
            tried = self._sorted_out(trials, few)
            if not self.light:
                tried += self._sorted_out(self._finer(kind, subject, tried[0][1]), few)
                tried.sort(key=lambda pair: _by_rank(*pair))
            for _, trial in worth.judging(_distinct(tried)):
                found.append(self._mend(trial, bench))
                if self.does(found[-1]):
                    break
        found += self._more_sensitive(unit, bench, high)
        return found

    def _sorted_out(self, trials: Sequence[Trial], few: Bench) -> list[tuple[Outcome, Trial]]:
        """Trials on some cells, the best first; where ways by mirrors count, of those that straight ways put first."""
        self.n_tried += len(trials)
        straight = few.straight()
        if straight is not few:
            trials = [trial for _, trial in best_of(straight, trials, _LOOKED_AT_TWICE, _by_rank)]
        return best_of(few, trials, _FINALISTS, _by_rank, most_lack=_NEARLY if self.light else np.inf)

    def _finer(self, kind: str, subject: Subject, best: Trial) -> list[Trial]:
        """Smaller steps about the best of a kind."""
        if kind == "move":
            return list(shifted(subject, 2 * ROUND_M, 4 * ROUND_M, best.unit.position[:2]))
        if kind == "turn":
            there = Subject(subject.scene, subject.places, subject.index, best.unit)
            return list(turned(there, 5, 10))
        return []

    def _more_sensitive(self, unit: Unit, bench: Bench, high: float) -> list[Mend]:
        """The least sensitivity above the present one that mends, else all of it: margins shift, no ray is cast."""
        now, spec = unit.sensitivity_pct, self._spec(unit.name)
        if spec.microwave_pct is not None:
            high = min(high, np.floor(now * high / spec.microwave_pct))
        if high <= now + 0.5:
            return []
        margins = [case.mine_db for case in bench.cases]

        def at(pct: float) -> Outcome:
            return bench.outcome([m + shift_db(pct, now) for m in margins], pct)

        most = at(high)
        pct = high
        if not self._own(most.still):
            least, enough = now, high  # bisection on whole per cents: more is never worse here
            while enough - least > 1:
                middle = float(np.floor((least + enough) / 2))
                least, enough = (middle, enough) if self._own(at(middle).still) else (least, middle)
            pct = enough
        self.n_tried += 1
        words = f"sensitivity {pct:g} % instead of {now:g} %"
        trial = Trial("sensitivity", words, unit, dict(sensitivity_keys(spec, pct, now)))
        return [self._told(trial, at(pct))]

    def _spec(self, name: str) -> DetectorSpec:
        return next(spec for spec in self.situation.scene.detectors if spec.name == name)

    def _own(self, cases: Sequence[Case]) -> list[Case]:
        own = [case for case in cases if case.verdict is self.verdict]
        return [case for case in own if self.place is None or case.place is self.place]

    def _one_more(self) -> list[Mend]:
        if self.verdict.need.detectors is not None:
            return []
        scene, units = self.situation.scene, self.situation.units
        bench = Bench(cases_of(self.proof, None), self.verdict, is_new=True)
        x, y = self._gap_points()[:, :2].mean(axis=0)
        adder = Adder(scene, self.places, units, bench.few(self.place), (float(x), float(y)), light=self.light)

        def tried() -> None:
            self.n_tried += 1

        trials = adder.best(self._rooms(), tried)
        if not self.light:
            self.counter.step()
        return [self._mend(trial, bench, is_new=True) for trial in trials[:_FINALISTS]]

    def _rooms(self) -> list[RoomShape]:
        """Rooms with most of what is missed; the open where none has any of it."""
        building = self.situation.building
        points = self._gap_points()
        rooms = building.rooms_at(points)
        if (rooms < 0).all():
            return [self.places.open_ground(points[:, :2])]
        found, counts = np.unique(rooms[rooms >= 0], return_counts=True)
        most = 1 if self._is_narrow else _MOST_ROOMS
        return [building.rooms[k] for k in found[np.argsort(-counts, kind="stable")][:most]]

    def _mend(self, trial: Trial, bench: Bench, *, is_new: bool = False) -> Mend:
        return self._told(trial, bench.judge_unit(trial.unit), is_new=is_new)

    def _told(self, trial: Trial, outcome: Outcome, *, is_new: bool = False) -> Mend:
        """What a change does, all cells judged."""
        words, keys = trial.words, dict(trial.keys)
        if outcome.pct < trial.unit.sensitivity_pct and trial.kind != "sensitivity":
            spec = None if is_new or "model" in keys else self._spec(trial.unit.name)
            words = f"{words}, sensitivity {outcome.pct:g} %"
            keys |= sensitivity_keys(spec, outcome.pct, trial.unit.sensitivity_pct)
        own = {case.key: case for case in (*outcome.mended, *outcome.still) if case.verdict is self.verdict}
        name = self.verdict.need.name
        # Places that the unit does not count for stay as they are: another aisle's, another room's.
        apart = [place for place in missed_of(self.verdict) if (name, place.site.name) not in own]
        mended = [case for case in outcome.mended if case.key in own]
        still = [case for case in outcome.still if case.key in own]
        helped = [
            case for case in still
            if lack_of(case.verdict.need, outcome.after[case.key])
            < (1 - _WORTH_ALONE) * lack_of(case.verdict.need, case.place.figures)
        ]  # fmt: skip
        told = [outcome.after[case.key] for case in (mended or helped or own.values())]
        broken = [case for case in outcome.broken if not case.verdict.need.never]
        nevers = [case for case in outcome.broken if case.verdict.need.never]
        return Mend(
            unit=trial.unit.name,
            kind=trial.kind,
            words=words,
            keys=keys,
            is_new=is_new,
            mended=tuple(case.name for case in mended),
            still=(
                *((case.name, outcome.after[case.key]) for case in still),
                *((name_of(self.situation, place.site), place.figures) for place in apart),
            ),
            also=tuple(dict.fromkeys(with_need(c.verdict, c.site) for c in outcome.mended if c.key not in own)),
            broken=tuple(dict.fromkeys(with_need(c.verdict, c.site) for c in broken)),
            tripped=tuple((with_need(c.verdict, c.site), outcome.after[c.key].worst_db) for c in nevers),
            share=min((f.share for f in told), default=0.0),
            gap_m=max((f.largest_gap_m for f in told), default=0.0),
            worst_db=min((f.worst_db for f in told), default=-np.inf),
            cost=COST[trial.kind],
            taken=tuple((with_need(c.verdict, c.site), c.place.figures, outcome.after[c.key]) for c in outcome.taken),
            lack=outcome.lack + sum(lack_of(self.verdict.need, place.figures) for place in apart),
            changed=trial.unit,
            pct=outcome.pct,
            walk=worst_walk(told),
            helped=tuple((case.name, outcome.after[case.key]) for case in helped),
        )


def _by_rank(outcome: Outcome, trial: Trial) -> tuple[Any, ...]:
    """Best first; of turns that leave nothing those square to the axes, of changes alike the smaller, tried first."""
    broken, lack, ease = outcome.rank
    askew = lack == 0 and float(trial.keys.get("turn_deg", 0.0)) % 90 != 0
    return broken, lack, askew, round(ease, 1)


def _distinct(tried: Sequence[tuple[Outcome, Trial]]) -> list[tuple[Outcome, Trial]]:
    """Without twins of one name."""
    return list({trial.words: (outcome, trial) for outcome, trial in reversed(tried)}.values())[::-1]


def _reported(remedies: Sequence[Mend], lack: float) -> list[Mend]:
    """Best first, one of a kind at a unit, two of a kind; where enough mend it no others, none that hardly helps."""
    kept: list[Mend] = []
    for remedy in sorted(remedies, key=lambda r: r.rank):
        alike = [r for r in kept if r.kinds == remedy.kinds]
        if any(r.unit == remedy.unit and not r.is_new for r in alike) or len(alike) >= 2:
            continue
        kept.append(remedy)
    whole = [remedy for remedy in kept if remedy.mends]
    better = [r for r in kept if r.mends or r.mended or r.lack < (1 - _WORTH_TELLING) * lack]
    partial = [r for r in better if not r.mends][: _PARTIAL if whole else _MOST]
    return (whole if len(whole) >= _ENOUGH else [*whole, *partial])[:_MOST]
