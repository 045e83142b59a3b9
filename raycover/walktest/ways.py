"""Every way from units to points, with what it crosses: margins under any corrections, and how they answer to them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from raycover.building.parts import Building
from raycover.catalogue import Construction
from raycover.detectors import Unit
from raycover.rays.ray_scene import LIFT, RayScene
from raycover.solving.casting import Weather, judge, potential_db
from raycover.solving.combining import deciding, question_of, rule_of
from raycover.solving.paths import amplitude, margin_of, trace
from raycover.walktest.moves import MOVES

Floats = NDArray[np.floating]
Index = NDArray[np.intp]
#: Ways and units further below the limit than this (dB) decide nothing, whatever is corrected.
_LOWEST_DB = -40.0


@dataclass(frozen=True)
class Response:
    """How points (n,) answer to corrections.

    Looks (k,) are a unit at a point at one height: `look_point`, `look_unit`. Ways (m,) belong to looks: `look`,
    `margin_db` as the scene stands, `crossed` (m, n_constructions) how often each of `constructions` is crossed.
    `reach_of` (n_units,) is which of `models` a unit is; looks without a way are left out. Both halves of a dual unit
    have looks where either is enough; elsewhere that half has which decides as the scene stands.
    """

    n_points: int
    models: tuple[str, ...]
    constructions: tuple[str, ...]
    reach_of: Index
    look_point: Index
    look_unit: Index
    look: Index
    margin_db: Floats
    crossed: Floats

    @property
    def n_unknowns(self) -> int:
        return len(self.models) + len(self.constructions)

    @property
    def names(self) -> tuple[str, ...]:
        """Of the unknowns: models, then constructions."""
        return (*self.models, *self.constructions)

    @cached_property
    def _groups(self) -> tuple[Index, Index, Index]:
        """Ways by look: their order, where each look begins in it; looks in the order of their points."""
        ways = np.argsort(self.look, kind="stable")
        return ways, np.flatnonzero(np.diff(self.look[ways], prepend=-1)), np.argsort(self.look_point, kind="stable")

    def margins(self, added_db: Floats) -> tuple[Floats, Index]:
        """Best margin (n,) of any unit with corrections (n_unknowns,) in dB, and the look (n,) it is of, −1 none."""
        return self._best(self._looks(np.asarray(added_db))[0])

    def answers(self, added_db: Floats) -> tuple[Floats, Floats]:
        """Best margin (n,) and what each correction does to it, (n, n_unknowns) in dB a dB."""
        looks, ways_db = self._looks(np.asarray(added_db))
        best, of = self._best(looks)
        slope = np.zeros((self.n_points, self.n_unknowns))
        if not len(looks):
            return best, slope
        ways, starts, _ = self._groups
        share = 10 ** ((ways_db - looks[self.look]) / 20)
        lost = np.add.reduceat((share[:, None] * self.crossed)[ways], starts, axis=0)
        some = np.flatnonzero(of >= 0)
        slope[some, self.reach_of[self.look_unit[of[some]]]] = 1.0
        slope[some, len(self.models) :] = -2 * lost[of[some]]
        return best, slope

    def by_unit(self, added_db: Floats) -> Floats:
        """Margins (n, n_units) of each unit by itself, −inf where it notices nothing."""
        found = np.full((self.n_points, len(self.reach_of)), -np.inf)
        np.maximum.at(found, (self.look_point, self.look_unit), self._looks(np.asarray(added_db))[0])
        return found

    def _looks(self, added_db: Floats) -> tuple[Floats, Floats]:
        """Margins of looks (k,) and of their ways (m,)."""
        n_models = len(self.models)
        reach = added_db[:n_models][self.reach_of[self.look_unit]]
        ways = self.margin_db + reach[self.look] - 2 * self.crossed @ added_db[n_models:]
        total = np.bincount(self.look, 10 ** (ways / 20), minlength=len(self.look_point))
        return 20 * np.log10(total), ways

    def _best(self, looks: Floats) -> tuple[Floats, Index]:
        best = np.full(self.n_points, -np.inf)
        of = np.full(self.n_points, -1, np.intp)
        if len(looks):
            order = self._groups[2]
            point = self.look_point[order]
            starts = np.flatnonzero(np.diff(point, prepend=-1))
            best[point[starts]] = np.maximum.reduceat(looks[order], starts)
            leads = order[looks[order] == best[point]]
            of[self.look_point[leads[::-1]]] = leads[::-1]
        return best, of

    def watching(self, counts: Sequence[Sequence[int] | None]) -> Response:
        """The same where at each point (n,) only some units count, by index; None: all of them."""
        if all(units is None for units in counts):
            return self
        n_units = len(self.reach_of)
        table = np.ones((self.n_points, n_units), bool)
        for k, units in enumerate(counts):
            if units is not None:
                table[k] = np.isin(np.arange(n_units), np.asarray(units, int))
        return self._kept(table[self.look_point, self.look_unit], self.look_point, self.n_points)

    def _kept(self, kept: NDArray[np.bool_], look_point: Index, n_points: int) -> Response:
        """The same with some looks (k,) only, whose points have the numbers `look_point` (k,)."""
        looks = np.flatnonzero(kept)
        new = np.full(len(self.look_point), -1, np.intp)
        new[looks] = np.arange(len(looks))
        ways = np.flatnonzero(new[self.look] >= 0)
        return Response(
            n_points, self.models, self.constructions, self.reach_of, look_point[looks], self.look_unit[looks],
            new[self.look[ways]], self.margin_db[ways], self.crossed[ways],
        )  # fmt: skip

    @classmethod
    def join(cls, many: Sequence[tuple[Response, Index]], n_points: int) -> Response:
        """Several about one scene as one, each with the numbers (n,) that its points have together."""
        first = many[0][0]
        starts = np.cumsum([0, *(len(one.look_point) for one, _ in many)])
        return cls(
            n_points, first.models, first.constructions, first.reach_of,
            np.concatenate([at[one.look_point] for one, at in many]),
            np.concatenate([one.look_unit for one, _ in many]),
            np.concatenate([one.look + start for (one, _), start in zip(many, starts, strict=False)]),
            np.concatenate([one.margin_db for one, _ in many]),
            np.concatenate([one.crossed for one, _ in many]),
        )  # fmt: skip


def model_of(scene_detectors: Sequence[object]) -> list[str]:
    """What a detector's reach is corrected by: its model, or its own name where it has a pattern of its own."""
    return [getattr(d, "model", None) or getattr(d, "name") for d in scene_detectors]  # noqa: B009


def respond(
    ground: Floats,
    moves: Sequence[str],
    units: Sequence[Unit],
    models: Sequence[str],
    rays: RayScene,
    weather: Weather,
) -> Response:
    """How points on the ground (n, 3) answer, each by its move; `models` (n_units,) says which model a unit is."""
    distinct = tuple(dict.fromkeys(models))
    made = _lossy(rays.building)
    reach_of = np.array([distinct.index(model) for model in models], np.intp)
    parts = []
    for key in dict.fromkeys(moves):
        at = np.array([k for k, move in enumerate(moves) if move == key], np.intp)
        parts.append((_respond(ground[at], key, units, distinct, reach_of, made, rays, weather), at))
    if not parts:
        none = np.zeros(0, np.intp)
        return Response(0, distinct, made, reach_of, none, none, none, np.zeros(0), np.zeros((0, len(made))))
    return Response.join(parts, len(ground))


def _lossy(building: Building) -> tuple[str, ...]:
    """Names of the constructions that weaken microwave without stopping it."""
    of_sheets = [sheet.construction for sheet in building.sheets]
    of_objects = [one.made_of for one in building.objects if isinstance(one.made_of, Construction)]
    every = dict.fromkeys((*of_sheets, *of_objects))
    return tuple(m.name for m in every if m.kind == "measured" or (m.kind == "layers" and m.layers))


def _respond(
    ground: Floats,
    key: str,
    units: Sequence[Unit],
    models: tuple[str, ...],
    reach_of: Index,
    made: tuple[str, ...],
    rays: RayScene,
    weather: Weather,
) -> Response:
    move = MOVES[key]
    heights = np.asarray(move.heights)
    points = np.repeat(ground, len(heights), axis=0)
    points[:, 2] += np.tile(heights, len(ground))
    point_of = np.repeat(np.arange(len(ground)), len(heights))
    lifted = np.tile(heights < LIFT, len(ground))
    look_point, look_unit, way_look, margins, crossed = [], [], [], [], []
    n_looks = 0

    def ways_of(unit: Unit) -> tuple[Floats, Index, Floats]:
        """Margins (m,) of a unit's ways, their points by index, what they cross (m, n_constructions)."""
        near = np.flatnonzero(potential_db(unit, points, move.motion) + weather.most_db(unit) >= _LOWEST_DB)
        if unit.frequency_ghz is None or not len(near):
            found = judge(unit, points[near], move.motion, rays, weather, lifted=lifted[near]).margin_db
            return found, near, np.zeros((len(near), len(made)))
        traced = trace(unit, points[near], move.motion, rays, weather, lifted=lifted[near])
        found = traced.way_margin_db()
        return found, near[traced.point], _counts(traced.way, traced.part, len(found), made, rays.building)

    for u, unit in enumerate(units):
        parts = [ways_of(part) for part in unit.parts]
        answering = _answering(unit, move.motion, parts, len(points), len(ground))
        for (found, way_point, count), answers in zip(parts, answering, strict=True):
            kept = np.flatnonzero((found >= _LOWEST_DB) & answers[point_of[way_point]])
            seen, look = np.unique(way_point[kept], return_inverse=True)
            look_point.append(point_of[seen])
            look_unit.append(np.full(len(seen), u, np.intp))
            way_look.append(look.ravel() + n_looks)
            margins.append(found[kept])
            crossed.append(count[kept])
            n_looks += len(seen)
    none = np.zeros(0, np.intp)
    return Response(
        len(ground), models, made, reach_of, np.concatenate([none, *look_point]), np.concatenate([none, *look_unit]),
        np.concatenate([none, *way_look]), np.concatenate([np.zeros(0), *margins]),
        np.concatenate([np.zeros((0, len(made))), *crossed]),
    )  # fmt: skip


def _answering(
    unit: Unit, motion: str, parts: Sequence[tuple[Floats, Index, Floats]], n_points: int, n_places: int
) -> list[NDArray[np.bool_]]:
    """For each part, (n_places,) whether it speaks for the unit there; points are each place's heights in turn."""
    if not unit.halves or rule_of(unit, question_of(motion)) == "higher":
        return [np.ones(n_places, bool)] * len(parts)
    best = [
        margin_of(np.bincount(point, amplitude(found), minlength=n_points)).reshape(n_places, -1).max(axis=1)
        for found, point, _ in parts
    ]
    which = deciding(unit, motion, best, best)
    return [which == k for k in range(len(parts))]


def _counts(way: Index, part: NDArray[np.integer], n: int, made: tuple[str, ...], building: Building) -> Floats:
    """(n, n_constructions) how often ways cross sheets of each construction."""
    count: Floats = np.zeros((n, len(made)))
    parts, number = np.unique(part, return_inverse=True)
    names = [building.part_made_of(int(p)).name for p in parts]
    column = np.array([made.index(name) if name in made else -1 for name in names], np.intp)
    of = column[number.ravel()] if len(parts) else np.zeros(0, np.intp)
    np.add.at(count, (way[of >= 0], of[of >= 0]), 1.0)
    return count
