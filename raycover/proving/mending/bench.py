"""Changes at one unit, or one more unit, tried on the places of a proof: cast, judged, compared with what is."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.detectors import Unit
from raycover.proving.cases import AMPLE_DB, LEAST_DB, Case, Casts, name_of, spread
from raycover.proving.doorways import hangs_over
from raycover.proving.mending.losses import is_less
from raycover.proving.needs import Figures, NeedVerdict, PlaceVerdict, Proof, figures_of, is_met
from raycover.proving.owning import home_of, homes_of
from raycover.proving.sensitivity import LEAST_PCT, pct_for, shift_db
from raycover.proving.sites import Site
from raycover.proving.trials import Trial
from raycover.scene.needs import IN_A_ROOM, NeedSpec

Floats = NDArray[np.floating]
#: Cells of a place that changes are sorted out on: of those missed now, of others, of a never-area; and of all places.
SOME_MISSED, SOME_SEEN, SOME_NEVER, SOME_IN_ALL = 90, 30, 120, 900


def some_of(case: Case, most: int, *, of_seen: bool = False) -> Case:
    """A case with a part of its cells: those missed now and others, each standing for its part of the area.

    `of_seen`: most of them of what is seen now.
    """
    n, need = len(case.site), case.verdict.need
    if need.routes is not None:
        return case.along()
    if n <= most:
        return case
    if need.never:
        near = np.argsort(-case.mine_db)[: most // 2] if np.isfinite(case.mine_db).any() else np.arange(0)
        return case.only(np.unique(np.concatenate([near, spread(np.arange(n), most - len(near))])))
    missed = case.place.best_db < 0
    quarters = (1, 3) if of_seen else (3, 1)
    parts = [(np.flatnonzero(missed), most * quarters[0] // 4), (np.flatnonzero(~missed), most * quarters[1] // 4)]
    picked, areas = [], []
    for cells, wanted in parts:
        taken = spread(cells, wanted)
        if len(taken):
            picked.append(taken)
            area = case.site.area
            areas.append(area[taken] * area[cells].sum() / area[taken].sum())
    return case.only(np.concatenate(picked), np.concatenate(areas))


def asks(case: Case, unit: Unit) -> bool:
    """Whether a new unit would count in a case by where it hangs: over an aisle it is that one's own, in a room
    that of the room and of what stands there.

    A need that takes part of the units by zone knows no new one.
    """
    need, site = case.verdict.need, case.site
    if site.kind == "door":
        room = case.situation.building.room_at(*(float(v) for v in unit.position))
        mine = room is not None and room.name == site.owner
        return mine and (need.whose is None or hangs_over(site.floor, unit))
    if need.whose is None:
        return True
    if need.zones is not None:
        return False
    if need.where in IN_A_ROOM:
        building = case.situation.building
        return home_of(site.ground, building) == int(homes_of([unit], building)[0]) >= 0
    spot = shapely.Point(unit.position[:2])
    if site.outline.covers(spot):
        return need.whose == "own"
    over = need.beyond_aisles is not None or any(p.site.outline.covers(spot) for p in case.verdict.places)
    return over and need.whose == "others"


def cases_of(proof: Proof, name: str | None) -> list[Case]:
    """The places that a change at a unit, by name, may mend or break; of one more unit where `name` is None.

    Those missed now, those that the unit alone keeps met or as well seen as they are, and never-areas that it counts
    for.
    """
    found = []
    for verdict in proof.needs:
        need = verdict.need
        names = [unit.name for unit in verdict.situation.units]
        if name is None and need.detectors is not None:
            continue  # it asks for units by name
        index = names.index(name) if name in names else -1
        for place in verdict.places:
            if is_too_large(need, place.figures) or (name is not None and index not in place.units):
                continue  # a zone too large is mended by no unit
            case = Case.of(verdict, place, index if name is not None else None)
            if need.never or not place.met or _keeps(case):
                found.append(case)
    return found


def _keeps(case: Case) -> bool:
    """Whether without the unit less of a place that is met is seen."""
    if not case.matters:
        return False
    need = case.verdict.need
    without = figures_of(need, case.site, case.low_db)
    return not is_met(need, without) or is_less(need, case.place.figures, without)


def is_too_large(need: NeedSpec, figures: Figures) -> bool:
    """Whether a place is larger than its need lets it be: no unit changes that."""
    return need.largest_area is not None and not is_met(
        need.model_copy(update={"share": 0.0, "largest_gap": None}), figures
    )


@dataclass(frozen=True)
class Outcome:
    """What a change does: `pct` of its sensitivity left, `after` the figures of each place it may mend or break.

    `lack` is what is missing of the places of one need: parts of area asked and not seen, and of gaps too wide.
    `broken` are places met now that are missed then, `taken` those that have less seen then, though they stay what they
    are: met, or missed.
    """

    pct: float
    lack: float
    ease: float
    after: dict[tuple[str, str], Figures]
    mended: tuple[Case, ...]
    still: tuple[Case, ...]
    broken: tuple[Case, ...]
    taken: tuple[Case, ...] = ()

    @property
    def harm(self) -> int:
        """How many places lose by it."""
        return len(self.broken) + len(self.taken)

    @property
    def rank(self) -> tuple[int, float, float]:
        """Best first."""
        return self.harm, round(self.lack, 4), -round(self.ease, 2)


@dataclass(frozen=True)
class Glance:
    """A changed unit at the cells of the need's own places: what it can mend of them at the most.

    `margins` (n,) of each; nothing that it may break or trip is looked at yet.
    """

    unit: Unit
    margins: tuple[Floats, ...]
    outcome: Outcome


class Bench:
    """Some cases that changes at one unit are tried on: those of the need's own places first, then what may break.

    `quick`: for sorting out (see `Casts`).
    """

    def __init__(
        self,
        cases: Sequence[Case],
        need: NeedVerdict,
        least_pct: float = LEAST_PCT,
        *,
        is_new: bool = False,
        quick: bool = False,
        straight: bool = False,
    ) -> None:
        self.need = need
        self.least_pct = least_pct
        self.is_new = is_new
        self.quick = quick
        own = [case for case in cases if case.verdict is need and not case.place.met]
        others = [case for case in cases if case.verdict is not need or case.place.met]
        self.cases = [*own, *others]
        below, least = (AMPLE_DB, LEAST_DB) if quick else (0.0, -np.inf)
        self._own, self._others = (
            Casts(some, below_db=below, least_db=least, quick=quick, straight=straight) for some in (own, others)
        )  # fmt: skip

    def few(self, place: PlaceVerdict | None = None) -> Bench:
        """The same for sorting out: cells of the need's missed places, or of one `place` alone; of what
        may break, or lose by it."""

        def is_asked(case: Case) -> bool:
            return case.verdict is self.need and (place is None or case.place is place)

        def may_lose(case: Case) -> bool:
            return not case.place.met and case.verdict is not self.need and case.matters

        wanted = [c for c in self.cases if c.place.met or c.verdict.need.never or is_asked(c) or may_lose(c)]
        missed = sum(not c.place.met and is_asked(c) for c in wanted)
        each = max(SOME_IN_ALL // max(missed, 1), 12)
        few = [
            some_of(
                case,
                SOME_NEVER if case.verdict.need.never
                else min(SOME_MISSED + SOME_SEEN, each) if not case.place.met and is_asked(case) else SOME_SEEN,
                of_seen=may_lose(case),
            )
            for case in wanted
        ]  # fmt: skip
        return Bench(few, self.need, self.least_pct, is_new=self.is_new, quick=True)

    def straight(self) -> Bench:
        """The same by straight ways only, for a first look: ways by mirrors cost far more than they change an order.

        Itself where no ways by mirrors are asked for.
        """
        if not any(case.situation.weather.reflections for case in self.cases):
            return self
        return Bench(self.cases, self.need, self.least_pct, is_new=self.is_new, quick=True, straight=True)

    def _margins(self, casts: Casts, unit: Unit, *, filled: bool = False) -> list[Floats]:
        """Of a unit at the cells of each case, −inf where nothing hangs on it or it does not count."""
        margins = casts.margins(unit)
        if filled:
            margins = casts.filled(unit, margins)
        if not self.is_new:
            return margins
        return [m if asks(c, unit) else np.full_like(m, -np.inf) for c, m in zip(casts.cases, margins, strict=True)]

    def glance(self, unit: Unit) -> Glance:
        """A changed unit at the need's own places alone."""
        margins = self._margins(self._own, unit)
        return Glance(unit, tuple(margins), self._outcome(self._own.cases, margins, unit.sensitivity_pct))

    def judge_unit(self, unit: Unit) -> Outcome:
        """As `try_unit`, with the lowest margin of each place that is mended, whatever others see there too."""
        margins = [self._margins(casts, unit, filled=True) for casts in (self._own, self._others)]
        return self._tried(unit, [*margins[0], *margins[1]])

    def try_unit(self, unit: Unit) -> Outcome:
        """A changed unit, with less sensitivity where that keeps never-areas quiet and costs less."""
        return self.try_glanced(self.glance(unit))

    def try_glanced(self, glance: Glance) -> Outcome:
        """What a unit does that was looked at at the need's own places."""
        return self._tried(glance.unit, [*glance.margins, *self._margins(self._others, glance.unit)])

    def _tried(self, unit: Unit, margins: Sequence[Floats]) -> Outcome:
        now = unit.sensitivity_pct
        plain = self.outcome(margins, now)
        excess = max(
            (float(m.max()) + case.verdict.need.reserve_db for case, m in zip(self.cases, margins, strict=True)
             if case.verdict.need.never and case.trips(m) and not case.trips(case.mine_db)),
            default=0.0,
        )  # fmt: skip
        if excess <= 0:
            return plain
        pct = pct_for(excess, now, self.least_pct)
        if pct is None:
            return plain
        shift = shift_db(pct, now)
        less = self.outcome([m + shift for m in margins], pct)
        return min(plain, less, key=lambda outcome: outcome.rank)

    def outcome(self, margins: Sequence[Floats], pct: float) -> Outcome:
        """Judge the cases with the unit's margins at each."""
        return self._outcome(self.cases, margins, pct)

    def _outcome(self, cases: Sequence[Case], margins: Sequence[Floats], pct: float) -> Outcome:
        lack, ease, total = 0.0, 0.0, 0.0
        after: dict[tuple[str, str], Figures] = {}
        mended: list[Case] = []
        still: list[Case] = []
        broken: list[Case] = []
        taken: list[Case] = []
        for case, mine in zip(cases, margins, strict=True):
            need, site = case.verdict.need, case.site
            if need.never:
                if case.trips(mine) and not case.trips(case.mine_db):
                    after[case.key] = figures_of(need, site, mine)
                    broken.append(case)
                continue
            best = case.decides(mine)
            figures = figures_of(need, site, best)
            whole = case.is_whole
            met = is_met(need, figures) and (whole or need.largest_gap is None or figures.share > 1 - 1e-9)
            after[case.key] = figures
            if case.place.met and not met:
                broken.append(case)
            elif met == case.place.met and is_less(need, case.now, figures, whole=whole):
                taken.append(case)
            if case.place.met or (self.quick and case.verdict is not self.need):
                continue  # of another need's places only what they lose sorts changes out
            (mended if met else still).append(case)
            if case.verdict is self.need:
                lack += lack_of(need, figures, whole=whole)
                clipped = np.clip(np.where(np.isfinite(best), best, LEAST_DB), LEAST_DB, AMPLE_DB)
                ease += float(clipped @ site.area / site.area.sum())
                total += 1.0
        return Outcome(
            pct, lack, ease / max(total, 1.0), after, tuple(mended), tuple(still), tuple(broken), tuple(taken)
        )


def lack_of(need: NeedSpec, figures: Figures, *, whole: bool = True) -> float:
    """What is missing of a place: a part of its area, of its widest gap; 0 where nothing is."""
    if need.first_within is not None and figures.first_m is not None:
        return float(np.clip(figures.first_m / need.first_within - 1.0, 0.0, 10.0))
    if need.routes is not None and figures.longest_s is not None:
        longest = float(np.clip(figures.longest_s / figures.hold_s, 0.0, 10.0))
        return 0.0 if longest < 1.0 else longest
    lack = 0.0 if need.least_share is None else max(need.least_share - figures.share, 0.0)
    if need.largest_gap is not None:
        if whole:
            lack += max(figures.largest_gap_m - need.largest_gap, 0.0) / need.largest_gap
        else:  # a part of the cells says no gap: what is not seen stands for it
            lack += 1.0 - figures.share
    return lack


def worst_walk(told: Sequence[Figures]) -> Figures | None:
    """Of figures those of the walk on which somebody goes unnoticed longest; None where nobody walks."""
    walks = [figures for figures in told if figures.longest_s is not None or figures.first_m is not None]
    return max(walks, key=lambda f: f.longest_s if f.longest_s is not None else f.first_m or 0.0, default=None)


def with_need(verdict: NeedVerdict, site: Site) -> str:
    """A place as seen from another need: `Bench`, or `Every cubicle: WC 3`."""
    need = verdict.need.name
    return need if len(verdict.places) == 1 else f"{need}: {name_of(verdict.situation, site)}"


def best_of(
    bench: Bench,
    trials: Sequence[Trial],
    n: int,
    rank: Callable[[Outcome, Trial], tuple[Any, ...]],
    *,
    most_lack: float = np.inf,
) -> list[tuple[Outcome, Trial]]:
    """The n best of some trials and others that were looked at, by a rank that begins as `Outcome.rank` does.

    What a trial can mend at the most is a bound: it is not cast where it may break or trip things once n others that
    harm nothing stand before that. The order is that of trying all of them. Those that leave more than `most_lack` of
    the need are left out.
    """
    glances = [(bench.glance(trial.unit), trial) for trial in trials]
    bounds = sorted(((rank(glance.outcome, trial), k) for k, (glance, trial) in enumerate(glances)
                     if glance.outcome.lack <= most_lack))  # fmt: skip
    found: list[tuple[tuple[Any, ...], int, Outcome]] = []
    for bound, k in bounds:
        if len(found) >= n and sorted(found, key=lambda one: one[:2])[n - 1][:2] < (bound, k):
            break
        outcome = bench.try_glanced(glances[k][0])
        found.append((rank(outcome, trials[k]), k, outcome))
    return [(outcome, trials[k]) for _, k, outcome in sorted(found, key=lambda one: one[:2])]
