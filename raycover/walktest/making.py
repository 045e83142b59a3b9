"""Making a walk test: candidates judged, the ones that tell most chosen, put in the order of a short walk, in words."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from raycover.building.parts import Building
from raycover.detectors import Unit
from raycover.errors import InputError, Problem
from raycover.loading import in_state
from raycover.proving.needs import NeedVerdict, prove
from raycover.scene.schema import Scene
from raycover.solving.doubt import chances
from raycover.spreads import Draws
from raycover.walking.wayfinding import Blocked
from raycover.walktest.candidates import Candidates, find_candidates, in_situation
from raycover.walktest.choosing import Known, choose
from raycover.walktest.floor import Floor, Measured, floors_of, measured_from
from raycover.walktest.moves import MOVES, Move
from raycover.walktest.musts import must_test
from raycover.walktest.situated import ON_FLOOR, Situated
from raycover.walktest.telling import ways_at
from raycover.walktest.touring import short_tour
from raycover.walktest.unknowns import Unknowns, unknowns_of

Floats = NDArray[np.floating]
Bools = NDArray[np.bool_]
Progress = Callable[[int, int], None]
#: How many points a sheet has at most, unless asked.
USUAL = 24
#: Points lie at least so far apart (m), and on a plan of these sizes (mm) so far (mm).
_APART_M, _PLAN_MM, _APART_MM = 0.5, (190.0, 130.0), 7.5
#: A chance from which a yes, or up to which a no, is expected.
SURE = 0.8


@dataclass(frozen=True)
class Point:
    """One point of a walk test. `at` (x, y, z of the ground, m); `expected` is yes, no or doubtful; `purpose` why it is
    there, `cause` the way there in words or why somebody is missed; `unit` the one that sees best or nearly does,
    `watch` the units that count, all if empty.
    """

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
        return self.why_in(str, str)

    def why_in(self, label: Callable[[str], str], way: Callable[[str], str]) -> str:
        """Why it is there, its purpose put into a language by `label`, the way there by `way`."""
        return f"{label(self.purpose)}: {way(self.cause)}" if self.cause else label(self.purpose)


@dataclass(frozen=True)
class WalkTest:
    """A sheet to take to site. `ways` (by storey) are the lines walked from point to point, each (n, 2), where they lie
    on its floor; `known_db` is what of each unknown (standard deviation, dB) the answers are expected to leave;
    `left_out` places of needs, missed or never to be noticed in, that found no point among so few.
    """

    scene: Scene
    building: Building
    units: tuple[Unit, ...]
    points: tuple[Point, ...]
    ways: dict[str | None, tuple[Floats, ...]]
    unknowns: Unknowns
    known_db: Floats
    left_out: tuple[str, ...] = ()

    @property
    def storeys(self) -> list[str | None]:
        """Storeys that have points, in the order of the walk."""
        return list(dict.fromkeys(point.storey for point in self.points))

    @property
    def length_m(self) -> float:
        """How far one walks from point to point on the floors; ways by stairs and round the outside not counted."""
        lines = [line for some in self.ways.values() for line in some]
        return float(sum(np.linalg.norm(np.diff(line, axis=0), axis=1).sum() for line in lines))


def make_walk_test(
    scene: Scene,
    *,
    state: str | None = None,
    detectors: Sequence[str] = (),
    n_points: int = USUAL,
    progress: Progress | None = None,
) -> WalkTest:
    """Choose the points of a walk test for a scene as loaded, in one of its states if `state` names one.

    `detectors`: names of the units that are watched, all if none is named. Raises InputError where there is nothing
    to test.
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
    by_unit = response.by_unit(np.zeros(response.n_unknowns))
    must, steady = must_test(there, candidates, wanted, floors, margin, by_unit, n_points)
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
    untested = [w for w in wanted if (w.never or w.missed) and not set(w.within.tolist()) & set(chosen)]
    names = dict.fromkeys(w.place if w.need in w.place else f"{w.need}, {w.place}" for w in untested)
    return WalkTest(stated, there.building, there.units, tuple(points), ways, unknowns, left, tuple(names))


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
        lines = [floor.finder.ways(plan[a], [plan[b]])[0] for a, b in pairwise(tour.tolist())]
        ways[floor.name] = tuple(np.asarray(line) for line in lines if not isinstance(line, Blocked))
    return ordered, ways


def _in_words(
    there: Situated,
    candidates: Candidates,
    floors: Sequence[Floor],
    ordered: Sequence[int],
    purposes: dict[int, str],
    draws: Draws,
    watch: tuple[str, ...],
) -> list[Point]:
    counted = there.counted(watch)
    ground = np.round(candidates.ground[list(ordered)], 2)
    moves = [candidates.moves[k] for k in ordered]
    chance = _chances(there, counted, ground, moves, draws)
    ways = ways_at(there, [counted] * len(ground), ground, moves)
    rooms = there.building.rooms_at(ground + ON_FLOOR)
    points = []
    for number, k in enumerate(ordered, 1):
        move = MOVES[moves[number - 1]]
        at = ground[number - 1]
        way = ways[number - 1]
        purpose, cause = purposes[k], way.words
        if purpose == "hidden though in reach" and cause.startswith("hidden by "):
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
