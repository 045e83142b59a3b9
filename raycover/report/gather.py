"""Everything a report tells, worked out once: coverage, proof, heat, doors and states, lines, schedule."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace

from raycover.asking.summer import SummerRow, summer_reach
from raycover.asking.upright import SectionField, solve_sections
from raycover.building.build import build
from raycover.building.parts import Building
from raycover.errors import Problem
from raycover.kit.bus import LineReport, check_lines, unwired
from raycover.kit.schedule import Schedule, make_schedule
from raycover.letterhead import Logo, read_logo
from raycover.loading import in_state
from raycover.proving.firmness import with_chances, with_firm_mends, with_quiet
from raycover.proving.mending import Mending, find_mending
from raycover.proving.needs import Proof, prove, ready_made
from raycover.proving.remedies import Trouble, find_remedies
from raycover.rays.ray_scene import RayScene
from raycover.scene.schema import Scene
from raycover.scene.stating import with_doors
from raycover.scene.varying import Change, varied
from raycover.solving.coverage import Coverage, solve

#: Air temperatures (°C) that a report looks at: comfort, and what halls under a summer roof come to.
AMBIENTS_C = (20.0, 25.0, 30.0, 35.0)
#: Called with the name of a stage as it begins, and (done, all) within it.
Progress = Callable[[str, int, int], None]


class Stages:
    """How long each stage took (s), and who is told as they go."""

    def __init__(self, progress: Progress | None = None) -> None:
        self.progress = progress
        self.seconds: dict[str, float] = {}

    @contextmanager
    def stage(self, name: str) -> Iterator[Callable[[int, int], None]]:
        """A stage: yields a callback (done, all)."""
        began = time.perf_counter()
        self.step(name, 0, 0)
        try:
            yield lambda done, everything: self.step(name, done, everything)
        finally:
            self.seconds[name] = self.seconds.get(name, 0.0) + time.perf_counter() - began

    def step(self, name: str, done: int, everything: int) -> None:
        if self.progress is not None:
            self.progress(name, done, everything)


@dataclass(frozen=True)
class Variant:
    """The scene otherwise than drawn: a state by its name, or all doors open or closed."""

    name: str
    scene: Scene
    building: Building
    coverage: Coverage


@dataclass(frozen=True)
class Report:
    """Everything that is told. `doors` are variants by "open" and "closed", empty where there is no door.

    `proof` is None where nothing is needed; `troubles` are what units see too far, `mendings` needs whose places
    are missed, both with remedies. `heat` is by air
    temperature, empty where every detector is microwave.
    """

    scene: Scene
    building: Building
    rays: RayScene
    coverage: Coverage
    proof: Proof | None
    troubles: tuple[Trouble, ...]
    mendings: tuple[Mending, ...]
    states: tuple[Variant, ...]
    doors: Mapping[str, Variant]
    heat: Mapping[float, Coverage]
    summer: tuple[SummerRow, ...]
    sections: tuple[SectionField, ...]
    lines: tuple[LineReport, ...]
    unwired: tuple[str, ...]
    schedule: Schedule
    logo: Logo | None
    warnings: tuple[Problem, ...] = ()
    stages: Stages = field(default_factory=Stages)

    def named(self, said: Callable[[str], str]) -> Report:
        """The report with the needs that nobody wrote down named as `said` puts it."""
        if self.proof is None or not self.proof.assumed:
            return self
        mendings = tuple(replace(one, need=said(one.need)) for one in self.mendings)
        return replace(self, proof=self.proof.named(said), mendings=mendings)

    @property
    def met(self) -> bool | None:
        """Whether every need is met; None where nothing is needed."""
        return None if self.proof is None else self.proof.met


def gather(
    scene: Scene, *, threads: int | None = None, stages: Stages | None = None, ambients_c: Sequence[float] = AMBIENTS_C
) -> Report:
    """Solve a scene as loaded, in every way that a report tells of. Raises InputError where it cannot stand."""
    stages = Stages() if stages is None else stages
    logo = read_logo(scene)
    with stages.stage("casting") as step:
        building = build(scene)
        rays = RayScene(building)
        coverage = solve(scene, building=building, rays=rays, threads=threads, progress=step)
        for plane in coverage.values():
            assert plane.gaps is not None  # causes are worked out when first asked for: here, with the casting
    with stages.stage("needs") as step:
        proof, troubles, mendings = _proof(scene, coverage, step)
    with stages.stage("states") as step:
        states, doors = _variants(scene, building, coverage, threads, step)
    with stages.stage("sections"):
        sections = solve_sections(scene, building, rays, coverage.units, threads=threads)
    with stages.stage("heat") as step:
        heat = _heat(scene, building, rays, coverage, threads, ambients_c, step)
    return Report(
        scene=scene,
        building=building,
        rays=rays,
        coverage=coverage,
        proof=proof,
        troubles=troubles,
        mendings=mendings,
        states=states,
        doors=doors,
        heat=heat,
        summer=summer_reach(coverage.units, ambients_c),
        sections=sections,
        lines=check_lines(scene),
        unwired=tuple(unwired(scene)) if scene.lines else (),
        schedule=make_schedule(scene, building),
        logo=logo,
        warnings=coverage.warnings,
        stages=stages,
    )


def _proof(
    scene: Scene, coverage: Coverage, step: Callable[[int, int], None]
) -> tuple[Proof | None, tuple[Trouble, ...], tuple[Mending, ...]]:
    """Needs judged, with chances; remedies where a unit is tripped from where it must not be, or a place is missed."""
    if not (scene.needs or ready_made(scene)):
        return None, (), ()
    proof = with_chances(prove(scene, progress=step), step)
    troubles: tuple[Trouble, ...] = ()
    if not all(verdict.met for verdict in proof.needs if verdict.need.never):
        troubles = with_quiet(proof, find_remedies(proof, coverage, step), step)
    mendings: tuple[Mending, ...] = ()
    if not all(verdict.met for verdict in proof.needs if not verdict.need.never):
        mendings = with_firm_mends(proof, find_mending(proof, step), step)
    return proof, troubles, mendings


def _variants(
    scene: Scene, building: Building, coverage: Coverage, threads: int | None, step: Callable[[int, int], None]
) -> tuple[tuple[Variant, ...], dict[str, Variant]]:
    """The scene's states, and all doors open or closed; what differs in nothing from the drawn scene shares it."""
    states = []
    n_all = len(scene.states) + 2
    for index, state in enumerate(scene.states):
        step(index, n_all)
        stated = in_state(scene, state.name)
        states.append(_variant(state.name, stated, threads))
    doors: dict[str, Variant] = {}
    for index, way in enumerate(("closed", "open")):
        step(len(scene.states) + index, n_all)
        changed = with_doors(scene, way)  # type: ignore[arg-type]
        if _same(changed, scene):
            doors[way] = Variant(way, scene, building, coverage)
        else:
            doors[way] = _variant(way, changed, threads)
    if doors["open"].coverage is doors["closed"].coverage:  # there is no door
        doors = {}
    return tuple(states), doors


def _same(one: Scene, other: Scene) -> bool:
    return all(getattr(one, key) == getattr(other, key) for key in ("rooms", "partitions", "cubicles"))


def _variant(name: str, scene: Scene, threads: int | None) -> Variant:
    building = build(scene)
    return Variant(name, scene, building, solve(scene, building=building, threads=threads))


def _heat(
    scene: Scene,
    building: Building,
    rays: RayScene,
    coverage: Coverage,
    threads: int | None,
    ambients_c: Sequence[float],
    step: Callable[[int, int], None],
) -> dict[float, Coverage]:
    """The scene in air of each temperature; nothing where no detector minds."""
    if not any("infrared" in unit.technologies for unit in coverage.units):
        return {}
    found = {}
    for index, value in enumerate(ambients_c):
        step(index, len(ambients_c))
        if value == scene.conditions.ambient_c:
            found[value] = coverage
            continue
        warm = varied(scene, Change(ambient_c=value))
        found[value] = solve(warm, building=building, rays=rays, threads=threads)
    return found


__all__ = ["AMBIENTS_C", "Report", "Stages", "Variant", "gather"]
