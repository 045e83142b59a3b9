"""A filled-in walk test laid over the scene: every answer beside what was predicted, and what they say together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.building.parts import Building
from raycover.errors import InputError, Problem, did_you_mean
from raycover.loading import in_state
from raycover.scene.corrections import MOST_DB
from raycover.scene.schema import Scene
from raycover.signs import minus
from raycover.spreads import Draws
from raycover.walktest.answers import Answer, Answers
from raycover.walktest.reconciling import Reconciliation, reconcile
from raycover.walktest.situated import ON_FLOOR, Situated
from raycover.walktest.telling import ways_at
from raycover.walktest.unknowns import Unknowns, unknowns_of

Floats = NDArray[np.floating]
#: A place further than this (m) from everything that is drawn is a slip of units.
_FAR_M = 30.0
#: Corrections are written to this many decimals of a dB.
DECIMALS = 1


@dataclass(frozen=True)
class Compared:
    """One answer beside the prediction. `cause` the way there in words; `unit` the one that sees best or nearly."""

    answer: Answer
    at: tuple[float, float, float]
    room: str
    unit: str
    margin_db: float
    corrected_db: float
    chance: float
    cause: str

    @property
    def predicted(self) -> bool:
        return self.margin_db >= 0

    @property
    def verdict(self) -> str:
        """noticed as predicted, quiet as predicted, missed though predicted, noticed though not predicted."""
        if self.predicted == self.answer.seen:
            return "noticed as predicted" if self.answer.seen else "quiet as predicted"
        return "missed though predicted" if self.predicted else "noticed though not predicted"


@dataclass(frozen=True)
class Returned:
    """A walk test that came back: its points compared, what the answers say of the reckoning, `n_blank` unanswered."""

    there: Situated
    points: tuple[Compared, ...]
    unknowns: Unknowns
    found: Reconciliation
    n_blank: int

    @property
    def scene(self) -> Scene:
        return self.there.scene

    @property
    def in_force(self) -> dict[str, dict[str, float]]:
        """The corrections that the scene has."""
        spec = self.scene.corrections
        if spec is None:
            return {}
        return {key: table for key, table in (("reach_db", spec.reach_db), ("loss_db", spec.loss_db)) if table}

    def corrections(self) -> dict[str, dict[str, float]] | None:
        """The scene's `corrections` as proposed, those in force that the answers say nothing of kept; None where the
        answers support none, or just those in force."""
        if not self.found.supported:
            return None
        made: dict[str, dict[str, float]] = {key: dict(self.in_force.get(key, {})) for key in ("reach_db", "loss_db")}
        for estimate in self.found.estimates:
            table = made[f"{estimate.kind}_db"]
            if estimate.proposed_db is not None:
                table[estimate.name] = round(float(np.clip(estimate.proposed_db, -MOST_DB, MOST_DB)), DECIMALS)
            elif estimate.told > 0:  # what the answers speak of is measured from nothing
                table.pop(estimate.name, None)
        found = {key: table for key, table in made.items() if table}
        return None if found == self.in_force else found


def compare(scene: Scene, answers: Answers, *, state: str | None = None) -> Returned:
    """Lay answers over a scene as loaded, in the state they name, or the one asked for.

    Raises InputError with every place, unit or state that the scene has not.
    """
    named = _state(scene, answers, state)
    stated = scene if named == scene.state_name else in_state(scene, named)
    there = Situated.of(stated)
    ground = _ground(there, answers)
    known = {unit.name: k for k, unit in enumerate(there.units)}
    given = answers.answers
    watched = [[known[name] for name in a.watch] if a.watch else None for a in given]
    response = there.respond(ground, [a.move for a in given]).watching(watched)
    draws = Draws(stated.doubt)
    unknowns = unknowns_of(response, there.units, there.rays, there.weather, draws, stated.corrections)
    found = reconcile(response, np.array([a.seen for a in given]), unknowns)
    rooms = there.building.rooms_at(ground + ON_FLOOR)
    ways = ways_at(there, [there.counted(a.watch) for a in given], ground, [a.move for a in given])
    points = []
    for k, answer in enumerate(given):
        way = ways[k]
        room = there.building.rooms[rooms[k]].name if rooms[k] >= 0 else "outside"
        points.append(
            Compared(
                answer, (float(ground[k, 0]), float(ground[k, 1]), float(ground[k, 2])), room, way.unit,
                float(found.margin_db[k]), float(found.corrected_db[k]), float(found.chance[k]), way.words,
            )
        )  # fmt: skip
    return Returned(there, tuple(points), unknowns, found, answers.n_blank)


def _state(scene: Scene, answers: Answers, asked: str | None) -> str:
    given = answers.state
    where = answers.answers[0].position
    if given is not None and given not in scene.state_names:
        raise InputError(
            [Problem("unknown-state", f'the answers are of state "{given}", which the scene has not', where,
                     did_you_mean(given, scene.state_names))]
        )  # fmt: skip
    if asked is not None and given is not None and asked != given:
        raise InputError(
            [Problem("two-states", f'the answers are of state "{given}", --state asks for "{asked}"', where,
                     "leave --state out")]
        )  # fmt: skip
    return asked or given or scene.state_name


def _ground(there: Situated, answers: Answers) -> Floats:
    """The ground (n, 3) that answers were given at. Raises InputError with everything that does not fit the scene."""
    building, problems = there.building, []
    outline = _outline(building)
    names = [unit.name for unit in there.units]
    ground = np.zeros((len(answers.answers), 3))
    for k, answer in enumerate(answers.answers):
        x, y, z = answer.at
        off = float(outline.distance(shapely.Point(x, y)))
        if off > _FAR_M:
            problems.append(
                Problem("far-away", f"point {answer.number} at ({x:g}, {y:g}) lies {off:.0f} m from the building",
                        answer.position, "places are metres in the scene's own axes, not feet or millimetres")
            )  # fmt: skip
        problems += [
            Problem("unknown-unit", f'point {answer.number}: no detector is named "{name}"', answer.position,
                    did_you_mean(name, names))
            for name in answer.watch if name not in names
        ]  # fmt: skip
        floors = sorted({room.floor for room in building.rooms if room.holds(x, y)})
        if z is None and len(floors) > 1:
            listed = ", ".join(f"{floor:g}" for floor in floors)
            problems.append(
                Problem("which-floor", f"point {answer.number}: several floors lie at ({x:g}, {y:g})", answer.position,
                        f"give z_m, the height of its floor: {listed}")
            )  # fmt: skip
        ground[k] = x, y, (floors[0] if floors else building.ground) if z is None else z
    if problems:
        raise InputError(problems)
    return ground


def _outline(building: Building) -> shapely.Geometry:
    (x0, y0), (x1, y1) = building.bounds[:, :2]
    return shapely.box(float(x0), float(y0), float(x1), float(y1))


def estimate_words(value_db: float, sd_db: float) -> str:
    """`−1.5 ± 0.8 dB`."""
    return minus(f"{value_db:+.1f} ± {sd_db:.1f} dB")


def reach_percent(added_db: float) -> float:
    """What decibels on the margin are as a share of the reach: it goes with the fourth root of the power."""
    return float(100 * (10 ** (added_db / 40) - 1))


def conclusions(returned: Returned) -> list[str]:
    """What the answers say, a sentence each, the proposal first."""
    found = returned.found
    before, after = found.before, found.after
    n = before.right.n
    said = []
    if found.supported:
        parts = []
        for e in found.estimates:
            if e.proposed_db is None or e.proposed_sd_db is None:
                continue
            words = f"{e.words} {estimate_words(e.proposed_db, e.proposed_sd_db)}"
            more = minus(f" ({reach_percent(e.proposed_db):+.0f} % of its reach)")
            parts.append(words + (more if e.kind == "reach" else " one way"))
        odds = f"{found.odds:.0f}" if found.odds < 1000 else "more than 1000"
        what = "support the corrections in force" if returned.corrections() is None else "support a correction"
        said.append(f"The answers {what}, {odds} to 1 against none: {'; '.join(parts)}.")
        said.append(f"With it {after.right.k} of {n} points come out as they did on site, without it {before.right.k}.")
    elif found.in_force and before.right.n:
        said.append("The answers do not support the corrections in force: without any they fit as well or better.")
    else:
        others = "" if before.right.k == n else ", and the others agree on no change of a reach or a loss"
        said.append(
            f"The answers do not support a correction: {before.right.k} of {n} points came out as predicted{others}."
        )
    said += misfit(returned)
    unknown = [e.words for e in found.estimates if e.told < 0.2]
    if unknown:
        said.append(f"They say nothing, or next to nothing, of: {', '.join(unknown)}.")
    said += [
        f"The {one} and the {other} cannot be told apart by these points (correlation "
        f"{tied:+.2f}): test some that differ in one of them only.".replace("-0", "−0")
        for one, other, tied in found.tied
    ]
    return said


def misfit(returned: Returned) -> list[str]:
    """The warning, one sentence or none, that no correction makes the reckoning fit these answers."""
    found = returned.found
    if found.fits:
        return []
    right, worst = found.after.right, [p.answer.number for p in _surprising(returned.points)]
    with_it = "after the correction" if found.supported else "and no correction mends that"
    coin = " Weighed by how sure each was, a coin would have come as near." if found.coin_log_odds <= 0 else ""
    listed = f"point {worst[0]}" if len(worst) == 1 else f"points {', '.join(map(str, worst))}"
    return [
        f"Warning: {right.n - right.k} of {right.n} points still differ {with_it}.{coin} The answers do not fit "
        f"one cause: look at {listed} first (place, unit watched, yes and no swapped) before any correction is used."
    ]


def _surprising(points: Sequence[Compared], most: int = 6) -> list[Compared]:
    """Points that differ with the correction, those furthest from the edge first."""
    off = [p for p in points if (p.corrected_db >= 0) != p.answer.seen]
    return sorted(off, key=lambda p: (-abs(p.corrected_db), p.answer.number))[:most]


def differing(points: Sequence[Compared]) -> list[Compared]:
    """Points that came out otherwise than predicted, by number."""
    return sorted((p for p in points if p.predicted != p.answer.seen), key=lambda p: p.answer.number)
