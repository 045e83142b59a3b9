"""One row: a scene with some of its values changed, solved wherever its source is."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass

from raycover.asking.studying import PlaneFigures, plane_figures
from raycover.building.build import build
from raycover.building.parts import Building
from raycover.catalogue import given_folders
from raycover.errors import InputError
from raycover.loading import in_state, load_changed
from raycover.proving.needs import prove
from raycover.scene.schema import Scene
from raycover.solving.coverage import Coverage, solve
from raycover.sweeping.sources import Source, stamp, unpacked
from raycover.sweeping.targets import Change, changed

#: Changed when figures change their meaning: rows kept by another format are solved anew.
FORMAT = 1


@dataclass(frozen=True)
class Job:
    """A row to solve: of which scene, with which changes, in which state; whether its needs are judged."""

    row: int
    scene: int
    changes: tuple[Change, ...]
    state: str | None = None
    needs: bool = False
    stamp: str = ""


@dataclass(frozen=True)
class Figures:
    """What a row comes to. `problem` says why a combination cannot stand; it then has no figures.

    `needs_met` of `needs` are None where they were not asked for; `missed` names the others.
    """

    planes: dict[str, PlaneFigures]
    seats: int = 0
    seats_unnoticed: int = 0
    needs_met: int | None = None
    needs: int | None = None
    missed: tuple[str, ...] = ()
    problem: str = ""


class OtherVersion(Exception):
    """A worker that has another raycover, or another catalogue with it."""


def key_of(source: Source, job: Job) -> str:
    """What a row's figures depend on, as a hash: changed document, catalogue, mesh files, state, raycover."""
    data = source.settled(changed(source.document.data, job.changes))
    said = [FORMAT, stamp(), source.digest, job.state, job.needs, data]
    return hashlib.sha256(json.dumps(said, sort_keys=True).encode()).hexdigest()


def scene_of(source: Source, job: Job) -> Scene:
    """The scene of a row, as drawn: its changes made, checked as a typed file is. Raises InputError."""
    folder, catalogues = unpacked(source)
    data = source.settled(changed(source.document.data, job.changes))
    with given_folders(catalogues):
        return load_changed(source.document, data, folder)


def solved(scene: Scene, job: Job, threads: int | None = None) -> tuple[Scene, Building, Coverage]:
    """A row's scene in its state, its building and what is seen there. Raises InputError."""
    stated = scene if job.state is None else in_state(scene, job.state)
    building = build(stated)
    return stated, building, solve(stated, building=building, threads=threads)


def figures_of(source: Source, job: Job) -> Figures:
    """A row's figures, on one thread; a combination that cannot stand says why instead.

    Raises OtherVersion where this raycover is not the one that asks.
    """
    if job.stamp and job.stamp != stamp():
        raise OtherVersion(f"raycover {stamp()} works here, {job.stamp} asks")
    try:
        scene = scene_of(source, job)
        _, _, coverage = solved(scene, job, threads=1)
        proof = prove(scene, state=job.state) if job.needs else None
    except InputError as error:
        return Figures({}, problem="; ".join(dict.fromkeys(p.message for p in error.problems[:3])))
    missed = () if proof is None else tuple(v.need.name for v in proof.needs if not v.met)
    return Figures(
        planes={name: plane_figures(plane) for name, plane in coverage.items()},
        seats=len(coverage.seats),
        seats_unnoticed=sum(not seat.noticed for seat in coverage.seats),
        needs_met=None if proof is None else len(proof.needs) - len(missed),
        needs=None if proof is None else len(proof.needs),
        missed=missed,
    )
