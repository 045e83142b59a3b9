"""Scenes and factors become jobs; whatever cannot be right is said before anything is solved."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from raycover.errors import InputError, Problem
from raycover.loading import in_state, load
from raycover.proving.needs import ready_made
from raycover.scene.reading import read_yaml
from raycover.scene.schema import Scene
from raycover.sweeping.designs import Values
from raycover.sweeping.rows import Job, scene_of
from raycover.sweeping.sources import Source, read, stamp
from raycover.sweeping.targets import STATE, Change, Place, changed, clashes, find
from raycover.sweeping.values import AS_DRAWN, Factor, shown

#: A value is given up when it stands in none of so many combinations.
MOST_TRIES = 12


@dataclass(frozen=True)
class Plan:
    """Jobs in the order of the table; `values` of a job by its combination, the same for every scene."""

    factors: tuple[Factor, ...]
    sources: tuple[Source, ...]
    scenes: tuple[Scene, ...]
    combinations: tuple[Values, ...]
    jobs: tuple[Job, ...]

    def values(self, job: Job) -> Values:
        """The values of a row, one a factor."""
        return self.combinations[job.row % len(self.combinations)]

    def heading(self, job: Job) -> str:
        """A row's number and values in the fewest words, for a drawing."""
        pairs = zip(self.factors, self.values(job), strict=True)
        values = ", ".join(f"{factor.path.rpartition('/')[2]} {shown(value)}" for factor, value in pairs)
        return f"row {job.row + 1}" + (f": {values}" if values else "")

    def words(self, job: Job) -> str:
        """A row's values in few words."""
        return told(self.factors, self.values(job))


def plan(paths: Sequence[Path], factors: Sequence[Factor], combinations: Sequence[Values], *, needs: bool) -> Plan:
    """Every scene in every combination. Raises InputError for paths that lead nowhere and values that stand nowhere."""
    sources, scenes, jobs = [], [], list[Job]()
    for index, path in enumerate(paths):
        scene = load(path)
        document = read_yaml(path)
        places = _places(factors, scene, document.data, path if len(paths) > 1 else None)
        clashes(factors, places)
        made = [
            Job(
                len(jobs) + k, index, _changes(factors, places, values), _state(factors, values), needs, stamp()
            )
            for k, values in enumerate(combinations)
        ]  # fmt: skip
        files = any(
            change.loc[0] in ("meshes", "allow_folders", "model_folders") for job in made for change in job.changes
        )
        variants = [changed(document.data, job.changes) for job in made] if files else [document.data]
        source = read(path, variants)
        if needs and not scene.needs and not ready_made(scene):
            raise InputError(
                [Problem("no-needs", "the scene has no needs to judge", scene.position(), "leave --needs out")]
            )
        _check_values(factors, combinations, source, made)
        sources.append(source)
        scenes.append(scene)
        jobs += made
    return Plan(tuple(factors), tuple(sources), tuple(scenes), tuple(combinations), tuple(jobs))


def _places(factors: Sequence[Factor], scene: Scene, data: dict[str, Any], path: Path | None) -> list[Place]:
    """Where each factor goes; everything wrong with any of them at once."""
    places: list[Place] = []
    problems: list[Problem] = []
    for factor in factors:
        try:
            places.append(find(factor, scene, data))
        except InputError as error:
            where = f"in {path}: " if path is not None else ""
            problems += [replace(p, message=where + p.message) for p in error.problems]
    if problems:
        raise InputError(problems)
    return places


def _changes(factors: Sequence[Factor], places: Sequence[Place], values: Values) -> tuple[Change, ...]:
    pairs = zip(factors, places, values, strict=True)
    return tuple(change for factor, place, value in pairs if factor.path != STATE for change in place.changes(value))


def _state(factors: Sequence[Factor], values: Values) -> str | None:
    chosen = [v for factor, v in zip(factors, values, strict=True) if factor.path == STATE and v != AS_DRAWN]
    return chosen[0] if chosen else None


def told(factors: Sequence[Factor], values: Values) -> str:
    """Values with their paths, as they would be typed."""
    return ", ".join(factor.words(value) for factor, value in zip(factors, values, strict=True)) or AS_DRAWN


def _check_values(
    factors: Sequence[Factor], combinations: Sequence[Values], source: Source, jobs: Sequence[Job]
) -> None:
    """Raises InputError for values (and spans) with which no combination tried makes a sound scene.

    What a value alone has wrong is wrong with it in every combination; what only two together have wrong is left to
    their rows. Most combinations show several values to be sound, so few are tried.
    """
    levels = [[_level(f, v) for f, v in zip(factors, values, strict=True)] for values in combinations]
    rows_of: dict[tuple[str, str], list[int]] = {}
    for row, mine in enumerate(levels):
        for level in mine:
            rows_of.setdefault(level, []).append(row)
    sound: set[tuple[str, str]] = set()
    failed: dict[int, InputError] = {}
    refused: dict[tuple[str, str], InputError] = {}
    for level, rows in rows_of.items():
        for row in _spread(rows):
            if level in sound:
                break
            if row in failed:
                continue
            try:
                scene = scene_of(source, jobs[row])
                if jobs[row].state is not None:
                    in_state(scene, jobs[row].state or "")
                sound.update(levels[row])
            except InputError as error:
                failed[row] = error
        if level not in sound:
            refused[level] = failed[next(row for row in rows if row in failed)]
    if refused:
        raise InputError(_refusals(refused))


def _level(factor: Factor, value: Any) -> tuple[str, str]:
    return factor.path, "" if factor.span is not None else factor.words(value)


def _spread(rows: Sequence[int]) -> list[int]:
    if len(rows) <= MOST_TRIES:
        return list(rows)
    return [rows[k * (len(rows) - 1) // (MOST_TRIES - 1)] for k in range(MOST_TRIES)]


def _refusals(refused: dict[tuple[str, str], InputError]) -> list[Problem]:
    """Each problem once, with every value that it may come from."""
    found: dict[tuple[Any, ...], tuple[Problem, list[str]]] = {}
    for (path, words), error in refused.items():
        for problem in error.problems:
            key = problem.code, problem.message, problem.position.line, problem.position.column
            found.setdefault(key, (problem, []))[1].append(words or f"{path} over its range")
    return [
        replace(problem, message=f"with --set {', '.join(dict.fromkeys(words))}: {problem.message}")
        for problem, words in found.values()
    ]
