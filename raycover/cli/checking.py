"""`check`: is the file sound, and does the building stand."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

from raycover.building.build import build
from raycover.building.parts import Building
from raycover.checking import check_building
from raycover.cli import drawing
from raycover.cli.printing import data, warn
from raycover.errors import InputError, Problem
from raycover.exchange.summary import problem, stamp
from raycover.loading import in_state, load, told_in_state
from raycover.proving.sites import need_problems
from raycover.rays.ray_scene import RayScene
from raycover.scene.schema import Scene
from raycover.solving.coverage import make_units
from raycover.solving.stair_headroom import stair_headroom
from raycover.solving.surfaces import make_surfaces
from raycover.trips.places import place
from raycover.walking.ways import route_problems


def check_scene(
    path: Path,
    *,
    strict: bool,
    as_json: bool,
    draw_in: Path | None = None,
    with_view: bool = True,
    lang: str | None = None,
) -> None:
    """Load, build and hang the detectors, in every state; say what is wrong or doubtful.

    With `draw_in` the building is drawn there first, sound or not as long as it can be built. Raises InputError
    with everything found where the file cannot be solved, where something cannot stand, and where it is only
    doubtful if `strict`. `lang` is the language of the drawings, the scene's own if None.
    """
    try:
        scene = load(path)
        building, found = _checked(scene)
        for name in scene.state_names[1:]:
            found += _of_state(scene, name, found)
    except InputError as error:
        if as_json:
            data({**stamp(), "sound": False, "problems": [problem(p) for p in error.problems]})
        raise
    if draw_in is not None:
        drawing.draw(scene, building, draw_in, with_view=with_view, lang=lang)
    n = Counter(p.severity for p in found)
    if as_json:
        data({**stamp(), "sound": not n["error"], "problems": [problem(p) for p in found]})
    if n["error"] or (strict and n["warning"]):
        raise InputError(found)
    if as_json:
        return
    warn(found)
    counts = [f"{n[kind]} {kind}{'s' * (n[kind] != 1)}" for kind in ("warning", "note") if n[kind]]
    rooms, detectors = len(scene.rooms), len(scene.detectors)
    said = [
        f"{rooms} room{'s' * (rooms != 1)}",
        f"{detectors} detector{'s' * (detectors != 1)}",
        f"{building.n_parts} parts",
        f"{len(building.mesh.triangles)} triangles",
        *([f"{len(scene.state_names)} states"] if scene.states else []),
        *counts,
    ]
    print(f"{path}: sound; {', '.join(said)}")


def _checked(scene: Scene) -> tuple[Building, list[Problem]]:
    building = build(scene)
    units = make_units(scene, building)
    place(scene, building)
    found = [*scene.warnings, *building.warnings]
    if scene.rooms or "planes" in scene.model_fields_set:  # without either the scene is for probe
        found += make_surfaces(scene, building)[1]
    if building.stairs:
        found += stair_headroom(scene, building, RayScene(building))
    found += [*need_problems(scene, building), *route_problems(scene, building)]
    return building, [*found, *check_building(scene, building, units)]


def _of_state(scene: Scene, name: str, known: list[Problem]) -> list[Problem]:
    """What a state has of its own; what the scene as drawn has too is told once."""
    changed = in_state(scene, name)
    told = {(p.code, p.position.line, p.position.column) for p in known}
    try:
        found = _checked(changed)[1]
    except InputError as error:
        raise InputError([told_in_state(p, name) for p in error.problems]) from None
    fresh = [p for p in found if (p.code, p.position.line, p.position.column) not in told or p in changed.warnings]
    return [p if p in changed.warnings else told_in_state(p, name) for p in fresh]
