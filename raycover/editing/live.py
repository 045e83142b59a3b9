"""`LiveCoverage`: a coverage under the hands of a designer.

    live = LiveCoverage(scene)
    live.move(2, at=(6.0, 3.5))
    live.coverage(live.look("floor"))["floor"].margin_db
    live.undo()

Detectors are hung, taken down, moved, set and switched off, doors opened, the air warmed; maps follow. What an edit
leaves as it was is kept: after a move only that detector is cast again. Nothing here draws or writes.
"""

from __future__ import annotations

import os
import time
from collections import OrderedDict
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from raycover.asking.probe import View, views_over
from raycover.building.build import build
from raycover.building.parts import Building, OpeningMark
from raycover.detector_checks import check_detectors
from raycover.detectors import Unit
from raycover.editing.designs import Design, Loc, hung_at
from raycover.editing.edits import Edits
from raycover.editing.mentions import changed_lists, mentions_in
from raycover.editing.mentions import words as told_where
from raycover.errors import InputError, Problem
from raycover.loading import in_state
from raycover.rays.ray_scene import RayScene
from raycover.scene.air import differ_in_air_alone
from raycover.scene.checks import check_scene
from raycover.scene.devices import DetectorSpec, PlaneSpec
from raycover.scene.schema import Scene
from raycover.scene.stating import with_openings
from raycover.solving.casting import Felt, Patch, Weather, felt
from raycover.solving.coverage import Coverage, combine, make_units, within_budget
from raycover.solving.kept.answers import cast
from raycover.solving.reasons import Explainer
from raycover.solving.seats import SeatView, judge_seats
from raycover.solving.stair_headroom import stair_headroom
from raycover.solving.surfaces import Surface, make_surfaces

#: So many heights, motions and ways doors stand are kept ready.
_KEPT_LOOKS, _KEPT_BUILDINGS = 8, 4
#: Fewer casts than this are not worth threads.
_FEW = 4


@dataclass(frozen=True)
class Look:
    """What is looked at: a plane of the scene, at another `height` (m) if one is given, for another `motion`."""

    plane: int
    height: float | None = None
    motion: str | None = None

    def spec(self, scene: Scene) -> PlaneSpec:
        """The plane as the scene would say it."""
        spec = scene.planes[self.plane]
        changes: dict[str, Any] = {}
        if self.height is not None:
            changes |= {"height": self.height, "heights": None, "target": "point"}
        if self.motion is not None:
            changes["motion"] = self.motion
        return spec.model_copy(update=changes) if changes else spec


@dataclass(eq=False)
class _Built:
    """What stands in one state with its doors, and what is kept of it."""

    scene: Scene
    building: Building
    rays: RayScene
    looks: OrderedDict[Look, _Maps] = field(default_factory=OrderedDict)


@dataclass
class _Maps:
    """Surfaces of one look, and on each the patch of every detector, by name, with what it was cast for: how it hangs,
    conditions, and what it feels of them."""

    surfaces: list[Surface]
    warnings: list[Problem]
    patches: list[dict[str, tuple[DetectorSpec, Weather, Patch | None, Felt]]]


class LiveCoverage:
    """A coverage that follows edits. `n_cast` counts detectors cast on surfaces so far.

    Edits raise InputError for what cannot stand (a unit above its ceiling, in a column), and change nothing then.
    """

    def __init__(self, scene: Scene, *, state: str | None = None, threads: int | None = None) -> None:
        """`scene` as loaded, in its drawn state; `state` is the one to begin with.

        Raises InputError where it does not fit together.
        """
        self.drawn = scene
        self.threads = threads if threads is not None else max(os.cpu_count() or 1, 1)
        self.edits = Edits(
            Design(tuple(scene.detectors), frozenset(), state or scene.state, mentions=mentions_in(scene))
        )
        self.design = self.edits.now
        self.n_cast = 0
        self._built: OrderedDict[tuple[str, frozenset[tuple[Loc, str]]], _Built] = OrderedDict()
        self._scene: tuple[Design, Scene] | None = None
        self._units: tuple[_Built, tuple[DetectorSpec, ...], tuple[Unit, ...]] | None = None
        self._seats: tuple[object, tuple[SeatView, ...]] | None = None

    # What there is.

    @property
    def planes(self) -> tuple[str, ...]:
        """Names of the scene's planes."""
        return tuple(plane.name for plane in self.drawn.planes)

    def look(self, plane: str) -> Look:
        """The look at a plane as the scene has it."""
        return Look(self.planes.index(plane))

    @property
    def scene(self) -> Scene:
        """The scene as it is designed now, every detector in it, on or off."""
        if self._scene is None or self._scene[0] != self.design:
            self._scene = self.design, self._scene_of(self.design)
        return self._scene[1]

    @property
    def scene_on(self) -> Scene:
        """The same with the detectors that are on alone."""
        on = [d for d in self.design.detectors if d.name not in self.design.off]
        return self.scene.model_copy(update={"detectors": on})

    @property
    def building(self) -> Building:
        return self._standing.building

    @property
    def rays(self) -> RayScene:
        return self._standing.rays

    @property
    def weather(self) -> Weather:
        return Weather.of(self.scene)

    @property
    def units(self) -> tuple[Unit, ...]:
        """Every detector ready for casting, on or off."""
        standing, specs, kept = self._standing, self.design.detectors, self._units
        if kept is not None and kept[0] is standing:
            if kept[1] is specs:
                return kept[2]
            known = {spec.name: (spec, unit) for spec, unit in zip(kept[1], kept[2], strict=True)}
            changed = [
                k for k, spec in enumerate(specs) if spec.name not in known or not _same(known[spec.name][0], spec)
            ]
            fresh = dict(zip(changed, make_units(self.scene, standing.building, only=changed), strict=True))
            units = tuple(fresh[k] if k in fresh else known[spec.name][1] for k, spec in enumerate(specs))
        else:
            units = make_units(self.scene, standing.building)
        self._units = standing, specs, units
        return units

    @property
    def on(self) -> tuple[int, ...]:
        """Indices of the detectors that are on: the order of a coverage's units."""
        return tuple(k for k, spec in enumerate(self.design.detectors) if spec.name not in self.design.off)

    @property
    def doors(self) -> tuple[OpeningMark, ...]:
        """Doors and windows that can be opened, doors first."""
        marks = [mark for mark in self.building.openings if mark.construction is not None and mark.loc]
        return tuple(sorted(marks, key=lambda mark: (not mark.is_door, mark.loc)))

    @property
    def seats(self) -> tuple[SeatView, ...]:
        """Seated people, each judged."""
        key = self._standing, self.design.detectors, self.design.off, self.weather
        if self._seats is None or self._seats[0] != key:
            units = self.units
            judged = judge_seats(self.building.seats, [units[k] for k in self.on], self.rays, self.weather)
            self._seats = key, judged
        return self._seats[1]

    def warnings(self, look: Look) -> list[Problem]:
        """What is doubtful but not wrong."""
        scene, building = self.scene, self.building
        return [
            *scene.warnings, *building.warnings, *self._maps(look).warnings,
            *stair_headroom(scene, building, self.rays),
        ]  # fmt: skip

    # Maps and questions.

    def coverage(self, look: Look) -> Coverage:
        """The maps of one look, of the detectors that are on; as `solve` would find them."""
        began = time.perf_counter()
        maps, units, on, weather = self._maps(look), self.units, self.on, self.weather
        self._cast(maps, units, on, weather)
        reserve = self.scene.conditions.reserve_db
        some = tuple(units[k] for k in on)
        explainer = Explainer(some, self.rays, weather, reserve)
        planes = {
            surface.name: combine(surface, [patches[unit.name][2] for unit in some], explainer, reserve)
            for surface, patches in zip(maps.surfaces, maps.patches, strict=True)
        }
        spent = time.perf_counter() - began
        return Coverage.of_scene(self.scene, planes, some, self.rays, seconds=spent, seats=self.seats)

    def probe(self, point: tuple[float, float, float], look: Look) -> list[View]:
        """Each detector's view, those that are on, of a place on the ground or a tread, at the heights of a look.

        Where several heights count each detector answers for the one that it sees best. The first is the one that sees
        the place best or is nearest to seeing it, by the rule of `reasons`: its cause is the map's.
        """
        spec, units = look.spec(self.scene), self.units
        some = [units[k] for k in self.on]
        views = views_over(
            some, point, spec.target_heights, self.rays, self.weather, motion=spec.motion,
            target_m2=spec.cross_section_m2,
        )  # fmt: skip
        homes = self.building.rooms_at(np.array([view.unit.position for view in views]).reshape(-1, 3))
        (here,) = self.building.rooms_at(np.array([point], float))
        doubtful = -self.scene.conditions.reserve_db

        def order(pair: tuple[View, int]) -> tuple[bool, float, bool, float]:
            view, home = pair
            far = view.margin_db < doubtful
            return far, 0.0 if far else -view.margin_db, home != here, -view.potential_db

        return [view for view, _ in sorted(zip(views, homes.tolist(), strict=True), key=order)]

    # Edits.

    @property
    def changed(self) -> bool:
        """Whether the detectors, or where they are named, differ from the file's: nothing else is kept in it."""
        kept = tuple(self.drawn.detectors), mentions_in(self.drawn)
        return (self.design.detectors, self.design.mentions) != kept

    def move(
        self, index: int, words: str = "", *, thread: str | None = None, trial: bool = False, **values: Any
    ) -> None:
        """Give a detector other values of its keys: `at`, `mounting`, `turn_deg`, `sensitivity_pct`, `masks`, …

        A `trial` shows it without counting as an edit or being checked against the rest of the scene: `move` again, or
        `back`.
        """
        design = self.design.changed(index, values)
        name = design.detectors[index].name
        self._show(design, words or f"{name} moved", thread, trial=trial, check=True)

    def add(self, place: tuple[float, float, float], like: int | None = None, *, model: str | None = None) -> int:
        """Hang one more detector over a place on the ground (x, y, z); its index.

        It is like another one, or the first entry that is meant for the height there, or of a `model`.
        """
        spec = hung_at(self.scene, self.building, place, like, model=model)
        specs = (*self.design.detectors, spec)
        words = f"{spec.name} added at ({spec.at[0]:g}, {spec.at[1]:g})"
        self._show(replace(self.design, detectors=specs), words, check=True)
        return len(specs) - 1

    def remove(self, index: int, *, unnamed: bool = False) -> None:
        """Take a detector down. Refused where something in the scene names it: a line, a zone, a need.

        `unnamed`: out of those lists, too. Where that would do, the refusal's code is `detector-named`.
        """
        name, where = self.design.detectors[index].name, self.design.mentions
        words = f"{name} taken down" + (f" and out of {told_where(where, name)}" if unnamed else "")
        try:
            self._show(self.design.without(index, unnamed=unnamed), words, check=True)
        except InputError as error:
            if not unnamed and self._would_stand(self.design.without(index, unnamed=True)):
                said = f'"{name}" is named by {told_where(where, name)}'
                hint = "take it down there as well, or switch it off instead"
                raise InputError([Problem("detector-named", said, error.problems[0].position, hint)]) from None
            first = error.problems[0]
            hint = "switch it off instead, or take its name out of the file first"
            said = f'"{name}" cannot be taken down, the scene asks for it: {first.message}'
            raise InputError([Problem("detector-wanted", said, first.position, hint)]) from None

    def choose_model(self, index: int, model: str) -> None:
        """Make a detector one of another entry; a setting that it does not have goes back to its own."""
        spec, pattern = self.design.detectors[index], self.scene.catalogue.detectors[model]
        values: dict[str, Any] = {"model": model, "pattern": None}
        if pattern.kind != "dual":
            values |= dict.fromkeys(("combine", "trigger", "microwave_pct"))
        if not pattern.settings_pct[0] <= spec.sensitivity_pct <= pattern.settings_pct[1]:
            values["sensitivity_pct"] = min(max(100.0, pattern.settings_pct[0]), pattern.settings_pct[1])
        self.move(index, f"{spec.name} is now {model}", thread=f"{spec.name} model", **values)

    def back(self) -> None:
        """Leave trials, back to the last edit."""
        self.design = self.edits.now

    def switch(self, index: int, *, on: bool | None = None) -> None:
        """Switch a detector off, or on again."""
        off, name = self.design.off, self.design.detectors[index].name
        turned_on = name in off if on is None else on
        after = off - {name} if turned_on else off | {name}
        self._show(replace(self.design, off=after), f"{name} {'on' if turned_on else 'off'}")

    def set_door(self, door: OpeningMark, state: str) -> None:
        """Open or close a door or window."""
        others = frozenset(pair for pair in self.design.doors if pair[0] != door.loc)
        self._show(replace(self.design, doors=others | {(door.loc, state)}), f"{door.name or door.owner} {state}")

    def set_state(self, name: str) -> None:
        """Go to another state of the scene, its doors and its air as it says."""
        self._show(replace(self.design, state=name, doors=frozenset(), ambient_c=None), f'state "{name}"')

    def set_ambient(self, ambient_c: float, *, trial: bool = False) -> None:
        """Another air temperature (°C)."""
        self._show(replace(self.design, ambient_c=ambient_c), f"air at {ambient_c:g} °C", "air", trial=trial)

    def undo(self) -> str | None:
        """Take the last edit back; its words, None where there is none."""
        words = self.edits.undo()
        self.design = self.edits.now
        return words

    def redo(self) -> str | None:
        """Do again what was taken back; its words, None where there is nothing."""
        words = self.edits.redo()
        self.design = self.edits.now
        return words

    def saved(self, scene: Scene) -> None:
        """Take what a file now holds as what was drawn; its detectors are those of the design."""
        self.drawn = scene
        self._scene = None
        for (state, doors), built in self._built.items():
            built.scene = self._stated(state, doors)

    def problems(self) -> list[Problem]:
        """What is wrong with the scene as it is designed: nothing, unless a trial is shown."""
        scene = self.scene
        found = [p for p in (*check_scene(scene, scene.catalogue), *check_detectors(scene)) if p.severity == "error"]
        try:
            _ = self.units
        except InputError as error:
            found += error.problems
        return found

    def doubts(self, index: int) -> list[str]:
        """What speaks against a detector as it hangs, though it can: a height that it is not meant for, say."""
        alone = self.scene.model_copy(update={"detectors": [self.design.detectors[index]]})
        return [problem.message for problem in check_detectors(alone) if problem.severity == "warning"]

    # Within.

    def _would_stand(self, design: Design) -> bool:
        """Whether nothing would be wrong with another design that differs in mentions."""
        now = self.design
        if design.mentions == now.mentions:
            return False
        self.design = design
        try:
            return not self.problems()
        finally:
            self.design = now

    def _show(
        self, design: Design, words: str, thread: str | None = None, *, trial: bool = False, check: bool = False
    ) -> None:
        self.design = design
        try:
            _ = self.units
            if check and not trial and (found := self.problems()):
                raise InputError(found)
        except InputError:
            if not trial:
                self.design = self.edits.now
            raise
        if not trial:
            self.edits.do(design, words, thread)

    def _scene_of(self, design: Design) -> Scene:
        scene = self._stand(design).scene
        fields: dict[str, Any] = {"detectors": list(design.detectors)}
        fields |= changed_lists(scene, design.mentions)
        if design.ambient_c is not None:
            fields["conditions"] = scene.conditions.model_copy(update={"ambient_c": design.ambient_c})
        return scene.model_copy(update=fields)

    @property
    def _standing(self) -> _Built:
        return self._stand(self.design)

    def _stand(self, design: Design) -> _Built:
        key = design.state, design.doors
        if key not in self._built:
            scene = self._stated(*key)
            like = next((one for one in self._built.values() if differ_in_air_alone(one.scene, scene)), None)
            if like is None:
                building = build(scene)
                self._built[key] = _Built(scene, building, RayScene(building))
            else:
                self._built[key] = replace(like, scene=scene)
            while len(self._built) > _KEPT_BUILDINGS:
                self._built.popitem(last=False)
        self._built.move_to_end(key)
        return self._built[key]

    def _stated(self, state: str, doors: frozenset[tuple[Loc, str]]) -> Scene:
        scene = self.drawn if state == self.drawn.state else in_state(self.drawn, state)
        return with_openings(scene, dict(doors)) if doors else scene

    def _maps(self, look: Look) -> _Maps:
        standing = self._standing
        if look not in standing.looks:
            scene = standing.scene.model_copy(update={"planes": [look.spec(standing.scene)]})
            surfaces, warnings = make_surfaces(scene, standing.building)
            if scene.conditions.reflections:
                within_budget(scene, self.units, surfaces, standing.rays, self.weather)
            standing.looks[look] = _Maps(surfaces, warnings, [{} for _ in surfaces])
            while len(standing.looks) > _KEPT_LOOKS:
                standing.looks.popitem(last=False)
        standing.looks.move_to_end(look)
        return standing.looks[look]

    def _cast(self, maps: _Maps, units: Sequence[Unit], on: Sequence[int], weather: Weather) -> None:
        """Cast what has changed since, or was never cast: other air only for those who can see somebody in it."""
        specs, rays = self.design.detectors, self.rays
        jobs = []
        for s, known in enumerate(maps.patches):
            for k in on:
                kept = known.get(specs[k].name)
                if kept is not None and _same(kept[0], specs[k]):
                    if kept[1] == weather:
                        continue
                    if kept[3] == felt(units[k], maps.surfaces[s], weather):
                        known[specs[k].name] = kept[0], weather, kept[2], kept[3]
                        continue
                jobs.append((s, k))

        def work(job: tuple[int, int]) -> Patch | None:
            s, k = job
            return cast(units[k], maps.surfaces[s], rays, weather)

        if len(jobs) < _FEW or self.threads < 2:
            found = list(map(work, jobs))
        else:
            with ThreadPoolExecutor(self.threads) as pool:
                found = list(pool.map(work, jobs))
        for (s, k), patch in zip(jobs, found, strict=True):
            feels = felt(units[k], maps.surfaces[s], weather)
            maps.patches[s][specs[k].name] = specs[k], weather, patch, feels
        self.n_cast += len(jobs)


def _same(one: DetectorSpec, other: DetectorSpec) -> bool:
    return one is other or one == other
