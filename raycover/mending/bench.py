"""Changes at one unit, or one more unit, tried on the places of a proof: cast, judged, compared with what is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.detectors import Unit
from raycover.needs import Figures, NeedVerdict, PlaceVerdict, Proof, Situation, figures_of, is_met, nth_best
from raycover.scene.needs import NeedSpec
from raycover.sensitivity import LEAST_PCT, pct_for, shift_db
from raycover.sites import Site

Floats = NDArray[np.floating]
#: Cells of a place that changes are sorted out on: of those missed now, of others, of a never-area; and of all places.
SOME_MISSED, SOME_SEEN, SOME_NEVER, SOME_IN_ALL = 90, 30, 120, 900
#: Margins count for comparing between these (dB): what is seen well need not be seen better.
_LEAST_DB, _AMPLE_DB = -15.0, 3.0


@dataclass(frozen=True)
class Case:
    """A place that a changed unit counts for: the unit is one of several at each cell.

    The margin that decides at a cell is `low_db` (n,) where the unit sees nothing, `high_db` at most, else the
    unit's own: of one unit that must see it, the best of the others and infinity. `mine_db` is the unit's now.
    """

    verdict: NeedVerdict
    place: PlaceVerdict
    site: Site
    low_db: Floats
    high_db: Floats
    mine_db: Floats

    @property
    def situation(self) -> Situation:
        return self.verdict.situation

    @property
    def name(self) -> str:
        """The place by its label, or whole name where the building has several stairs; a need of one place its own."""
        return self.site.label if len(self.situation.building.stairs) < 2 else self.site.name

    @property
    def key(self) -> tuple[str, str]:
        return self.verdict.need.name, self.site.name

    def decides(self, mine_db: Floats) -> Floats:
        """(n,) the margin that decides at each cell, the unit's being `mine_db`."""
        return np.asarray(np.maximum(self.low_db, np.minimum(self.high_db, mine_db)))

    def asks(self, unit: Unit) -> bool:
        """Whether a new unit would count here by where it hangs: over an aisle it is that one's own.

        A need that takes part of the units by zone knows no new one.
        """
        need = self.verdict.need
        if self.site.kind == "door":
            room = self.situation.building.room_at(*(float(v) for v in unit.position))
            return room is not None and room.name == self.site.owner
        if need.whose is None:
            return True
        if need.zones is not None:
            return False
        spot = shapely.Point(unit.position[:2])
        if self.site.outline.covers(spot):
            return need.whose == "own"
        over = need.beyond_aisles is not None or any(p.site.outline.covers(spot) for p in self.verdict.places)
        return over and need.whose == "others"

    def trips(self, mine_db: Floats) -> bool:
        """Whether the unit is tripped from this never-area."""
        return bool(mine_db.max() > -self.verdict.need.reserve_db + 1e-9)

    def some(self, most: int) -> Case:
        """The same with a part of its cells: those missed now and others, each standing for its part of the area."""
        n = len(self.site)
        if n <= most:
            return self
        if self.verdict.need.never:
            near = np.argsort(-self.mine_db)[: most // 2] if np.isfinite(self.mine_db).any() else np.arange(0)
            chosen = np.unique(np.concatenate([near, _spread(np.arange(n), most - len(near))]))
            return self._only(chosen, self.site.area[chosen])
        missed = self.place.best_db < 0
        parts = [(np.flatnonzero(missed), most * 3 // 4), (np.flatnonzero(~missed), most // 4)]
        picked, areas = [], []
        for cells, wanted in parts:
            taken = _spread(cells, wanted)
            if len(taken):
                picked.append(taken)
                area = self.site.area
                areas.append(area[taken] * area[cells].sum() / area[taken].sum())
        return self._only(np.concatenate(picked), np.concatenate(areas))

    def _only(self, chosen: NDArray[np.integer], area: Floats) -> Case:
        site = replace(self.site.some(chosen), area=area)
        return replace(
            self, site=site, low_db=self.low_db[chosen], high_db=self.high_db[chosen], mine_db=self.mine_db[chosen]
        )


def _spread(cells: NDArray[np.integer], n: int) -> NDArray[np.integer]:
    """About n of some cells, spread over them."""
    if len(cells) <= n:
        return cells
    # The golden section's steps leave no row or column of a raster out, as even steps may.
    order = np.argsort((np.arange(len(cells)) * 0.6180339887498949) % 1.0, kind="stable")
    return np.sort(cells[order[:n]])


def cases_of(proof: Proof, name: str | None) -> list[Case]:
    """The places that a change at a unit, by name, may mend or break; of one more unit where `name` is None.

    Those missed now, those that the unit alone keeps met, and never-areas that it counts for.
    """
    found = []
    for verdict in proof.needs:
        need = verdict.need
        names = [unit.name for unit in verdict.situation.units]
        if name is None and need.detectors is not None:
            continue  # it asks for units by name
        index = names.index(name) if name in names else -1
        for place in verdict.places:
            if need.routes is not None or is_too_large(need, place.figures):
                continue  # a stay of minutes is mended at its seat; a zone too large by no unit
            if name is not None and index not in place.units:
                continue
            n = len(place.site)
            row = place.units.index(index) if name is not None else -1
            mine = place.margin_db[row] if name is not None else np.full(n, -np.inf)
            rest = np.delete(place.margin_db, row, axis=0) if name is not None else place.margin_db
            case = Case(verdict, place, place.site, _nth(rest, need.by, n), _nth(rest, need.by - 1, n), mine)
            keeps_met = place.met and not is_met(need, figures_of(need, place.site, case.low_db))
            if need.never or not place.met or keeps_met:
                found.append(case)
    return found


def is_too_large(need: NeedSpec, figures: Figures) -> bool:
    """Whether a place is larger than its need lets it be: no unit changes that."""
    return need.largest_area is not None and not is_met(
        need.model_copy(update={"share": 0.0, "largest_gap": None}), figures
    )


def _nth(margin_db: Floats, by: int, n: int) -> Floats:
    """(n,) the by-th best of margins (units, n) at each cell; infinite for the noughth."""
    return nth_best(margin_db, by, n) if by > 0 else np.full(n, np.inf)


@dataclass(frozen=True)
class Outcome:
    """What a change does: `pct` of its sensitivity left, `after` the figures of each place it may mend or break.

    `lack` is what is missing of the places of one need: parts of area asked and not seen, and of gaps too wide.
    """

    pct: float
    lack: float
    ease: float
    after: dict[tuple[str, str], Figures]
    mended: tuple[Case, ...]
    still: tuple[Case, ...]
    broken: tuple[Case, ...]

    @property
    def rank(self) -> tuple[int, float, float]:
        """Best first."""
        return len(self.broken), round(self.lack, 4), -round(self.ease, 2)


class Bench:
    """Some cases, cast together: those that look for the same in one situation in one go."""

    def __init__(
        self, cases: Sequence[Case], need: NeedVerdict, least_pct: float = LEAST_PCT, *, is_new: bool = False
    ) -> None:
        self.cases = list(cases)
        self.need = need
        self.least_pct = least_pct
        self.is_new = is_new
        self._reflections: int | None = None  # those of the scene

    def few(self) -> Bench:
        """The same for sorting out: cells of the need's missed places, of what may break."""
        wanted = [case for case in self.cases if case.verdict is self.need or case.place.met or case.verdict.need.never]
        missed = sum(not c.place.met and not c.verdict.need.never for c in wanted)
        each = max(SOME_IN_ALL // max(missed, 1), 12)
        few = [
            case.some(
                SOME_NEVER if case.verdict.need.never
                else min(SOME_MISSED + SOME_SEEN, each) if not case.place.met else SOME_SEEN
            )
            for case in wanted
        ]  # fmt: skip
        return Bench(few, self.need, self.least_pct, is_new=self.is_new)

    def straight(self) -> Bench:
        """The same by straight ways only, for a first look: ways by mirrors cost far more than they change an order.

        Itself where no ways by mirrors are asked for.
        """
        if not any(case.situation.weather.reflections for case in self.cases):
            return self
        quick = Bench(self.cases, self.need, self.least_pct, is_new=self.is_new)
        quick._reflections = 0
        return quick

    @cached_property
    def _groups(self) -> list[tuple[Situation, Site, list[int]]]:
        """Cases that are cast in one go, as one place."""
        found: dict[object, list[int]] = {}
        for index, case in enumerate(self.cases):
            site = case.site
            alone = index if site.lines else None  # who walks in is asked along each line
            key = (id(case.situation), site.heights, site.motion, site.target_m2, alone)
            found.setdefault(key, []).append(index)
        groups = []
        for indices in found.values():
            sites = [self.cases[i].site for i in indices]
            ground, area = (np.concatenate([getattr(s, key) for s in sites]) for key in ("ground", "area"))
            joined = replace(sites[0], ground=ground, area=area, surface=None, rows=None, columns=None)
            whole = sites[0] if sites[0].lines else joined
            situation = self.cases[indices[0]].situation
            if self._reflections is not None:
                situation = replace(situation, weather=replace(situation.weather, reflections=self._reflections))
            groups.append((situation, whole, indices))
        return groups

    def margins(self, unit: Unit) -> list[Floats]:
        """Of a unit at the cells of each case."""
        found: list[Floats] = [np.zeros(0)] * len(self.cases)
        for situation, site, indices in self._groups:
            margin = situation.margin_db(unit, site)
            start = 0
            for i in indices:
                found[i] = margin[start : start + len(self.cases[i].site)]
                start += len(self.cases[i].site)
        if self.is_new:
            found = [
                m if case.asks(unit) else np.full_like(m, -np.inf) for case, m in zip(self.cases, found, strict=True)
            ]
        return found

    def try_unit(self, unit: Unit) -> Outcome:
        """A changed unit, with less sensitivity where that keeps never-areas quiet and costs less."""
        margins = self.margins(unit)
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
        lack, ease, total = 0.0, 0.0, 0.0
        after: dict[tuple[str, str], Figures] = {}
        mended: list[Case] = []
        still: list[Case] = []
        broken: list[Case] = []
        for case, mine in zip(self.cases, margins, strict=True):
            need, site = case.verdict.need, case.site
            if need.never:
                if case.trips(mine) and not case.trips(case.mine_db):
                    after[case.key] = figures_of(need, site, mine)
                    broken.append(case)
                continue
            best = case.decides(mine)
            figures = figures_of(need, site, best)
            whole = len(site) == len(case.place.site)
            met = is_met(need, figures) and (whole or need.largest_gap is None or figures.share > 1 - 1e-9)
            after[case.key] = figures
            if case.place.met:
                if not met:
                    broken.append(case)
                continue
            (mended if met else still).append(case)
            if case.verdict is self.need:
                lack += lack_of(need, figures, whole=whole)
                clipped = np.clip(np.where(np.isfinite(best), best, _LEAST_DB), _LEAST_DB, _AMPLE_DB)
                ease += float(clipped @ site.area / site.area.sum())
                total += 1.0
        return Outcome(pct, lack, ease / max(total, 1.0), after, tuple(mended), tuple(still), tuple(broken))


def lack_of(need: NeedSpec, figures: Figures, *, whole: bool = True) -> float:
    """What is missing of a place: a part of its area, of its widest gap; 0 where nothing is."""
    if need.first_within is not None and figures.first_m is not None:
        return float(np.clip(figures.first_m / need.first_within - 1.0, 0.0, 10.0))
    lack = 0.0 if need.least_share is None else max(need.least_share - figures.share, 0.0)
    if need.largest_gap is not None:
        if whole:
            lack += max(figures.largest_gap_m - need.largest_gap, 0.0) / need.largest_gap
        else:  # a part of the cells says no gap: what is not seen stands for it
            lack += 1.0 - figures.share
    return lack
