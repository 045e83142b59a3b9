"""Judging the needs of a scene: each place met or missed, with figures, its worst spot and the way there in words."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from raycover.detectors import Unit
from raycover.errors import InputError, Problem
from raycover.loading import in_state
from raycover.proving.matrices import Matrix, make_matrix
from raycover.proving.sites import Site, Sites
from raycover.proving.situations import Situation as Situation
from raycover.proving.situations import situation_of
from raycover.proving.way_words import Way, best_way
from raycover.scene.needs import NeedSpec
from raycover.scene.schema import Scene
from raycover.solving.casting import potential_db
from raycover.solving.doubt import MET_AS_EXPECTED, NOT_MET
from raycover.solving.gaps import label_gaps, widest_gap
from raycover.walking.kinematics import SIT, WALK
from raycover.walking.light import stretches
from raycover.walking.people import FIGURES

Floats = NDArray[np.floating]
Progress = Callable[[int, int], None]
#: Areas are compared with this tolerance.
_ROUNDING = 1e-9


@dataclass(frozen=True)
class Figures:
    """What of a place is noticed: `share` of its area, the widest circle (m) of a gap, the margin that decides.

    `worst_db` is the lowest best margin, in a never-area the highest; `cell` where that is. Where that is missed by
    more than the reserve it becomes the margin of the unit that is told there. `area_m2` is that of its outline, racks
    and all. Of a door `first_m` is the metres past the threshold after which somebody is noticed on the way (`line`)
    where that takes longest, infinite where nobody is. Of a way `longest_s` is the longest time that nobody notices
    who walks it, infinite where nobody ever does, and `hold_s` the hold time of the light there.
    """

    share: float
    largest_gap_m: float
    worst_db: float
    cell: int
    area_m2: float = 0.0
    first_m: float | None = None
    line: str = ""
    longest_s: float | None = None
    hold_s: float = 0.0


@dataclass(frozen=True)
class PlaceVerdict:
    """One place judged. `margin_db` (units that count, n) by cell; `way` the one to the spot that decides.

    `by` is how many units must see each cell.
    """

    site: Site
    met: bool
    figures: Figures
    way: Way | None
    margin_db: Floats = field(repr=False)
    units: tuple[int, ...] = ()
    probability: float | None = None
    by: int = 1

    @property
    def best_db(self) -> Floats:
        """(n,) the margin that decides at each cell: the best, or the `by`-th best."""
        return nth_best(self.margin_db, self.by, len(self.site))


@dataclass(frozen=True)
class NeedVerdict:
    """A need judged. `words` say its verdict; `assumed` that nobody wrote it down."""

    need: NeedSpec
    situation: Situation
    places: tuple[PlaceVerdict, ...]
    assumed: bool = False
    probability: float | None = None
    words: str = MET_AS_EXPECTED

    @property
    def met(self) -> bool:
        return all(place.met for place in self.places)


@dataclass(frozen=True)
class Proof:
    """Every need of a scene, judged. `n_cases`: in how many varied cases, 0 where only as drawn.

    `left_out` names needs of ready-made sets that have no place here: no seat stands in the room. `matrices` say who
    trips whom, one for each set of needs that asks whose units count.
    """

    scene: Scene
    needs: tuple[NeedVerdict, ...]
    n_cases: int = 0
    left_out: tuple[str, ...] = ()
    matrices: tuple[Matrix, ...] = ()

    @property
    def met(self) -> bool:
        return all(need.met for need in self.needs)

    @property
    def assumed(self) -> bool:
        return any(need.assumed for need in self.needs)

    def named(self, said: Callable[[str], str]) -> Proof:
        """The proof with the needs that nobody wrote down named as `said` puts it."""
        if not self.assumed:
            return self
        needs = (replace(one, need=one.need.model_copy(update={"name": said(one.need.name)})) for one in self.needs)
        return replace(self, needs=tuple(needs))


def prove(scene: Scene, *, state: str | None = None, progress: Progress | None = None) -> Proof:
    """Judge the needs of a scene as loaded, or the ready-made ones where it has none.

    With `state` those that name no state are judged in it, and those that name another are left out. Raises
    InputError for a state that no scene has, for places that are away in the state asked for, and where there is
    nothing to judge.
    """
    assumed = not scene.needs
    needs = list(scene.needs) or ready_made(scene)
    if not needs:
        raise InputError([_nothing(scene)])
    if state is not None and state not in scene.state_names:
        in_state(scene, state)  # says what is wrong with the name
    chosen = [(i, need) for i, need in enumerate(needs) if state is None or need.state in (None, state)]
    if not chosen:
        raise InputError([_nothing(scene, state)])
    situations: dict[object, Situation] = {}
    verdicts, left_out = [], dict[str, InputError]()
    for done, (index, need) in enumerate(chosen):
        if progress is not None:
            progress(done, len(chosen))
        situation = situation_of(scene, need, need.state or state, situations)
        try:
            sites = Sites(situation.scene, situation.building, situation.units).of(need, None if assumed else index)
        except InputError as error:
            if need.set is None or any(problem.code != "place-missing" for problem in error.problems):
                raise
            left_out[need.name] = error
            continue
        verdicts.append(judge_need(need, sites, situation, assumed=assumed))
    judged = {_entry(verdict.need) for verdict in verdicts}
    for need in (need for _, need in chosen if need.name in left_out):
        if _entry(need) not in judged:  # a set of which nothing is left says nothing at all
            raise left_out[need.name]
    return Proof(scene, tuple(verdicts), left_out=tuple(left_out), matrices=_matrices(verdicts))


def _matrices(verdicts: Sequence[NeedVerdict]) -> tuple[Matrix, ...]:
    """One for the needs of a set, or a single need, that ask whose units count, in one situation."""
    groups: dict[tuple[str, int], list[NeedVerdict]] = {}
    for verdict in verdicts:
        if verdict.need.asks_who_trips:
            groups.setdefault((_entry(verdict.need), id(verdict.situation)), []).append(verdict)
    made = []
    for (title, _), some in groups.items():
        places = [place for verdict in some for place in verdict.places]
        sites = {place.site.name: place.site for place in reversed(places)}
        order = [sites[name] for name in dict.fromkeys(place.site.name for place in places)]
        known = {(p.site.name, k): row for p in places for k, row in zip(p.units, p.margin_db, strict=True)}
        made.append(make_matrix(title, order, some[0].situation, known))
    return tuple(made)


def _entry(need: NeedSpec) -> str:
    """What the needs of one set have in common: the name before the comma."""
    return need.name if need.set is None else need.name.rpartition(", ")[0]


def ready_made(scene: Scene) -> list[NeedSpec]:
    """Needs for a scene that has none: every cubicle with its doors closed, every flight and landing."""
    made = []
    if scene.cubicles:
        rows = [row.name for row in scene.cubicles]
        made.append(NeedSpec(name="Every cubicle", cubicles=rows, doors="closed"))
    if scene.stairs:
        made.append(NeedSpec(name="Every flight and landing", stairs=[stairs.name for stairs in scene.stairs]))
    return made


def _nothing(scene: Scene, state: str | None = None) -> Problem:
    if state is not None:
        return Problem("no-needs", f'no need is asked in state "{state}"', scene.position("needs"), "leave --state out")
    return Problem(
        "no-needs",
        "the scene says no needs, and has no cubicles or stairs to make ready ones for",
        scene.position(),
        "write, for example, needs: [{name: Bench, area: [[1, 1], [4, 1], [4, 3], [1, 3]], share: 0.95}]",
    )


def judge_need(
    need: NeedSpec, sites: Sequence[Site], situation: Situation, *, assumed: bool = False, with_ways: bool = True
) -> NeedVerdict:
    """Judge the places of a need; `with_ways`: with the way to the spot of each that decides, in words."""
    places = tuple(
        _judge_place(need, site, situation, counting_units(need, situation.units, site), with_ways=with_ways)
        for site in sites
    )
    met = all(place.met for place in places)
    return NeedVerdict(need, situation, places, assumed, words=MET_AS_EXPECTED if met else NOT_MET)


def counting_units(need: NeedSpec, units: Sequence[Unit], site: Site) -> tuple[int, ...]:
    """Which units, by index, a need asks at a place."""
    whose = "own" if need.first_within is not None else need.whose
    of_place = {"own": site.own, "others": site.others, None: None}[whose]
    lists = [frozenset(names) for names in (need.detectors, of_place) if names is not None]
    return tuple(k for k, unit in enumerate(units) if all(unit.name in names for names in lists))


def _judge_place(
    need: NeedSpec, site: Site, situation: Situation, counting: tuple[int, ...], *, with_ways: bool
) -> PlaceVerdict:
    margin = np.array([situation.margin_db(situation.units[k], site) for k in counting]).reshape(-1, len(site))
    found = figures_of(need, site, nth_best(margin, need.by, len(site)))
    way = None
    if with_ways and counting and len(counting) >= need.by:
        order = _nearest_first(need, site, situation, counting, margin[:, found.cell], found.cell)
        told = int(order[need.by - 1])
        way = _way(situation, situation.units[counting[told]], site, found.cell)
        if not need.never and not site.lines and found.worst_db < -situation.scene.conditions.reserve_db:
            found = replace(found, worst_db=float(margin[told, found.cell]))
        if site.lines and found.worst_db < 0 and way.cause == "none":  # seen there by another motion than this walk
            way = replace(way, cause="direction", words="in reach, but not for walking this way")
    return PlaceVerdict(site, is_met(need, found), found, way, margin, counting, by=need.by)


def _nearest_first(
    need: NeedSpec, site: Site, situation: Situation, counting: tuple[int, ...], margin_db: Floats, cell: int
) -> NDArray[np.integer]:
    """Units that count, by their places in `counting`, those nearest to seeing a cell first; `margin_db` are theirs.

    As on maps: by margin where that is seen or doubtful; of the rest, which nothing there lets see by far, those that
    hang in the room before others, and then the one that distance alone would let see best.
    """
    units = [situation.units[k] for k in counting]
    spot = site.ground[cell][None] + [0.0, 0.0, float(np.median(site.heights))]
    apart = np.array([potential_db(site.asked(unit), spot, site.motion)[0] for unit in units])
    if site.rooms is not None:
        apart[[not situation.hears(unit, site)[cell] for unit in units]] = -np.inf
    if need.never or site.lines:
        return np.lexsort((apart, margin_db))[::-1]
    near = np.where(margin_db >= -situation.scene.conditions.reserve_db, margin_db, -np.inf)
    home = situation.building.rooms_at(spot)[0]
    beside = (situation.homes[list(counting)] == home) & (home >= 0)
    return np.lexsort((apart, beside, near))[::-1]


def nth_best(margin_db: Floats, by: int, n: int) -> Floats:
    """(n,) the `by`-th best of margins (units, n) at each cell, −inf where there are fewer units."""
    if len(margin_db) < by:
        return np.full(n, -np.inf)
    return np.asarray(margin_db.max(axis=0) if by == 1 else np.partition(margin_db, -by, axis=0)[-by])


def _way(situation: Situation, unit: Unit, site: Site, cell: int) -> Way:
    """The way to a cell at the height that the unit sees best, or comes nearest to."""
    heights, motion = site.heights, site.motion
    if site.kind == "way" and (pose := site.stepped(site.lines[0].track.pose)[cell]) != WALK:  # who stays moves little
        figure = FIGURES[site.lines[0].person]
        heights, motion = figure.seated if pose == SIT else figure.standing, "presence"
    points = site.ground[cell] + np.outer(heights, [0.0, 0.0, 1.0])
    way = best_way(site.asked(unit), points, motion, situation.rays, situation.weather)
    x, y, _ = site.ground[cell]
    return replace(way, at=(float(x), float(y), way.at[2]))


def figures_of(need: NeedSpec, site: Site, best_db: Floats) -> Figures:
    """Figures of a place from the best margin (n,) at its cells."""
    if need.first_within is not None:
        return _walked_in(need.first_within, site, best_db)
    if need.routes is not None:
        return _stayed(site, best_db)
    noticed = best_db >= 0
    share = float(site.area[noticed].sum() / site.area.sum())
    gap, depth = 0.0, np.zeros(len(site))
    if not need.never and not noticed.all() and site.surface is not None:
        missed = np.zeros(site.surface.shape, bool)
        missed[site.rows[~noticed], site.columns[~noticed]] = True
        gap, inner = widest_gap(site.surface, *label_gaps(site.surface, missed))
        depth = inner[site.rows, site.columns]
    if need.never:
        cell = int(best_db.argmax())
    else:  # of cells alike in margin the one deepest in its gap
        lowest = np.flatnonzero(best_db <= best_db.min() + 1e-6) if np.isfinite(best_db.min()) else np.flatnonzero(
            np.isneginf(best_db)
        )  # fmt: skip
        cell = int(lowest[depth[lowest].argmax()])
    return Figures(share, gap, float(best_db[cell]), cell, float(site.outline.area))


def _stayed(site: Site, best_db: Floats) -> Figures:
    """Figures of a way: the longest time unnoticed, and the spot in the middle of it."""
    noticed = best_db >= 0
    time = np.asarray(site.time_s)
    if not noticed.any():
        return Figures(0.0, 0.0, float(best_db.min()), len(site) // 2, 0.0, longest_s=np.inf, hold_s=site.hold_s)
    begin, end = max(stretches(time, ~noticed), key=lambda gap: gap[1] - gap[0], default=(0.0, 0.0))
    cell = int(np.searchsorted(time, (begin + end) / 2)) if end > begin else int(best_db.argmin())
    return Figures(
        float(noticed.mean()), 0.0, float(best_db[cell]), cell, 0.0, longest_s=float(end - begin), hold_s=site.hold_s
    )


def _walked_in(within: float, site: Site, best_db: Floats) -> Figures:
    """Figures of a door: the line on which somebody walks furthest unnoticed, and the spot that decides there.

    That spot is where they are noticed first, or where they must have been: the last step that is allowed.
    """
    found = []
    for k, line in enumerate(site.lines):
        steps = np.flatnonzero(site.line_of == k)
        if not len(steps):  # of a place looked at in some of its cells
            continue
        seen = steps[best_db[steps] >= 0]
        first = float(site.walked[seen[0]]) if len(seen) else np.inf
        allowed = steps[site.walked[steps] <= within + _ROUNDING]
        cell = int(seen[0]) if first <= within + _ROUNDING else int([steps[0], *allowed][-1])
        found.append((first, -float(best_db[cell]), cell, line.words))
    first, lacking, cell, words = max(found, key=lambda one: one[:2])
    allowed_all = site.walked <= within + _ROUNDING
    share = float((best_db[allowed_all] >= 0).mean()) if allowed_all.any() else 0.0
    return Figures(share, 0.0, -lacking, cell, float(site.outline.area), first, words)


def is_met(need: NeedSpec, found: Figures) -> bool:
    """Whether a place with these figures is what the need asks."""
    if need.never:
        return found.worst_db <= -need.reserve_db + _ROUNDING
    if need.first_within is not None:
        return found.first_m is not None and found.first_m <= need.first_within + _ROUNDING
    if need.routes is not None:
        return found.longest_s is not None and found.longest_s < found.hold_s
    enough = need.least_share is None or found.share >= need.least_share - _ROUNDING
    enough &= need.largest_area is None or found.area_m2 <= need.largest_area + 1e-6
    return enough and (need.largest_gap is None or found.largest_gap_m <= need.largest_gap + _ROUNDING)
