"""Making a walk test: candidates judged, the ones that tell most chosen, put in the order of a short walk, in words."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import zip_longest

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from raycover.building.build import build
from raycover.building.parts import Building
from raycover.casting import Weather, potential_db
from raycover.combining import over_parts
from raycover.coverage import make_units
from raycover.detectors import Unit
from raycover.doubt import chances
from raycover.errors import InputError, Problem
from raycover.loading import in_state
from raycover.needs import NeedVerdict, prove
from raycover.open_air import open_margin_db
from raycover.rays import RayScene
from raycover.scene.schema import Scene
from raycover.spreads import Draws
from raycover.walking.wayfinding import Blocked
from raycover.walktest.candidates import Candidates, Wanted, find_candidates, in_situation
from raycover.walktest.choosing import Known, choose, spread_out
from raycover.walktest.floor import Floor, Measured, floors_of, measured_from
from raycover.walktest.moves import MOVES, Move
from raycover.walktest.touring import short_tour
from raycover.walktest.unknowns import Unknowns, unknowns_of
from raycover.walktest.ways import Response, model_of, respond
from raycover.way_words import Way, best_way

Floats = NDArray[np.floating]
Bools = NDArray[np.bool_]
Progress = Callable[[int, int], None]
#: How many points a sheet has unless asked, and at most.
USUAL, MOST = 24, 60
#: This share of them at most is there because it must, the rest for what it tells.
_MUST_SHARE = 0.6
#: Points lie at least so far apart (m), and on a plan of these sizes (mm) so far (mm).
_APART_M, _PLAN_MM, _APART_MM = 0.5, (190.0, 130.0), 7.5
#: Where the margin changes by more than this (dB) from one place to the next, a foot aside changes the answer.
_STEEP_DB = 8.0
#: A chance from which a yes, or up to which a no, is expected.
SURE = 0.8


@dataclass(frozen=True)
class Point:
    """One point of a walk test. `at` (x, y, z of the ground, m); `expected` is yes, no or doubtful; `purpose` why it is
    there, `cause` the way there in words or why somebody is missed; `unit` the one that sees best or nearly does, `watch` the units that count, all if empty."""

    number: int
    storey: str | None
    room: str
    place: str
    at: tuple[float, float, float]
    measured: tuple[Measured, ...]
    move: Move
    unit: str
    watch: tuple[str, ...]
    margin_db: float
    chance: float
    purpose: str
    cause: str

    @property
    def expected(self) -> str:
        return "yes" if self.chance >= SURE else "no" if self.chance <= 1 - SURE else "doubtful"

    @property
    def why(self) -> str:
        return f"{self.purpose}: {self.cause}" if self.cause else self.purpose


@dataclass(frozen=True)
class WalkTest:
    """A sheet to take to site. `ways` (by storey) are the lines walked from point to point, each (n, 2); `known_db` is
    what of each unknown (standard deviation, dB) the answers are expected to leave."""

    scene: Scene
    building: Building
    units: tuple[Unit, ...]
    points: tuple[Point, ...]
    ways: dict[str | None, tuple[Floats, ...]]
    unknowns: Unknowns
    known_db: Floats

    @property
    def storeys(self) -> list[str | None]:
        """Storeys that have points, in the order of the walk."""
        return list(dict.fromkeys(point.storey for point in self.points))

    @property
    def length_m(self) -> float:
        """How far one walks from the first point to the last, storey by storey."""
        lines = [line for some in self.ways.values() for line in some]
        return float(sum(np.linalg.norm(np.diff(line, axis=0), axis=1).sum() for line in lines))


@dataclass(frozen=True)
class Situated:
    """A scene in a state with what casting needs."""

    scene: Scene
    building: Building
    rays: RayScene
    units: tuple[Unit, ...]
    weather: Weather

    @classmethod
    def of(cls, scene: Scene) -> Situated:
        building = build(scene)
        return cls(scene, building, RayScene(building), make_units(scene, building), Weather.of(scene.conditions))

    @property
    def models(self) -> list[str]:
        return model_of(self.scene.detectors)

    def only(self, names: Sequence[str]) -> list[int] | None:
        """Indices of the units with some names, None for all. Raises KeyError for a name that none has."""
        known = {unit.name: k for k, unit in enumerate(self.units)}
        return [known[name] for name in names] if names else None

    def respond(self, ground: Floats, moves: Sequence[str]) -> Response:
        return respond(ground, moves, self.units, self.models, self.rays, self.weather)


def make_walk_test(
    scene: Scene,
    *,
    state: str | None = None,
    detectors: Sequence[str] = (),
    n_points: int = USUAL,
    progress: Progress | None = None,
) -> WalkTest:
    """Choose the points of a walk test for a scene as loaded, in one of its states if `state` names one.

    `detectors`: names of the units that are watched, all if none is named. Raises InputError where there is nothing to test.
    """
    step = progress if progress is not None else lambda done, everything: None
    stated = scene if state is None or state == scene.state_name else in_state(scene, state)
    _testable(stated)
    there = Situated.of(stated)
    step(1, 5)
    floors = floors_of(stated, there.building)
    judged = [v for v in _judged(scene, stated) if in_situation(v, stated)]
    step(2, 5)
    candidates, wanted = find_candidates(stated, there.building, there.units, floors, judged)
    if not len(candidates.ground):
        raise InputError(
            [Problem("nothing-to-test", "there is no floor that anybody can walk on", scene.position("rooms"),
                     "leave ways at least 0.5 m wide between things")]
        )  # fmt: skip
    draws = Draws(stated.doubt)
    watched = there.only(detectors)
    response = there.respond(candidates.ground, candidates.moves).watching([watched] * len(candidates.ground))
    unknowns = unknowns_of(response, there.units, there.rays, there.weather, draws, stated.corrections)
    margin, slopes = response.answers(np.zeros(response.n_unknowns))
    step(3, 5)
    must, steady = _must(there, candidates, wanted, floors, margin, n_points)
    apart = _apart(there.building)
    chosen = choose(
        candidates.ground, margin, slopes, unknowns.prior_db, list(must), n_points, apart, allowed=steady
    )  # fmt: skip
    ordered, ways = _walked(candidates, floors, chosen)
    step(4, 5)
    known = Known.before(unknowns.prior_db)
    for k in chosen:
        known = known.after(float(margin[k]), slopes[k])
    told = _told(unknowns, chosen, must, margin, slopes)
    points = _in_words(there, candidates, floors, ordered, {**told, **must}, draws, tuple(detectors))
    left = np.sqrt(np.diag(known.covariance))
    return WalkTest(stated, there.building, there.units, tuple(points), ways, unknowns, left)


def _testable(scene: Scene) -> None:
    if not scene.detectors:
        raise InputError(
            [Problem("nothing-to-test", "the scene has no detector to test", scene.position(), "write detectors: […]")]
        )


def _judged(scene: Scene, stated: Scene) -> Sequence[NeedVerdict]:
    """The scene's needs, or ready-made ones, judged; none where it has nothing to judge."""
    asked = scene.needs or scene.cubicles or scene.stairs
    if not asked:
        return ()
    states = {need.state for need in scene.needs}
    if scene.needs and None not in states and stated.state not in states:
        return ()
    return prove(scene, state=stated.state if scene.states else None).needs


def _apart(building: Building) -> float:
    """How far (m) points lie apart so that their marks do on a plan."""
    size = np.ptp(building.bounds[:, :2], axis=0)
    m_per_mm = float(max(size[0] / _PLAN_MM[0], size[1] / _PLAN_MM[1]))
    return max(_APART_M, _APART_MM * m_per_mm)


def _must(
    there: Situated, candidates: Candidates, wanted: Sequence[Wanted], floors: Sequence[Floor], margin: Floats, n: int
) -> tuple[dict[int, str], Bools]:
    """Candidates that must be tested with the reason, and which (n,) lie in steady surroundings."""
    steady = np.ones(len(margin), bool)
    gaps: list[tuple[float, int]] = []
    shadows: list[int] = []
    open_db = _open_db(there, candidates)
    for k, block in enumerate(candidates.blocks):
        if block.floor < 0:
            continue
        span = candidates.span(k)
        floor, mine = floors[block.floor], np.maximum(margin[span], -60.0)
        steady[span] = _steady(floor, mine)
        gaps += [(area, span.start + at) for area, at in _gap(floor, mine)]
        shadows += [span.start + at for at in _shadows(floor, mine, open_db[span], n // 6)]
    kinds: list[list[tuple[int, str]]] = [
        [(_most(w.within, margin), f'nobody here may trip a unit ("{w.need}")') for w in wanted if w.never],
        [(_most(w.within, -margin), f'missed ("{w.need}", {w.place})') for w in wanted if not w.never and w.missed],
        [(at, "in the largest gap") for _, at in sorted(gaps, reverse=True)[: max(n // 6, 1)]],
        _places(candidates, margin, "seat", n),
        _places(candidates, margin, "cubicle", n),
        [(at, "just behind something") for at in shadows],
    ]
    rounds = [one for some in zip_longest(*kinds) for one in some if one is not None]
    must: dict[int, str] = {}
    for at, reason in rounds:
        if len(must) < max(int(_MUST_SHARE * n), 1):
            must.setdefault(at, reason)
    return must, steady


def _most(within: NDArray[np.intp], value: Floats) -> int:
    return int(within[int(np.nan_to_num(value[within], posinf=1e9, neginf=-1e9).argmax())])


def _places(candidates: Candidates, margin: Floats, sort: str, n: int) -> list[tuple[int, str]]:
    """Seats or cubicles: of each sort the ones nearest to the edge, then the rest."""
    some = np.flatnonzero([one == sort for one in candidates.sorts])
    order = some[np.argsort(np.abs(np.maximum(margin[some], -60.0)), kind="stable")]
    return [(int(k), f"a {sort}") for k in order[: max(n // 6, 1)]]


def _open_db(there: Situated, candidates: Candidates) -> Floats:
    """Best margin (n,) with nothing in the way."""
    best = np.full(len(candidates.ground), -np.inf)
    keys = np.array(candidates.moves, object)
    for key in dict.fromkeys(candidates.moves):
        at = np.flatnonzero(keys == key)
        for unit in there.units:
            for height in MOVES[key].heights:
                points = candidates.ground[at] + [0, 0, height]
                best[at] = np.maximum(best[at], _open(unit, points, MOVES[key].motion, there.weather))
    return best


def _open(unit: Unit, points: Floats, motion: str, weather: Weather) -> Floats:
    x, y, z = (points - unit.position).T
    return over_parts(
        unit, motion, lambda part: open_margin_db(part, (x, y, z), part.footprints_for(motion), weather)
    )


def _local(floor: Floor, value: Floats, most: bool, size: int = 3) -> Floats:
    """The most, or least, of values (n,) of places about each place."""
    empty = -np.inf if most else np.inf
    whole = np.full(floor.shape, empty)
    whole[floor.rows, floor.columns] = value
    found = (ndimage.maximum_filter if most else ndimage.minimum_filter)(whole, size, mode="constant", cval=empty)
    return np.asarray(found[floor.rows, floor.columns])


def _steady(floor: Floor, margin: Floats) -> Bools:
    return np.asarray(_local(floor, margin, True) - _local(floor, margin, False) <= _STEEP_DB)


def _gap(floor: Floor, margin: Floats) -> list[tuple[float, int]]:
    """The largest connected area where nobody is noticed: (m², the place deepest in it)."""
    missed = floor.raster(margin < 0)
    labels, n = ndimage.label(missed, np.ones((3, 3), int))
    if not n:
        return []
    sizes = np.bincount(labels.ravel())[1:]
    largest = labels == 1 + int(sizes.argmax())
    depth = ndimage.distance_transform_edt(np.pad(largest, 1))[1:-1, 1:-1]
    return [(float(sizes.max()) * floor.step**2, int(depth[floor.rows, floor.columns].argmax()))]


def _shadows(floor: Floor, margin: Floats, open_db: Floats, n: int) -> list[int]:
    """Places that something hides though they lie well in reach, deep enough that a foot aside changes nothing."""
    hidden = (open_db >= 1.0) & (_local(floor, margin, True) < -1.0) & (_local(floor, margin, True, 7) >= 0)
    some = np.flatnonzero(hidden)
    return [int(some[k]) for k in spread_out(floor.places[some], open_db[some], n)]


def _told(
    unknowns: Unknowns, chosen: Sequence[int], must: dict[int, str], margin: Floats, slopes: Floats
) -> dict[int, str]:
    """What each point that was chosen for it tells most of."""
    known = Known.before(unknowns.prior_db)
    said = {}
    for k in chosen:
        if k not in must:
            before = np.diag(known.covariance)
            narrowed = np.log(before / np.diag(known.after(float(margin[k]), slopes[k]).covariance))
            said[k] = f"tells the {unknowns.words(int(narrowed.argmax()))}"
        known = known.after(float(margin[k]), slopes[k])
    return said


def _storey(floors: Sequence[Floor], at: Floats) -> int:
    """Which floor a place belongs to: the highest that lies no higher."""
    levels = np.array([floor.level for floor in floors])
    under = np.flatnonzero(levels <= at[2] + 0.5)
    return int(under[-1]) if len(under) else 0


def _walked(
    candidates: Candidates, floors: Sequence[Floor], chosen: Sequence[int]
) -> tuple[list[int], dict[str | None, tuple[Floats, ...]]]:
    """The points in the order of a short walk, storey by storey, and the lines walked between them."""
    ordered: list[int] = []
    ways: dict[str | None, tuple[Floats, ...]] = {}
    for f, floor in enumerate(floors):
        mine = [k for k in chosen if _storey(floors, candidates.ground[k]) == f]
        if not mine:
            continue
        plan = candidates.ground[mine][:, :2]
        distance = floor.finder.distances(list(plan))
        straight = np.linalg.norm(plan[:, None] - plan[None], axis=-1)
        # Beyond the floor, on a stair or outside, there is no raster: so far at least, and there and back by a door.
        distance = np.where(np.isfinite(distance), distance, 3.0 * straight)
        tour = short_tour(distance)
        if plan[tour[0]].sum() > plan[tour[-1]].sum():  # a tour may begin at either end: where one reads from
            tour = tour[::-1]
        ordered += [mine[k] for k in tour]
        ways[floor.name] = tuple(_line(floor, plan[a], plan[b]) for a, b in zip(tour[:-1], tour[1:], strict=True))
    return ordered, ways


def _line(floor: Floor, start: Floats, end: Floats) -> Floats:
    found = floor.finder.ways(start, [end])[0]
    return np.array([start, end]) if isinstance(found, Blocked) else np.asarray(found)


def _in_words(
    there: Situated,
    candidates: Candidates,
    floors: Sequence[Floor],
    ordered: Sequence[int],
    purposes: dict[int, str],
    draws: Draws,
    watch: tuple[str, ...],
) -> list[Point]:
    counted = [unit for unit in there.units if not watch or unit.name in watch]
    ground = np.round(candidates.ground[list(ordered)], 2)
    moves = [candidates.moves[k] for k in ordered]
    chance = _chances(there, counted, ground, moves, draws)
    rooms = there.building.rooms_at(ground + [0, 0, 0.05])
    points = []
    for number, k in enumerate(ordered, 1):
        move = MOVES[moves[number - 1]]
        at = ground[number - 1]
        way = _way(there, counted, at, move)
        purpose, cause = purposes[k], way.words
        if purpose == "just behind something" and cause.startswith("hidden by "):
            purpose, cause = f"just behind {cause.removeprefix('hidden by ')}", ""
        points.append(
            Point(
                number, floors[_storey(floors, at)].name,
                there.building.rooms[rooms[number - 1]].name if rooms[number - 1] >= 0 else "outside",
                candidates.names[k], (float(at[0]), float(at[1]), float(at[2])),
                measured_from(there.scene, there.building, at), move, way.unit, watch, way.margin_db,
                float(chance[number - 1]), purpose, cause,
            )
        )  # fmt: skip
    return points


def _chances(there: Situated, units: Sequence[Unit], ground: Floats, moves: Sequence[str], draws: Draws) -> Floats:
    """(n,) share of the varied cases in which any unit notices what is done at each point."""
    found = np.zeros(len(ground))
    for key in dict.fromkeys(moves):
        at = np.flatnonzero([move == key for move in moves])
        heights = np.asarray(MOVES[key].heights)
        points = np.concatenate([ground[at] + np.array([0.0, 0.0, height]) for height in heights])
        varied = chances(
            units, points, MOVES[key].motion, there.rays, there.weather, draws, n_heights=len(heights)
        ).draws
        found[at] = (varied.reshape(draws.n, len(heights), len(at)).max(axis=1) >= 0).mean(axis=0)
    return found


def _way(there: Situated, units: Sequence[Unit], at: Floats, move: Move) -> Way:
    """The way of the unit that sees best there, or that distance alone would let see best."""
    points = at + np.asarray(move.heights)[:, None] * [0.0, 0.0, 1.0]
    in_open = [float(_open(unit, points, move.motion, there.weather).max()) for unit in units]
    near = [float(potential_db(unit, points, move.motion).max()) for unit in units]
    tried = [units[k] for k in np.lexsort((-np.array(near), -np.array(in_open)))[:4]]
    ways = [best_way(unit, points, move.motion, there.rays, there.weather) for unit in tried]
    best = max(range(len(ways)), key=lambda k: (ways[k].margin_db, -k))
    return replace(ways[best], at=(float(at[0]), float(at[1]), float(at[2])))
