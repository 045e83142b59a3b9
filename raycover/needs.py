"""Judging the needs of a scene: each place met or missed, with figures, its worst spot and the way there in words."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from raycover.building.build import build
from raycover.building.parts import Building
from raycover.casting import Weather, judge, potential_db
from raycover.combining import deciding, over_parts
from raycover.coverage import make_units
from raycover.detectors import Unit
from raycover.doubt import MET_AS_EXPECTED, NOT_MET
from raycover.errors import InputError, Problem
from raycover.gaps import label_gaps, widest_gap
from raycover.loading import in_state
from raycover.rays import RayScene
from raycover.scene.fittings import DoorState
from raycover.scene.needs import NeedSpec, named
from raycover.scene.schema import Scene
from raycover.sites import Site, Sites
from raycover.way_words import Way, way_to

Floats = NDArray[np.floating]
Progress = Callable[[int, int], None]
#: Margins that distance alone puts below this (dB) are not followed up: far below any limit asked for.
_LOWEST_DB = -60.0
#: Areas are compared with this tolerance.
_ROUNDING = 1e-9


@dataclass(frozen=True)
class Situation:
    """A scene as one or several needs find it: in a state, the doors of cubicles and the air as asked."""

    scene: Scene
    building: Building
    rays: RayScene
    units: tuple[Unit, ...]
    weather: Weather

    def margin_db(self, unit: Unit, site: Site) -> Floats:
        """(n,) of one unit at the cells of a place, the best over heights; −inf where nothing gets through."""
        return over_parts(site.asked(unit), site.motion, lambda part: self._of_part(part, site))

    def _of_part(self, unit: Unit, site: Site) -> Floats:
        margin = np.full(len(site.points), -np.inf)
        near = potential_db(unit, site.points, site.motion) + max(self.weather.heat_db(unit), 0.0) >= _LOWEST_DB
        if near.any():
            some = judge(unit, site.points[near], site.motion, self.rays, self.weather, lifted=site.lifted[near])
            margin[near] = some.margin_db
        return site.best(margin)


@dataclass(frozen=True)
class Figures:
    """What of a place is noticed: `share` of its area, the widest circle (m) of a gap, the margin that decides.

    `worst_db` is the lowest best margin, in a never-area the highest; `cell` where that is.
    """

    share: float
    largest_gap_m: float
    worst_db: float
    cell: int


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

    `left_out` names needs of ready-made sets that have no place here: no seat stands in the room.
    """

    scene: Scene
    needs: tuple[NeedVerdict, ...]
    n_cases: int = 0
    left_out: tuple[str, ...] = ()

    @property
    def met(self) -> bool:
        return all(need.met for need in self.needs)

    @property
    def assumed(self) -> bool:
        return any(need.assumed for need in self.needs)


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
        situation = _situation(scene, need, need.state or state, situations)
        try:
            sites = Sites(situation.scene, situation.building).of(need, None if assumed else index)
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
    return Proof(scene, tuple(verdicts), left_out=tuple(left_out))


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


def _situation(scene: Scene, need: NeedSpec, state: str | None, known: dict[object, Situation]) -> Situation:
    stated = scene if state is None else in_state(scene, state)
    rows_named = tuple(named(need.cubicles, [row.name for row in stated.cubicles]))
    doors = None if need.doors is None else (rows_named, need.doors)
    if doors is not None:
        rows = [_with_doors(row, doors[1]) if row.name in doors[0] else row for row in stated.cubicles]
        if rows != stated.cubicles:
            stated = stated.changed({"cubicles": rows}, stated.state, lambda places: places)
        else:
            doors = None
    key = (stated.state, None if doors is None else (doors[0], str(doors[1])))
    if key not in known:
        building = build(stated)
        known[key] = Situation(
            stated, building, RayScene(building), make_units(stated, building), Weather.of(stated.conditions)
        )
    if need.ambient_c is None or need.ambient_c == stated.conditions.ambient_c:
        return known[key]
    warmer = (*key, need.ambient_c)
    if warmer not in known:  # the same building and units in other air
        conditions = stated.conditions.model_copy(update={"ambient_c": need.ambient_c})
        aired = stated.changed({"conditions": conditions}, stated.state, lambda places: places)
        known[warmer] = replace(known[key], scene=aired, weather=Weather.of(conditions))
    return known[warmer]


def _with_doors(row: object, doors: DoorState) -> object:
    angles = getattr(row, "door_angles")  # noqa: B009 - any row of cubicles
    copy = row.model_copy(update={"doors": doors})  # type: ignore[attr-defined]
    return row if copy.door_angles == angles else copy


def judge_need(need: NeedSpec, sites: Sequence[Site], situation: Situation, *, assumed: bool = False) -> NeedVerdict:
    """Judge the places of a need."""
    counting = counting_units(need, situation.units)
    places = tuple(_judge_place(need, site, situation, counting) for site in sites)
    met = all(place.met for place in places)
    return NeedVerdict(need, situation, places, assumed, words=MET_AS_EXPECTED if met else NOT_MET)


def counting_units(need: NeedSpec, units: Sequence[Unit]) -> tuple[int, ...]:
    """Which units, by index, a need asks."""
    return tuple(k for k, unit in enumerate(units) if need.detectors is None or unit.name in need.detectors)


def _judge_place(need: NeedSpec, site: Site, situation: Situation, counting: tuple[int, ...]) -> PlaceVerdict:
    margin = np.array([situation.margin_db(situation.units[k], site) for k in counting]).reshape(-1, len(site))
    found = figures_of(need, site, nth_best(margin, need.by, len(site)))
    way = None
    if counting and len(counting) >= need.by:
        # Of units that see nothing there, the first is the one that distance alone would let see.
        spot = site.ground[found.cell][None] + [0.0, 0.0, float(np.median(site.heights))]
        apart = [potential_db(site.asked(situation.units[k]), spot, site.motion)[0] for k in counting]
        order = np.lexsort((apart, margin[:, found.cell]))[::-1]
        way = _way(situation, situation.units[counting[int(order[need.by - 1])]], site, found.cell)
    return PlaceVerdict(site, is_met(need, found), found, way, margin, counting, by=need.by)


def nth_best(margin_db: Floats, by: int, n: int) -> Floats:
    """(n,) the `by`-th best of margins (units, n) at each cell, −inf where there are fewer units."""
    if len(margin_db) < by:
        return np.full(n, -np.inf)
    return np.asarray(margin_db.max(axis=0) if by == 1 else np.partition(margin_db, -by, axis=0)[-by])


def _way(situation: Situation, unit: Unit, site: Site, cell: int) -> Way:
    """The way to a cell at the height that the unit sees best, or comes nearest to; of a dual one, of the half that
    decides there."""
    points = site.ground[cell] + np.outer(site.heights, [0.0, 0.0, 1.0])
    unit = site.asked(unit)
    best = []
    for part in unit.parts:
        ways = [way_to(part, point, site.motion, situation.rays, situation.weather) for point in points]
        best.append(max(ways, key=lambda way: (way.margin_db, -way.distance_m)))
    margins = [np.array([way.margin_db]) for way in best]
    reach = [potential_db(part, points, site.motion).max(keepdims=True) for part in unit.parts]
    which = int(deciding(unit, site.motion, margins, reach)[0])
    way = best[which]
    if unit.halves:
        way = replace(way, unit=unit.name, words=f"{unit.parts[which].kind} half: {way.words}")
    x, y, _ = site.ground[cell]
    return replace(way, at=(float(x), float(y), way.at[2]))


def figures_of(need: NeedSpec, site: Site, best_db: Floats) -> Figures:
    """Figures of a place from the best margin (n,) at its cells."""
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
    return Figures(share, gap, float(best_db[cell]), cell)


def is_met(need: NeedSpec, found: Figures) -> bool:
    """Whether a place with these figures is what the need asks."""
    if need.never:
        return found.worst_db <= -need.reserve_db + _ROUNDING
    enough = need.least_share is None or found.share >= need.least_share - _ROUNDING
    return enough and (need.largest_gap is None or found.largest_gap_m <= need.largest_gap + _ROUNDING)
