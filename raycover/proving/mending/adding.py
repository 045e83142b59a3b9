"""One more unit: which models, hung where, so that most of what is missed is seen."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from raycover.building.parts import RoomShape
from raycover.detectors import Unit, make_unit
from raycover.proving.hanging import BELOW_CEILING_M, FROM_WALL_M, ROUND_M, HangingPlaces
from raycover.proving.mending.bench import Bench, Outcome, best_of
from raycover.proving.trials import Trial, one_more_words
from raycover.scene.devices import DetectorSpec, PatternSpec
from raycover.scene.schema import Scene
from raycover.scene.unit_names import next_name

Floats = NDArray[np.floating]
#: Where a unit hangs: x, y, mounting height (m), turn (degrees).
Place = tuple[float, float, float, float]
#: At most about so many places of a room are tried, no nearer to each other than so (m).
_PLACES, _NEAREST_M = 40, 0.5
#: At most so many models: those of the scene first, then those that see most by themselves.
_MOST_MODELS = 5
#: Of the places that straight ways put first, so many are tried with ways by mirrors, too.
_LOOKED_AT_TWICE = 4
#: Where one more shall do the rest after another change, its first place may lack so much of it (see `Outcome`).
MOST_OF_THE_REST = 0.15
#: The best place is moved about by at most so many trials; it may come so near (m) to a partition: half a housing.
_POLISH, _OFF_SHEETS_M = 24, 0.15
#: A unit on a wall hangs at this height (m) where its entry and the room let it.
_ON_WALL_M = 2.2


@dataclass(frozen=True)
class Made:
    """A model that could be hung: a name of the catalogue, or a detector of the scene with a pattern of its own."""

    label: str
    pattern: PatternSpec
    keys: dict[str, Any]
    mounting: float | None = None


def models_for(scene: Scene, units: Sequence[Unit]) -> list[Made]:
    """What one more unit could be: what the scene has, with its usual height, then the rest of the catalogue."""
    found: dict[str, Made] = {}
    for spec, unit in zip(scene.detectors, units, strict=True):
        pattern = scene.pattern_of(spec)
        if spec.model is not None:
            found.setdefault(spec.model, Made(spec.model, pattern, {"model": spec.model}, unit.mounting))
        else:
            keys = {"pattern": pattern.model_dump(mode="json", by_alias=True, exclude_unset=True, exclude_none=True)}
            found.setdefault(str(keys), Made(f"like {spec.name}", pattern, keys, unit.mounting))
    for name, entry in scene.catalogue.detectors.items():
        found.setdefault(name, Made(name, entry, {"model": name}))
    return list(found.values())


class Adder:
    """Tries one more unit in the rooms where something is missed; `middle` (x, y) is that of what is.

    `light`: only of the models that the scene has, and only where they nearly mend all of it.
    """

    def __init__(
        self,
        scene: Scene,
        places: HangingPlaces,
        units: Sequence[Unit],
        few: Bench,
        middle: tuple[float, float],
        *,
        light: bool = False,
    ) -> None:
        self.scene, self.places, self.units, self.few = scene, places, units, few
        self.straight = few.straight()
        self.middle = np.array(middle)
        self.light = light
        self.there = [(unit.name, unit.kind) for unit in units]

    def best(self, rooms: Sequence[RoomShape], step: Callable[[], None]) -> list[Trial]:
        """The best trials of one more unit, a model and room each; `step` is called after each model and room."""
        found: list[tuple[Outcome, Trial]] = []
        own = {spec.model for spec in self.scene.detectors}
        for room in rooms:
            n_tried = 0
            for made in self._in_order(room):
                if n_tried >= _MOST_MODELS and made.keys.get("model") not in own:
                    continue
                hung = self._hung(made, room)
                if not hung:
                    continue
                n_tried += 1
                if (best := self._best_of(made, room, hung)) is not None:
                    found.append(best)
                step()
        found.sort(key=lambda pair: (*pair[0].rank[:2], pair[1].keys.get("model") not in {*own, None}, pair[0].rank[2]))
        return [trial for _, trial in found]

    def _in_order(self, room: RoomShape) -> list[Made]:
        """Models, those of the scene first, then by how much one in the room's middle mends."""
        models = models_for(self.scene, self.units)
        if self.light:
            return [made for made in models if made.mounting is not None]
        ready = [made for made in models if made.mounting is not None]
        ranked = []
        for made in models:
            if made.mounting is None and (hung := self._hung(made, room)):
                middle = min(hung, key=lambda h: float(np.hypot(h[0] - room.polygon.centroid.x,
                                                                h[1] - room.polygon.centroid.y)))  # fmt: skip
                ranked.append((self.straight.try_unit(self._unit(made, room, *middle)).rank, made.label, made))
        return [*ready, *(made for *_, made in sorted(ranked, key=lambda entry: entry[:2]))]

    def _hung(self, made: Made, room: RoomShape) -> list[Place]:
        """Where a model can hang in a room: x, y, mounting height, turn."""
        step = max(np.sqrt(room.polygon.area / (_PLACES / 2 if self.light else _PLACES)), _NEAREST_M)
        low, high = made.pattern.meant_for.from_m, made.pattern.meant_for.to_m
        if make_unit(self._spec(made, (0.0, 0.0), max(low, 0.1), 0.0), made.pattern, 0.0).is_one_sided:
            if not room.name:
                return []  # in the open there is no wall
            at, turns = self.places.along_walls(room, step)
            wanted = made.mounting if made.mounting is not None else min(max(_ON_WALL_M, low), high)
            heights = np.minimum(np.full(len(at), wanted), np.nan_to_num(self.places.top(room, at), nan=wanted))
        else:
            at = self.places.over(room, step)
            turns = np.zeros(len(at))
            top = self.places.top(room, at)
            near = [u.mounting for u in self.units if self._hangs_in(u, room) and not u.is_one_sided]
            usual = float(np.median(near)) if near else np.inf
            under = np.minimum(top, usual)
            heights = np.minimum(under, high)  # lower than the ceiling where the entry asks for it, but not in mid-air
            heights[np.isfinite(under) & (heights < under - BELOW_CEILING_M - 1e-9)] = np.nan
            hung = np.column_stack([at, room.floor + np.nan_to_num(heights)])
            heights[~self.places.off_partitions(hung, FROM_WALL_M)] = np.nan
        good = np.isfinite(heights) & (heights >= low - 1e-9)
        good[good] &= self.places.free(np.column_stack([at, heights + room.floor])[good])
        return [(float(x), float(y), round(float(h), 3), float(t)) for (x, y), h, t in
                zip(at[good], heights[good], turns[good], strict=True)]  # fmt: skip

    def _hangs_in(self, unit: Unit, room: RoomShape) -> bool:
        home = self.places.room_of(unit)
        return home is room or (home is None and not room.name)

    def _best_of(self, made: Made, room: RoomShape, hung: list[Place]) -> tuple[Outcome, Trial] | None:
        """The best place of a model in a room: on a grid, then moved about; its turn where that matters."""
        place = self._first_place(made, room, hung)
        if place is None:
            return None
        x, y, height, turn = place
        on_wall = self._unit(made, room, x, y, height, turn).is_one_sided
        if not on_wall:
            if not self._unit(made, room, x, y, height, turn).is_round:

                def at_turn(to: float) -> tuple[float, ...]:
                    """Square to the axes unless askew is clearly better."""
                    broken, lack, ease = self.few.try_unit(self._unit(made, room, x, y, height, to)).rank
                    return broken, round(lack, 3), round(ease)

                turn = min((0.0, 90.0, 45.0, 135.0), key=at_turn)
            if not (self.light and self.few.glance(self._unit(made, room, x, y, height, turn)).outcome.lack == 0):
                x, y = self._polished(made, room, (x, y), height, turn)
        unit = self._unit(made, room, x, y, height, turn)
        outcome = self.few.try_unit(unit)
        where = room.name if len(self.places.building.rooms) > 1 else ""
        turn_words = f", turned to {turn:g}°" if turn else ""
        words = one_more_words(self._name(made), made.label, (x, y), height, where) + turn_words
        return outcome, Trial("one more", words, unit, self._entry(made, room, x, y, height, turn))

    def _first_place(self, made: Made, room: RoomShape, hung: list[Place]) -> Place | None:
        trials = [Trial("one more", "", self._unit(made, room, *place)) for place in hung]
        place_of = {id(trial): place for trial, place in zip(trials, hung, strict=True)}

        def rank(outcome: Outcome, trial: Trial) -> tuple[Any, ...]:
            return *self._worth(outcome, trial.unit), place_of[id(trial)]

        if self.straight is not self.few:
            trials = [trial for _, trial in best_of(self.straight, trials, _LOOKED_AT_TWICE, rank)[:_LOOKED_AT_TWICE]]
        most = MOST_OF_THE_REST if self.light else np.inf
        found = best_of(self.few, trials, 1, rank, most_lack=most)
        return place_of[id(found[0][1])] if found else None

    def _worth(self, outcome: Outcome, unit: Unit) -> tuple[int, float, float, float]:
        """Least is best: as the bench ranks it, of places alike the one nearest to what is missed."""
        broken, lack, ease = outcome.rank
        return broken, lack, round(ease, 1), float(np.hypot(*(unit.position[:2] - self.middle)))

    def _polished(
        self, made: Made, room: RoomShape, at: tuple[float, float], height: float, turn: float
    ) -> tuple[float, float]:
        """A better place near a good one, by the downhill simplex; on whole steps."""
        known: dict[tuple[float, float], float] = {}
        step = max(np.sqrt(room.polygon.area / _PLACES), _NEAREST_M) / 3

        def costs(place: Floats) -> float:
            x, y = (round(float(v) / ROUND_M) * ROUND_M for v in place)
            if (x, y) not in known:
                spot = np.array([[x, y]])
                point = np.array([[x, y, room.floor + height]])
                held = len(self.places.off_walls(room, spot)) and self.places.free(point)[0]
                held = held and self.places.off_partitions(point, _OFF_SHEETS_M)[0]
                top = self.places.top(room, spot)[0]
                if not held or not top >= height - 1e-6:
                    known[x, y] = 1e6
                else:
                    unit = self._unit(made, room, x, y, height, turn)
                    broken, lack, ease, far = self._worth(self.few.try_unit(unit), unit)
                    known[x, y] = 1e4 * broken + 100 * lack + ease + 0.01 * far
            return known[x, y]

        start = np.array(at)
        simplex = start + step * np.array([[0.0, 0.0], [1.0, 0.5], [-0.5, 1.0]])
        minimize(costs, start, method="Nelder-Mead",
                 options={"initial_simplex": simplex, "maxfev": _POLISH, "xatol": ROUND_M, "fatol": 1e-3})  # fmt: skip
        x, y = min(known, key=lambda place: (known[place], np.hypot(place[0] - at[0], place[1] - at[1])))
        return round(x, 3), round(y, 3)

    def _name(self, made: Made) -> str:
        return next_name(self.there, made.pattern.kind)

    def _spec(self, made: Made, at: tuple[float, float], mounting: float, turn: float) -> DetectorSpec:
        pattern = None if "model" in made.keys else made.pattern
        return DetectorSpec(
            name=self._name(made),
            model=made.keys.get("model"),
            pattern=pattern,
            at=at,
            mounting=mounting,
            turn_deg=turn,
        )

    def _unit(self, made: Made, room: RoomShape, x: float, y: float, mounting: float, turn: float) -> Unit:
        derive = self.scene.conditions.derive_motions
        spec = self._spec(made, (x, y), mounting, turn)
        corrected = self.scene.reach_correction_db(spec)
        return make_unit(spec, made.pattern, room.floor, derive=derive, corrected_db=corrected)

    def _entry(self, made: Made, room: RoomShape, x: float, y: float, mounting: float, turn: float) -> dict[str, Any]:
        entry: dict[str, Any] = {"name": self._name(made), **made.keys, "at": [x, y], "mounting": mounting}
        over = [r for r in self.places.building.rooms if r.holds(x, y)]
        if room.name and len({r.floor for r in over}) > 1:
            entry["room"] = room.name
        if turn:
            entry["turn_deg"] = round(turn, 1)
        return entry
